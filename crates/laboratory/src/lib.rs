//! The verbs of the job: open, plan, import, evaluate, decide, sign, issue, archive, verify.
//!
//! [`Laboratory`] stands on a store of the audit trail. Every verb fetches what the record says, asks who may, works out
//! what follows, and appends one act; nothing is changed or deleted. [`act`] is what an entry says, [`state`] the fold of
//! all of them.
//!
//! Never knows HTTP or terminals.

pub mod act;
pub mod state;

mod laboratory;

pub mod deciding;
mod importing;
mod issuing;
mod opening;
mod planning_legs;
mod signing;
mod taking_over;

pub mod archive;
pub mod verification;

pub use importing::Imported;
pub use issuing::{Issue, IssueDraft};
pub use laboratory::{Evaluated, Laboratory, LaboratoryError};
pub use opening::{Opened, Scope};
pub use signing::{SignatureMeaning, Signed, SignedFacts, signature_text, what_stops};
