//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: B. M. Greenwell, C. M. Schubert Kabban, The R Journal 6/1 (2014) 90-100.

pub const CASES: &[&str] = &["fieller-arsenic-water", "nls-inverse-nasturtium"];

/// Linear calibration: arsenic in water, inversion and Wald limits, readings pooled with the line.
#[test]
fn arsenic_in_water_has_fieller_limits() {
    crate::hold("fieller-arsenic-water");
}

/// Nonlinear calibration: nasturtium bioassay, inversion and Wald limits on a curve that falls.
#[test]
fn a_falling_curve_has_inversion_limits() {
    crate::hold("nls-inverse-nasturtium");
}
