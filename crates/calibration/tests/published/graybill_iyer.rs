//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: F. A. Graybill, H. K. Iyer, Regression Analysis: Concepts and Applications, Duxbury Press, 1994.

pub const CASES: &[&str] = &["fieller-thermostat", "fieller-reaction-chamber"];

/// Chapter 6, p. 431: calibration of a thermostat, two unknowns.
#[test]
fn a_thermostat_has_fieller_limits() {
    crate::hold("fieller-thermostat");
}

/// Chapter 6, p. 433: the setting for a wanted mean response.
#[test]
fn a_wanted_mean_response_has_limits() {
    crate::hold("fieller-reaction-chamber");
}
