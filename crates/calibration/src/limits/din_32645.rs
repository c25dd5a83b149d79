//! Decision, detection and quantitation limit from a calibration line, by DIN 32645.
//!
//! [`limits`] for a line of equal weights, [`weighted_limits`] for any. The calibration should stand near the limits: its
//! highest standard at most about ten decision limits, its levels evenly spaced.

use darkline_metrology::kind::{Kind, MassConcentration, Response};

use super::asked::{Asked, NoLimit, Predicted};
use crate::line::Line;
use crate::weighting::Weighting;

/// The three limits with what they were computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// What was asked.
    pub asked: Asked,
    /// The line they come from.
    pub line: Line,
    /// Process standard deviation, s_x0.
    pub process_sd: MassConcentration,
    /// Decision limit, x_C: above it analyte is there, with risk alpha.
    pub decision: MassConcentration,
    /// The response at the decision limit.
    pub decision_response: Response,
    /// Detection limit, x_D: so much is found with risk beta of missing it.
    pub detection: MassConcentration,
    /// Quantitation limit, x_Q: the relative half-width is 1/k.
    pub quantitation: MassConcentration,
    /// The quantitation limit by one step of its iteration from k·x_C, as the example of the standard prints it.
    pub quantitation_one_step: MassConcentration,
}

/// The limits of a line of equal weights.
///
/// # Errors
/// [`NoLimit`]: a line that does not rise, figures out of range, scatter too large for the slope.
///
/// # Source
/// DIN 32645:2008-11: x_C = s_x0·t(1 − α, n − 2)·√(1/m + 1/n + x̄²/S_xx); x_D = x_C + s_x0·t(1 − β, n − 2)·(the same root);
/// x_Q = k·s_x0·t(1 − α/2, n − 2)·√(1/m + 1/n + (x_Q − x̄)²/S_xx). Checked by `tests/published/din_32645.rs` and
/// `tests/published/vogelgesang_haedrich.rs`.
pub fn limits(line: &Line, asked: Asked) -> Result<Limits, NoLimit> {
    weighted_limits(line, asked, &Weighting::Equal)
}

/// The limits of a weighted line, a reading near zero weighing as the weighting says there.
///
/// # Arguments
/// * `weighting`: the one the line was fitted with.
///
/// # Errors
/// As [`limits`], and where the weight has no value without analyte.
///
/// # Source
/// As [`limits`]; weights as in D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A, 1997, eq. 8.28.
pub fn weighted_limits(line: &Line, asked: Asked, weighting: &Weighting) -> Result<Limits, NoLimit> {
    let predicted = Predicted::of(line, asked, weighting)?;
    let at_zero = predicted.sd_at(0.0)?;
    let decision = predicted.t(asked.alpha)? * at_zero;
    let detection = decision + predicted.t(asked.beta)? * at_zero;
    let factor = asked.k * predicted.t(0.5 * asked.alpha)?;
    let quantitation_one_step = factor * predicted.sd_at(asked.k * decision)?;
    let quantitation = predicted.beyond(0.0, factor, 0.0)?;
    let figures = [decision, detection, quantitation, quantitation_one_step];
    if let Some(&value) = figures.iter().find(|figure| !figure.is_finite()) {
        return Err(NoLimit::OutOfRange { what: "a limit", value });
    }
    let amount = MassConcentration::from_si;
    Ok(Limits {
        asked,
        line: *line,
        process_sd: amount(predicted.process_sd),
        decision: amount(decision),
        decision_response: line.response(amount(decision)),
        detection: amount(detection),
        quantitation: amount(quantitation),
        quantitation_one_step: amount(quantitation_one_step),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::hubaux_vos;
    use crate::line::Point;
    use crate::weighting::WeightingError;
    use proptest::prelude::*;

    fn line(noise: &[f64], slope: f64, weight: f64) -> Line {
        let point = |(place, noise): (usize, &f64)| Point {
            amount: MassConcentration::usual_unit().of(0.5 * crate::point::count(place)),
            response: Response::from_si(0.01 + slope * 0.5 * crate::point::count(place) + noise),
            weight,
        };
        Line::fit(&noise.iter().enumerate().map(point).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn what_is_asked_out_of_range_is_told() {
        let line = line(&[1e-3, -1e-3, 2e-3, 0.0], 0.1, 1.0);
        let asked = Asked::DIN_32645;
        for asked in [
            Asked { alpha: 0.0, ..asked },
            Asked { beta: f64::NAN, ..asked },
            Asked { n_readings: 0, ..asked },
            Asked { k: -1.0, ..asked },
        ] {
            assert!(matches!(limits(&line, asked), Err(NoLimit::OutOfRange { .. })));
            assert!(matches!(hubaux_vos::limits(&line, asked), Err(NoLimit::OutOfRange { .. })));
        }
    }

    #[test]
    fn a_line_that_falls_or_scatters_too_much_has_no_limit() {
        let noise = [1e-3, -1e-3, 2e-3, 0.0];
        assert!(matches!(limits(&line(&noise, -0.1, 1.0), Asked::DIN_32645), Err(NoLimit::NotRising { .. })));
        let scattered = line(&[0.1, -0.1, 0.2, 0.0, 0.1], 0.1, 1.0);
        assert_eq!(limits(&scattered, Asked::DIN_32645), Err(NoLimit::NoFiniteLimit));
        assert_eq!(hubaux_vos::limits(&scattered, Asked::DIN_32645), Err(NoLimit::NoFiniteLimit));
    }

    #[test]
    fn a_weighting_without_value_at_zero_has_no_limit() {
        let line = line(&[1e-3, -1e-3, 2e-3, 0.0], 0.1, 1.0);
        let refused = weighted_limits(&line, Asked::DIN_32645, &Weighting::InverseAmount { power: 1.0 });
        assert!(matches!(refused, Err(NoLimit::Weight(WeightingError::Undefined { .. }))));
    }

    #[test]
    fn readings_without_scatter_have_limits_of_zero() {
        let exact = line(&[0.0; 5], 0.125, 1.0);
        let found = limits(&exact, Asked::DIN_32645).unwrap();
        let unit = MassConcentration::usual_unit();
        assert!(unit.read(found.decision) < 1e-12 && unit.read(found.quantitation) < 1e-12);
    }

    proptest! {
        #[test]
        fn limits_stand_in_order_and_quantitation_meets_its_definition(
            noise in proptest::collection::vec(-1e-3..1e-3_f64, 6..12),
            n_readings in 1..6_u32,
        ) {
            let line = line(&noise, 0.1, 1.0);
            let asked = Asked { n_readings, ..Asked::DIN_32645 };
            let found = limits(&line, asked).unwrap();
            prop_assert!(found.decision < found.detection && found.detection < found.quantitation);
            // The relative half-width there is one third, by the limits of an amount read back.
            let limits = crate::fieller::limits(&line, line.response(found.quantitation), n_readings, 1.0, 1.0 - asked.alpha);
            let limits = limits.unwrap();
            let half = limits.t * limits.u.si();
            prop_assert!((half / found.quantitation.si() - 1.0 / 3.0).abs() < 1e-9);
            // At the detection limit of Hubaux and Vos the prediction band just touches the decision limit.
            let exact = hubaux_vos::limits(&line, asked).unwrap();
            let at = crate::fieller::limits(&line, exact.detection_response, n_readings, 1.0, 1.0 - 2.0 * asked.beta).unwrap();
            prop_assert!(((exact.detection.si() - at.t * at.u.si()) / exact.decision.si() - 1.0).abs() < 1e-8);
        }

        #[test]
        fn more_readings_lower_the_decision_limit(noise in proptest::collection::vec(-1e-3..1e-3_f64, 6..12)) {
            let line = line(&noise, 0.1, 1.0);
            let decision = |n_readings| limits(&line, Asked { n_readings, ..Asked::DIN_32645 }).unwrap().decision;
            prop_assert!(decision(4) < decision(1));
        }
    }
}
