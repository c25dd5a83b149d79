//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: DIN 38402-51:2017-05, linear calibration.

pub const CASES: &[&str] = &["linearity-din38402-nitrite", "linearity-din38402-carbamazepine"];

/// Example data set B.1; recomputed.
#[test]
fn nitrite_over_two_decades_bends() {
    crate::hold("linearity-din38402-nitrite");
}

/// Example data set B.6; recomputed.
#[test]
fn carbamazepine_bends_within_its_scatter() {
    crate::hold("linearity-din38402-carbamazepine");
}
