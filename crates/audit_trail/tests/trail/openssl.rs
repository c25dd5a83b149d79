//! OpenSSL as a second opinion on keys and signatures. The tests fail where it is not installed.

use std::fs;
use std::path::Path;
use std::process::Command;

use darkline_audit_trail::keys::{KeyFileFault, PublicKey, Signature, SigningKey};
use darkline_audit_trail::{Checkpoint, Store};

use crate::millrace::{Bench, device, log};

const PASSPHRASE: &str = "wet tubes drift µ";

/// Runs `openssl` in a folder; what it wrote, or what it complained about.
fn openssl(folder: &Path, arguments: &[&str]) -> Result<Vec<u8>, String> {
    let output = Command::new("openssl")
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("these tests need the program openssl");
    if output.status.success() { Ok(output.stdout) } else { Err(String::from_utf8_lossy(&output.stderr).into_owned()) }
}

#[test]
fn openssl_opens_an_encrypted_key_with_its_passphrase_and_finds_the_same_public_key() {
    let bench = Bench::new();
    let folder = bench.folder.path();
    let key = SigningKey::random().unwrap();
    fs::write(folder.join("alder.pem"), key.to_encrypted_pem(PASSPHRASE).unwrap().as_bytes()).unwrap();
    fs::write(folder.join("pass"), PASSPHRASE).unwrap();
    let public = openssl(folder, &["pkey", "-in", "alder.pem", "-passin", "file:pass", "-pubout"]).unwrap();
    let public = String::from_utf8(public).unwrap();
    assert_eq!(PublicKey::from_pem(&public).unwrap(), key.public_key());
    assert_eq!(public, key.public_key().to_pem());
    fs::write(folder.join("pass"), "another passphrase").unwrap();
    assert!(openssl(folder, &["pkey", "-in", "alder.pem", "-passin", "file:pass", "-pubout"]).is_err());
}

#[test]
fn a_key_that_openssl_made_and_encrypted_its_own_way_opens_here() {
    let bench = Bench::new();
    let folder = bench.folder.path();
    fs::write(folder.join("pass"), PASSPHRASE).unwrap();
    openssl(folder, &["genpkey", "-algorithm", "ed25519", "-out", "plain.pem"]).unwrap();
    let public = openssl(folder, &["pkey", "-in", "plain.pem", "-pubout"]).unwrap();
    let public_key = PublicKey::from_pem(&String::from_utf8(public).unwrap()).unwrap();
    let plain = fs::read_to_string(folder.join("plain.pem")).unwrap();
    assert_eq!(SigningKey::from_plain_pem(&plain).unwrap().public_key(), public_key);

    let to = ["pkcs8", "-topk8", "-in", "plain.pem", "-passout", "file:pass", "-out", "key.pem"];
    for with in [&["-v2", "aes-256-cbc"][..], &["-scrypt"], &["-v2", "aes-128-cbc", "-iter", "9000"]] {
        openssl(folder, &[&to[..], with].concat()).unwrap();
        let encrypted = fs::read_to_string(folder.join("key.pem")).unwrap();
        let opened = SigningKey::from_encrypted_pem(&encrypted, PASSPHRASE).unwrap();
        assert_eq!(opened.public_key(), public_key, "{with:?}");
        let fault = SigningKey::from_encrypted_pem(&encrypted, "another passphrase").unwrap_err();
        assert!(matches!(fault, KeyFileFault::WrongPassphrase), "{with:?}: {fault}");
    }
    // Another kind of key is no key here, whatever its wrapping.
    openssl(folder, &["genpkey", "-algorithm", "x25519", "-out", "other.pem"]).unwrap();
    let other = fs::read_to_string(folder.join("other.pem")).unwrap();
    assert!(matches!(SigningKey::from_plain_pem(&other), Err(KeyFileFault::NotAKey { .. })));
}

#[test]
fn openssl_verifies_our_checkpoint_and_we_verify_its_signature() {
    let bench = Bench::with_batches(&[3, 1]);
    let folder = bench.folder.path();
    let checkpoint: Checkpoint = bench.open().last_checkpoint(&log()).unwrap().unwrap();
    fs::write(folder.join("bench.pub"), device().public_key().to_pem()).unwrap();
    fs::write(folder.join("text"), checkpoint.signed_text()).unwrap();
    fs::write(folder.join("signature"), checkpoint.signature.as_bytes()).unwrap();
    let verify =
        ["pkeyutl", "-verify", "-rawin", "-pubin", "-inkey", "bench.pub", "-in", "text", "-sigfile", "signature"];
    openssl(folder, &verify).unwrap();
    fs::write(folder.join("text"), checkpoint.signed_text().replacen('4', "5", 1)).unwrap();
    assert!(openssl(folder, &verify).is_err());

    fs::write(folder.join("bench.key"), device().to_plain_pem().as_bytes()).unwrap();
    fs::write(folder.join("text"), checkpoint.signed_text()).unwrap();
    let signature = openssl(folder, &["pkeyutl", "-sign", "-rawin", "-inkey", "bench.key", "-in", "text"]).unwrap();
    let signature = Signature::from_bytes(signature.try_into().unwrap());
    assert_eq!(signature, checkpoint.signature);
    assert!(device().public_key().verify_strict(checkpoint.signed_text().as_bytes(), &signature).is_ok());
}
