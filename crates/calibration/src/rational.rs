//! The three-coefficient rational equation: bend at the start and at the top apart.
//!
//! [`Fitted::fit`](crate::fitted::Fitted::fit) with [`Rational`]. Three standards give its coefficients exactly, more of
//! them by least squares of the responses. With the third coefficient zero it is the [`crate::hyperbola`].

use crate::calibration_function::CalibrationModel;
use crate::fitted::CalibrationCurve;
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings};
use crate::least_squares::number::Number;
use crate::least_squares::triangle::{reflect, triangularise};
use crate::node::{CurveFit, CurveInverse};

/// `amount = (k1 · A + k3 · A²)/(k2 · A − 1)`, A the response.
///
/// # Source
/// W. B. Barnett, Spectrochim. Acta B 39 (1984) 829 (equation from memory). Checked by
/// `tests/published/calcium_in_serum.rs`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rational;

/// The fit of the rational equation as a node.
pub type RationalFit = CurveFit<Rational, 3>;
/// The reading of an amount from the rational equation as a node.
pub type RationalInverse = CurveInverse<Rational, 3>;

impl Curve<3> for Rational {
    /// The root of k3·A² + (k1 − k2·c)·A + c = 0 that is zero without amount.
    fn response<N: Number>(&self, amount: N, &[k1, k2, k3]: &[N; 3]) -> N {
        let half = k2 * amount - k1;
        let discriminant = half * half - N::constant(4.0) * k3 * amount;
        N::constant(2.0) * amount / (half + discriminant.sqrt())
    }
}

impl CalibrationCurve<3> for Rational {
    const MODEL: CalibrationModel = CalibrationModel::Rational;
    const PARAMETERS: [&'static str; 3] = ["k1", "k2", "k3"];
    const THROUGH_ORIGIN: bool = true;

    /// The equation times its denominator is linear: c = −k1·A + k2·A·c − k3·A².
    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 3]> {
        let mut rows = Vec::with_capacity(readings.n());
        let mut right = Vec::with_capacity(readings.n());
        for place in 0..readings.n() {
            let (amount, response) = (readings.amounts[place], readings.responses[place]);
            let root = readings.weights[place].sqrt();
            rows.push([-root * response, root * response * amount, -root * response * response]);
            right.push(root * amount);
        }
        let triangle = triangularise(&mut rows);
        reflect(&rows, &mut right);
        let solution = triangle.solve([*right.first()?, *right.get(1)?, *right.get(2)?]);
        let finite = |parameters: &[f64; 3]| {
            readings.amounts.iter().all(|&amount| self.response(amount, parameters).is_finite())
        };
        if finite(&solution) && solution[0] < 0.0 {
            return Some(solution);
        }
        // Noise may give coefficients without a branch; the straight line is one of the family: k2 = k3 = 0.
        let (mut products, mut squares) = (0.0, 0.0);
        for place in 0..readings.n() {
            products += readings.weights[place] * readings.amounts[place] * readings.responses[place];
            squares += readings.weights[place] * readings.responses[place] * readings.responses[place];
        }
        let straight = [-products / squares, 0.0, 0.0];
        (finite(&straight) && straight[0] < 0.0).then_some(straight)
    }

    fn amount(&self, response: f64, parameters: &[f64; 3]) -> Result<f64, Unreadable> {
        let (low, high) = responses_on_branch(parameters);
        if response > low.at && response < high.at {
            return Ok(amount_of(response, parameters));
        }
        let end = if response >= high.at { high } else { low };
        Err(if end.is_turn {
            Unreadable::BeyondTurningPoint { response, turning_point: end.at }
        } else {
            Unreadable::BeyondAsymptote { response, asymptote: end.at }
        })
    }

    fn branch(&self, parameters: &[f64; 3]) -> (f64, f64) {
        if parameters[0].is_nan() || parameters[0] >= 0.0 {
            return (0.0, 0.0);
        }
        let (low, high) = responses_on_branch(parameters);
        let amount = |end: End, beyond: f64| {
            if end.is_turn { amount_of(end.at, parameters) } else { beyond }
        };
        // Towards an infinite response the equation may still end at a finite amount.
        let open = |beyond: f64| {
            let [k1, k2, k3] = *parameters;
            if k3 != 0.0 || k2 == 0.0 { beyond } else { k1 / k2 }
        };
        let reach = |end: End, beyond: f64| {
            if end.at.is_finite() { amount(end, beyond) } else { open(beyond) }
        };
        (reach(low, f64::NEG_INFINITY), reach(high, f64::INFINITY))
    }
}

fn amount_of(response: f64, &[k1, k2, k3]: &[f64; 3]) -> f64 {
    response * (k1 + k3 * response) / (k2 * response - 1.0)
}

/// An end of the branch in responses.
#[derive(Clone, Copy)]
struct End {
    at: f64,
    /// A turning point, where the curve stops; otherwise an asymptote or infinity.
    is_turn: bool,
}

/// The responses around zero in which the denominator keeps its sign and amounts grow with responses.
///
/// dc/dA = (k2·k3·A² − 2·k3·A − k1)/(k2·A − 1)².
fn responses_on_branch(&[k1, k2, k3]: &[f64; 3]) -> (End, End) {
    let (mut low, mut high) =
        (End { at: f64::NEG_INFINITY, is_turn: false }, End { at: f64::INFINITY, is_turn: false });
    let mut end = |at: f64, is_turn: bool| {
        if at > 0.0 && at < high.at {
            high = End { at, is_turn };
        }
        if at < 0.0 && at > low.at {
            low = End { at, is_turn };
        }
    };
    end(1.0 / k2, false);
    if k2 * k3 == 0.0 {
        end(-k1 / (2.0 * k3), true);
    } else {
        let discriminant = k3 * k3 + k1 * k2 * k3;
        if discriminant >= 0.0 {
            // Roots of k2·k3·A² − 2·k3·A − k1 without cancellation.
            let q = k3 + k3.signum() * discriminant.sqrt();
            end(q / (k2 * k3), true);
            end(-k1 / q, true);
        }
    }
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration_function::CalibrationFunction;
    use crate::fitted::Fitted;
    use crate::line::Point;
    use crate::point::Dispersion;
    use darkline_metrology::kind::{Kind, MassConcentration, Response};

    /// Points of the equation itself.
    fn points(parameters: [f64; 3]) -> Vec<Point> {
        let point = |i: u32| {
            let response = 0.1 * f64::from(i);
            Point {
                amount: MassConcentration::from_si(amount_of(response, &parameters)),
                response: Response::from_si(response),
                weight: 1.0,
            }
        };
        (0..8).map(point).collect()
    }

    #[test]
    fn the_coefficients_of_the_equation_come_back() {
        for parameters in [[-4.0, 0.3, -2.0], [-4.0, 0.3, 0.0], [-4.0, 0.2, 1.0], [-1.0, -0.3, -0.2]] {
            let fitted = Fitted::fit(Rational, &points(parameters), Dispersion::Estimated).unwrap();
            for (found, given) in fitted.solution.parameters.iter().zip(parameters) {
                assert!((found - given).abs() < 1e-8, "{found} {given}");
            }
            assert!(fitted.rises().is_ok());
        }
    }

    #[test]
    fn with_the_third_coefficient_zero_it_is_the_hyperbola() {
        // a = −1/k1, b = −k2/k1.
        let (k1, k2) = (-4.0, 0.2);
        for response in [0.01, 0.3, 1.0] {
            let hyperbola = crate::hyperbola::Hyperbola.amount(response, &[-1.0 / k1, -k2 / k1]).unwrap();
            assert!((amount_of(response, &[k1, k2, 0.0]) - hyperbola).abs() < 1e-12 * hyperbola);
        }
    }

    #[test]
    fn its_branch_ends_at_a_turn_or_an_asymptote() {
        // dc/dA = 0 at A = −k1/(2·k3) = 2 where k2 is zero.
        let turn = Rational.amount(2.5, &[-4.0, 0.0, 1.0]).unwrap_err();
        assert!(
            matches!(turn, Unreadable::BeyondTurningPoint { turning_point, .. } if (turning_point - 2.0).abs() < 1e-15)
        );
        assert_eq!(Rational.branch(&[-4.0, 0.0, 1.0]).1, amount_of(2.0, &[-4.0, 0.0, 1.0]));
        let ceiling = Rational.amount(4.0, &[-4.0, 0.25, 0.0]).unwrap_err();
        assert!(matches!(ceiling, Unreadable::BeyondAsymptote { asymptote, .. } if asymptote == 4.0));
        assert_eq!(Rational.branch(&[-4.0, 0.25, 0.0]).1, f64::INFINITY);
        // A hyperbola that bends upwards: infinite response at a finite amount.
        assert_eq!(Rational.branch(&[-4.0, -0.25, 0.0]).1, 16.0);
        assert_eq!(Rational.branch(&[4.0, 0.25, 0.0]), (0.0, 0.0));
    }
}
