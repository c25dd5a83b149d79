//! Published examples, run from the figures of the source through a data package to the outcome.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod package;
mod sums;

mod additions;
mod brackets;
mod conformity;
mod coverage;
mod functions;
mod laws;
mod limits;
