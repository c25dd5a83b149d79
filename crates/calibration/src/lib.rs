//! Response and amount: the calibration function, its fit as a node of the measurement model, reading an amount back.
//!
//! Suggested reading order:
//! 1. [`point`]: readings of standards; what weights mean.
//! 2. [`mod@line`], [`proportional`]: the straight line; [`errors_in_both`] where the standards are uncertain too.
//! 3. [`quadratic`], [`hyperbola`], [`rational`], [`unabsorbed_light`]: curves, each a file.
//! 4. [`calibration_function`]: what can be asked of any of them; [`fitted`] for curves, [`node`] for the tape, [`inverse`]
//!    and [`fieller`] for amounts and their limits.
//! 5. [`level`], [`weighting`], [`two_component`]: how readings scatter, and what they weigh.
//! 6. [`regression`], [`lack_of_fit`], [`mandel`], [`residual_runs`], [`point_to_point`], [`variance_homogeneity`]:
//!    whether a function is right; [`choice`] among several.
//! 7. [`limits`]: decision, detection and quantitation limits.
//! 8. [`standard_additions`], [`bracketing`]: calibration in the sample itself, and beside it.
//! 9. [`least_squares`]: the numerical core, plain figures without kinds.
//!
//! Never knows pulses or files. Amounts are mass concentrations of the measured solution.

pub mod point;

pub mod errors_in_both;
pub mod line;
pub mod proportional;

pub mod hyperbola;
pub mod quadratic;
pub mod rational;
pub mod unabsorbed_light;

pub mod calibration_function;
pub mod fieller;
pub mod fitted;
pub mod inverse;
pub mod node;

pub mod level;
pub mod two_component;
pub mod weighting;

pub mod choice;
pub mod lack_of_fit;
pub mod mandel;
pub mod point_to_point;
pub mod regression;
pub mod residual_runs;
pub mod variance_homogeneity;

pub mod limits;

pub mod bracketing;
pub mod standard_additions;

pub mod least_squares;

#[cfg(test)]
mod any_figures;
mod root;
mod shown;

#[doc = include_str!("../README.md")]
#[cfg(doctest)]
struct Readme;
