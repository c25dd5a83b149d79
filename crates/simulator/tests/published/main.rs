//! Checks against literature, and the demonstration order fired whole.
//!
//! One file a publication or pack. The order of the invented laboratory stands here too, because the documents under
//! `demo/` promise what a run of them shows.

// Everything here is a test; clippy only knows the functions that are marked as one.
#![allow(clippy::unwrap_used)]

mod characteristic_mass;
mod demo_order;
mod faults;
mod millrace;
mod supply_and_loss;
