//! What shows that a log only grew between two audits: two checkpoints and the hashes that lead from one to the other.
//!
//! An auditor keeps the checkpoint of the first audit. At the second one the laboratory gives a [`GrowthProof`]: whoever
//! knows the bench's public key sees, without a single entry, that everything signed then still stands as it was.
//!
//! # The text
//!
//! ```text
//! darkline/growth/1
//! (the seven lines of the earlier checkpoint)
//! (the seven lines of the later checkpoint)
//! (a line of 64 hexadecimal digits for each hash of the proof, RFC 9162, section 2.1.4; none where the sizes are equal)
//! ```

use crate::keys::PublicKey;
use crate::merkle::{self, NotProven, ProofWish};
use crate::{Checkpoint, CheckpointFault, Hash, HexFault, LogId, Store, StoreError, read_tree};

const FIRST_LINE: &str = "darkline/growth/1";
const LINES_OF_A_CHECKPOINT: usize = 7;

/// Two checkpoints of one log, and what leads from one to the other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GrowthProof {
    /// The one that was kept.
    pub earlier: Checkpoint,
    /// The newest one.
    pub later: Checkpoint,
    /// The hashes of the consistency proof.
    pub path: Vec<Hash>,
}

/// Why nothing is shown about the growth of a log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotGrown {
    /// A checkpoint is no one's word, or no checkpoint.
    #[error(transparent)]
    Checkpoint(#[from] CheckpointFault),
    /// A checkpoint is signed by a key that does not count.
    #[error("the checkpoint of {size} entries is signed by {key}, which is not among the keys that count")]
    UnknownKey {
        /// Its size.
        size: u64,
        /// The key it names.
        key: crate::keys::Fingerprint,
    },
    /// The checkpoints are of two logs.
    #[error("the earlier checkpoint is of the log {earlier}, the later one of {later}")]
    OtherLog {
        /// The log of the earlier one.
        earlier: LogId,
        /// The log of the later one.
        later: LogId,
    },
    /// The hashes do not lead from one root to the other.
    #[error("the log was written anew since: {0}")]
    Path(#[from] NotProven),
    /// The text has another form.
    #[error("a proof of growth begins with the line {FIRST_LINE:?} and two checkpoints")]
    OtherForm,
    /// A line holds no hash.
    #[error("line {line} holds no hash: {why}")]
    Hash {
        /// The line, from 1.
        line: usize,
        /// Why.
        why: HexFault,
    },
}

/// Why a proof of growth cannot be given.
#[derive(Debug, thiserror::Error)]
pub enum CannotShowGrowth {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The log has fewer entries than the checkpoint, or none.
    #[error("the log {log} has {n_entries} entries now, the checkpoint is over {size}: the end was cut off")]
    Shorter {
        /// The log.
        log: LogId,
        /// How many entries there are.
        n_entries: u64,
        /// The size of the checkpoint.
        size: u64,
    },
    /// No proof can be made of these sizes.
    #[error(transparent)]
    Wish(#[from] ProofWish),
    /// The stored hashes lead elsewhere: the log was written anew.
    #[error(transparent)]
    Broken(#[from] NotGrown),
}

impl GrowthProof {
    /// Checks that the log only grew between the two checkpoints.
    ///
    /// # Arguments
    /// * `devices`: the public keys of the benches, from somewhere else; both checkpoints must be signed by one of them.
    ///
    /// # Errors
    /// [`NotGrown`]: a checkpoint, its signature, or the way between them does not fit.
    ///
    /// # Source
    /// RFC 9162, section 2.1.4.2. Checked by `tests/published/rfc_9162.rs`.
    pub fn check(&self, devices: &[PublicKey]) -> Result<(), NotGrown> {
        for checkpoint in [&self.earlier, &self.later] {
            let device = devices.iter().find(|device| device.fingerprint() == checkpoint.key);
            let unknown = NotGrown::UnknownKey { size: checkpoint.size, key: checkpoint.key };
            checkpoint.verify(device.ok_or(unknown)?)?;
        }
        let Self { earlier, later, path } = self;
        if earlier.log != later.log {
            return Err(NotGrown::OtherLog { earlier: earlier.log.clone(), later: later.log.clone() });
        }
        Ok(merkle::verify_consistency(earlier.size, later.size, earlier.root, later.root, path)?)
    }

    /// The text whose form is told at the top of this file.
    pub fn to_text(&self) -> String {
        let path: String = self.path.iter().map(|hash| format!("{hash}\n")).collect();
        format!("{FIRST_LINE}\n{}{}{path}", self.earlier.to_text(), self.later.to_text())
    }

    /// Reads what [`GrowthProof::to_text`] wrote.
    ///
    /// # Errors
    /// [`NotGrown::OtherForm`], [`NotGrown::Checkpoint`], [`NotGrown::Hash`].
    pub fn from_text(text: &str) -> Result<Self, NotGrown> {
        let lines: Vec<&str> = text.strip_suffix('\n').ok_or(NotGrown::OtherForm)?.split('\n').collect();
        let path_at = 1 + 2 * LINES_OF_A_CHECKPOINT;
        if lines.len() < path_at || lines[0] != FIRST_LINE {
            return Err(NotGrown::OtherForm);
        }
        let checkpoint = |at: usize| {
            let lines = &lines[at..at + LINES_OF_A_CHECKPOINT];
            Checkpoint::from_text(&format!("{}\n", lines.join("\n")))
        };
        let hash = |(place, line): (usize, &&str)| {
            line.parse().map_err(|why| NotGrown::Hash { line: path_at + place + 1, why })
        };
        Ok(Self {
            earlier: checkpoint(1)?,
            later: checkpoint(1 + LINES_OF_A_CHECKPOINT)?,
            path: lines[path_at..].iter().enumerate().map(hash).collect::<Result<_, _>>()?,
        })
    }
}

/// Shows that a log only grew since a checkpoint that somebody kept.
///
/// # Arguments
/// * `earlier`: the checkpoint, of a log that can be read here.
///
/// # Errors
/// [`CannotShowGrowth`]: the log is shorter now, or no longer leads from that root to the newest one.
pub fn prove_growth(store: &dyn Store, earlier: &Checkpoint) -> Result<GrowthProof, CannotShowGrowth> {
    let log = &earlier.log;
    let later = store.last_checkpoint(log)?;
    let n_entries = later.as_ref().map_or(0, |later| later.size);
    let later = later.filter(|later| later.size >= earlier.size).ok_or_else(|| CannotShowGrowth::Shorter {
        log: log.clone(),
        n_entries,
        size: earlier.size,
    })?;
    let path = read_tree(store, log)?.consistency_proof(earlier.size, later.size)?;
    let proof = GrowthProof { earlier: earlier.clone(), later, path };
    proof.check(&store.devices_of(log)?)?;
    Ok(proof)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::SigningKey;
    use crate::{Draft, EntryId, PersonId, SqliteStore, Timestamp};

    fn append(store: &mut SqliteStore, number: u8) -> Checkpoint {
        let at = Timestamp::new("2026-03-14T09:30:00+01:00").unwrap();
        let (id, by) = (EntryId::from_bytes([number; 16]), PersonId::new("j.alder").unwrap());
        store.append(&[Draft { id, by, at, bytes: vec![number] }]).unwrap();
        store.last_checkpoint(store.log()).unwrap().unwrap()
    }

    #[test]
    fn a_log_that_only_grew_is_shown_to_and_one_that_was_made_anew_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let log = LogId::new("bench-2").unwrap();
        let device = SigningKey::from_seed(&[7; 32]);
        let keys = [device.public_key()];
        let mut store = SqliteStore::create(&folder.path().join("a"), &log, device.clone()).unwrap();
        let kept: Vec<Checkpoint> = (0..20).map(|number| append(&mut store, number)).collect();
        for earlier in &kept {
            let proof = prove_growth(&store, earlier).unwrap();
            assert_eq!(proof.later.size, 20);
            proof.check(&keys).unwrap();
            let text = proof.to_text();
            assert_eq!(GrowthProof::from_text(&text), Ok(proof.clone()));
            let stranger = [SigningKey::from_seed(&[8; 32]).public_key()];
            assert!(matches!(proof.check(&stranger), Err(NotGrown::UnknownKey { .. })));
            // Every other hash in its place leads elsewhere.
            for place in 0..proof.path.len() {
                let mut other = proof.clone();
                other.path[place] = merkle::leaf_hash(b"other");
                assert!(matches!(other.check(&keys), Err(NotGrown::Path(_))));
            }
        }
        let mut anew = SqliteStore::create(&folder.path().join("b"), &log, device).unwrap();
        (100..125).for_each(|number| drop(append(&mut anew, number)));
        let fault = prove_growth(&anew, &kept[9]).unwrap_err();
        assert!(matches!(fault, CannotShowGrowth::Broken(NotGrown::Path(_))), "{fault}");
        let newest = anew.last_checkpoint(&log).unwrap().unwrap();
        let fault = prove_growth(&store, &newest).unwrap_err();
        assert!(matches!(fault, CannotShowGrowth::Shorter { n_entries: 20, size: 25, .. }), "{fault}");
    }

    #[test]
    fn a_text_of_another_form_is_told() {
        for text in ["", "darkline/growth/1\n", "darkline/growth/2\n\n"] {
            assert_eq!(GrowthProof::from_text(text), Err(NotGrown::OtherForm));
        }
    }
}
