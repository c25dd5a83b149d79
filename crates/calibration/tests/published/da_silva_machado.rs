//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: O. B. da Silva, S. A. S. Machado, Anal. Methods 4 (2012) 2348-2354.

pub const CASES: &[&str] = &["limits-paraquat"];

/// Calibration data of the article; 3 s/b with and without the intercept, recomputed.
///
/// DIFFERENCE: adding the intercept to the limit is computed to show what it does (1.07 instead of 0.195), not offered.
#[test]
fn three_standard_deviations_over_the_slope() {
    crate::hold("limits-paraquat");
}
