//! The records pack: vectors of the Merkle tree, signatures, canonical JSON, bags, passwords, time stamps.

use std::collections::BTreeMap;

use argon2::{Algorithm, Argon2, Params, ParamsBuilder, Version};
use darkline_audit_trail::Timestamp;
use darkline_audit_trail::keys::{PublicKey, Signature, SigningKey};
use darkline_audit_trail::{Hash, merkle};
use darkline_exchange::bag;
use darkline_record::canonical;
use serde::Deserialize;
use sha2::{Digest as _, Sha256, Sha512};

use crate::answer::{Answer, Found};
use crate::case_file::{Node, Read};
use crate::comparison::{Comparing, Tolerance};
use crate::pack;
use crate::qualification::Ran;
use crate::stop::{Stop, refused};

type Computed = Result<Found, Stop>;

/// What computes a kind, and the keys that are expected.
type Runner = (fn(&Node<'_>) -> Computed, &'static [&'static str]);

/// Leaves of a made sequence, and lines of a stream of numbers, at most.
const MOST_LEAVES: usize = 1_000_000;
/// A password hash may take so much memory, KiB, and so many passes over it.
const MOST_KIB: usize = 1 << 21;
const MOST_BLOCKS: u64 = 1 << 22;

fn runner(kind: &str) -> Option<Runner> {
    Some(match kind {
        "vectors8" => (tree_vectors, &["leaf_hashes", "roots_by_size"]),
        "sequence_root" => (sequence_root, &["root"]),
        "inclusion_case" => (inclusion, &["expect"]),
        "consistency_case" => (consistency, &["expect"]),
        "sign_case" => (signing, &["public_key", "signature", "expect"]),
        "verify_case" => (verifying, &["expect"]),
        "document_case" => (document, &["canonical_hex", "sha256"]),
        "number_row" => (number, &["text"]),
        "number_refusal" => (refused_number, &["expect"]),
        "number_stream" => (number_stream, &[]),
        "refusal_case" => (refusal, &["expect"]),
        "bag_case" => (bag_of, &["expect"]),
        "digest_case" => (digests, &["sha256", "sha512"]),
        "raw_case" => (password_raw, &["tag"]),
        "phc_case" => (password_text, &["phc", "tag"]),
        "time" => (time, &["expect", "utc"]),
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    runner(kind).is_some()
}

/// Runs a vector; everything is met byte by byte.
pub(crate) fn run(name: &str, kind: &str, case: Node<'_>) -> Ran {
    let Some((compute, keys)) = runner(kind) else { return Ok(None) };
    let found = pack::settled(compute(&case))?;
    let found = |key: &str| found(key);
    let mut comparing = Comparing::new(name, &found);
    if kind == "number_refusal" {
        comparing.answer("expect", Answer::Text("refuse".into()), "refuse", Tolerance::Exact);
        return Ok(Some(comparing.comparisons));
    }
    if kind == "number_stream" {
        for digest in case.entries()?.iter().filter(|entry| entry.name().ends_with("_lines")) {
            comparing.key(digest, Tolerance::Exact)?;
        }
    }
    for key in keys.iter().filter_map(|key| case.get(key)) {
        comparing.key(&key, Tolerance::Exact)?;
    }
    Ok(Some(comparing.comparisons))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn hash(node: &Node<'_>) -> Read<Hash> {
    let parsed: Result<Hash, _> = node.text()?.parse();
    parsed.map_err(|_| node.fault(format!("{}: a hash is 64 hexadecimal digits", node.name())))
}

fn hashes(case: &Node<'_>, key: &str) -> Read<Vec<Hash>> {
    case.list_of(key)?.iter().map(hash).collect()
}

/// A whole number of any size that a proof may state.
fn whole(case: &Node<'_>, key: &str) -> Read<u64> {
    let node = case.need(key)?;
    node.written().parse().map_err(|_| node.fault(format!("{key}: a whole number is wanted here")))
}

fn answered(accepted: bool) -> &'static str {
    if accepted { "accept" } else { "refuse" }
}

/// Every way the program has to work out a root; they must agree.
fn root_of(leaves: &[Hash]) -> Result<Hash, Stop> {
    let tree: merkle::Tree = leaves.iter().copied().collect();
    let mut frontier = merkle::Frontier::new();
    for leaf in leaves {
        frontier.push(*leaf);
    }
    let root = merkle::root(leaves);
    if tree.root() == root && frontier.root() == root {
        Ok(root)
    } else {
        Err(refused("three ways to the root of the tree differ"))
    }
}

/// RFC 9162, 2.1.1.
fn tree_vectors(case: &Node<'_>) -> Computed {
    let inputs = case.list_of("leaf_inputs_hex")?;
    let leaves = inputs.iter().map(|input| Ok(merkle::leaf_hash(&input.bytes()?))).collect::<Read<Vec<Hash>>>()?;
    if leaves.len() > 10_000 {
        return Err(case.fault("more leaves than are run").into());
    }
    let mut roots = Vec::new();
    for size in 0..=leaves.len() {
        roots.push(root_of(&leaves[..size])?.to_string());
    }
    let mut found = Found::new();
    found.put("leaf_hashes", leaves.iter().map(ToString::to_string).collect::<Vec<String>>());
    found.put("roots_by_size", roots);
    Ok(found)
}

fn sequence_root(case: &Node<'_>) -> Computed {
    let rule = case.need("leaf_rule")?;
    if rule.text()? != "ASCII entry-%04d" {
        return Err(rule.fault(format!("{} is no rule known here", rule.written())).into());
    }
    let size = case.count_of("tree_size", MOST_LEAVES)?;
    let leaves: Vec<Hash> = (0..size).map(|place| merkle::leaf_hash(format!("entry-{place:04}").as_bytes())).collect();
    let mut found = Found::new();
    found.put("root", root_of(&leaves)?.to_string());
    Ok(found)
}

/// RFC 9162, 2.1.3.2.
fn inclusion(case: &Node<'_>) -> Computed {
    let (index, size) = (whole(case, "leaf_index")?, whole(case, "tree_size")?);
    let (leaf, root) = (hash(&case.need("leaf_hash")?)?, hash(&case.need("root")?)?);
    let answer = merkle::verify_inclusion(leaf, index, size, &hashes(case, "path")?, root);
    let mut found = Found::new();
    found.put("expect", answered(answer.is_ok()));
    Ok(found)
}

/// RFC 9162, 2.1.4.2.
fn consistency(case: &Node<'_>) -> Computed {
    let (first, second) = (whole(case, "first")?, whole(case, "second")?);
    let (first_root, second_root) = (hash(&case.need("first_root")?)?, hash(&case.need("second_root")?)?);
    let answer = merkle::verify_consistency(first, second, first_root, second_root, &hashes(case, "proof")?);
    let mut found = Found::new();
    found.put("expect", answered(answer.is_ok()));
    Ok(found)
}

fn is_signed(case: &Node<'_>) -> Read<bool> {
    let message = case.bytes_of("message_hex")?;
    let key = case.need("public_key")?;
    let Ok(public_key) = key.text()?.parse::<PublicKey>() else { return Ok(false) };
    let signature = case.text_of("signature")?.parse::<Signature>();
    Ok(signature.is_ok_and(|signature| public_key.verify_strict(&message, &signature).is_ok()))
}

/// RFC 8032, 7.1.
fn signing(case: &Node<'_>) -> Computed {
    let seed_node = case.need("seed")?;
    let seed: [u8; 32] = seed_node.bytes()?.try_into().map_err(|_| seed_node.fault("a seed is 32 bytes"))?;
    let key = SigningKey::from_seed(&seed);
    let mut found = Found::new();
    found.put("public_key", key.public_key().to_hex());
    found.put("signature", key.sign(&case.bytes_of("message_hex")?).to_string());
    if case.has("signature") && case.has("public_key") {
        found.put("expect", answered(is_signed(case)?));
    }
    Ok(found)
}

/// RFC 8032, 5.1.7.
fn verifying(case: &Node<'_>) -> Computed {
    let mut found = Found::new();
    found.put("expect", answered(is_signed(case)?));
    Ok(found)
}

/// RFC 8785.
fn document(case: &Node<'_>) -> Computed {
    let input = case.need("input")?;
    let document: serde_json::Value = serde_json::from_str(input.text()?).map_err(refused)?;
    let mut found = Found::new();
    found.put("canonical_hex", hex(&canonical::bytes(&document)));
    found.put("sha256", canonical::Digest::of_document(&document).to_string());
    Ok(found)
}

fn double(node: &Node<'_>) -> Read<f64> {
    let bytes: Result<[u8; 8], _> = node.bytes()?.try_into();
    bytes.map(f64::from_be_bytes).map_err(|_| node.fault("a double is 16 hexadecimal digits"))
}

fn canonical_number(number: f64) -> String {
    String::from_utf8_lossy(&canonical::bytes(&number)).into_owned()
}

fn number(case: &Node<'_>) -> Computed {
    let mut found = Found::new();
    found.put("text", canonical_number(double(&case.need("ieee754")?)?));
    Ok(found)
}

/// A figure that is not finite has the canonical form `null`, never the text of a number: it is not carried as one.
fn refused_number(case: &Node<'_>) -> Computed {
    let text = canonical_number(double(case)?);
    let mut found = Found::new();
    found.put("expect", answered(text != "null"));
    Ok(found)
}

/// The digest of a long stream of doubles: a list, the smallest normal ones, then a chain of SHA-256.
fn number_stream(case: &Node<'_>) -> Computed {
    let start = case.list_of("start_list")?.iter().map(double).collect::<Read<Vec<f64>>>()?;
    let mut asked = Vec::new();
    for entry in case.entries()? {
        let Some(n) = entry.name().strip_prefix("sha256_").and_then(|rest| rest.strip_suffix("_lines")) else {
            continue;
        };
        match n.parse::<usize>() {
            Ok(n) if n <= MOST_LEAVES => asked.push(n),
            _ => return Err(entry.fault("more lines than are run").into()),
        }
    }
    let smallest = (0..2000).map(|i| f64::from_bits(0x0010_0000_0000_0000 + i));
    let mut block = [0_u8; 32];
    let chain = std::iter::from_fn(move || {
        block = Sha256::digest(block).into();
        Some(block)
    })
    .flat_map(|block| block.as_chunks::<8>().0.iter().map(|eight| f64::from_le_bytes(*eight)).collect::<Vec<_>>())
    .filter(|number| number.is_finite() && *number != 0.0);
    let last = asked.iter().copied().max().unwrap_or(0);
    let mut digest = Sha256::new();
    let mut found = Found::new();
    for (place, number) in start.into_iter().chain(smallest).chain(chain).take(last).enumerate() {
        digest.update(format!("{:x},{}\n", number.to_bits(), canonical_number(number)));
        if asked.contains(&(place + 1)) {
            found.put(format!("sha256_{}_lines", place + 1), hex(&digest.clone().finalize()));
        }
    }
    Ok(found)
}

/// A document as the program reads it: into a type, where a member that stands twice is turned back.
fn refusal(case: &Node<'_>) -> Computed {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Read {
        #[serde(rename = "a")]
        _a: serde_json::Value,
    }
    let text = case.text_of("input")?;
    let any = serde_json::from_str::<serde_json::Value>(text);
    let accepted = any.is_ok() && serde_json::from_str::<Read>(text).is_ok();
    let mut found = Found::new();
    found.put("expect", answered(accepted));
    Ok(found)
}

/// RFC 8493.
fn bag_of(case: &Node<'_>) -> Computed {
    let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for key in ["files", "tag_files"] {
        for node in case.list_or_none(key)? {
            // The path ends at the last equals sign.
            let (path, digits) = node.text()?.rsplit_once('=').ok_or_else(|| node.fault("a file is path=digits"))?;
            let bytes =
                crate::case_file::bytes(digits).ok_or_else(|| node.fault("pairs of hexadecimal digits are wanted"))?;
            files.insert(path.to_owned(), bytes);
        }
    }
    let mut found = Found::new();
    found.put("expect", if bag::check(&files).is_ok() { "valid" } else { "invalid" });
    Ok(found)
}

/// The digests that the manifests of an archive state.
fn digests(case: &Node<'_>) -> Computed {
    let content = case.bytes_of("content_hex")?;
    let mut found = Found::new();
    found.put("sha256", canonical::Digest::of(&content).to_string());
    let path = case.get("path").map_or(Ok("data/file"), |path| path.text())?;
    let in_payload = path.strip_prefix("data/").unwrap_or(path).to_owned();
    let sha512 = hex(&Sha512::digest(&content));
    let archive = bag::write(&BTreeMap::from([(in_payload.clone(), content)]), &[]).map_err(refused)?;
    let line = format!("{sha512}  data/{in_payload}\n");
    let stated = archive.windows(line.len()).any(|window| window == line.as_bytes());
    found.put_or(
        "sha512",
        if stated { Ok(sha512) } else { Err("the manifest of the archive does not state this digest") },
    );
    Ok(found)
}

/// RFC 9106, version 0x13.
fn argon2id<'k>(case: &Node<'_>, tag_bytes: usize, secret: &'k [u8], associated: &[u8]) -> Result<Argon2<'k>, Stop> {
    let variant = case.get("variant");
    let algorithm = match variant.map_or(Ok("Argon2id"), |variant| variant.text())? {
        "Argon2id" => Algorithm::Argon2id,
        "Argon2i" => Algorithm::Argon2i,
        "Argon2d" => Algorithm::Argon2d,
        other => return Err(case.fault(format!("{other} is no variant known here")).into()),
    };
    let memory = case.count_of("memory_kib", MOST_KIB)?;
    let (passes, lanes) = (case.count_of("iterations", 1000)?, case.count_of("lanes", 64)?);
    if memory as u64 * passes as u64 > MOST_BLOCKS {
        return Err(case.fault("more memory times passes than is run").into());
    }
    let small = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let mut builder = ParamsBuilder::new();
    builder.m_cost(small(memory)).t_cost(small(passes)).p_cost(small(lanes)).output_len(tag_bytes);
    if !associated.is_empty() {
        builder.data(argon2::AssociatedData::new(associated).map_err(refused)?);
    }
    let params: Params = builder.build().map_err(refused)?;
    if secret.is_empty() {
        Ok(Argon2::new(algorithm, Version::V0x13, params))
    } else {
        Argon2::new_with_secret(secret, algorithm, Version::V0x13, params).map_err(refused)
    }
}

fn password_raw(case: &Node<'_>) -> Computed {
    let optional = |key: &str| case.get(key).map_or(Ok(Vec::new()), |bytes| bytes.bytes());
    let tag_bytes = case.get("tag_bytes").map_or(Ok(32), |n| n.count(1024))?;
    let (secret, associated) = (optional("secret_hex")?, optional("associated_data_hex")?);
    let hashing = argon2id(case, tag_bytes, &secret, &associated)?;
    let mut tag = vec![0; tag_bytes];
    let (password, salt) = (case.bytes_of("password_hex")?, case.bytes_of("salt_hex")?);
    hashing.hash_password_into(&password, &salt, &mut tag).map_err(refused)?;
    let mut found = Found::new();
    found.put("tag", hex(&tag));
    Ok(found)
}

fn password_text(case: &Node<'_>) -> Computed {
    let hashing = argon2id(case, 32, &[], &[])?;
    let (password, salt) = (case.text_of("password")?, case.text_of("salt_ascii")?);
    let mut tag = [0; 32];
    hashing.hash_password_into(password.as_bytes(), salt.as_bytes(), &mut tag).map_err(refused)?;
    let params = hashing.params();
    let mut found = Found::new();
    found.put("tag", hex(&tag));
    found.put(
        "phc",
        format!(
            "$argon2id$v=19$m={},t={},p={}${}${}",
            params.m_cost(),
            params.t_cost(),
            params.p_cost(),
            base_64(salt.as_bytes()),
            base_64(&tag)
        ),
    );
    Ok(found)
}

/// Base 64 without padding, RFC 4648, section 4.
fn base_64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let word = three.iter().fold(0_u32, |word, byte| (word << 8) | u32::from(*byte)) << (8 * (3 - three.len()));
        for place in 0..=three.len() {
            let digit = (word >> (18 - 6 * place)) & 63;
            text.push(char::from(DIGITS[digit as usize]));
        }
    }
    text
}

/// RFC 3339, 5.6 and 5.7.
fn time(case: &Node<'_>) -> Computed {
    let read = Timestamp::new(case.text_of("text")?);
    let mut found = Found::new();
    found.put("expect", answered(read.is_ok()));
    if let (Ok(read), Some(utc)) = (&read, case.get("utc")) {
        // The same instant: told as the case writes it, else as we would.
        let same = Timestamp::new(utc.text()?).is_ok_and(|wanted| wanted.instant() == read.instant());
        found.put("utc", if same { utc.text()?.to_owned() } else { read.instant().to_string() });
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10, without its padding.
    #[test]
    fn base_64_is_that_of_the_rfc() {
        for (plain, encoded) in [("", ""), ("f", "Zg"), ("fo", "Zm8"), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")] {
            assert_eq!(base_64(plain.as_bytes()), encoded);
        }
    }
}
