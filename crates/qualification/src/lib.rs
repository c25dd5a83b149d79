//! Published worked examples through the functions that the program itself uses, compared figure by figure.
//!
//! Suggested reading order:
//! 1. [`qualify`]: runs files of cases; [`Qualification`] is what comes of it, [`shipped`] the cases in the program.
//! 2. `pack`: which files hold which cases, and who runs them.
//! 3. `case_file`, `comparison`, `answer`: reading a case, holding figures against it.
//! 4. One folder or file for each pack: its kinds, each mapped to functions of the floors below.
//!
//! Never holds a formula of its own: what a case asks for is computed where the program computes it.

mod answer;
mod case_file;
mod comparison;
mod difference;
mod expression;
mod pack;
mod qualification;
pub mod shipped;
mod stop;
mod value;

mod calibration;
mod handbook;
mod limits;
mod physics;
mod quality;
mod records;
mod uncertainty;

pub use answer::Answer;
pub use calibration::{CertifiedDigits, certified_digits, certified_table};
pub use case_file::CaseFault;
pub use comparison::{Comparison, Tolerance, Verdict};
pub use qualification::{Beside, CaseReport, Counts, Outcome, Qualification, Source, qualify};
