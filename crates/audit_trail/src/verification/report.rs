//! What a check of a trail reports: how much was read, what is not as it was signed, and where a
//! clock went back.

use serde::Serialize;

use crate::keys::Fingerprint;
use crate::{BlobDigest, Checkpoint, EntryId, Hash, LogId, Timestamp};

/// What a check of a trail found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TrailReport {
    /// The log that was checked.
    pub log: LogId,
    /// How many entries were read.
    pub n_entries: u64,
    /// How many checkpoints were read.
    pub n_checkpoints: u64,
    /// How many blobs were read.
    pub n_blobs: u64,
    /// The root over all entries, worked out again; none if an entry is missing.
    pub root: Option<Hash>,
    /// The newest checkpoint: worth keeping elsewhere.
    pub newest: Option<Checkpoint>,
    /// The keys that signed the checkpoints, to be compared with what is printed on reports.
    pub devices: Vec<Fingerprint>,
    /// Everything that is not as it was signed, in the order of the entries.
    pub faults: Vec<Fault>,
    /// Where a clock went back.
    pub clock_steps: Vec<ClockStep>,
}

impl TrailReport {
    /// Whether nothing was found that is not as it was signed.
    pub fn is_intact(&self) -> bool {
        self.faults.is_empty()
    }
}

/// A place where the time is earlier than at the place before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("the clock went back at {at}: from {before} to {after}")]
pub struct ClockStep {
    /// "entry 412" or "the checkpoint of 413 entries".
    pub at: String,
    /// The time before.
    pub before: Timestamp,
    /// The earlier time that follows.
    pub after: Timestamp,
}

/// Something that is not as it was signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum Fault {
    /// The store is not as it was made: a guard removed, pages that do not fit together.
    #[error("{what}")]
    Form {
        /// What was found.
        what: String,
    },
    /// The store cannot be read beyond a place.
    #[error("nothing can be read beyond entry {from}: {what}")]
    Unreadable {
        /// The first entry that could not be read.
        from: u64,
        /// What the store says.
        what: String,
    },
    /// One entry cannot be read.
    #[error("entry {number} cannot be read: {what}")]
    EntryUnreadable {
        /// Which one.
        number: u64,
        /// What was found.
        what: String,
    },
    /// The entry has another content than the one that was signed.
    #[error("entry {number} was changed after it was signed")]
    EntryChanged {
        /// Which one.
        number: u64,
    },
    /// Numbers are left out.
    #[error("entries {first} to {last} are missing")]
    EntriesMissing {
        /// The first number left out.
        first: u64,
        /// The last number left out.
        last: u64,
    },
    /// The entry is as it was signed; the hash stored beside it is not.
    #[error("the hash stored with entry {number} was changed; the entry itself was not")]
    StoredHashChanged {
        /// Which one.
        number: u64,
    },
    /// Among these entries at least one was changed, put in or taken out.
    #[error("entries {first} to {last} do not give the root that was signed over them")]
    RootDiffers {
        /// The first entry that may be at fault.
        first: u64,
        /// The last entry that may be at fault.
        last: u64,
    },
    /// Entries after the newest checkpoint: nobody signed them.
    #[error("entries {first} to {last} stand under no checkpoint")]
    EntriesUnsigned {
        /// The first entry after the newest checkpoint.
        first: u64,
        /// The last entry.
        last: u64,
    },
    /// One identity stands in two entries.
    #[error("entries {first} and {second} have the same identity {id}")]
    IdentityTwice {
        /// The identity.
        id: EntryId,
        /// The first entry that has it.
        first: u64,
        /// The entry that has it again.
        second: u64,
    },
    /// The hashes kept for the next append lead to another root; the entries are sound.
    #[error("the hashes kept for appending lead to another root than the entries")]
    EdgeChanged,
    /// One checkpoint cannot be read.
    #[error("the checkpoint of {size} entries cannot be read: {what}")]
    CheckpointUnreadable {
        /// Its size.
        size: u64,
        /// What was found.
        what: String,
    },
    /// A checkpoint is not signed by a key that counts.
    #[error("the checkpoint of {size} entries is not signed by a known bench: {why}")]
    CheckpointNotSigned {
        /// Its size.
        size: u64,
        /// What the check of the signature says.
        why: String,
    },
    /// A checkpoint, here or known from elsewhere, covers entries that are not there.
    #[error("a checkpoint covers {size} entries, {n_entries} are there: the end was cut off")]
    EndMissing {
        /// The size the checkpoint states.
        size: u64,
        /// How many entries are there.
        n_entries: u64,
    },
    /// A checkpoint known from elsewhere has another root: the log was written anew since.
    #[error("the first {size} entries are not those that the known checkpoint of {at} covers")]
    KnownRootDiffers {
        /// The size of the known checkpoint.
        size: u64,
        /// Its time.
        at: Timestamp,
    },
    /// Bytes stand under a digest that is not theirs.
    #[error("the blob {digest} was changed: its bytes have another digest")]
    BlobChanged {
        /// The digest it stands under.
        digest: BlobDigest,
    },
    /// The blobs cannot be read.
    #[error("the blobs cannot be read: {what}")]
    BlobsUnreadable {
        /// What the store says.
        what: String,
    },
}
