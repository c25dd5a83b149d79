//! Canonical bytes and digests: what is hashed, signed and compared.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::fmt;
use std::str::FromStr;

/// A SHA-256 digest, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest([u8; 32]);

/// A text that is no digest.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is no digest; 64 hexadecimal digits are")]
pub struct DigestFault {
    /// The text.
    pub found: String,
}

impl Digest {
    /// The digest of bytes.
    ///
    /// # Source
    /// FIPS 180-4, SHA-256.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
    /// The digest of a document's canonical bytes.
    pub fn of_document<T: Serialize>(document: &T) -> Self {
        Self::of(&bytes(document))
    }
    /// The 32 bytes.
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Digest {
    type Err = DigestFault;
    fn from_str(text: &str) -> Result<Self, DigestFault> {
        let fault = || DigestFault { found: text.chars().take(80).collect() };
        let digits = text.as_bytes();
        if digits.len() != 64 || !digits.iter().all(|digit| matches!(digit, b'0'..=b'9' | b'a'..=b'f')) {
            return Err(fault());
        }
        let mut digest = [0; 32];
        for (byte, pair) in digest.iter_mut().zip(digits.chunks_exact(2)) {
            let pair = std::str::from_utf8(pair).map_err(|_| fault())?;
            *byte = u8::from_str_radix(pair, 16).map_err(|_| fault())?;
        }
        Ok(Self(digest))
    }
}

impl TryFrom<String> for Digest {
    type Error = DigestFault;
    fn try_from(text: String) -> Result<Self, DigestFault> {
        text.parse()
    }
}

impl From<Digest> for String {
    fn from(digest: Digest) -> String {
        digest.to_string()
    }
}

/// The canonical bytes of a document: JSON with sorted keys, no spaces, and figures in their shortest form.
///
/// Figures that are not finite have no canonical form; they are stopped at the doors, and here they become `null` rather
/// than a panic.
///
/// # Source
/// RFC 8785, JSON Canonicalization Scheme; checked by `tests/published/jcs.rs`.
pub fn bytes<T: Serialize>(document: &T) -> Vec<u8> {
    serde_json_canonicalizer::to_vec(document)
        // Refused for a figure that is not finite; in a plain JSON value it is null.
        .or_else(|_| serde_json::to_value(document).and_then(|plain| serde_json_canonicalizer::to_vec(&plain)))
        .expect("the keys of documents are texts")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_digest_is_read_as_it_is_written() {
        let digest = Digest::of(b"");
        assert_eq!(digest.to_string(), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        assert_eq!(digest.to_string().parse(), Ok(digest));
        assert!(digest.to_string().to_uppercase().parse::<Digest>().is_err());
        assert!("é".repeat(32).parse::<Digest>().is_err());
    }
}
