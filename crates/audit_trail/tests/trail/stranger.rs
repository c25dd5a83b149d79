//! A second reading of the format, from its description alone: SQL, SHA-256 and the definition of
//! the tree, none of this crate's own code but the check of the signature.

use darkline_audit_trail::keys::{PublicKey, Signature};
use darkline_audit_trail::{Store, verify_trail};
use sha2::{Digest, Sha256};

use crate::millrace::{Bench, log};

/// RFC 9162, section 2.1.1, written down once more.
fn root(leaves: &[[u8; 32]]) -> [u8; 32] {
    match leaves.len() {
        0 => Sha256::digest(b"").into(),
        1 => leaves[0],
        n => {
            let mut k = 1;
            while k * 2 < n {
                k *= 2;
            }
            let node = [&[1][..], &root(&leaves[..k]), &root(&leaves[k..])].concat();
            Sha256::digest(node).into()
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn a_verifier_written_from_the_description_comes_to_the_same_roots_and_signed_texts() {
    let bench = Bench::with_batches(&[1, 2, 5, 1, 1, 16, 3, 1, 1, 1, 7]);
    assert!(verify_trail(&bench.open(), &log()).unwrap().is_intact());
    let connection = bench.stranger();

    let log_name: String = connection.query_row("SELECT log FROM trail", [], |row| row.get(0)).unwrap();
    let mut leaves: Vec<[u8; 32]> = Vec::new();
    let mut query = connection.prepare("SELECT number, id, person, at, bytes FROM entry ORDER BY number").unwrap();
    let mut rows = query.query([]).unwrap();
    while let Some(row) = rows.next().unwrap() {
        let number: i64 = row.get(0).unwrap();
        let [id, person, at] = [1, 2, 3].map(|column| row.get::<_, String>(column).unwrap());
        let bytes: Vec<u8> = row.get(4).unwrap();
        assert_eq!(number, i64::try_from(leaves.len()).unwrap());
        let head = format!("darkline/entry/1\n{log_name}\n{number}\n{id}\n{person}\n{at}\n");
        leaves.push(Sha256::digest([&[0][..], head.as_bytes(), &bytes].concat()).into());
    }
    assert_eq!(leaves.len(), 39);

    let key: Vec<u8> = connection.query_row("SELECT public_key FROM device", [], |row| row.get(0)).unwrap();
    let fingerprint = hex(&Sha256::digest(&key))[..16].to_owned();
    let public_key = PublicKey::from_bytes(key.try_into().unwrap());
    let mut query = connection.prepare("SELECT size, root, at, key, signature FROM checkpoint ORDER BY size").unwrap();
    let mut rows = query.query([]).unwrap();
    let mut n_checkpoints = 0;
    while let Some(row) = rows.next().unwrap() {
        let size: usize = row.get::<_, i64>(0).unwrap().try_into().unwrap();
        let stored_root: Vec<u8> = row.get(1).unwrap();
        let [at, stored_key] = [2, 3].map(|column| row.get::<_, String>(column).unwrap());
        let signature: [u8; 64] = row.get(4).unwrap();
        let worked_out = root(&leaves[..size]);
        assert_eq!(stored_root, worked_out);
        assert_eq!(stored_key, fingerprint);
        let text = format!("darkline/checkpoint/1\n{log_name}\n{size}\n{}\n{at}\n{fingerprint}\n", hex(&worked_out));
        let signature = Signature::from_bytes(signature);
        assert!(public_key.verify_strict(text.as_bytes(), &signature).is_ok());
        n_checkpoints += 1;
    }
    assert_eq!(n_checkpoints, 11);
    assert_eq!(bench.open().size(&log()).unwrap(), 39);
}
