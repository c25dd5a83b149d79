//! RFC 9162 (2021), section 2.1: the Merkle tree, its proofs and their checks; the same tree as
//! RFC 6962 (2013), section 2.1, whose public 8-leaf vectors are among the cases.
//!
//! Data: `reference/records/merkle.toml`.

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::merkle::{self, Frontier, NotProven, Tree, leaf_hash, verify_consistency, verify_inclusion};
use darkline_audit_trail::{
    Checkpoint, Draft, EntryId, Fault, Hash, Known, LogId, NotShown, PersonId, SqliteStore, Store, StoreError,
    Timestamp, prove_entry, read_tree, verify_trail, verify_trail_knowing,
};

use crate::pack::bytes_of;
use crate::{Case, Pack};

fn hash(case: &Case<'_>, key: &str) -> Hash {
    case.text(key).parse().unwrap()
}

fn hashes(case: &Case<'_>, key: &str) -> Vec<Hash> {
    case.texts(key).into_iter().map(|digits| digits.parse().unwrap()).collect()
}

/// Every way this crate has to work out a root.
fn roots(leaves: &[Hash]) -> [Hash; 3] {
    let tree: Tree = leaves.iter().copied().collect();
    let mut frontier = Frontier::new();
    leaves.iter().for_each(|leaf| {
        frontier.push(*leaf);
    });
    [merkle::root(leaves), tree.root(), frontier.root()]
}

/// The leaves of the eight-leaf vectors.
fn eight_leaves(pack: &Pack) -> Vec<Hash> {
    let inputs = pack.table("vectors8").texts("leaf_inputs_hex");
    inputs.into_iter().map(|digits| leaf_hash(&bytes_of(digits))).collect()
}

/// The leaves of a made sequence: ASCII entry-0000, entry-0001 …
fn sequence(n: u64) -> Vec<Hash> {
    (0..n).map(|number| leaf_hash(format!("entry-{number:04}").as_bytes())).collect()
}

#[test]
fn the_eight_leaf_vectors_of_certificate_transparency() {
    let pack = Pack::read("merkle.toml");
    let vectors = pack.table("vectors8");
    let leaves = eight_leaves(&pack);
    assert_eq!(leaves, hashes(&vectors, "leaf_hashes"));
    let expected = hashes(&vectors, "roots_by_size");
    assert_eq!(expected.len(), leaves.len() + 1);
    let tree: Tree = leaves.iter().copied().collect();
    for (size, expected) in expected.into_iter().enumerate() {
        assert_eq!(roots(&leaves[..size]), [expected; 3], "size {size}");
        assert_eq!(tree.root_at(size as u64), Ok(expected), "size {size}");
    }
    pack.all_claimed(&["vectors8"]);
}

#[test]
fn the_roots_of_made_sequences() {
    let pack = Pack::read("merkle.toml");
    for case in pack.cases("sequence_root") {
        assert_eq!(case.text("leaf_rule"), "ASCII entry-%04d");
        let leaves = sequence(case.number("tree_size"));
        assert_eq!(roots(&leaves), [hash(&case, "root"); 3], "{}", case.id());
    }
    pack.all_claimed(&["sequence_root"]);
}

/// Section 2.1.3.2. Accepted cases that belong to a tree we can build are generated too
/// (section 2.1.3.1), so that both directions are checked.
#[test]
fn every_inclusion_case() {
    let pack = Pack::read("merkle.toml");
    let trees = [eight_leaves(&pack), sequence(12)].map(|leaves| leaves.into_iter().collect::<Tree>());
    let mut n_generated = 0;
    for case in pack.cases("inclusion_case") {
        let (index, size) = (case.number("leaf_index"), case.number("tree_size"));
        let (leaf, root) = (hash(&case, "leaf_hash"), hash(&case, "root"));
        let path = hashes(&case, "path");
        let answer = verify_inclusion(leaf, index, size, &path, root);
        assert_eq!(answer.is_ok(), case.expects_acceptance(), "{}: {answer:?}", case.id());
        for tree in &trees {
            let ours = tree.root_at(size) == Ok(root);
            if ours && answer.is_ok() {
                assert_eq!(tree.inclusion_proof(index, size), Ok(path.clone()), "{}", case.id());
                n_generated += 1;
            }
        }
    }
    // All accepted cases but two: one states a wrong size, one shows a node as a leaf.
    let n_accepted = pack.cases("inclusion_case").iter().filter(|case| case.expects_acceptance()).count();
    assert_eq!(n_generated, n_accepted - 2);
    pack.all_claimed(&["inclusion_case"]);
}

/// Section 2.1.4.2, and 2.1.4.1 for the accepted ones.
#[test]
fn every_consistency_case() {
    let pack = Pack::read("merkle.toml");
    let trees = [eight_leaves(&pack), sequence(12)].map(|leaves| leaves.into_iter().collect::<Tree>());
    let mut n_generated = 0;
    for case in pack.cases("consistency_case") {
        let (first, second) = (case.number("first"), case.number("second"));
        let (first_root, second_root) = (hash(&case, "first_root"), hash(&case, "second_root"));
        let proof = hashes(&case, "proof");
        let answer = verify_consistency(first, second, first_root, second_root, &proof);
        assert_eq!(answer.is_ok(), case.expects_acceptance(), "{}: {answer:?}", case.id());
        for tree in trees.iter().filter(|_| answer.is_ok()) {
            if tree.root_at(second) == Ok(second_root) {
                assert_eq!(tree.consistency_proof(first, second), Ok(proof.clone()), "{}", case.id());
                n_generated += 1;
            }
        }
    }
    let n_accepted = pack.cases("consistency_case").iter().filter(|case| case.expects_acceptance()).count();
    assert_eq!(n_generated, n_accepted);
    pack.all_claimed(&["consistency_case"]);
}

/// What the two accepted cases with a warning cannot do to us: a proof that is handed on takes
/// its size from the signed checkpoint and its leaf from the bytes of the entry.
#[test]
fn neither_a_wrong_size_nor_a_node_shown_as_a_leaf_passes_as_an_entry_proof() {
    let (store, log, device, _folder) = trail_of(8);
    let (entry, proof) = prove_entry(&store, &log, 5).unwrap();
    assert!(proof.check(&entry.stored_bytes(), &device.public_key()).is_ok());
    let mut other_size = proof.clone();
    other_size.checkpoint.size = 7;
    let answer = other_size.check(&entry.stored_bytes(), &device.public_key());
    assert!(matches!(answer, Err(NotShown::Checkpoint(_))), "{answer:?}");
    // The node over entries 0 and 1 as "leaf 0 of 2": its 64 bytes are no entry.
    let tree = read_tree(&store, &log).unwrap();
    let leaves = [0, 1].map(|number| store.entry(&log, number).unwrap().unwrap().leaf_hash());
    assert_eq!(tree.root_at(2), Ok(merkle::node_hash(leaves[0], leaves[1])));
    let both = leaves.map(|leaf| *leaf.as_bytes()).concat();
    assert!(matches!(proof.check(&both, &device.public_key()), Err(NotShown::Entry(_))));
}

/// A trail of n entries, one append each.
fn trail_of(n: u8) -> (SqliteStore, LogId, SigningKey, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let log = LogId::new("bench-2").unwrap();
    let device = SigningKey::from_seed(&[7; 32]);
    let path = folder.path().join("millrace.trail");
    let mut store = SqliteStore::create(&path, &log, device.clone()).unwrap();
    for number in 0..n {
        append(&mut store, number);
    }
    (store, log, device, folder)
}

fn append(store: &mut SqliteStore, number: u8) {
    let draft = Draft {
        id: EntryId::from_bytes([number; 16]),
        by: PersonId::new("j.alder").unwrap(),
        at: Timestamp::new("2026-03-14T09:30:00+01:00").unwrap(),
        bytes: format!("entry-{number:04}").into_bytes(),
    };
    assert_eq!(store.append(&[draft]).unwrap(), [u64::from(number)]);
}

/// Changes the file behind the back of the store, guards lifted and put back.
fn change_on_disk(store: &SqliteStore, command: &str) {
    let other = rusqlite::Connection::open(store.path()).unwrap();
    let guard = "SELECT sql FROM sqlite_schema WHERE name = 'entry_stays'";
    let guard: String = other.query_row(guard, [], |row| row.get(0)).unwrap();
    other.execute_batch(&format!("DROP TRIGGER entry_stays; {command}; {guard}")).unwrap();
}

/// merkle.toml, audit-tree-append-only: keep the head after entry 6, append to 8, check the
/// consistency proof; then change one byte of entry 3 on disk: the index is reported, and nothing
/// more is signed.
#[test]
fn requirement_audit_tree_append_only() {
    let pack = Pack::read("merkle.toml");
    let requirement = pack.case("requirement", "audit-tree-append-only");
    assert!(requirement.text("text").contains("consistency proof from every earlier signed head"));
    assert!(requirement.text("test").contains("change one byte of entry 3 on disk"));
    requirement.claimed();

    let (mut store, log, device, folder) = trail_of(6);
    let head: Checkpoint = store.last_checkpoint(&log).unwrap().unwrap();
    assert_eq!(head.size, 6);
    append(&mut store, 6);
    append(&mut store, 7);
    let newest = store.last_checkpoint(&log).unwrap().unwrap();
    assert_eq!(newest.size, 8);

    // From every earlier signed head to the newest one.
    let tree = read_tree(&store, &log).unwrap();
    let mut heads = Vec::new();
    store
        .checkpoints(&log, 0, &mut |head| {
            heads.push(head.clone());
            std::ops::ControlFlow::Continue(())
        })
        .unwrap();
    assert_eq!(heads.iter().map(|head| head.size).collect::<Vec<_>>(), [1, 2, 3, 4, 5, 6, 7, 8]);
    for earlier in &heads {
        assert_eq!(earlier.verify(&device.public_key()), Ok(()));
        let proof = tree.consistency_proof(earlier.size, newest.size).unwrap();
        let answer = verify_consistency(earlier.size, newest.size, earlier.root, newest.root, &proof);
        assert_eq!(answer, Ok(()));
    }
    let known = Known { checkpoints: vec![head.clone()], devices: Some(vec![device.public_key()]) };
    assert!(verify_trail_knowing(&store, &log, &known).unwrap().is_intact());

    change_on_disk(&store, "UPDATE entry SET bytes = CAST('entry-0004' AS BLOB) WHERE number = 3");
    let report = verify_trail(&store, &log).unwrap();
    assert_eq!(report.faults, [Fault::EntryChanged { number: 3 }]);
    assert_eq!(report.faults[0].to_string(), "entry 3 was changed after it was signed");
    assert!(!report.is_intact());
    assert!(!verify_trail_knowing(&store, &log, &known).unwrap().is_intact());

    // The same with the stored hash changed to fit: the head over entry 3 tells.
    let altered = store.entry(&log, 3).unwrap().unwrap().leaf_hash();
    change_on_disk(&store, &format!("UPDATE entry SET leaf = x'{altered}' WHERE number = 3"));
    let report = verify_trail(&store, &log).unwrap();
    assert_eq!(report.faults, [Fault::RootDiffers { first: 3, last: 3 }]);

    // And with every stored hash that appending needs changed to fit: nothing more is signed.
    let subtree = merkle::root(&[leaf(&store, &log, 0), leaf(&store, &log, 1), leaf(&store, &log, 2), altered]);
    let right = merkle::root(&[4, 5, 6, 7].map(|number| leaf(&store, &log, number)));
    let all = merkle::node_hash(subtree, right);
    change_on_disk(&store, &format!("UPDATE entry SET subtree = x'{subtree}' WHERE number = 3"));
    change_on_disk(&store, &format!("UPDATE entry SET subtree = x'{all}' WHERE number = 7"));
    let reopened = SqliteStore::open(&folder.path().join("millrace.trail")).unwrap();
    let mut reopened = reopened.sign_with(device).unwrap();
    let refused = reopened.append(&[Draft {
        id: EntryId::from_bytes([9; 16]),
        by: PersonId::new("j.alder").unwrap(),
        at: Timestamp::new("2026-03-14T09:30:00+01:00").unwrap(),
        bytes: Vec::new(),
    }]);
    assert!(matches!(refused, Err(StoreError::Damaged { .. })), "{refused:?}");
    assert_eq!(reopened.size(&log).unwrap(), 8);
}

fn leaf(store: &SqliteStore, log: &LogId, number: u64) -> Hash {
    store.entry(log, number).unwrap().unwrap().leaf_hash()
}

/// merkle.toml, audit-tree-certificate-proof: verify with only the entry bytes, the proof and the
/// head; alter one byte of the entry: refuse.
#[test]
fn requirement_audit_tree_certificate_proof() {
    let pack = Pack::read("merkle.toml");
    let requirement = pack.case("requirement", "audit-tree-certificate-proof");
    assert!(requirement.text("text").contains("without the database"));
    assert!(requirement.text("test").contains("alter one byte of the entry: refuse"));
    requirement.claimed();

    let (store, log, device, folder) = trail_of(11);
    for number in 0..11 {
        let (entry, proof) = prove_entry(&store, &log, number).unwrap();
        let certificate = (entry.stored_bytes(), serde_json::to_string(&proof).unwrap());
        let (bytes, proof) = certificate;
        let proof: darkline_audit_trail::EntryProof = serde_json::from_str(&proof).unwrap();
        assert_eq!(proof.check(&bytes, &device.public_key()), Ok(entry));
        for place in 0..bytes.len() {
            let mut altered = bytes.clone();
            altered[place] ^= 1;
            let answer = proof.check(&altered, &device.public_key());
            assert!(answer.is_err(), "byte {place} of entry {number}: {answer:?}");
        }
        let stranger = SigningKey::from_seed(&[8; 32]).public_key();
        assert!(matches!(proof.check(&bytes, &stranger), Err(NotShown::Checkpoint(_))));
        let mut cut = proof.clone();
        cut.path.pop();
        let answer = cut.check(&bytes, &device.public_key());
        assert!(matches!(answer, Err(NotShown::Path(NotProven::OtherLength { .. }))), "{answer:?}");
    }
    drop((store, folder));
}

/// Nothing of the file is left out: cases and requirements are claimed above; these parts hold
/// the rules as sentences, which the functions under test carry out.
#[test]
fn the_file_has_no_part_without_a_test() {
    let pack = Pack::read("merkle.toml");
    let run = ["vectors8", "sequence_root", "inclusion_case", "consistency_case", "requirement"];
    let sentences = ["meta", "definition", "inclusion", "consistency"];
    pack.has_only(&[&run[..], &sentences[..]].concat());
    let ids: Vec<_> = pack.cases("requirement").iter().map(Case::id).collect();
    assert_eq!(ids, ["audit-tree-append-only", "audit-tree-certificate-proof"]);
}
