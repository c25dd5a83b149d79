//! How the instrument corrects for background: what that leaves of high absorbances, and which lines it could mistake.

use darkline_metrology::kind::{Absorbance, Factor, Wavelength};
use serde::{Deserialize, Serialize};

use crate::figure::Written;
use crate::identity::Element;

/// What a method says of the correction for background.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BackgroundCorrection {
    /// What corrects.
    pub by: CorrectedBy,
    /// The curve of the net absorbance in the field; pulses are read along both of its branches. Not at all where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll_over: Option<RollOverCurve>,
    /// Lines beside the analytical one, as copied from a table.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub neighbours: Vec<NeighbourLine>,
}

/// What corrects for background.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CorrectedBy {
    /// A magnetic field that moves the absorbing components.
    MagneticField {
        /// Mean shift of the components at full field.
        shift: Written<Wavelength>,
    },
    /// The light of a continuum seen through a bandpass.
    Continuum {
        /// Width of the bandpass.
        bandpass: Written<Wavelength>,
    },
}

impl CorrectedBy {
    /// The words in documents, in the order of the variants.
    pub const WORDS: [&'static str; 2] = ["magnetic field", "continuum"];
}

/// The net absorbance of an instrument and line in a magnetic field, by its two parameters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RollOverCurve {
    /// The highest net absorbance there is.
    pub net_absorbance: Written<Absorbance>,
    /// Its standard uncertainty.
    pub u_net_absorbance: Written<Absorbance>,
    /// Sensitivity with the field over sensitivity without.
    pub sensitivity_ratio: Written<Factor>,
    /// Its standard uncertainty.
    pub u_sensitivity_ratio: Written<Factor>,
    /// What the middle of three field strengths leaves; pulses with a third channel are read in two ranges then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub middle_field: Option<MiddleField>,
}

/// The middle of three field strengths.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MiddleField {
    /// Part of the absorbance that it leaves.
    pub leaves: Written<Factor>,
    /// Its standard uncertainty.
    pub u_leaves: Written<Factor>,
}

/// A line beside the analytical one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NeighbourLine {
    /// Whose line it is.
    pub element: Element,
    /// The line.
    pub line: Written<Wavelength>,
    /// Its wavelength less that of the analytical line.
    pub away: Written<Wavelength>,
    /// Energy of its lower level in reciprocal centimetres, where the table has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower_level_per_cm: Option<Written<Factor>>,
}
