//! Solid sampling: portions weighed into the tube, one a reading.

use darkline_metrology::kind::{Factor, Mass, Volume};
use serde::{Deserialize, Serialize};

use crate::figure::{Uncertain, Written};

/// How a method measures weighed portions: each reading of a portion's row is one of them, with a mass of its own.
///
/// Solutions are dispensed onto the platform. A response is read back as the mass concentration that the dispensed volume
/// of a solution would have; times that volume it is a mass of the element.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SolidPlan {
    /// Volume of a solution put onto the platform.
    pub dispensed: Uncertain<Volume>,
    /// Standard uncertainty of one weighing.
    pub u_mass: Written<Mass>,
    /// What the sensitivity for powders comes from.
    pub calibrate_with: SolidCalibration,
    /// Control materials that stand for powder standards, as the preparation calls them: they give the sensitivity, or are
    /// held against that of the solutions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub powders: Vec<String>,
    /// Relative standard uncertainty that the mean of the portions shall have; the number of portions is told for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wanted_u: Option<Written<Factor>>,
}

/// What the sensitivity for powders comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SolidCalibration {
    /// Dispensed solutions.
    Solutions,
    /// Weighed portions of powders whose mass fraction is known.
    Powders,
}

impl SolidCalibration {
    /// The word in documents.
    pub fn word(self) -> &'static str {
        match self {
            SolidCalibration::Solutions => "solutions",
            SolidCalibration::Powders => "powders",
        }
    }
}
