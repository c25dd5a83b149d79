//! The record held against published documents: one file for each.
//!
//! Cases and expectations are read from `reference/records/`.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod jcs;
