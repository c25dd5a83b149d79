//! The detection limit where the prediction band of the line meets the decision limit (Hubaux and Vos).
//!
//! DIN 32645 takes the width of the band at zero for both risks; here it is taken where the detection limit stands.

use darkline_metrology::kind::{Kind, MassConcentration, Response};

use super::asked::{Asked, NoLimit, Predicted};
use crate::line::Line;
use crate::weighting::Weighting;

/// The limits with what they were computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// What was asked; `k` plays no part.
    pub asked: Asked,
    /// The line they come from.
    pub line: Line,
    /// Decision limit.
    pub decision: MassConcentration,
    /// The response at the decision limit.
    pub decision_response: Response,
    /// Detection limit.
    pub detection: MassConcentration,
    /// The response at the detection limit.
    pub detection_response: Response,
}

/// The limits of a line of equal weights.
///
/// # Errors
/// [`NoLimit`].
///
/// # Source
/// A. Hubaux, G. Vos, Anal. Chem. 42 (1970) 849; ISO 11843-2:2000:
/// x_D = x_C + s_x0·t(1 − β, n − 2)·√(1/m + 1/n + (x_D − x̄)²/S_xx). Checked by `tests/published/din_32645.rs`.
pub fn limits(line: &Line, asked: Asked) -> Result<Limits, NoLimit> {
    weighted_limits(line, asked, &Weighting::Equal)
}

/// The limits of a weighted line, each reading weighing as the weighting says at its amount.
///
/// # Errors
/// As [`limits`], and where the weight has no value.
///
/// # Source
/// As [`limits`], with weights in the prediction band.
pub fn weighted_limits(line: &Line, asked: Asked, weighting: &Weighting) -> Result<Limits, NoLimit> {
    let predicted = Predicted::of(line, asked, weighting)?;
    let decision = predicted.t(asked.alpha)? * predicted.sd_at(0.0)?;
    let detection = predicted.beyond(decision, predicted.t(asked.beta)?, decision)?;
    if let Some(&value) = [decision, detection].iter().find(|figure| !figure.is_finite()) {
        return Err(NoLimit::OutOfRange { what: "a limit", value });
    }
    let (decision, detection) = (MassConcentration::from_si(decision), MassConcentration::from_si(detection));
    Ok(Limits {
        asked,
        line: *line,
        decision,
        decision_response: line.response(decision),
        detection,
        detection_response: line.response(detection),
    })
}
