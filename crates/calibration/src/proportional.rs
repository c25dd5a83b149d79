//! The straight line through the origin: response proportional to amount.
//!
//! [`Fitted::fit`](crate::fitted::Fitted::fit) with [`Proportional`]. Right only where the blank has been subtracted and
//! truly stands for no amount; an intercept that is not zero goes into every small amount otherwise.

use crate::calibration_function::CalibrationModel;
use crate::fitted::CalibrationCurve;
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings, Solution};
use crate::least_squares::marquardt::NoMinimum;
use crate::least_squares::number::Number;
use crate::least_squares::polynomial::Polynomial;
use crate::node::{CurveFit, CurveInverse};

/// `response = slope · amount`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Proportional;

/// The fit of a line through the origin as a node.
pub type ProportionalFit = CurveFit<Proportional, 1>;
/// The reading of an amount from a line through the origin as a node.
pub type ProportionalInverse = CurveInverse<Proportional, 1>;

impl Curve<1> for Proportional {
    fn response<N: Number>(&self, amount: N, [slope]: &[N; 1]) -> N {
        *slope * amount
    }
}

impl CalibrationCurve<1> for Proportional {
    const MODEL: CalibrationModel = CalibrationModel::Proportional;
    const PARAMETERS: [&'static str; 1] = ["slope"];
    const THROUGH_ORIGIN: bool = true;

    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 1]> {
        self.solve(readings, None).ok().map(|solution| solution.parameters)
    }

    /// # Source
    /// slope = Σ w·x·y/Σ w·x², s² = Σ w·r²/(n − 1). Checked by `tests/published/nist_linear.rs` (`NoInt1`, `NoInt2`).
    fn solve(&self, readings: &Readings<'_>, _: Option<[f64; 1]>) -> Result<Solution<1>, NoMinimum> {
        Polynomial::ThroughOrigin.fit(readings)
    }

    fn amount(&self, response: f64, [slope]: &[f64; 1]) -> Result<f64, Unreadable> {
        Ok(response / slope)
    }

    fn branch(&self, [slope]: &[f64; 1]) -> (f64, f64) {
        if *slope > 0.0 { (f64::NEG_INFINITY, f64::INFINITY) } else { (0.0, 0.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration_function::CalibrationFunction;
    use crate::fitted::Fitted;
    use crate::line::Point;
    use crate::point::{Dispersion, FitError};
    use darkline_metrology::kind::{Kind, MassConcentration, Response};

    fn points(figures: &[(f64, f64)]) -> Vec<Point> {
        let point = |&(amount, response): &(f64, f64)| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        figures.iter().map(point).collect()
    }

    #[test]
    fn one_standard_suffices_without_its_scatter() {
        let fitted = Fitted::fit(Proportional, &points(&[(2.0, 0.5)]), Dispersion::Estimated).unwrap();
        assert_eq!(fitted.amount(Response::from_si(0.25)), Ok(MassConcentration::from_si(1.0)));
        assert_eq!(fitted.residual_sd(), None);
        let blank_only = Fitted::fit(Proportional, &points(&[(0.0, 0.5)]), Dispersion::Estimated);
        assert!(matches!(blank_only, Err(FitError::TooFewLevels { found: 0, needed: 1, .. })));
    }

    #[test]
    fn a_slope_that_falls_gives_no_amount() {
        let fitted = Fitted::fit(Proportional, &points(&[(1.0, -0.5), (2.0, -1.1)]), Dispersion::Estimated).unwrap();
        assert!(matches!(fitted.amount(Response::from_si(0.25)), Err(Unreadable::NotRising { .. })));
    }
}
