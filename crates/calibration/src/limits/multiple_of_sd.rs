//! Limits as a multiple of a standard deviation over the slope: 3·s/b, 3.3·s/b, 10·s/b.
//!
//! The shortest rules, and the least defined: they say nothing of the risks taken. [`super::din_32645`] and
//! [`super::currie`] do.

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};

use super::asked::NoLimit;

/// A limit with what it was computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MultipleOfSd {
    /// The standard deviation: of blanks, or of the residuals.
    pub sd: Response,
    /// Slope of the calibration.
    pub slope: Sensitivity,
    /// How many standard deviations.
    pub factor: f64,
    /// The limit.
    pub limit: MassConcentration,
}

/// A multiple of a standard deviation as an amount.
///
/// # Errors
/// [`NoLimit`]: a slope that is not above zero, figures that are not finite.
///
/// # Source
/// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, 5.7, for 3·s. Checked
/// by `tests/published/miller.rs`, `tests/published/da_silva_machado.rs` and `tests/published/din_32645.rs`.
pub fn limit(sd: Response, slope: Sensitivity, factor: f64) -> Result<MultipleOfSd, NoLimit> {
    if slope.si().is_nan() || slope.si() <= 0.0 {
        return Err(NoLimit::NotRising { slope: slope.si() });
    }
    for (what, value) in [("the standard deviation", sd.si()), ("the factor", factor)] {
        if value.is_nan() || value < 0.0 {
            return Err(NoLimit::OutOfRange { what, value });
        }
    }
    let limit = factor * sd.si() / slope.si();
    if !limit.is_finite() {
        return Err(NoLimit::OutOfRange { what: "a limit", value: limit });
    }
    Ok(MultipleOfSd { sd, slope, factor, limit: MassConcentration::from_si(limit) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_that_does_not_rise_has_no_limit() {
        let found = limit(Response::from_si(0.002), Sensitivity::from_si(4.0), 3.0).unwrap();
        assert!((found.limit.si() - 0.0015).abs() < 1e-18);
        assert!(limit(Response::from_si(0.002), Sensitivity::from_si(-4.0), 3.0).is_err());
        assert!(limit(Response::from_si(f64::NAN), Sensitivity::from_si(4.0), 3.0).is_err());
        let negative = limit(Response::from_si(-0.002), Sensitivity::from_si(4.0), 3.0);
        assert_eq!(negative, Err(NoLimit::OutOfRange { what: "the standard deviation", value: -0.002 }));
        assert!(limit(Response::from_si(0.002), Sensitivity::from_si(4.0), -3.0).is_err());
    }
}
