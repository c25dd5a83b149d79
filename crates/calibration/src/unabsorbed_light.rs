//! The unabsorbed-light curve: a calibration bent by light that no atom can absorb.
//!
//! [`Fitted::fit`](crate::fitted::Fitted::fit) with [`UnabsorbedLight`]. Stray light and neighbouring lines reach the
//! detector whatever is in the flame or tube; the absorbance then approaches a ceiling that the fraction fixes.

use crate::calibration_function::CalibrationModel;
use crate::fitted::CalibrationCurve;
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings};
use crate::least_squares::number::Number;
use crate::node::{CurveFit, CurveInverse};

use std::f64::consts::LN_10;

/// `response = log10((1 + fraction)/(10^(−slope·amount) + fraction))`, the fraction relative to the absorbable light.
///
/// # Source
/// The definition of absorbance; L. de Galan, G. F. Samaey, Spectrochim. Acta B 24 (1969) 679 (from memory). Checked by
/// `tests/published/unabsorbed_light.rs`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnabsorbedLight;

/// The fit of an unabsorbed-light curve as a node.
pub type UnabsorbedLightFit = CurveFit<UnabsorbedLight, 2>;
/// The reading of an amount from an unabsorbed-light curve as a node.
pub type UnabsorbedLightInverse = CurveInverse<UnabsorbedLight, 2>;

impl UnabsorbedLight {
    /// The absorbance that the curve approaches; infinite without unabsorbed light.
    pub fn highest_absorbance(fraction: f64) -> f64 {
        if fraction > 0.0 { libm::log10((1.0 + fraction) / fraction) } else { f64::INFINITY }
    }
}

impl Curve<2> for UnabsorbedLight {
    fn response<N: Number>(&self, amount: N, &[slope, fraction]: &[N; 2]) -> N {
        let passed = (-(slope * amount * N::constant(LN_10))).exp();
        ((N::constant(1.0) + fraction) / (passed + fraction)).ln() / N::constant(LN_10)
    }
}

impl CalibrationCurve<2> for UnabsorbedLight {
    const MODEL: CalibrationModel = CalibrationModel::UnabsorbedLight;
    const PARAMETERS: [&'static str; 2] = ["slope of the absorbable light", "unabsorbed fraction"];
    const THROUGH_ORIGIN: bool = true;

    /// For each of a few fractions the responses are straightened, and a line through the origin laid; the closest is taken.
    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 2]> {
        let mut best: Option<([f64; 2], f64)> = None;
        for fraction in [0.0, 1e-4, 1e-3, 3e-3, 1e-2, 3e-2, 0.1, 0.3, 1.0] {
            let (mut products, mut squares) = (0.0, 0.0);
            for place in 0..readings.n() {
                if let Ok(straight) = self.amount(readings.responses[place], &[1.0, fraction]) {
                    products += readings.weights[place] * readings.amounts[place] * straight;
                    squares += readings.weights[place] * readings.amounts[place] * readings.amounts[place];
                }
            }
            let parameters = [products / squares, fraction];
            let mut distance = 0.0;
            for place in 0..readings.n() {
                let residual = readings.responses[place] - self.response(readings.amounts[place], &parameters);
                distance += readings.weights[place] * residual * residual;
            }
            if distance.is_finite() && best.is_none_or(|(_, least)| distance < least) {
                best = Some((parameters, distance));
            }
        }
        best.map(|(parameters, _)| parameters)
    }

    fn amount(&self, response: f64, &[slope, fraction]: &[f64; 2]) -> Result<f64, Unreadable> {
        let passed = libm::exp(-LN_10 * response) * (1.0 + fraction) - fraction;
        if passed > 0.0 {
            Ok(-libm::log10(passed) / slope)
        } else {
            Err(Unreadable::BeyondAsymptote { response, asymptote: Self::highest_absorbance(fraction) })
        }
    }

    fn branch(&self, &[slope, fraction]: &[f64; 2]) -> (f64, f64) {
        if !(slope > 0.0 && fraction > -1.0) {
            (0.0, 0.0)
        } else if fraction < 0.0 {
            // A negative fraction bends upwards and has a pole.
            (f64::NEG_INFINITY, -libm::log10(-fraction) / slope)
        } else {
            (f64::NEG_INFINITY, f64::INFINITY)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration_function::CalibrationFunction;
    use crate::fitted::Fitted;
    use crate::line::Point;
    use crate::point::Dispersion;
    use darkline_metrology::kind::{Kind, MassConcentration, Response};

    fn fit(slope: f64, fraction: f64) -> Fitted<UnabsorbedLight, 2> {
        let point = |i: u32| Point {
            amount: MassConcentration::from_si(f64::from(i)),
            response: Response::from_si(UnabsorbedLight.response(f64::from(i), &[slope, fraction])),
            weight: 1.0,
        };
        Fitted::fit(UnabsorbedLight, &(0..9).map(point).collect::<Vec<_>>(), Dispersion::Estimated).unwrap()
    }

    #[test]
    fn slope_and_fraction_come_back() {
        for (slope, fraction) in [(0.2, 0.01), (0.1, 0.0), (0.15, 0.2), (0.05, -0.005)] {
            let fitted = fit(slope, fraction);
            let [found_slope, found_fraction] = fitted.solution.parameters;
            assert!((found_slope - slope).abs() < 1e-9 && (found_fraction - fraction).abs() < 1e-9, "{fitted:?}");
            assert!(fitted.rises().is_ok());
        }
    }

    #[test]
    fn a_response_beyond_the_ceiling_has_no_amount() {
        let fitted = fit(0.2, 0.1);
        let ceiling = UnabsorbedLight::highest_absorbance(0.1);
        assert!((ceiling - libm::log10(11.0)).abs() < 1e-15);
        assert!(fitted.amount(Response::from_si(0.99 * ceiling)).is_ok());
        let refused = fitted.amount(Response::from_si(1.01 * ceiling));
        assert!(matches!(refused, Err(Unreadable::BeyondAsymptote { .. })));
    }
}
