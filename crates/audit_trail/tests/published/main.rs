//! The audit trail held against published documents: one file for each.
//!
//! Cases and expectations are read from `reference/records/`. Every test takes its cases through
//! [`Pack`], which fails when a case is left over or a key of a case was not looked at.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod pack;
mod rfc_3339;
mod rfc_8032;
mod rfc_9106;
mod rfc_9162;

pub use pack::{Case, Pack};
