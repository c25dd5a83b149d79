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
use crate::least_squares::polynomial::Polynomial;
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
        Polynomial::WithConstant.fit(readings)
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
        Polynomial::ThroughOrigin.fit(readings)
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
