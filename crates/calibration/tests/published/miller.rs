//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., Pearson, 2010.

pub const CASES: &[&str] = &["line-miller-fluorescein", "weighted-miller-absorbance", "stdadd-miller-silver"];

/// Chapter 5, worked examples (expected figures from memory): fluorescein, the line with its errors, three unknowns, 3 s.
///
/// DIFFERENCE: the printed s_yx and s_a come from rounded sums; full precision gives 0.43285 and 0.29494.
#[test]
fn fluorescein_by_the_unweighted_line() {
    crate::hold("line-miller-fluorescein");
}

/// Chapter 5, weighted regression: absorbance with standard deviations that grow.
#[test]
fn absorbance_by_the_weighted_line() {
    crate::hold("weighted-miller-absorbance");
}

/// Chapter 5, standard additions (figures from memory): silver by atomic absorption.
#[test]
fn silver_by_standard_additions() {
    crate::hold("stdadd-miller-silver");
}
