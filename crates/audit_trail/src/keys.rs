//! Keys and signatures: Ed25519 as it is, without pre-hash or context.
//!
//! Two kinds of keys are used. Every person has one, kept encrypted under their passphrase; every
//! bench has one, kept in a file that only its account may read. Both are [`SigningKey`]s here;
//! how they are kept is [`SigningKey::to_kept_text`] and [`SigningKey::write_device_file`].
//!
//! What is signed is always a text that says in its first line what it is, as
//! `darkline/checkpoint/1` does, so that a signature under one thing can never be moved to
//! another.
//!
//! Invariant: [`PublicKey::verify_strict`] refuses what RFC 8032 leaves open (a second half not
//! below the group order, keys and points of small order), so one signing gives one signature.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::hexadecimal::{self, HexFault, hexadecimal_text};

pub use key_file::{KeyFileFault, SHORTEST_PASSPHRASE};
pub use passphrase::is_kept_below_today;
pub use pkcs8::der::zeroize::Zeroizing;

mod key_file;
mod passphrase;

/// A private key. Its bytes are wiped from memory when it is dropped, and it has no text form
/// but the two PEM forms.
#[derive(Clone)]
pub struct SigningKey(ed25519_dalek::SigningKey);

/// A public key: 32 bytes, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PublicKey([u8; 32]);

hexadecimal_text!(PublicKey, 32, "a public key");

/// A signature: 64 bytes, written as 128 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Signature([u8; 64]);

hexadecimal_text!(Signature, 64, "a signature");

/// What a person compares to know a public key again: the first 8 bytes of its SHA-256, written
/// in four groups of four hexadecimal digits, for example `21fe 31df a154 a261`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Fingerprint([u8; 8]);

/// The signature does not belong to this message and this key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the signature is not one of key {key} under this content")]
pub struct NotSigned {
    /// The key it was held against.
    pub key: Fingerprint,
}

impl SigningKey {
    /// Draws a new key from the operating system's random source.
    ///
    /// # Errors
    /// The operating system could give no random bytes.
    pub fn random() -> Result<Self, getrandom::Error> {
        let mut seed = Zeroizing::new([0; 32]);
        getrandom::fill(seed.as_mut_slice())?;
        Ok(Self::from_seed(&seed))
    }

    /// Makes the key that belongs to the 32 bytes that RFC 8032 calls the private key.
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self(ed25519_dalek::SigningKey::from_bytes(seed))
    }

    /// The key that others check signatures with.
    pub fn public_key(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// Signs a message; the same key and message always give the same signature.
    ///
    /// # Source
    /// RFC 8032, section 5.1.6. Checked by `tests/published/rfc_8032.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::keys::SigningKey;
    /// let key = SigningKey::from_seed(&[7; 32]);
    /// let signature = key.sign(b"darkline/example/1\n");
    /// assert!(key.public_key().verify_strict(b"darkline/example/1\n", &signature).is_ok());
    /// assert!(key.public_key().verify_strict(b"darkline/example/2\n", &signature).is_err());
    /// ```
    pub fn sign(&self, message: &[u8]) -> Signature {
        use ed25519_dalek::Signer;
        Signature(self.0.sign(message).to_bytes())
    }
}

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SigningKey(of {})", self.public_key().fingerprint())
    }
}

impl PublicKey {
    /// Makes a public key of its 32 bytes. Whether they are a point of the curve shows when a
    /// signature is checked.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// The key as 64 hexadecimal digits.
    pub fn to_hex(&self) -> String {
        self.to_string()
    }

    /// What a person compares to know the key again.
    pub fn fingerprint(&self) -> Fingerprint {
        let digest: [u8; 32] = Sha256::digest(self.0).into();
        let mut first = [0; 8];
        first.copy_from_slice(&digest[..8]);
        Fingerprint(first)
    }

    /// Checks a signature.
    ///
    /// # Errors
    /// [`NotSigned`]: another message, another key, a signature altered or in a form that a
    /// second signer could have made from the first.
    ///
    /// # Source
    /// RFC 8032, section 5.1.7. Checked by `tests/published/rfc_8032.rs`.
    pub fn verify_strict(&self, message: &[u8], signature: &Signature) -> Result<(), NotSigned> {
        let not_signed = |_| NotSigned { key: self.fingerprint() };
        let key = ed25519_dalek::VerifyingKey::from_bytes(&self.0).map_err(not_signed)?;
        let signature = ed25519_dalek::Signature::from_bytes(&signature.0);
        key.verify_strict(message, &signature).map_err(not_signed)
    }
}

impl Signature {
    /// Makes a signature of its 64 bytes.
    pub fn from_bytes(bytes: [u8; 64]) -> Self {
        Self(bytes)
    }
}

impl Fingerprint {
    /// The 16 digits without blanks, as a signed text carries them.
    pub fn to_digits(&self) -> String {
        hexadecimal::encode(&self.0)
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, pair) in self.0.chunks_exact(2).enumerate() {
            let blank = if place == 0 { "" } else { " " };
            write!(f, "{blank}{}", hexadecimal::encode(pair))?;
        }
        Ok(())
    }
}

impl fmt::Debug for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Fingerprint({self})")
    }
}

impl FromStr for Fingerprint {
    type Err = HexFault;

    /// Reads the 16 digits, with the blanks between the groups or without any.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let what = "a fingerprint";
        let digits: String = text.chars().filter(|letter| *letter != ' ').collect();
        let read = Self(hexadecimal::decode(what, &digits)?);
        if text == digits || text == read.to_string() {
            return Ok(read);
        }
        Err(HexFault { what, digits: 16, found: text.chars().take(80).collect() })
    }
}

impl TryFrom<String> for Fingerprint {
    type Error = HexFault;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Fingerprint> for String {
    fn from(fingerprint: Fingerprint) -> String {
        fingerprint.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_fingerprint_is_the_beginning_of_the_hash_of_the_key_in_groups() {
        // SHA-256 of 32 zero bytes begins 66687aadf862bd77; from memory, and by any SHA-256 tool.
        let fingerprint = PublicKey::from_bytes([0; 32]).fingerprint();
        assert_eq!(fingerprint.to_string(), "6668 7aad f862 bd77");
        assert_eq!("6668 7aad f862 bd77".parse(), Ok(fingerprint));
        assert_eq!("66687aadf862bd77".parse(), Ok(fingerprint));
        for other in ["6668 7aad f862 bd7", "6668 7aad f862bd77", " 66687aadf862bd77", "6668-7aad-f862-bd77"] {
            assert!(other.parse::<Fingerprint>().is_err(), "{other:?}");
        }
    }

    #[test]
    fn two_drawn_keys_differ() {
        let keys = [SigningKey::random().unwrap(), SigningKey::random().unwrap()];
        assert_ne!(keys[0].public_key(), keys[1].public_key());
    }

    #[test]
    fn the_text_for_debugging_does_not_show_the_key() {
        let key = SigningKey::from_seed(&[7; 32]);
        assert_eq!(format!("{key:?}"), format!("SigningKey(of {})", key.public_key().fingerprint()));
    }

    /// Such a key would accept one signature for nearly every message.
    #[test]
    fn a_key_of_small_order_signs_nothing() {
        let mut neutral = [0; 32];
        neutral[0] = 1;
        let mut signature = [0; 64];
        signature[0] = 1;
        let key = PublicKey::from_bytes(neutral);
        let not_signed = NotSigned { key: key.fingerprint() };
        assert_eq!(key.verify_strict(b"anything", &Signature::from_bytes(signature)), Err(not_signed));
    }

    #[test]
    fn json_carries_hexadecimal_text() {
        let key = SigningKey::from_seed(&[7; 32]);
        let (public_key, signature) = (key.public_key(), key.sign(b"x"));
        let text = serde_json::to_string(&(public_key, signature, public_key.fingerprint())).unwrap();
        assert_eq!(text, format!(r#"["{public_key}","{signature}","{}"]"#, public_key.fingerprint()));
        let read: (PublicKey, Signature, Fingerprint) = serde_json::from_str(&text).unwrap();
        assert_eq!(read, (public_key, signature, public_key.fingerprint()));
        assert!(serde_json::from_str::<PublicKey>(r#""00""#).is_err());
    }

    proptest! {
        #[test]
        fn only_the_signed_message_the_key_and_the_signature_fit(
            seed: [u8; 32], message: Vec<u8>, place: usize, bit in 0..8u8,
        ) {
            let key = SigningKey::from_seed(&seed);
            let signature = key.sign(&message);
            prop_assert!(key.public_key().verify_strict(&message, &signature).is_ok());
            prop_assert_eq!(key.sign(&message), signature);
            let mut altered = message.clone();
            altered.push(0);
            prop_assert!(key.public_key().verify_strict(&altered, &signature).is_err());
            let mut bytes = *signature.as_bytes();
            bytes[place % 64] ^= 1 << bit;
            prop_assert!(key.public_key().verify_strict(&message, &Signature::from_bytes(bytes)).is_err());
        }

        #[test]
        fn any_key_and_signature_get_an_answer(key: [u8; 32], half: [u8; 32], message: Vec<u8>) {
            let mut signature = [0; 64];
            signature[..32].copy_from_slice(&half);
            let answer = PublicKey::from_bytes(key).verify_strict(&message, &Signature::from_bytes(signature));
            prop_assert!(answer.is_err());
        }
    }
}
