//! What people read when a file is not as it should be, and the folders that are.
//!
//! The texts are snapshots: they change with a reader's consent only.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod any_input;
mod documents;
mod folders;
mod tables;
mod text_files;
mod zoo;
