//! Checks of the statistics against literature, one file a subject.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod solid_sampling;
mod tables;
