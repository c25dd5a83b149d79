//! A virtual spectrometer: takes a run order, gives readings with pulses whose truth is known.
//!
//! Suggested reading order:
//! 1. [`truth`]: the document that says what is really in the vessels and what goes wrong.
//! 2. [`spectrometer`]: the bench, every constant of it, and how a firing becomes a pulse.
//! 3. [`simulate()`]: the rows of a run, fired one after the other.
//! 4. [`judge()`]: reported results beside the truth.
//!
//! Knows everything an evaluation has to find out. Never knows files, storage, screens or how results are worked out;
//! no evaluation reads a truth.
//!
//! Invariant: every draw comes from a stream named by what it is drawn for (a firing, a cause of uncertainty), so a seed
//! gives the same bytes on every machine, and rows added later move nothing of the rows before them.

pub mod truth;

pub mod spectrometer;

mod cup;
mod draws;

mod judge;
mod simulate;
mod simulator_fault;

#[cfg(test)]
mod small_run;

pub use judge::{Found, JudgeFault, Judged, Judgement, Outcome, ReportedResult, judge};
pub use simulate::{SimulatedReading, simulate, simulate_on};
pub use simulator_fault::SimulatorFault;
pub use spectrometer::Spectrometer;
pub use truth::{Fault, Truth, TruthFault};
