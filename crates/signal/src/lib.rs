//! A pulse: channels, baseline, integration, net absorbance with its uncertainty, shape.
//!
//! [`reduce`] turns the [`Trace`] of one reading into its figures; [`reduce_steady`] does so for the steady
//! signal of a flame, [`reduce_many`] for many pulses at once. What a pulse shows beyond its figures, what
//! noise makes of them and which formulas pulses follow stand in modules of their own.
//!
//! Knows absorbance and time. Never knows concentrations, methods, files or other crates of the house.
//!
//! Invariant: sums run in eight lanes in a stated order and every transcendental comes from `libm`, so the
//! same samples give the same bits on every machine, alone or among others, on one core or many. No NaN
//! leaves a door.

pub mod baseline;
pub mod batch;
mod bisection;
mod figures;
mod lanes;
pub mod photon_noise;
pub mod pulse_shape;
mod reduction;
pub mod smoothing;
mod steady;
pub mod stray_light;
mod summit;
mod trace;
mod trace_fault;
mod window;

pub use batch::{Batch, BatchFigures, reduce_many};
pub use reduction::{APPEARANCE_IN_SD, Reduced, reduce};
pub use steady::{Steady, reduce_steady};
pub use trace::{CLIPPED_ABOVE, CLIPPED_RUN, Times, Trace};
pub use trace_fault::{Channel, TraceFault};
pub use window::{LEAST_BASELINE, Window};
