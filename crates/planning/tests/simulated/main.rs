//! Simulated runs: each planned fault is found with the right next step, clean runs are quiet, and the scenes at the bench.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod bench;
mod clean;
mod faults;
mod limits;
mod live;
mod roll_over;
mod scenes;
mod two_methods;
