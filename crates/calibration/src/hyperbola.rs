//! The hyperbola: a calibration that starts straight and flattens towards a ceiling.
//!
//! [`Fitted::fit`](crate::fitted::Fitted::fit) with [`Hyperbola`], for responses without offset, or
//! [`HyperbolaWithOffset`]. Its two coefficients follow the bend of atomic absorption with few standards; where they do
//! not, take [`crate::rational`].

use crate::calibration_function::CalibrationModel;
use crate::fitted::CalibrationCurve;
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings};
use crate::least_squares::number::Number;
use crate::least_squares::triangle::{reflect, triangularise};
use crate::node::{CurveFit, CurveInverse};

/// `response = slope · amount/(1 + bend · amount)`.
///
/// # Source
/// D. N. Wichems, R. E. Fields, J. M. Harnly, J. Anal. At. Spectrom. 13 (1998) on hyperbolic calibration curves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hyperbola;

/// `response = offset + slope · amount/(1 + bend · amount)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HyperbolaWithOffset;

/// The fit of a hyperbola as a node.
pub type HyperbolaFit = CurveFit<Hyperbola, 2>;
/// The reading of an amount from a hyperbola as a node.
pub type HyperbolaInverse = CurveInverse<Hyperbola, 2>;
/// The fit of a hyperbola with offset as a node.
pub type HyperbolaWithOffsetFit = CurveFit<HyperbolaWithOffset, 3>;
/// The reading of an amount from a hyperbola with offset as a node.
pub type HyperbolaWithOffsetInverse = CurveInverse<HyperbolaWithOffset, 3>;

impl Curve<2> for Hyperbola {
    fn response<N: Number>(&self, amount: N, &[slope, bend]: &[N; 2]) -> N {
        slope * amount / (N::constant(1.0) + bend * amount)
    }
}

impl Curve<3> for HyperbolaWithOffset {
    fn response<N: Number>(&self, amount: N, &[offset, slope, bend]: &[N; 3]) -> N {
        offset + slope * amount / (N::constant(1.0) + bend * amount)
    }
}

impl CalibrationCurve<2> for Hyperbola {
    const MODEL: CalibrationModel = CalibrationModel::Hyperbola;
    const PARAMETERS: [&'static str; 2] = ["initial slope", "bend"];
    const THROUGH_ORIGIN: bool = true;

    /// The equation times its denominator is linear: A = a·c − b·A·c.
    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 2]> {
        let straight = linear(readings, |amount, response| [amount, -response * amount])?;
        Some(with_finite_denominators(readings, straight, 1))
    }

    fn amount(&self, response: f64, &[slope, bend]: &[f64; 2]) -> Result<f64, Unreadable> {
        read(response, response, slope, bend)
    }

    fn branch(&self, &[slope, bend]: &[f64; 2]) -> (f64, f64) {
        rising_branch(slope, bend)
    }
}

impl CalibrationCurve<3> for HyperbolaWithOffset {
    const MODEL: CalibrationModel = CalibrationModel::HyperbolaWithOffset;
    const PARAMETERS: [&'static str; 3] = ["offset", "initial slope", "bend"];
    const THROUGH_ORIGIN: bool = false;

    /// The equation times its denominator is linear: A = A₀ + (a + A₀·b)·c − b·A·c.
    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 3]> {
        let [offset, rise, bend] = linear(readings, |amount, response| [1.0, amount, -response * amount])?;
        Some(with_finite_denominators(readings, [offset, rise - offset * bend, bend], 2))
    }

    fn amount(&self, response: f64, &[offset, slope, bend]: &[f64; 3]) -> Result<f64, Unreadable> {
        read(response, response - offset, slope, bend)
    }

    fn branch(&self, &[_, slope, bend]: &[f64; 3]) -> (f64, f64) {
        rising_branch(slope, bend)
    }
}

/// Reads an amount at a height above the offset; the response itself is only for the refusal.
fn read(response: f64, height: f64, slope: f64, bend: f64) -> Result<f64, Unreadable> {
    let denominator = slope - bend * height;
    if denominator > 0.0 {
        Ok(height / denominator)
    } else {
        Err(Unreadable::BeyondAsymptote { response, asymptote: response - height + slope / bend })
    }
}

/// Amounts between the pole and infinity, the pole being the amount at which the denominator is zero.
fn rising_branch(slope: f64, bend: f64) -> (f64, f64) {
    if slope.is_nan() || slope <= 0.0 {
        return (0.0, 0.0);
    }
    let pole = -1.0 / bend;
    if bend > 0.0 {
        (pole, f64::INFINITY)
    } else if bend < 0.0 {
        (f64::NEG_INFINITY, pole)
    } else {
        (f64::NEG_INFINITY, f64::INFINITY)
    }
}

/// Weighted linear least squares of the responses on columns that a reading gives.
fn linear<const P: usize>(readings: &Readings<'_>, columns: impl Fn(f64, f64) -> [f64; P]) -> Option<[f64; P]> {
    let mut rows = Vec::with_capacity(readings.n());
    let mut right = Vec::with_capacity(readings.n());
    for place in 0..readings.n() {
        let root = readings.weights[place].sqrt();
        rows.push(columns(readings.amounts[place], readings.responses[place]).map(|entry| root * entry));
        right.push(root * readings.responses[place]);
    }
    let triangle = triangularise(&mut rows);
    reflect(&rows, &mut right);
    let mut side = [0.0; P];
    side.copy_from_slice(right.get(..P)?);
    let solution = triangle.solve(side);
    solution.iter().all(|figure| figure.is_finite()).then_some(solution)
}

/// A start whose pole does not stand among the standards.
fn with_finite_denominators<const P: usize>(readings: &Readings<'_>, mut start: [f64; P], bend: usize) -> [f64; P] {
    let reach = readings.amounts.iter().fold(0.0_f64, |reach, amount| reach.max(amount.abs()));
    if reach > 0.0 && start[bend] * reach <= -0.9 {
        start[bend] = -0.9 / reach;
    }
    start
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration_function::CalibrationFunction;
    use crate::fitted::Fitted;
    use crate::line::Point;
    use crate::point::{Dispersion, FitError};
    use darkline_metrology::kind::{Kind, MassConcentration, Response};

    fn points(curve: impl Fn(f64) -> f64) -> Vec<Point> {
        let point = |i: u32| Point {
            amount: MassConcentration::from_si(f64::from(i)),
            response: Response::from_si(curve(f64::from(i))),
            weight: 1.0,
        };
        (0..8).map(point).collect()
    }

    #[test]
    fn a_response_beyond_the_asymptote_has_no_amount() {
        let fitted = Fitted::fit(Hyperbola, &points(|c| 0.3 * c / (1.0 + 0.25 * c)), Dispersion::Estimated).unwrap();
        let [slope, bend] = fitted.solution.parameters;
        assert!((slope - 0.3).abs() < 1e-13 && (bend - 0.25).abs() < 1e-13);
        let refused = fitted.amount(Response::from_si(1.25)).unwrap_err();
        assert!(matches!(refused, Unreadable::BeyondAsymptote { asymptote, .. } if (asymptote - 1.2).abs() < 1e-12));
        assert!(fitted.amount(Response::from_si(1.19)).is_ok());
    }

    #[test]
    fn an_offset_shifts_the_asymptote() {
        let curve = |c: f64| 0.02 + 0.3 * c / (1.0 + 0.25 * c);
        let fitted = Fitted::fit(HyperbolaWithOffset, &points(curve), Dispersion::Estimated).unwrap();
        let refused = fitted.amount(Response::from_si(1.25)).unwrap_err();
        assert!(matches!(refused, Unreadable::BeyondAsymptote { asymptote, .. } if (asymptote - 1.22).abs() < 1e-11));
    }

    #[test]
    fn a_hyperbola_that_bends_upwards_has_a_pole_above() {
        let fitted = Fitted::fit(Hyperbola, &points(|c| 0.1 * c / (1.0 - 0.05 * c)), Dispersion::Estimated).unwrap();
        assert!(fitted.rises().is_ok());
        let (_, to) = Hyperbola.branch(&fitted.solution.parameters);
        assert!((to - 20.0).abs() < 1e-9);
        let far = fitted.amount(Response::from_si(1e6)).unwrap().si();
        assert!(far > 19.9 && far < 20.0);
    }

    #[test]
    fn standards_without_analyte_do_not_count_as_a_level() {
        let mut two_levels = points(|c| 0.1 * c);
        two_levels.truncate(2);
        let needed = FitError::TooFewLevels { found: 1, needed: 2, model: "hyperbola" };
        assert_eq!(Fitted::fit(Hyperbola, &two_levels, Dispersion::Estimated), Err(needed));
    }
}
