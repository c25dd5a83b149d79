//! The measurement model (VIM 2.48): a tape of terms, written once and used three ways.
//!
//! [`Model::input`] puts quantities with their sources on the tape; operators between [`Term`]s and [`Model::solve`]
//! build the equation. Swept backwards the tape is the uncertainty budget ([`Model::first_order`]), replayed with
//! draws it is the propagation of distributions ([`Model::monte_carlo`]), printed it is the derivation
//! ([`Model::explain`]). [`Model::second_order`] and [`Validation`] say how far the budget can be trusted.
//!
//! Invariant: no operation looks at the value of a term to choose what it does, so that a replay walks the same tape.

mod denominators;
mod draws;
mod explain;
mod first_order;
mod fit;
#[cfg(test)]
mod laws;
mod monte_carlo;
mod replay;
mod sample;
mod second_order;
mod spread;
mod tape;
mod term;
mod validation;

pub use explain::{Derivation, Step, figure};
pub use fit::{Fit, NoSolution};
pub use sample::{Interval, Sample};
pub use tape::{Model, NotACovariance};
pub use term::Term;
pub use validation::{Validation, numerical_tolerance};
