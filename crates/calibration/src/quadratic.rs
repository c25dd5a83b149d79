//! The second-order calibration function, with an intercept or through the origin.
//!
//! [`Fitted::fit`](crate::fitted::Fitted::fit) with [`Quadratic`] or [`QuadraticThroughOrigin`]. Amounts are read on the
//! branch through the standards; beyond the turning point a response has no amount.

use darkline_metrology::kind::{Kind, MassConcentration, Sensitivity};

use crate::calibration_function::{CalibrationFunction, CalibrationModel};
use crate::fitted::{CalibrationCurve, Fitted};
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings, Solution};
use crate::least_squares::marquardt::NoMinimum;
use crate::least_squares::number::Number;
use crate::least_squares::polynomial::{Polynomial, few};
use crate::node::{CurveFit, CurveInverse};

/// `response = intercept + slope · amount + curvature · amount²`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quadratic;

/// `response = slope · amount + curvature · amount²`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct QuadraticThroughOrigin;

/// The fit of a second-order function as a node.
pub type QuadraticFit = CurveFit<Quadratic, 3>;
/// The reading of an amount from a second-order function as a node.
pub type QuadraticInverse = CurveInverse<Quadratic, 3>;

impl Curve<3> for Quadratic {
    fn response<N: Number>(&self, amount: N, parameters: &[N; 3]) -> N {
        Polynomial::WithConstant.response(amount, parameters)
    }
}

impl Curve<2> for QuadraticThroughOrigin {
    fn response<N: Number>(&self, amount: N, parameters: &[N; 2]) -> N {
        Polynomial::ThroughOrigin.response(amount, parameters)
    }
}

impl CalibrationCurve<3> for Quadratic {
    const MODEL: CalibrationModel = CalibrationModel::Quadratic;
    const PARAMETERS: [&'static str; 3] = ["intercept", "slope", "curvature"];
    const THROUGH_ORIGIN: bool = false;

    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 3]> {
        self.solve(readings, None).ok().map(|solution| solution.parameters)
    }

    /// # Source
    /// ISO 8466-2:2001. Checked by `tests/published/nist_linear.rs` (Pontius) and `tests/published/nist_handbook.rs`.
    fn solve(&self, readings: &Readings<'_>, _: Option<[f64; 3]>) -> Result<Solution<3>, NoMinimum> {
        few::fit(Polynomial::WithConstant, readings).map_or_else(|| Polynomial::WithConstant.fit(readings), Ok)
    }

    fn amount(&self, response: f64, &[intercept, slope, curvature]: &[f64; 3]) -> Result<f64, Unreadable> {
        root_on_rising_branch(response - intercept, slope, curvature).ok_or_else(|| Unreadable::BeyondTurningPoint {
            response,
            turning_point: intercept - slope * slope / (4.0 * curvature),
        })
    }

    fn branch(&self, &[_, slope, curvature]: &[f64; 3]) -> (f64, f64) {
        rising_branch(slope, curvature)
    }
}

impl CalibrationCurve<2> for QuadraticThroughOrigin {
    const MODEL: CalibrationModel = CalibrationModel::QuadraticThroughOrigin;
    const PARAMETERS: [&'static str; 2] = ["slope", "curvature"];
    const THROUGH_ORIGIN: bool = true;

    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 2]> {
        self.solve(readings, None).ok().map(|solution| solution.parameters)
    }

    /// # Source
    /// As for [`Quadratic`], with the intercept held at zero; common practice, no source.
    fn solve(&self, readings: &Readings<'_>, _: Option<[f64; 2]>) -> Result<Solution<2>, NoMinimum> {
        few::fit(Polynomial::ThroughOrigin, readings).map_or_else(|| Polynomial::ThroughOrigin.fit(readings), Ok)
    }

    fn amount(&self, response: f64, &[slope, curvature]: &[f64; 2]) -> Result<f64, Unreadable> {
        root_on_rising_branch(response, slope, curvature).ok_or_else(|| Unreadable::BeyondTurningPoint {
            response,
            turning_point: -slope * slope / (4.0 * curvature),
        })
    }

    fn branch(&self, &[slope, curvature]: &[f64; 2]) -> (f64, f64) {
        rising_branch(slope, curvature)
    }
}

/// The process standard deviation of a second-order calibration and its coefficient of variation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Process {
    /// Sensitivity at the centre of the working range, E.
    pub sensitivity: Sensitivity,
    /// Process standard deviation, s_x0.
    pub sd: MassConcentration,
    /// Coefficient of variation of the process, V_x0, as a fraction.
    pub rsd: f64,
}

/// The process figures of a second-order calibration.
///
/// # Arguments
/// * `mean_amount`: the mean of the amounts of the standards.
///
/// # Errors
/// [`Unreadable::NoScatter`] without degrees of freedom.
///
/// # Source
/// ISO 8466-2:2001: E = b + 2·c·x̄, s_x0 = s_y/E, V_x0 = s_x0/x̄.
pub fn process(fitted: &Fitted<Quadratic, 3>, mean_amount: MassConcentration) -> Result<Process, Unreadable> {
    let sensitivity = fitted.sensitivity(mean_amount);
    let sd = fitted.sd_of_unit_weight()? / sensitivity.si();
    Ok(Process { sensitivity, sd: MassConcentration::from_si(sd), rsd: sd / mean_amount.si() })
}

/// The root of `height = slope·x + curvature·x²` where the parabola rises; `None` where it never reaches that height.
fn root_on_rising_branch(height: f64, slope: f64, curvature: f64) -> Option<f64> {
    // On the rising branch the root of the discriminant is the slope at the amount. The form without cancellation
    // depends on the sign of the slope at zero.
    let discriminant = slope * slope + 4.0 * curvature * height;
    if discriminant.is_nan() || discriminant <= 0.0 {
        return None;
    }
    let root = discriminant.sqrt();
    Some(if slope >= 0.0 || curvature == 0.0 {
        2.0 * height / (slope + root)
    } else {
        (root - slope) / (2.0 * curvature)
    })
}

fn rising_branch(slope: f64, curvature: f64) -> (f64, f64) {
    let turn = -slope / (2.0 * curvature);
    if curvature < 0.0 {
        (f64::NEG_INFINITY, turn)
    } else if curvature > 0.0 {
        (turn, f64::INFINITY)
    } else if slope > 0.0 {
        (f64::NEG_INFINITY, f64::INFINITY)
    } else {
        (0.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::Point;
    use crate::point::Dispersion;
    use darkline_metrology::kind::Response;

    fn points(curve: impl Fn(f64) -> f64) -> Vec<Point> {
        let point = |i: u32| Point {
            amount: MassConcentration::from_si(f64::from(i)),
            response: Response::from_si(curve(f64::from(i)) + 1e-4 * f64::from(i % 2)),
            weight: 1.0,
        };
        (0..8).map(point).collect()
    }

    #[test]
    fn beyond_the_turning_point_a_response_has_no_amount() {
        let fitted = Fitted::fit(Quadratic, &points(|c| 0.01 + 0.2 * c - 0.01 * c * c), Dispersion::Estimated).unwrap();
        let refused = fitted.amount(Response::from_si(1.2)).unwrap_err();
        assert!(
            matches!(refused, Unreadable::BeyondTurningPoint { turning_point, .. } if (turning_point - 1.01).abs() < 1e-2)
        );
        assert!(fitted.amount(Response::from_si(0.9)).is_ok());
    }

    #[test]
    fn a_parabola_that_turns_among_the_standards_is_not_read() {
        let fitted = Fitted::fit(Quadratic, &points(|c| 0.2 * c - 0.02 * c * c), Dispersion::Estimated).unwrap();
        assert!(matches!(fitted.rises(), Err(Unreadable::NotRising { .. })));
        assert!(matches!(fitted.amount(Response::from_si(0.2)), Err(Unreadable::NotRising { .. })));
    }

    #[test]
    fn close_to_the_turning_point_no_finite_interval_holds_the_amount() {
        let noisy = points(|c| 0.2 * c - 0.0142 * c * c);
        let fitted = Fitted::fit(Quadratic, &noisy, Dispersion::Estimated).unwrap();
        let top = fitted.response(fitted.highest);
        assert!(fitted.amount(top).is_ok());
        assert!(matches!(fitted.limits(top, 1, 1.0, 0.9999), Err(Unreadable::NoFiniteInterval { .. })));
    }

    #[test]
    fn three_points_leave_no_scatter_to_estimate() {
        let three = &points(|c| 0.2 * c - 0.01 * c * c)[..3];
        let fitted = Fitted::fit(Quadratic, three, Dispersion::Estimated).unwrap();
        assert_eq!(fitted.residual_sd(), None);
        assert_eq!(fitted.u_amount(Response::from_si(0.2), 1, 1.0), Err(Unreadable::NoScatter));
        assert!(fitted.parameters().iter().all(|parameter| parameter.u.is_none()));
        // Where uncertainties are known the same points have one.
        let known = Fitted::fit(Quadratic, three, Dispersion::Known).unwrap();
        assert!(known.u_amount(Response::from_si(0.2), 1, 1.0).is_ok());
    }

    #[test]
    fn the_root_without_cancellation_is_taken_on_either_side() {
        let root = |height, slope, curvature| root_on_rising_branch(height, slope, curvature).unwrap();
        assert!((root(1e-12, 1.0, -0.1) / 1e-12 - 1.0).abs() < 1e-12);
        // Slope below zero at no amount: the branch that rises lies beyond the minimum.
        assert!((root(0.0, -1.0, 0.5) - 2.0).abs() < 1e-15);
        assert_eq!(root_on_rising_branch(1.0, 1.0, -0.25), None);
    }

    /// ISO 8466-2:2001 (formula): sensitivity at the centre, process standard deviation.
    #[test]
    fn process_figures_stand_at_the_centre_of_the_range() {
        let fitted = Fitted::fit(Quadratic, &points(|c| 0.2 * c - 0.01 * c * c), Dispersion::Estimated).unwrap();
        let process = process(&fitted, MassConcentration::from_si(3.5)).unwrap();
        let [_, b, c] = fitted.solution.parameters;
        assert!((process.sensitivity.si() - (b + 7.0 * c)).abs() < 1e-14);
        assert!((process.rsd - process.sd.si() / 3.5).abs() < 1e-15);
    }
}
