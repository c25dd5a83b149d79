//! What follows from a data package and its decisions: responses, calibration, results, flags, conformity; pure.
//!
//! [`evaluate`] is the one door; [`explain`] tells how one of its results came about, from the same model that made it.
//! The stages stand one a file, in the order of the work: [`responses`], [`calibrating`], [`quantifying`],
//! [`combining`], [`flagging`], [`stating`] (in the second trial edition
//! [`effective_coverage`]); [`weighing`] and [`evidence`] serve the calibration, [`adding`]
//! is standard additions, [`bracketing`] reads between standards, [`detecting`]
//! and [`covering`] its limits and the uncertainty of results, [`judging`] their conformity, [`summing`] adds them. [`procedure`] strings them
//! together, edition by edition; [`outcome`] is what comes out. [`live`] evaluates a run that is still going, after every
//! act.
//!
//! Invariant: no clock, no files, no randomness, no locale. Equal packages and decisions give equal bits, in whatever
//! order readings arrived and on however many threads.

mod evaluating;

pub mod responses;
pub mod restoring;

pub mod calibrating;
pub mod evidence;
pub mod weighing;

pub mod detecting;

pub mod adding;
pub mod bracketing;
pub mod quantifying;

pub mod combining;

pub mod solids;

pub mod flagging;

pub mod covering;
pub mod judging;
pub mod stating;
pub mod summing;

pub mod effective_coverage;

mod calibration_outcome;
pub mod measured_twice;
pub mod outcome;
pub mod procedure;
mod sum_outcome;

mod explaining;

pub mod open_points;
pub mod rejecting;
pub mod repeating;

pub mod live;
mod validating;

pub use evaluating::{UnknownEdition, evaluate, evaluate_by};
pub use explaining::{Explanation, NoSuchResult, UsedCalibration, explain};
pub use live::Live;
pub use validating::{Validated, validate};
