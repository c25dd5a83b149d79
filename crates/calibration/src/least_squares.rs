//! Least squares for curves that are written once: derivatives, orthogonal triangles, the search for a minimum.
//!
//! Suggested reading order:
//! 1. [`number`]: numbers that carry their derivatives along, so that a curve is one line of arithmetic.
//! 2. [`curve`]: a curve with parameters, and the readings it is held against.
//! 3. [`triangle`]: Householder reflections and the triangle they leave.
//! 4. [`marquardt`]: the search for the least sum of squares.
//! 5. [`sensitivity`]: how the parameters move with each response and each amount.
//! 6. [`polynomial`]: sums of powers, to nearly the last digit.
//!
//! Plain `f64` throughout; kinds stand at the doors of the models.

pub mod curve;
pub mod number;

pub mod triangle;

pub mod marquardt;
pub mod sensitivity;

pub mod polynomial;

pub(crate) mod twofold;
