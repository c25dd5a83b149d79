//! One appended act: who, when, and bytes whose meaning only the floor above knows.
//!
//! # The stored bytes
//!
//! What is hashed, and what a stranger checks, are the *stored bytes* of an entry: six lines of
//! UTF-8 text, each ended by one line feed (byte 0A), then the opaque bytes as they are, up to
//! the end:
//!
//! ```text
//! darkline/entry/1
//! bench-2                              the log
//! 412                                  the number: decimal, no leading zero
//! 00112233445566778899aabbccddeeff     the identity of the entry
//! j.alder                              the person
//! 2026-03-14T09:30:00.123+01:00        the time, as it was written
//! (opaque bytes)
//! ```
//!
//! The five fields cannot hold a line feed, so the seventh line begins where the opaque bytes
//! begin, whatever they are: one entry has exactly one form, and one form is exactly one entry.
//! The leaf of the tree is SHA-256 of the byte 00 followed by the stored bytes.
//!
//! Invariant: [`Entry::from_stored_bytes`] accepts a text only if [`Entry::stored_bytes`] gives
//! the same bytes back.

use sha2::{Digest, Sha256};

use crate::merkle::{Hash, LEAF_PREFIX};
use crate::{EntryId, LogId, PersonId, Timestamp};

const FIRST_LINE: &str = "darkline/entry/1";

/// An act that somebody wants appended; the store gives it its number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// Chosen once, kept for every repetition of the same act.
    pub id: EntryId,
    /// Who acts.
    pub by: PersonId,
    /// When, by the clock of the bench.
    pub at: Timestamp,
    /// What and why, in a form that only the floor above knows.
    pub bytes: Vec<u8>,
}

/// An act as it stands in the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The log it stands in.
    pub log: LogId,
    /// Its place: 0, 1, 2 … without a gap.
    pub number: u64,
    /// The identity its writer gave it.
    pub id: EntryId,
    /// Who acted.
    pub by: PersonId,
    /// When, as it was written.
    pub at: Timestamp,
    /// What and why, in a form that only the floor above knows.
    pub bytes: Vec<u8>,
}

/// Why bytes are not the stored bytes of an entry.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EnvelopeFault {
    /// The first line is another one.
    #[error("an entry begins with the line {FIRST_LINE:?}; this begins with {found:?}")]
    OtherForm {
        /// The first line found, cut after 80 bytes.
        found: String,
    },
    /// The bytes end before all six lines are there.
    #[error("the line with {wanted} is missing")]
    CutShort {
        /// The line wanted.
        wanted: &'static str,
    },
    /// A line does not hold what it should.
    #[error("the line with {wanted} does not hold one: {why}")]
    Line {
        /// The line wanted.
        wanted: &'static str,
        /// What its own check says.
        why: String,
    },
}

impl Entry {
    /// The bytes that are hashed; their form is told at the top of this file.
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::{Entry, EntryId, LogId, PersonId, Timestamp};
    /// let entry = Entry {
    ///     log: LogId::new("bench-2")?,
    ///     number: 412,
    ///     id: EntryId::new("00112233445566778899aabbccddeeff")?,
    ///     by: PersonId::new("j.alder")?,
    ///     at: Timestamp::new("2026-03-14T09:30:00.123+01:00")?,
    ///     bytes: b"{}".to_vec(),
    /// };
    /// assert_eq!(
    ///     entry.stored_bytes(),
    ///     b"darkline/entry/1\nbench-2\n412\n00112233445566778899aabbccddeeff\n\
    ///       j.alder\n2026-03-14T09:30:00.123+01:00\n{}"
    /// );
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn stored_bytes(&self) -> Vec<u8> {
        let mut bytes = self.head().into_bytes();
        bytes.extend_from_slice(&self.bytes);
        bytes
    }

    /// The leaf this entry is in the tree: SHA-256 of 00 and the stored bytes.
    ///
    /// # Source
    /// RFC 9162, section 2.1.1.
    pub fn leaf_hash(&self) -> Hash {
        let mut hasher = Sha256::new();
        hasher.update([LEAF_PREFIX]);
        hasher.update(self.head());
        hasher.update(&self.bytes);
        Hash::from_bytes(hasher.finalize().into())
    }

    /// Reads stored bytes back.
    ///
    /// # Errors
    /// [`EnvelopeFault`]: another first line, a line missing, a line that does not hold what it
    /// should.
    pub fn from_stored_bytes(stored: &[u8]) -> Result<Self, EnvelopeFault> {
        let mut rest = stored;
        let mut line = |wanted| {
            let end = rest.iter().position(|byte| *byte == b'\n');
            let end = end.ok_or(EnvelopeFault::CutShort { wanted })?;
            let text = String::from_utf8_lossy(&rest[..end]).into_owned();
            rest = &rest[end + 1..];
            Ok::<_, EnvelopeFault>(text)
        };
        let fault = |wanted, why: &dyn std::fmt::Display| EnvelopeFault::Line { wanted, why: why.to_string() };
        let first = line("the form").ok();
        if first.as_deref() != Some(FIRST_LINE) {
            let found = String::from_utf8_lossy(&stored[..stored.len().min(80)]);
            let found = found.lines().next().unwrap_or_default().to_owned();
            return Err(EnvelopeFault::OtherForm { found });
        }
        let log = LogId::new(&line("the log")?).map_err(|why| fault("the log", &why))?;
        let digits = line("the number")?;
        let number = digits.parse().ok().filter(|number: &u64| number.to_string() == digits);
        let number = number
            .ok_or_else(|| fault("the number", &format!("{digits:?} is no whole number in its shortest form")))?;
        let id = EntryId::new(&line("the identity")?).map_err(|why| fault("the identity", &why))?;
        let by = PersonId::new(&line("the person")?).map_err(|why| fault("the person", &why))?;
        let at = Timestamp::new(&line("the time")?).map_err(|why| fault("the time", &why))?;
        Ok(Self { log, number, id, by, at, bytes: rest.to_vec() })
    }

    fn head(&self) -> String {
        let Self { log, number, id, by, at, .. } = self;
        format!("{FIRST_LINE}\n{log}\n{number}\n{id}\n{by}\n{at}\n")
    }
}

/// The leaf of an entry whose fields are these texts, each in its one form.
///
/// # Arguments
/// * `head`: where the six lines are put together; kept from one entry to the next.
pub(crate) fn leaf_of(head: &mut Vec<u8>, log: &LogId, number: u64, texts: [&str; 3], bytes: &[u8]) -> Hash {
    head.clear();
    head.push(LEAF_PREFIX);
    let mut digits = [0; 20];
    for line in [FIRST_LINE.as_bytes(), log.as_str().as_bytes(), decimal(number, &mut digits)]
        .into_iter()
        .chain(texts.map(str::as_bytes))
    {
        head.extend_from_slice(line);
        head.push(b'\n');
    }
    Hash::from_bytes(Sha256::new().chain_update(head).chain_update(bytes).finalize().into())
}

/// A number in its shortest form, without a text of its own.
fn decimal(mut number: u64, digits: &mut [u8; 20]) -> &[u8] {
    let mut place = digits.len();
    loop {
        place -= 1;
        digits[place] = b'0' + (number % 10) as u8;
        number /= 10;
        if number == 0 {
            return &digits[place..];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle;
    use proptest::prelude::*;

    fn entry(number: u64, bytes: &[u8]) -> Entry {
        Entry {
            log: LogId::new("bench-2").unwrap(),
            number,
            id: EntryId::from_bytes([0xa5; 16]),
            by: PersonId::new("j.alder").unwrap(),
            at: Timestamp::new("2026-03-14T09:30:00.123+01:00").unwrap(),
            bytes: bytes.to_vec(),
        }
    }

    #[test]
    fn the_leaf_is_the_hash_of_zero_and_the_stored_bytes() {
        let entry = entry(7, b"opaque\n\0\xff");
        assert_eq!(entry.leaf_hash(), merkle::leaf_hash(&entry.stored_bytes()));
        let texts = [entry.id.to_string(), entry.by.to_string(), entry.at.to_string()];
        let mut head = b"of another entry".to_vec();
        let leaf = leaf_of(&mut head, &entry.log, entry.number, texts.each_ref().map(String::as_str), &entry.bytes);
        assert_eq!(leaf, entry.leaf_hash());
    }

    #[test]
    fn every_line_is_asked_for_by_name() {
        let stored = entry(0, b"").stored_bytes();
        let text = String::from_utf8(stored.clone()).unwrap();
        let wanted = ["the log", "the number", "the identity", "the person", "the time"];
        let ends: Vec<usize> = text.match_indices('\n').map(|(place, _)| place).collect();
        for (line, wanted) in wanted.into_iter().enumerate() {
            let cut = &stored[..=ends[line]];
            assert_eq!(Entry::from_stored_bytes(cut), Err(EnvelopeFault::CutShort { wanted }));
        }
        for other in ["", "darkline/entry/1", "darkline/entry/2\n", "darkline/entry/1\r\n"] {
            let found = other.lines().next().unwrap_or_default().to_owned();
            assert_eq!(Entry::from_stored_bytes(other.as_bytes()), Err(EnvelopeFault::OtherForm { found }));
        }
    }

    #[test]
    fn a_number_in_another_form_is_turned_back() {
        let text = String::from_utf8(entry(412, b"x").stored_bytes()).unwrap();
        for other in ["0412", "+412", " 412", "412 ", "4.12e2", "", "-1", "18446744073709551616"] {
            let altered = text.replace("\n412\n", &format!("\n{other}\n"));
            let fault = Entry::from_stored_bytes(altered.as_bytes()).unwrap_err();
            assert!(matches!(fault, EnvelopeFault::Line { wanted: "the number", .. }), "{other:?}");
        }
        let largest = entry(u64::MAX, b"x");
        assert_eq!(Entry::from_stored_bytes(&largest.stored_bytes()), Ok(largest));
    }

    #[test]
    fn a_number_is_written_in_its_shortest_form() {
        for number in [0, 9, 10, 412, 1_000_000, u64::MAX] {
            assert_eq!(decimal(number, &mut [0; 20]), number.to_string().as_bytes());
        }
    }

    fn any_entry() -> impl Strategy<Value = Entry> {
        (
            "[a-z0-9._-]{1,64}",
            any::<u64>(),
            any::<[u8; 16]>(),
            "[a-z0-9._-]{1,64}",
            "20[0-9]{2}-0[1-9]-[01][1-9]T[01][0-9]:[0-5][0-9]:[0-5][0-9](\\.[0-9]{1,9})?(Z|[+-]0[1-9]:[0-5][0-9])",
            proptest::collection::vec(any::<u8>(), 0..200),
        )
            .prop_map(|(log, number, id, by, at, bytes)| Entry {
                log: LogId::new(&log).unwrap(),
                number,
                id: EntryId::from_bytes(id),
                by: PersonId::new(&by).unwrap(),
                at: Timestamp::new(&at).unwrap(),
                bytes,
            })
    }

    proptest! {
        #[test]
        fn what_was_stored_reads_back(entry in any_entry()) {
            prop_assert_eq!(Entry::from_stored_bytes(&entry.stored_bytes()), Ok(entry));
        }

        #[test]
        fn any_bytes_get_an_answer_and_an_accepted_form_is_the_only_one(
            bytes in proptest::collection::vec(any::<u8>(), 0..80), entry in any_entry(), cut: usize,
        ) {
            let stored = entry.stored_bytes();
            let mut mixed = stored[..cut % stored.len()].to_vec();
            mixed.extend_from_slice(&bytes);
            for candidate in [bytes, mixed] {
                if let Ok(read) = Entry::from_stored_bytes(&candidate) {
                    prop_assert_eq!(read.stored_bytes(), candidate);
                }
            }
        }

        #[test]
        fn any_flipped_bit_of_the_stored_bytes_changes_the_leaf(entry in any_entry(), place: usize, bit in 0..8u8) {
            let mut stored = entry.stored_bytes();
            let place = place % stored.len();
            stored[place] ^= 1 << bit;
            prop_assert_ne!(merkle::leaf_hash(&stored), entry.leaf_hash());
        }
    }
}
