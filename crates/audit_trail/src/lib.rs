//! Entries as opaque bytes, a Merkle tree over them, keys, signatures, people; stored in SQLite or PostgreSQL.
//!
//! Everything that happens in the laboratory is one [`Entry`] appended to a log: who, when, and
//! bytes whose meaning only the floor above knows. Entries are the leaves of a Merkle tree
//! (RFC 9162); every batch that is appended ends in a [`Checkpoint`], the tree's size and root
//! signed by the bench's own key. Whoever holds one checkpoint, from a report for example, can
//! tell whether any earlier entry was changed, left out or put in since.
//!
//! * To write and read: [`SqliteStore`] or [`PostgresStore`], through the trait [`Store`].
//! * To check everything: [`verify_trail`]; with checkpoints kept elsewhere,
//!   [`verify_trail_knowing`].
//! * To show that a log only grew between two audits: [`prove_growth`] and [`GrowthProof::check`].
//! * To hand one entry to a stranger: [`prove_entry`] and [`EntryProof::check`].
//! * To sign: [`keys::SigningKey`]. Who may do what: [`people::may`].
//!
//! What this crate deliberately does not know: what the bytes of an entry mean, how results come
//! about, and how entries become people; it has no verb that changes or removes an entry.

pub use self::postgresql::{Address, AddressFault, PostgresStore};
pub use blobs_elsewhere::{BlobPlace, BlobsElsewhere, BucketAddress, BucketAddressFault};
pub use checkpoint::{Checkpoint, CheckpointFault};
pub use entry::{Draft, Entry, EnvelopeFault};
pub use entry_proof::{CannotProve, EntryProof, NotShown, prove_entry, read_tree};
pub use growth_proof::{CannotShowGrowth, GrowthProof, NotGrown, prove_growth};
pub use hand_over::{HandedOver, hand_over};
pub use hexadecimal::HexFault;
pub use identity::{EntryId, IdentityFault, LONGEST_NAME, LogId, PersonId};
pub use merkle::Hash;
pub use record_file::{RecordElsewhere, RecordFileFault, open_record, record_elsewhere};
pub use sqlite::SqliteStore;
pub use store::{BlobDigest, Form, LARGEST_KEPT, Now, NumberById, Recounted, Store, StoreError};
pub use timestamp::{Timestamp, TimestampFault};
pub use verification::{ClockStep, Fault, Known, TrailReport, verify_trail, verify_trail_knowing};

// What is kept.
mod entry;
mod identity;
mod timestamp;

// What makes it tamper-evident.
pub mod merkle;

mod checkpoint;
pub mod keys;

// Where it is kept.
mod store;

mod blobs_elsewhere;
mod hand_over;
mod postgresql;
mod record_file;
mod sqlite;

// How it is checked.
mod entry_proof;
mod growth_proof;
mod verification;

// Who may.
pub mod people;

mod hexadecimal;

#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
