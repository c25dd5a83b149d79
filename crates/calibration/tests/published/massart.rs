//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: D. L. Massart et al., Handbook of Chemometrics and Qualimetrics, Part A, Elsevier, 1997.

pub const CASES: &[&str] = &["line-massart-ex1", "weighted-massart-ex3", "lof-massart-ex3", "variance-massart-ex3"];

/// Chapter 8, examples 1 (p. 175) and 7: an unknown read once and five times.
#[test]
fn an_unknown_read_once_and_five_times() {
    crate::hold("line-massart-ex1");
}

/// Chapter 8, examples 3 (p. 188) and 8 (p. 200, eq. 8.28): weights from the scatter of replicates.
#[test]
fn a_weighted_line_through_level_means() {
    crate::hold("weighted-massart-ex3");
}

/// Chapter 8, data of example 3 (p. 188); recomputed.
#[test]
fn six_levels_of_five_replicates_lack_fit() {
    crate::hold("lof-massart-ex3");
}

/// Chapter 8, data of example 3 (p. 188); recomputed.
#[test]
fn the_variances_of_six_levels_differ() {
    crate::hold("variance-massart-ex3");
}
