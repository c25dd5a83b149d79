//! What a place for entries has to do: append for good, read in order, keep blobs and keys.
//!
//! [`crate::SqliteStore`] is one; the floors above know only this trait.
//!
//! A store appends to one log of its own, that of its bench, and may hold others to read. There is
//! no verb to change or to remove an entry, a checkpoint or a blob.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::hexadecimal::hexadecimal_text;
use crate::keys::{Fingerprint, PublicKey, SigningKey};
use crate::merkle::Frontier;
use crate::{Checkpoint, Draft, Entry, EntryId, Hash, LogId, PersonId};

pub use recounting::{Form, Now, NumberById, Recounted};

mod recounting;

/// The largest entry or blob: a quarter of a gibibyte, far above any document or pulse, far below
/// what SQLite and a bench's memory can carry.
pub const LARGEST_KEPT: usize = 256 << 20;

/// The name of a blob: SHA-256 of its bytes, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct BlobDigest([u8; 32]);

hexadecimal_text!(BlobDigest, 32, "the digest of a blob");

impl BlobDigest {
    /// The digest of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// Makes a digest of 32 bytes that are one.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

/// A place where logs, blobs and keys are kept.
pub trait Store: Send {
    /// The log that [`Store::append`] appends to.
    fn log(&self) -> &LogId;

    /// All logs that can be read here.
    ///
    /// # Errors
    /// The store cannot be read.
    fn logs(&self) -> Result<Vec<LogId>, StoreError> {
        Ok(vec![self.log().clone()])
    }

    /// Hands over the bench's key, with which every append is signed from now on.
    ///
    /// # Errors
    /// [`StoreError::UnknownDevice`]: the key is not enrolled for this log.
    fn append_with(&mut self, device: SigningKey) -> Result<(), StoreError>;

    /// Enrols the key of another device: a new computer on the same bench. Who did so and why is
    /// an entry of its own, which the floor above appends. A key that is enrolled already stays as it is.
    ///
    /// # Errors
    /// As [`Store::put_blobs`].
    fn enrol_device(&mut self, device: &PublicKey) -> Result<(), StoreError>;

    /// Appends acts to the store's own log and signs a checkpoint over them.
    ///
    /// When this returns, the entries and the checkpoint have reached the disk. Either all drafts
    /// are appended or none. A draft whose identity is already there is not appended again: its
    /// old number is returned, so that an append whose answer was lost can simply be repeated.
    ///
    /// # Arguments
    /// * `drafts`: any number, in the order they get their numbers. One disk write serves all of
    ///   them, so whoever has several waiting hands them over together.
    ///
    /// # Errors
    /// * [`StoreError::OtherContent`]: an identity is already there with another person, time or
    ///   content.
    /// * [`StoreError::NoDeviceKey`], [`StoreError::ReadOnly`]: this store was opened for reading.
    /// * [`StoreError::Locked`], [`StoreError::DiskFull`], [`StoreError::Io`]: nothing was
    ///   appended, or the answer was lost; repeat with the same drafts.
    /// * [`StoreError::Damaged`]: the log does not end as its last checkpoint says; nothing is put
    ///   on top of it.
    fn append(&mut self, drafts: &[Draft]) -> Result<Vec<u64>, StoreError>;

    /// Reads the entries of a log in the order of their numbers.
    ///
    /// # Arguments
    /// * `from`: the first number wanted; beyond the end there is nothing to visit.
    /// * `visit`: gets every entry; `Break` ends the reading.
    ///
    /// # Errors
    /// [`StoreError::DamagedEntry`] names the entry that cannot be read; a reader that wants the
    /// rest goes on after it. [`StoreError::OtherLog`]: the log is not here.
    fn scan(&self, log: &LogId, from: u64, visit: &mut dyn FnMut(&Entry) -> ControlFlow<()>) -> Result<(), StoreError>;

    /// One entry of a log, if there is one with that number.
    ///
    /// # Errors
    /// As [`Store::scan`].
    fn entry(&self, log: &LogId, number: u64) -> Result<Option<Entry>, StoreError> {
        let mut found = None;
        self.scan(log, number, &mut |entry| {
            if entry.number == number {
                found = Some(entry.clone());
            }
            ControlFlow::Break(())
        })?;
        Ok(found)
    }

    /// How many entries a log has.
    ///
    /// # Errors
    /// [`StoreError::OtherLog`]: the log is not here.
    fn size(&self, log: &LogId) -> Result<u64, StoreError>;

    /// Reads the leaf hashes that were stored with the entries, for building a tree without
    /// hashing everything again. They are worth as much as the root they lead to.
    ///
    /// # Errors
    /// As [`Store::scan`].
    fn leaves(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(u64, Hash) -> ControlFlow<()>,
    ) -> Result<(), StoreError>;

    /// Reads the entries of a log again and hashes each; one that is damaged is told and passed over.
    ///
    /// # Arguments
    /// * `from`: the first number wanted.
    /// * `visit`: gets what each entry is now and the hash that was stored with it; `Break` ends the reading.
    ///
    /// # Errors
    /// [`StoreError::OtherLog`]: the log is not here; the store cannot be read any further.
    fn recount(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(Recounted) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        recounting::in_two_passes(self, log, from, visit)
    }

    /// Another reader of the same entries for a thread of its own, where there can be one.
    fn reader(&self) -> Option<Box<dyn Store + Send>> {
        None
    }

    /// The edge of the tree of the first `size` entries, put together from what was stored with
    /// them; nothing if a part is missing. It is worth as much as its root.
    ///
    /// # Errors
    /// [`StoreError::OtherLog`]: the log is not here.
    fn frontier(&self, log: &LogId, size: u64) -> Result<Option<Frontier>, StoreError>;

    /// Reads the checkpoints of a log, the smallest size first.
    ///
    /// # Arguments
    /// * `from`: the smallest size wanted.
    ///
    /// # Errors
    /// [`StoreError::DamagedCheckpoint`] names the one that cannot be read; a reader that wants
    /// the rest goes on after it. [`StoreError::OtherLog`]: the log is not here.
    fn checkpoints(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(&Checkpoint) -> ControlFlow<()>,
    ) -> Result<(), StoreError>;

    /// The newest checkpoint of a log.
    ///
    /// # Errors
    /// As [`Store::checkpoints`].
    fn last_checkpoint(&self, log: &LogId) -> Result<Option<Checkpoint>, StoreError>;

    /// The public keys of all benches that have signed or may sign checkpoints here, in the order
    /// they were enrolled.
    ///
    /// # Errors
    /// The store cannot be read.
    fn devices(&self) -> Result<Vec<PublicKey>, StoreError>;

    /// The public keys of the benches that have signed or may sign checkpoints of a log that can be read here.
    ///
    /// # Errors
    /// The store cannot be read.
    fn devices_of(&self, log: &LogId) -> Result<Vec<PublicKey>, StoreError> {
        if log == self.log() {
            return self.devices();
        }
        Err(StoreError::OtherLog { wanted: log.clone(), held: self.log().clone() })
    }

    /// Keeps bytes under their digest. When this returns, they have reached the disk. The same
    /// bytes twice are kept once.
    ///
    /// # Errors
    /// As [`Store::put_blobs`].
    fn put_blob(&mut self, bytes: &[u8]) -> Result<BlobDigest, StoreError> {
        let mut digests = self.put_blobs(&[bytes])?;
        Ok(digests.pop().expect("one blob has one digest"))
    }

    /// Keeps several blobs with one disk write: all or none.
    ///
    /// # Errors
    /// [`StoreError::TooLarge`], [`StoreError::ReadOnly`], [`StoreError::Locked`],
    /// [`StoreError::DiskFull`], [`StoreError::Io`].
    fn put_blobs(&mut self, blobs: &[&[u8]]) -> Result<Vec<BlobDigest>, StoreError>;

    /// The bytes with this digest, if they are here; they are hashed again on reading.
    ///
    /// # Errors
    /// [`StoreError::DamagedBlob`]: what is kept under the digest has another one.
    fn blob(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError>;

    /// Visits the digests of all blobs, in ascending order.
    ///
    /// # Errors
    /// The store cannot be read.
    fn blob_digests(&self, visit: &mut dyn FnMut(BlobDigest) -> ControlFlow<()>) -> Result<(), StoreError>;

    /// Keeps the encrypted private key of a person (PEM text); a newer one takes the place of the
    /// older, as a changed passphrase must close the old text.
    ///
    /// # Errors
    /// As [`Store::put_blobs`].
    fn put_key(&mut self, person: &PersonId, encrypted_pem: &str) -> Result<(), StoreError>;

    /// The encrypted private key of a person.
    ///
    /// # Errors
    /// The store cannot be read.
    fn key(&self, person: &PersonId) -> Result<Option<String>, StoreError>;

    /// Takes over what a bench has appended to its own log since the last time; how many entries were not here yet.
    /// [`crate::hand_over`] brings the blobs too.
    ///
    /// # Errors
    /// [`StoreError::OneLog`]: this store holds its own log and no other.
    fn take_over_log(&mut self, bench: &dyn Store) -> Result<u64, StoreError> {
        let _ = bench;
        Err(StoreError::OneLog { log: self.log().clone() })
    }

    /// What is not as this store was made: a guard that somebody removed, pages that do not fit
    /// together; one sentence each, none if all is well.
    ///
    /// # Errors
    /// The store cannot be read at all.
    fn form_faults(&self) -> Result<Vec<String>, StoreError>;

    /// As [`Store::form_faults`], for a check that reads all entries besides: it can hold their identities against the index
    /// of the store itself.
    ///
    /// # Errors
    /// As [`Store::form_faults`].
    fn form(&self) -> Result<Form, StoreError> {
        Ok(Form { faults: self.form_faults()?, index: None })
    }
}

/// Why a store could not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Nothing stands at the path.
    #[error("there is no audit trail at {}", path.display())]
    NoFile {
        /// The path asked for.
        path: PathBuf,
    },
    /// Something stands where a new trail is wanted.
    #[error("there is already something at {}; a trail is never written over", path.display())]
    AlreadyThere {
        /// The path asked for.
        path: PathBuf,
    },
    /// What stands at the path is something else.
    #[error("{} is no audit trail but {what}", path.display())]
    NotATrail {
        /// The path asked for.
        path: PathBuf,
        /// What it is, with its article.
        what: &'static str,
    },
    /// A newer program wrote the file.
    #[error(
        "{} was written by a newer program (format {found}; this one knows up to {known}); \
         nothing is wrong with the file",
        path.display()
    )]
    NewerFormat {
        /// The file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The newest format this program knows.
        known: i64,
    },
    /// Somebody else is writing, and went on doing so.
    #[error("{} is in use by another program; gave up after {:.1} s, try again", path.display(), waited.as_secs_f64())]
    Locked {
        /// The file.
        path: PathBuf,
        /// How long this store waits.
        waited: Duration,
    },
    /// There is no room left.
    #[error("the disk that holds {} is full; nothing of this was written", path.display())]
    DiskFull {
        /// The file.
        path: PathBuf,
    },
    /// The file, or the way it was opened, allows reading only.
    #[error("{} can only be read", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// The operating system could not read or write.
    #[error("{} could not be read or written: {what}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the operating system or SQLite says.
        what: String,
    },
    /// The file is not as it was written.
    #[error("{} is damaged: {what}; restore it from a copy and compare the checkpoints", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
    },
    /// An entry that cannot be read.
    #[error("entry {number} is damaged: {what}")]
    DamagedEntry {
        /// Which one.
        number: u64,
        /// What was found.
        what: String,
    },
    /// A checkpoint that cannot be read.
    #[error("the checkpoint of {size} entries is damaged: {what}")]
    DamagedCheckpoint {
        /// Its size.
        size: u64,
        /// What was found.
        what: String,
    },
    /// Bytes kept under a digest that is not theirs.
    #[error("the blob {wanted} is damaged: its bytes have the digest {found}")]
    DamagedBlob {
        /// The digest asked for.
        wanted: BlobDigest,
        /// The digest the bytes have.
        found: BlobDigest,
    },
    /// An identity that stands in the log with another content.
    #[error("entry {number} already has the identity {id}, with another {differs}")]
    OtherContent {
        /// The identity.
        id: EntryId,
        /// The number of the entry that has it.
        number: u64,
        /// "person", "time" or "content".
        differs: &'static str,
    },
    /// Something else than an encrypted key was handed over to be kept.
    #[error("what was handed over as the key of {person} is not encrypted; nothing else is kept")]
    PlainKey {
        /// Whose key.
        person: PersonId,
    },
    /// An entry or a blob beyond [`LARGEST_KEPT`].
    #[error("{what} of {bytes} bytes is larger than {LARGEST_KEPT} bytes, the most that is kept")]
    TooLarge {
        /// "an entry" or "a blob".
        what: &'static str,
        /// Its size.
        bytes: usize,
    },
    /// The store does not hold this log.
    #[error("the log {wanted} is not here, but {held}")]
    OtherLog {
        /// The log asked for.
        wanted: LogId,
        /// The log that is here.
        held: LogId,
    },
    /// Appending takes the bench's key, and the store was opened without.
    #[error("the log {log} was opened without the key of a bench, so nothing can be appended")]
    NoDeviceKey {
        /// The log.
        log: LogId,
    },
    /// The database cannot be reached, or the line to it broke and could not be made again in time.
    #[error("{place} cannot be reached: {what}; what got no answer can be given again, nothing is done twice")]
    Unreachable {
        /// The address.
        place: String,
        /// What the operating system or the server says.
        what: String,
    },
    /// The address of a database cannot be used.
    #[error(transparent)]
    Address(#[from] crate::AddressFault),
    /// A file that says in which database a record is cannot be read.
    #[error(transparent)]
    RecordFile(#[from] crate::RecordFileFault),
    /// The database has a log of this name already.
    #[error("there is already a log {log} in {}; name another with --log", path.display())]
    LogThere {
        /// The log.
        log: LogId,
        /// The database.
        path: PathBuf,
    },
    /// The database has no log of this name.
    #[error("there is no log {wanted} in {}; {}", path.display(), logs_there(held))]
    NoSuchLog {
        /// The log asked for.
        wanted: LogId,
        /// The database.
        path: PathBuf,
        /// The logs that are there.
        held: Vec<LogId>,
    },
    /// What is here of a log is not the beginning of what a bench hands over.
    #[error("the first {size} entries of {log} that are here are not those that the bench has; verify both")]
    NotTheBeginning {
        /// The log.
        log: LogId,
        /// How many entries.
        size: u64,
    },
    /// A store does not take over the log that it appends to itself.
    #[error("the log {log} is the one appended to here; a bench hands over a log of its own")]
    OwnLog {
        /// The log.
        log: LogId,
    },
    /// A record that is a file holds one log.
    #[error(
        "a record that is a file holds its own log, {log}, and takes over no other; hand over to one in a database"
    )]
    OneLog {
        /// Its log.
        log: LogId,
    },
    /// A log without entries has nothing to hand over.
    #[error("the log {log} has no checkpoint, so there is nothing to hand over")]
    NoCheckpoint {
        /// The log.
        log: LogId,
    },
    /// The key is not among those enrolled for this log.
    #[error("the key {key} is not enrolled for the log {log}; enrolled: {}", list(enrolled))]
    UnknownDevice {
        /// The log.
        log: LogId,
        /// The key that was offered.
        key: Fingerprint,
        /// The keys that are enrolled.
        enrolled: Vec<Fingerprint>,
    },
}

fn logs_there(logs: &[LogId]) -> String {
    match logs {
        [] => "there is none at all".to_owned(),
        _ => format!("there are {}", logs.iter().map(LogId::as_str).collect::<Vec<_>>().join(", ")),
    }
}

/// Gives each draft its number, the old one where its act is there already.
///
/// # Arguments
/// * `size`: how many entries the log has.
/// * `known`: the entries that have the identities of drafts already.
///
/// # Errors
/// [`StoreError::OtherContent`].
pub(crate) fn each_once(
    log: &LogId,
    size: u64,
    drafts: &[Draft],
    known: BTreeMap<EntryId, Entry>,
) -> Result<(Vec<u64>, Vec<Entry>), StoreError> {
    let (mut known, mut numbers, mut new) = (known, Vec::with_capacity(drafts.len()), Vec::new());
    let mut next = size;
    for draft in drafts {
        if let Some(there) = known.get(&draft.id) {
            numbers.push(same_act(there, draft)?);
            continue;
        }
        let Draft { id, by, at, bytes } = draft.clone();
        let entry = Entry { log: log.clone(), number: next, id, by, at, bytes };
        next += 1;
        numbers.push(entry.number);
        known.insert(entry.id, entry.clone());
        new.push(entry);
    }
    Ok((numbers, new))
}

/// The number of an entry that is there already, if the draft is the same act.
pub(crate) fn same_act(there: &Entry, draft: &Draft) -> Result<u64, StoreError> {
    let differs = match draft {
        Draft { by, .. } if *by != there.by => "person",
        Draft { at, .. } if *at != there.at => "time",
        Draft { bytes, .. } if *bytes != there.bytes => "content",
        _ => return Ok(there.number),
    };
    Err(StoreError::OtherContent { id: draft.id, number: there.number, differs })
}

fn list(keys: &[Fingerprint]) -> String {
    keys.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}
