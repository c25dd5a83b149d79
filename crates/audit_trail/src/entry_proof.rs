//! One entry for a stranger: its bytes, the way to the root, and the bench's word for the root.
//!
//! A report carries the stored bytes of the entry that released it and an [`EntryProof`]. Whoever
//! knows the bench's public key checks both without the trail: [`EntryProof::check`].

use std::ops::ControlFlow;

use serde::{Deserialize, Serialize};

use crate::keys::PublicKey;
use crate::merkle::{self, NotProven, ProofWish, Tree};
use crate::{Checkpoint, CheckpointFault, Entry, EnvelopeFault, Hash, LogId, Store, StoreError};

/// What shows that an entry stands in a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryProof {
    /// Size and root of the log, signed by the bench.
    pub checkpoint: Checkpoint,
    /// The hashes from the entry's sibling to the child of the root (RFC 9162, section 2.1.3).
    pub path: Vec<Hash>,
}

/// Why bytes are not shown to stand in a log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotShown {
    /// The bytes are not those of an entry.
    #[error(transparent)]
    Entry(#[from] EnvelopeFault),
    /// The checkpoint is not the word of this bench.
    #[error(transparent)]
    Checkpoint(#[from] CheckpointFault),
    /// Entry and checkpoint are of two logs.
    #[error("the entry is of the log {entry}, the checkpoint of {checkpoint}")]
    OtherLog {
        /// The log the entry names.
        entry: LogId,
        /// The log the checkpoint names.
        checkpoint: LogId,
    },
    /// The path does not lead from the entry to the signed root.
    #[error("this entry does not stand at its place in the log: {0}")]
    Path(#[from] NotProven),
}

/// Why a proof cannot be given.
#[derive(Debug, thiserror::Error)]
pub enum CannotProve {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such entry, or no checkpoint covers it.
    #[error("the log {log} has no entry {number} under a checkpoint")]
    NoEntry {
        /// The log.
        log: LogId,
        /// The number asked for.
        number: u64,
    },
    /// The stored hashes are not those of the signed tree.
    #[error(transparent)]
    Wish(#[from] ProofWish),
    /// The entry, or what is stored with the others, no longer leads to the signed root.
    #[error("entry {number} can no longer be shown to stand in the log, verify the trail: {why}")]
    Broken {
        /// The number asked for.
        number: u64,
        /// What the check of the proof says.
        why: NotProven,
    },
}

impl EntryProof {
    /// Checks that stored bytes stand in the log of a bench; gives the entry they are.
    ///
    /// # Arguments
    /// * `stored_bytes`: from whoever shows the entry.
    /// * `device`: the bench's public key, from somewhere else.
    ///
    /// # Errors
    /// [`NotShown`]: any of entry, checkpoint and path does not fit.
    ///
    /// # Source
    /// RFC 9162, section 2.1.3.2; size and root are taken from the signed checkpoint and the leaf
    /// from the bytes, because the path alone shows neither.
    pub fn check(&self, stored_bytes: &[u8], device: &PublicKey) -> Result<Entry, NotShown> {
        let entry = Entry::from_stored_bytes(stored_bytes)?;
        self.checkpoint.verify(device)?;
        let Checkpoint { log, size, root, .. } = &self.checkpoint;
        if entry.log != *log {
            return Err(NotShown::OtherLog { entry: entry.log, checkpoint: log.clone() });
        }
        merkle::verify_inclusion(entry.leaf_hash(), entry.number, *size, &self.path, *root)?;
        Ok(entry)
    }
}

/// Proves that an entry stands in a log, under the log's newest checkpoint.
///
/// # Errors
/// [`CannotProve`]: no such entry; or the stored entries no longer lead to the signed root, so
/// that no proof would hold.
pub fn prove_entry(store: &dyn Store, log: &LogId, number: u64) -> Result<(Entry, EntryProof), CannotProve> {
    let no_entry = || CannotProve::NoEntry { log: log.clone(), number };
    let checkpoint = store.last_checkpoint(log)?.filter(|checkpoint| number < checkpoint.size);
    let checkpoint = checkpoint.ok_or_else(no_entry)?;
    let entry = store.entry(log, number)?.ok_or_else(no_entry)?;
    let path = read_tree(store, log)?.inclusion_proof(number, checkpoint.size)?;
    merkle::verify_inclusion(entry.leaf_hash(), number, checkpoint.size, &path, checkpoint.root)
        .map_err(|why| CannotProve::Broken { number, why })?;
    Ok((entry, EntryProof { checkpoint, path }))
}

/// Reads the whole tree of a log from the hashes stored with its entries; 64 bytes an entry.
///
/// Whether it is the signed tree shows when its root is compared with a checkpoint.
///
/// # Errors
/// As [`Store::leaves`].
pub fn read_tree(store: &dyn Store, log: &LogId) -> Result<Tree, StoreError> {
    let mut tree = Tree::new();
    store.leaves(log, 0, &mut |_, leaf| {
        tree.push(leaf);
        ControlFlow::Continue(())
    })?;
    Ok(tree)
}
