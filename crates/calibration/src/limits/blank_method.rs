//! The decision limit from repeated blanks: the blank method.
//!
//! Preferred where true blanks exist: the scatter is measured where the limit stands.

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::summary;

use super::asked::NoLimit;
use crate::point::count;

/// The decision limit with what it was computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlankLimit {
    /// Number of blanks.
    pub n_blanks: usize,
    /// Mean response of the blanks.
    pub mean: Response,
    /// Standard deviation of the blanks.
    pub sd: Response,
    /// Slope of the calibration.
    pub slope: Sensitivity,
    /// Probability of an error of the first kind.
    pub alpha: f64,
    /// Readings that the mean of a sample will have.
    pub n_readings: u32,
    /// Student's factor.
    pub t: f64,
    /// Decision limit, x_C, above the mean of the blanks.
    pub decision: MassConcentration,
}

/// The decision limit of blanks.
///
/// # Arguments
/// * `blanks`: two responses or more.
///
/// # Errors
/// [`NoLimit`].
///
/// # Source
/// DIN 32645:2008-11: x_C = (s_L/b)·t(1 − α, n_L − 1)·√(1/m + 1/n_L). Checked by `tests/published/din_32645.rs`.
pub fn limit(blanks: &[Response], slope: Sensitivity, alpha: f64, n_readings: u32) -> Result<BlankLimit, NoLimit> {
    if blanks.len() < 2 {
        return Err(NoLimit::TooFewReadings { found: blanks.len(), needed: 2 });
    }
    if slope.si().is_nan() || slope.si() <= 0.0 {
        return Err(NoLimit::NotRising { slope: slope.si() });
    }
    if n_readings == 0 {
        return Err(NoLimit::OutOfRange { what: "the number of readings", value: 0.0 });
    }
    let figures: Vec<f64> = blanks.iter().map(|blank| blank.si()).collect();
    let summary = summary::type_a(&figures).ok_or(NoLimit::OutOfRange { what: "a blank", value: f64::INFINITY })?;
    // From one half on the limit would lie below the mean of the blanks.
    let t = student_t::upper_quantile(alpha, summary.dof)
        .filter(|t| *t >= 0.0)
        .ok_or(NoLimit::OutOfRange { what: "alpha", value: alpha })?;
    let root = (1.0 / f64::from(n_readings) + 1.0 / count(summary.n)).sqrt();
    let decision = summary.sd / slope.si() * t * root;
    if !decision.is_finite() {
        return Err(NoLimit::OutOfRange { what: "a limit", value: decision });
    }
    Ok(BlankLimit {
        n_blanks: summary.n,
        mean: Response::from_si(summary.mean),
        sd: Response::from_si(summary.sd),
        slope,
        alpha,
        n_readings,
        t,
        decision: MassConcentration::from_si(decision),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blanks_that_give_no_limit_are_told() {
        let blanks = |figures: &[f64]| figures.iter().map(|&figure| Response::from_si(figure)).collect::<Vec<_>>();
        let slope = Sensitivity::from_si(2.0);
        let few = limit(&blanks(&[0.1]), slope, 0.01, 1);
        assert_eq!(few, Err(NoLimit::TooFewReadings { found: 1, needed: 2 }));
        let level = limit(&blanks(&[0.1, 0.2]), Sensitivity::from_si(0.0), 0.01, 1);
        assert_eq!(level, Err(NoLimit::NotRising { slope: 0.0 }));
        assert!(limit(&blanks(&[0.1, 0.2]), slope, 1.0, 1).is_err());
        assert!(limit(&blanks(&[0.1, 0.2]), slope, 0.01, 0).is_err());
        assert!(limit(&blanks(&[0.1, f64::NAN]), slope, 0.01, 1).is_err());
        let alike = limit(&blanks(&[0.1, 0.1, 0.1]), slope, 0.01, 1).unwrap();
        assert_eq!(alike.decision.si(), 0.0);
    }
}
