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
