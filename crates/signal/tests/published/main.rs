//! Checks against literature: every case of the physics pack this crate has formulas for.
//!
//! One file of cases, one module. A case without a computation fails, and so does an expected figure that
//! no computation gives.

mod alignment;
mod case;
mod diagnostics;
mod dip;
mod noise;
mod pulses;
mod ranges;
mod stray_light;
