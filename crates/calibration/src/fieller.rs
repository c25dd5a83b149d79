//! Inversion limits of an amount read from a straight line (Fieller limits), beside the symmetric ones.
//!
//! [`limits`] for the mean of readings whose scatter is the line's own; [`of_readings`] pools the scatter of the readings
//! with that of the line; [`of_mean_response`] for a wanted mean response, which no reading scatters about.
//!
//! The symmetric limits are good while g is small; from g = 1 on no finite interval exists.

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::model::Interval;
use darkline_metrology::summary;

use crate::fitted::{dof_of, root_of_readings};
use crate::inverse::Unreadable;
use crate::line::Line;
use crate::point::{Dispersion, count};

/// g above which the symmetric limits should give way to the inversion limits.
///
/// # Source
/// N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998 (from memory).
pub const SYMMETRIC_UP_TO: f64 = 0.05;

/// An amount with its inversion limits and the figures they come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The amount read back.
    pub amount: MassConcentration,
    /// Inversion limits.
    pub interval: Interval<MassConcentration>,
    /// Symmetric (Wald) limits: amount ± t·u.
    pub symmetric: Interval<MassConcentration>,
    /// Standard uncertainty of the amount by first order.
    pub u: MassConcentration,
    /// g = t²·s²/(b²·S_xx): how far the slope is from being zero.
    pub g: f64,
    /// Student's factor.
    pub t: f64,
    /// Its degrees of freedom; infinite where the dispersion is known.
    pub dof: f64,
    /// Standard deviation of a reading of weight one that was used.
    pub sd: f64,
}

/// Limits for the mean of readings, with the residual standard deviation of the line.
///
/// # Arguments
/// * `n_readings`, `weight`: readings behind the response and the weight of one.
/// * `level`: level of confidence, between 0 and 1; two-sided.
///
/// # Errors
/// [`Unreadable`]: a line that does not rise, g ≥ 1.
///
/// # Source
/// B. M. Greenwell, C. M. Schubert Kabban, The R Journal 6/1 (2014) 90; weights as in D. L. Massart et al., Handbook of
/// Chemometrics and Qualimetrics A, 1997, eq. 8.28. Checked by `tests/published/greenwell_schubert_kabban.rs`.
pub fn limits(line: &Line, response: Response, n_readings: u32, weight: f64, level: f64) -> Result<Limits, Unreadable> {
    limits_at_dof(line, response, n_readings, weight, level, dof_of(line.dof(), line.dispersion))
}

/// [`limits`] with other degrees of freedom than those of the line.
pub(crate) fn limits_at_dof(
    line: &Line,
    response: Response,
    n_readings: u32,
    weight: f64,
    level: f64,
    dof: f64,
) -> Result<Limits, Unreadable> {
    let root = root_of_readings(n_readings, weight)?;
    solve(line, response.si(), 1.0 / (root * root), line.sd_of_unit_weight(), dof, level)
}

/// Limits for readings of the unknown, whose own scatter is pooled with that of the line.
///
/// # Arguments
/// * `responses`: m ≥ 1 readings, each of weight `weight`.
///
/// # Errors
/// As [`limits`].
///
/// # Source
/// F. A. Graybill, H. K. Iyer, Regression Analysis: Concepts and Applications, 1994, chapter 6; n + m − 3 degrees of
/// freedom. Checked by `tests/published/greenwell_schubert_kabban.rs`.
pub fn of_readings(line: &Line, responses: &[Response], weight: f64, level: f64) -> Result<Limits, Unreadable> {
    let responses: Vec<f64> = responses.iter().map(|response| response.si()).collect();
    let m = u32::try_from(responses.len()).unwrap_or(u32::MAX);
    let root = root_of_readings(m, weight)?;
    let out = Unreadable::OutOfRange { what: "the response", value: responses[0] };
    let (mean, within) = (summary::mean(&responses).ok_or(out)?, summary::sum_of_squares(&responses).ok_or(out)?);
    let (sd, dof) = match line.dispersion {
        Dispersion::Known => (1.0, f64::INFINITY),
        Dispersion::Estimated => {
            let dof = count(line.dof() + responses.len() - 1);
            (((line.chi_squared() + weight * within) / dof).sqrt(), dof)
        }
    };
    solve(line, mean, 1.0 / (root * root), sd, dof, level)
}

/// Limits of the amount whose mean response is the one wanted.
///
/// # Errors
/// As [`limits`].
///
/// # Source
/// As [`of_readings`], without the term of the reading. Checked by `tests/published/greenwell_schubert_kabban.rs`.
pub fn of_mean_response(line: &Line, response: Response, level: f64) -> Result<Limits, Unreadable> {
    let dof = dof_of(line.dof(), line.dispersion);
    solve(line, response.si(), 0.0, line.sd_of_unit_weight(), dof, level)
}

/// * `of_reading`: variance of the mean of the readings at unit dispersion.
fn solve(line: &Line, response: f64, of_reading: f64, sd: f64, dof: f64, level: f64) -> Result<Limits, Unreadable> {
    let amount = line.amount(Response::from_si(response))?.si();
    let t = (level > 0.0 && level < 1.0)
        .then(|| student_t::coverage_factor(level, dof))
        .flatten()
        .ok_or(Unreadable::OutOfRange { what: "the level of confidence", value: level })?;
    let centre = line.mean_amount.si();
    let process = sd / line.slope.si();
    let both = of_reading + 1.0 / line.sum_of_weights;
    // From the mean response rather than the amount: on a steep line both agree, near the mean this has more digits.
    let distance = (response - line.mean_response.si()) / line.slope.si();
    let g = t * t * process * process / line.s_xx;
    if g.is_nan() || g >= 1.0 {
        return Err(Unreadable::NoFiniteInterval { level });
    }
    let u = process * (both + distance * distance / line.s_xx).sqrt();
    let half = t * process * (both * (1.0 - g) + distance * distance / line.s_xx).sqrt();
    let at = |sign: f64| MassConcentration::from_si(centre + (distance + sign * half) / (1.0 - g));
    let found = Limits {
        amount: MassConcentration::from_si(amount),
        interval: Interval { low: at(-1.0), high: at(1.0) },
        symmetric: Interval {
            low: MassConcentration::from_si(amount - t * u),
            high: MassConcentration::from_si(amount + t * u),
        },
        u: MassConcentration::from_si(u),
        g,
        t,
        dof,
        sd,
    };
    let figures = [found.interval.low, found.interval.high, found.symmetric.low, found.symmetric.high, found.u];
    match figures.into_iter().find(|figure| !figure.si().is_finite()) {
        Some(figure) => Err(Unreadable::OutOfRange { what: "a limit of the amount", value: figure.si() }),
        None => Ok(found),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::Point;
    use proptest::prelude::*;

    fn line(figures: &[(f64, f64)]) -> Line {
        let point = |&(amount, response): &(f64, f64)| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        Line::fit(&figures.iter().map(point).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn a_slope_that_could_be_zero_has_no_finite_interval() {
        let scattered = line(&[(0.0, 0.1), (1.0, 0.4), (2.0, 0.0), (3.0, 0.3)]);
        let refused = limits(&scattered, Response::from_si(0.2), 1, 1.0, 0.95);
        assert_eq!(refused, Err(Unreadable::NoFiniteInterval { level: 0.95 }));
    }

    #[test]
    fn what_is_no_level_or_no_reading_is_told() {
        let line = line(&[(0.0, 0.0), (1.0, 0.11), (2.0, 0.2), (3.0, 0.3)]);
        let response = Response::from_si(0.2);
        for level in [0.0, 1.0, f64::NAN, -1.0] {
            assert!(matches!(limits(&line, response, 1, 1.0, level), Err(Unreadable::OutOfRange { .. })));
        }
        assert!(limits(&line, response, 0, 1.0, 0.95).is_err());
        assert!(of_readings(&line, &[], 1.0, 0.95).is_err());
        assert!(of_readings(&line, &[Response::from_si(f64::NAN)], 1.0, 0.95).is_err());
    }

    proptest! {
        #[test]
        fn exact_and_symmetric_limits_meet_on_a_good_line(noise in proptest::collection::vec(-1e-4..1e-4_f64, 8), y in 0.1..0.6_f64) {
            let figures: Vec<(f64, f64)> =
                noise.iter().enumerate().map(|(i, noise)| (count(i), 0.1 * count(i) + noise)).collect();
            let found = limits(&line(&figures), Response::from_si(y), 1, 1.0, 0.95).unwrap();
            let half = found.t * found.u.si();
            prop_assert!((found.interval.low.si() - found.symmetric.low.si()).abs() <= 1e-3 * half);
            prop_assert!((found.interval.high.si() - found.symmetric.high.si()).abs() <= 1e-3 * half);
            prop_assert!(found.interval.low < found.amount && found.amount < found.interval.high);
        }

        #[test]
        fn the_band_of_a_curve_gives_the_limits_of_fieller(noise in proptest::collection::vec(-0.02..0.02_f64, 8), y in 0.1..0.6_f64) {
            use crate::inverse::Band;
            use crate::least_squares::curve::Readings;
            use crate::least_squares::polynomial::Polynomial;
            let amounts: Vec<f64> = (0..8).map(count).collect();
            let responses: Vec<f64> = amounts.iter().zip(&noise).map(|(x, noise)| 0.1 * x + noise).collect();
            let weights = [1.0; 8];
            let readings =
                Readings { amounts: &amounts, responses: &responses, weights: &weights, variances_of_amounts: None };
            let solution = Polynomial::WithConstant.fit::<2>(&readings).unwrap();
            let figures: Vec<(f64, f64)> = amounts.iter().copied().zip(responses.iter().copied()).collect();
            let found = limits(&line(&figures), Response::from_si(y), 1, 1.0, 0.95).unwrap();
            let band = Band {
                curve: &Polynomial::WithConstant,
                parameters: &solution.parameters,
                factor: &solution.factor,
                sd: found.sd,
            };
            let (low, high) = band.limits(y, found.amount.si(), found.sd, found.t, f64::NEG_INFINITY, f64::INFINITY);
            prop_assert!((low.unwrap() - found.interval.low.si()).abs() < 1e-9);
            prop_assert!((high.unwrap() - found.interval.high.si()).abs() < 1e-9);
            prop_assert!((band.u_amount(found.amount.si(), found.sd) / found.u.si() - 1.0).abs() < 1e-9);
        }
    }
}
