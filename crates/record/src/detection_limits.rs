//! Which procedure works out decision, detection and quantification limits, and what it is asked.

use darkline_metrology::kind::{Factor, MassConcentration};
use serde::{Deserialize, Serialize};

use crate::figure::Written;

/// How the limits of a run are worked out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DetectionLimits {
    /// The procedure.
    pub procedure: LimitProcedure,
    /// Probability of stating analyte where there is none.
    pub alpha: Written<Factor>,
    /// Probability of stating none where there is as much as the detection limit.
    pub beta: Written<Factor>,
    /// Inverse of the relative half-width allowed at the quantification limit; of [`LimitProcedure::MultipleOfSd`] how many
    /// standard deviations the quantification limit is.
    pub k: Written<Factor>,
    /// Readings that the mean of a sample has.
    pub n_readings: u8,
    /// Results of spiked samples, of the method detection limit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spiked: Vec<Written<MassConcentration>>,
    /// Results of method blanks, of the method detection limit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blanks: Vec<BlankResult>,
    /// The method detection limit so far, which stands where the new one verifies it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub existing: Option<Written<MassConcentration>>,
}

/// A procedure for limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitProcedure {
    /// From the residual scatter of the calibration line.
    #[serde(rename = "din-32645")]
    Din32645,
    /// Where the prediction band of the line meets the decision limit.
    #[serde(rename = "iso-11843-2")]
    Iso11843,
    /// From the standard deviation at zero.
    Currie,
    /// From repeated blanks.
    Blanks,
    /// From spiked samples and method blanks.
    MethodDetectionLimit,
    /// A multiple of the standard deviation at zero over the slope.
    MultipleOfSd,
}

impl LimitProcedure {
    /// All of them.
    pub const ALL: [LimitProcedure; 6] = [
        LimitProcedure::Din32645,
        LimitProcedure::Iso11843,
        LimitProcedure::Currie,
        LimitProcedure::Blanks,
        LimitProcedure::MethodDetectionLimit,
        LimitProcedure::MultipleOfSd,
    ];
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            LimitProcedure::Din32645 => "DIN 32645",
            LimitProcedure::Iso11843 => "ISO 11843-2",
            LimitProcedure::Currie => "Currie",
            LimitProcedure::Blanks => "blanks",
            LimitProcedure::MethodDetectionLimit => "method detection limit",
            LimitProcedure::MultipleOfSd => "multiple of sd",
        }
    }
}

/// The result of a method blank: a figure, or none.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlankResult {
    /// A numerical result; it may be negative.
    Numerical(Written<MassConcentration>),
    /// No numerical result, which is not the same as zero.
    NotDetected,
}
