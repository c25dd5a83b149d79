//! The verbs of the job: open, plan, import, evaluate, decide, sign, return, issue, archive, verify; and those of the record: people, entries, copies.
//!
//! [`Laboratory`] stands on a store of the audit trail. Every verb fetches what the record says, asks who may, works out
//! what follows, and appends one act; nothing is changed or deleted. [`act`] is what an entry says, [`state`] the fold of
//! all of them.
//!
//! Never knows HTTP or terminals.

pub mod act;
pub mod state;

mod laboratory;

pub mod accounts;
mod apart;
mod retaining;
pub mod told;

pub mod deciding;
mod importing;
mod issuing;
pub mod lots;
mod opening;
mod planning_legs;
mod refusing;
mod signing;
mod staging;
mod starting;
pub use staging::stage_of;
mod taking_over;

pub mod searching;

pub mod archive;
pub mod listing;
mod restoring;
pub mod verification;

pub use apart::customer_apart;
pub use importing::Imported;
pub use issuing::{Issue, IssueDraft};
pub use laboratory::{Evaluated, Laboratory, LaboratoryError};
pub use opening::{Identity, Opened, Scope};
pub use restoring::Restored;
pub use signing::{SignatureMeaning, Signed, SignedFacts, Standing, signature_text, what_stops};
