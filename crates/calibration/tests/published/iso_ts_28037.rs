//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: ISO/TS 28037:2010, Determination and use of straight-line calibration functions.

pub const CASES: &[&str] = &["wls-iso28037-equal", "eiv-iso28037"];

/// Clause 6, first example (p. 13): equal known uncertainties of the responses.
#[test]
fn known_uncertainties_of_the_responses() {
    crate::hold("wls-iso28037-equal");
}

/// Clause 7, example (p. 21): known uncertainties in both variables.
#[test]
fn known_uncertainties_in_both_variables() {
    crate::hold("eiv-iso28037");
}
