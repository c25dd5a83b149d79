//! Decimal figures as people write them, and the rounding of a result for print.
//!
//! [`Decimal`] holds the digits that were written ("0.050" keeps its last nought), compares and adds
//! exactly and rounds in decimal; [`report`] rounds an uncertainty to its significant digits and the
//! value to the same place.
//!
//! A binary `f64` enters through [`Decimal::from_f64`] as the shortest decimal text that reads back as
//! the same number: what a person sees is what is rounded, 1.005 as well as 28.05.
//!
//! Invariant: nothing is rounded but by a named [`Rounding`], once.

mod decimal;
mod figure_text;
mod report;

pub use decimal::{Decimal, Rounding};
pub use figure_text::{DecimalError, MAX_DIGITS};
pub use report::{Digits, ReportRule, Reported, report};
