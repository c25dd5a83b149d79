//! RFC 8032 (2017): Ed25519 signatures; section 7.1 (TEST 1 to TEST 3) and refusals derived from
//! section 5.1.7.
//!
//! Data: `reference/records/ed25519.toml`.

use darkline_audit_trail::keys::{PublicKey, Signature, SigningKey};

use crate::Pack;

#[test]
fn every_sign_case_gives_the_published_key_and_signature() {
    let pack = Pack::read("ed25519.toml");
    for case in pack.cases("sign_case") {
        let seed: [u8; 32] = case.bytes("seed").try_into().unwrap();
        let key = SigningKey::from_seed(&seed);
        let message = case.bytes("message_hex");
        let public_key: PublicKey = case.text("public_key").parse().unwrap();
        assert_eq!(key.public_key(), public_key, "{}", case.id());
        assert_eq!(key.sign(&message).to_string(), case.text("signature"), "{}", case.id());
        let published: Signature = case.text("signature").parse().unwrap();
        let answer = public_key.verify_strict(&message, &published);
        assert_eq!(answer.is_ok(), case.expects_acceptance(), "{}: {answer:?}", case.id());
    }
    pack.all_claimed(&["sign_case"]);
}

#[test]
fn every_verify_case_is_answered_as_published() {
    let pack = Pack::read("ed25519.toml");
    for case in pack.cases("verify_case") {
        let public_key: PublicKey = case.text("public_key").parse().unwrap();
        let message = case.bytes("message_hex");
        // 63 bytes are no signature; that is an answer too.
        let signature = case.text("signature").parse::<Signature>();
        let accepted = signature.is_ok_and(|signature| public_key.verify_strict(&message, &signature).is_ok());
        assert_eq!(accepted, case.expects_acceptance(), "{}", case.id());
    }
    pack.all_claimed(&["verify_case"]);
}

#[test]
fn the_file_has_no_part_without_a_test() {
    // `rule` holds sentences: plain Ed25519, strict range of S, what is signed.
    Pack::read("ed25519.toml").has_only(&["meta", "rule", "sign_case", "verify_case"]);
}
