//! A virtual spectrometer: takes a run order, gives readings with pulses whose truth is known.
//!
//! Suggested reading order:
//! 1. [`truth`]: the document that says what is really in the vessels and what goes wrong.
//! 2. [`fault`]: what can go wrong, by name: what each does to readings, and from which size it has to be found.
//! 3. [`spectrometer`]: the furnace, every constant of it, and how a firing becomes a pulse; [`flame`]: the same for a flame.
//! 4. [`simulate()`]: the rows of a run, fired one after the other.
//! 5. [`judge()`]: reported results beside the truth; [`judge_faults()`]: what went wrong beside what was flagged.
//!
//! Knows everything an evaluation has to find out. Never knows files, storage, screens or how results are worked out;
//! no evaluation reads a truth.
//!
//! Invariant: every draw comes from a stream named by what it is drawn for (a firing, a cause of uncertainty), so a seed
//! gives the same bytes on every machine, and rows added later move nothing of the rows before them.

pub mod fault;
mod place;
pub mod truth;

pub mod flame;
mod platform;
pub mod spectrometer;

mod cup;
mod disturbance;
mod draws;

mod judge;
mod judge_faults;
mod simulate;
mod simulator_fault;

#[cfg(test)]
mod small_run;

pub use fault::{Fault, FaultFault, PlannedFault};
pub use flame::Flame;
pub use judge::{Found, JudgeFault, Judged, Judgement, Outcome, ReportedResult, judge};
pub use judge_faults::{JudgedFault, judge_faults};
pub use simulate::{SimulatedReading, SimulatedSignal, printed, simulate, simulate_in_flame, simulate_on};
pub use simulator_fault::{Impossible, SimulatorFault};
pub use spectrometer::Spectrometer;
pub use truth::{Truth, TruthFault};
