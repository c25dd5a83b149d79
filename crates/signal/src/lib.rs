//! A pulse: channels, baseline, integration, net absorbance with its uncertainty, shape.
//!
//! [`reduce`] turns the [`Trace`] of one reading into its figures; [`reduce_steady`] does so for the steady
//! signal of a flame, [`reduce_many`] for many pulses at once. What a pulse shows beyond its figures, what
//! noise makes of them and which formulas pulses follow stand in modules of their own.
//!
//! Knows absorbance and time, and the temperature that makes a pulse. Never knows concentrations, methods, files or other crates of the house.
//!
//! Invariant: sums run in eight lanes in a stated order and every transcendental comes from `libm`, so the
//! same samples give the same bits on every machine, alone or among others, on one core or many. No NaN
//! leaves a door.

// What goes in.
mod in_turn;
mod trace;
mod trace_fault;
mod window;

pub mod alignment;

// What comes out.
pub mod batch;
pub mod integration_limits;
mod pulse_figures;
mod reduction;
mod steady;

pub mod shape;
pub mod shape_of_standards;

// What it is made of.
mod figures;
mod lanes;
mod pulse_noise;
pub mod smoothing;

// What a pulse tells beyond its figures.
pub mod appearance;
pub mod carry_over;
pub mod humps;
pub mod over_correction;
pub mod spectral_neighbours;
pub mod unfinished;

// Why absorbance bends, and reading beyond its maximum.
pub mod dipped_pulse;
pub mod joined_area;
pub mod line_width;
pub mod residual_fraction;
pub mod restored_area;
pub mod roll_over;
pub mod stray_light;
pub mod two_ranges;

// What noise makes of it.
pub mod baseline;
pub mod photon_noise;

// Readings of a flame, temperatures of a furnace.
pub mod flame_reading;
pub mod furnace_temperature;
pub mod pyrolysis;

// Pulses with a formula.
pub mod pulse_shape;
mod sign_change;
mod summit;

pub use batch::{Answer, Batch, BatchFigures, reduce_into, reduce_many};
pub use in_turn::InTurn;
pub use pulse_figures::{LEAST_IN_WIDTH, PulseFigures, examine};
pub use reduction::{Reduced, net_pulse, reduce};
pub use shape::{Shape, shape};
pub use steady::{Steady, reduce_steady};
pub use trace::{CLIPPED_ABOVE, CLIPPED_RUN, Times, Trace};
pub use trace_fault::{Channel, TraceFault};
pub use window::{LEAST_BASELINE, Window};

/// The example of the README is run.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
