//! A checkpoint: how large a log was and which root its tree had, signed by the bench's key.
//!
//! # The signed text
//!
//! Six lines of UTF-8 text, each ended by one line feed (byte 0A):
//!
//! ```text
//! darkline/checkpoint/1
//! bench-2                              the log
//! 413                                  the size: how many entries, decimal, no leading zero
//! 5dc9da79…4328                        the root: 64 hexadecimal digits
//! 2026-03-14T09:30:00.123+01:00        the time, by the clock of the bench
//! 21fe31dfa154a261                     the key: the first 16 digits of the SHA-256 of its 32 bytes
//! ```
//!
//! The signature is Ed25519 over exactly these bytes. [`Checkpoint::to_text`] adds it as a seventh
//! line of 128 hexadecimal digits; that is the form for paper and for files.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::keys::{Fingerprint, NotSigned, PublicKey, Signature, SigningKey};
use crate::{Hash, LogId, Timestamp};

const FIRST_LINE: &str = "darkline/checkpoint/1";

/// A signed statement: at this time the log had this many entries and this root.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Checkpoint {
    /// The log it is about.
    pub log: LogId,
    /// How many entries the log had.
    pub size: u64,
    /// The root of the tree over them.
    pub root: Hash,
    /// When it was signed, by the clock of the bench.
    pub at: Timestamp,
    /// Which key signed.
    pub key: Fingerprint,
    /// Ed25519 over [`Checkpoint::signed_text`].
    pub signature: Signature,
}

/// Why a text is no checkpoint, or a checkpoint not the word of a key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CheckpointFault {
    /// Not seven lines, or another first line.
    #[error("a checkpoint has seven lines, each with its end, and begins with {FIRST_LINE:?}")]
    OtherForm,
    /// A line does not hold what it should.
    #[error("the line with {wanted} does not hold one: {why}")]
    Line {
        /// The line wanted.
        wanted: &'static str,
        /// What its own check says.
        why: String,
    },
    /// It names another key than the one it was held against.
    #[error("the checkpoint names key {named}, it was held against {held}")]
    OtherKey {
        /// The key it names.
        named: Fingerprint,
        /// The key it was held against.
        held: Fingerprint,
    },
    /// The signature does not belong to it.
    #[error("the checkpoint of {size} entries was altered: {why}")]
    Altered {
        /// The size it states.
        size: u64,
        /// What the check of the signature says.
        why: NotSigned,
    },
}

impl Checkpoint {
    /// Signs the state of a log.
    pub fn sign(log: LogId, size: u64, root: Hash, at: Timestamp, key: &SigningKey) -> Self {
        let fingerprint = key.public_key().fingerprint();
        let signature = key.sign(signed_text(&log, size, root, &at, fingerprint).as_bytes());
        Self { log, size, root, at, key: fingerprint, signature }
    }

    /// The bytes that are signed; their form is told at the top of this file.
    pub fn signed_text(&self) -> String {
        signed_text(&self.log, self.size, self.root, &self.at, self.key)
    }

    /// Checks that a key signed this checkpoint.
    ///
    /// # Errors
    /// [`CheckpointFault::OtherKey`], [`CheckpointFault::Altered`].
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::{Checkpoint, LogId, Timestamp, keys::SigningKey, merkle};
    /// let key = SigningKey::from_seed(&[7; 32]);
    /// let at = Timestamp::new("2026-03-14T09:30:00+01:00")?;
    /// let mut checkpoint = Checkpoint::sign(LogId::new("bench-2")?, 0, merkle::root(&[]), at, &key);
    /// checkpoint.verify(&key.public_key())?;
    /// checkpoint.size = 1;
    /// assert!(checkpoint.verify(&key.public_key()).is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn verify(&self, key: &PublicKey) -> Result<(), CheckpointFault> {
        let held = key.fingerprint();
        if held != self.key {
            return Err(CheckpointFault::OtherKey { named: self.key, held });
        }
        key.verify_strict(self.signed_text().as_bytes(), &self.signature)
            .map_err(|why| CheckpointFault::Altered { size: self.size, why })
    }

    /// The signed text with the signature as seventh line.
    pub fn to_text(&self) -> String {
        format!("{}{}\n", self.signed_text(), self.signature)
    }

    /// Reads what [`Checkpoint::to_text`] wrote. Whose word it is shows in [`Checkpoint::verify`].
    ///
    /// # Errors
    /// [`CheckpointFault::OtherForm`], [`CheckpointFault::Line`].
    pub fn from_text(text: &str) -> Result<Self, CheckpointFault> {
        let lines = text.strip_suffix('\n').ok_or(CheckpointFault::OtherForm)?;
        let lines: Vec<&str> = lines.split('\n').collect();
        let [FIRST_LINE, log, size, root, at, key, signature] = lines[..] else {
            return Err(CheckpointFault::OtherForm);
        };
        let read = Self {
            log: line("the log", log)?,
            size: line("the size", size)?,
            root: line("the root", root)?,
            at: line("the time", at)?,
            key: line("the key", key)?,
            signature: line("the signature", signature)?,
        };
        if read.to_text() != text {
            let why = format!("{size:?} or {key:?} is not in its shortest form");
            return Err(CheckpointFault::Line { wanted: "the size or the key", why });
        }
        Ok(read)
    }
}

impl fmt::Display for Checkpoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_text())
    }
}

fn line<T: std::str::FromStr<Err: fmt::Display>>(wanted: &'static str, text: &str) -> Result<T, CheckpointFault> {
    text.parse().map_err(|why: T::Err| CheckpointFault::Line { wanted, why: why.to_string() })
}

fn signed_text(log: &LogId, size: u64, root: Hash, at: &Timestamp, key: Fingerprint) -> String {
    format!("{FIRST_LINE}\n{log}\n{size}\n{root}\n{at}\n{}\n", key.to_digits())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle;
    use proptest::prelude::*;

    fn key() -> SigningKey {
        SigningKey::from_seed(&[7; 32])
    }

    fn checkpoint() -> Checkpoint {
        let at = Timestamp::new("2026-03-14T09:30:00.123+01:00").unwrap();
        Checkpoint::sign(LogId::new("bench-2").unwrap(), 413, merkle::leaf_hash(b"x"), at, &key())
    }

    #[test]
    fn the_text_is_the_one_that_is_told() {
        let checkpoint = checkpoint();
        let digits = checkpoint.key.to_string().replace(' ', "");
        assert_eq!(
            checkpoint.to_text(),
            format!(
                "darkline/checkpoint/1\nbench-2\n413\n{}\n2026-03-14T09:30:00.123+01:00\n{digits}\n{}\n",
                checkpoint.root, checkpoint.signature
            )
        );
        assert!(key().public_key().verify_strict(checkpoint.signed_text().as_bytes(), &checkpoint.signature).is_ok());
    }

    #[test]
    fn any_altered_part_breaks_the_signature() {
        let signed = checkpoint();
        let public_key = key().public_key();
        assert_eq!(signed.verify(&public_key), Ok(()));
        let alterations: [fn(&mut Checkpoint); 4] = [
            |it| it.log = LogId::new("bench-3").unwrap(),
            |it| it.size += 1,
            |it| it.root = merkle::leaf_hash(b"y"),
            |it| it.at = Timestamp::new("2026-03-14T09:30:00.124+01:00").unwrap(),
        ];
        for alter in alterations {
            let mut altered = signed.clone();
            alter(&mut altered);
            assert!(matches!(altered.verify(&public_key), Err(CheckpointFault::Altered { .. })));
        }
        let other = SigningKey::from_seed(&[8; 32]).public_key();
        assert!(matches!(signed.verify(&other), Err(CheckpointFault::OtherKey { .. })));
        let mut renamed = signed.clone();
        renamed.key = other.fingerprint();
        assert!(matches!(renamed.verify(&other), Err(CheckpointFault::Altered { .. })));
    }

    #[test]
    fn a_text_in_another_form_is_turned_back() {
        let text = checkpoint().to_text();
        assert_eq!(Checkpoint::from_text(&text), Ok(checkpoint()));
        assert_eq!(Checkpoint::from_text(text.trim_end()), Err(CheckpointFault::OtherForm));
        assert_eq!(Checkpoint::from_text(&format!("{text}\n")), Err(CheckpointFault::OtherForm));
        assert_eq!(Checkpoint::from_text(""), Err(CheckpointFault::OtherForm));
        assert_eq!(
            Checkpoint::from_text(&text.replace("checkpoint/1", "checkpoint/2")),
            Err(CheckpointFault::OtherForm)
        );
        for (wanted, part, other) in [
            ("the log", "bench-2", "Bench 2"),
            ("the size", "\n413\n", "\nmany\n"),
            ("the time", "+01:00", ""),
            ("the size or the key", "\n413\n", "\n0413\n"),
            ("the size or the key", "\n413\n", "\n+413\n"),
        ] {
            let fault = Checkpoint::from_text(&text.replacen(part, other, 1)).unwrap_err();
            assert!(matches!(&fault, CheckpointFault::Line { wanted: found, .. } if *found == wanted), "{fault}");
        }
        let grouped = text.replace(&checkpoint().key.to_digits(), &checkpoint().key.to_string());
        assert!(matches!(Checkpoint::from_text(&grouped), Err(CheckpointFault::Line { .. })));
    }

    #[test]
    fn json_reads_back() {
        let text = serde_json::to_string(&checkpoint()).unwrap();
        assert_eq!(serde_json::from_str::<Checkpoint>(&text).unwrap(), checkpoint());
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(text: String, cut: usize) {
            let signed = checkpoint().to_text();
            let mixed = format!("{}{text}", &signed[..cut % signed.len()]);
            for candidate in [text, mixed] {
                if let Ok(read) = Checkpoint::from_text(&candidate) {
                    prop_assert_eq!(read.to_text(), candidate);
                }
            }
        }
    }
}
