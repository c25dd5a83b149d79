//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: P. T. Boggs et al., NISTIR 92-4834, NIST, 1992; public domain.

pub const CASES: &[&str] = &["eiv-odr-explicit"];

/// Sample explicit problem, p. 39: a curve with errors in both variables, three amounts exact.
#[test]
fn the_explicit_sample_problem() {
    crate::hold("eiv-odr-explicit");
}
