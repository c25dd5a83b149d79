//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: M. S. Epstein, course material on atomic absorption: determination of calcium in serum, method of bracketing.

pub const CASES: &[&str] =
    &["hyperbola-calcium-serum", "rational3-calcium-serum", "bracketing-calcium-serum", "bracketing-drift"];

/// Signal page, blank subtracted; hyperbola recomputed.
#[test]
fn calcium_follows_a_hyperbola() {
    crate::hold("hyperbola-calcium-serum");
}

/// Signal page; equation of W. B. Barnett, Spectrochim. Acta B 39 (1984) 829 (from memory), exact through three standards.
#[test]
fn calcium_by_the_three_coefficient_equation() {
    crate::hold("rational3-calcium-serum");
}

/// Formula page and signal page; recomputed.
#[test]
fn calcium_between_two_standards() {
    crate::hold("bracketing-calcium-serum");
}

/// Run order as described there, constructed series with falling sensitivity.
#[test]
fn drift_is_taken_out_in_run_order() {
    crate::hold("bracketing-drift");
}
