//! The physics pack, `reference/physics`: one module for each file of cases, each with one door, `compute`.
//!
//! A case without a computation fails, and so does an expected figure that no computation gives.

pub mod alignment;
pub mod case;
pub mod diagnostics;
pub mod dip;
pub mod flame;
pub mod noise;
pub mod pulses;
pub mod ranges;
pub mod stray_light;
pub mod temperature;
