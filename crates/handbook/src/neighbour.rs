//! Lines of other elements beside the analytical lines.

use serde::{Deserialize, Serialize};

/// A line of another element close to an analytical line: a screen, not a verdict.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Neighbour {
    /// The element measured.
    pub symbol: String,
    /// Its line, in nanometres.
    pub line_nm: f64,
    /// The other element.
    pub neighbour: String,
    /// Its line, in nanometres.
    pub neighbour_nm: f64,
    /// How far it lies, in picometres; negative towards shorter wavelengths.
    pub delta_pm: f64,
    /// How near that is.
    pub kind: NeighbourKind,
    /// Rank of its strength in emission sources.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nist_relative_intensity: Option<f64>,
    /// Energy of its lower level, in cm⁻¹: it absorbs only where that level is populated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub neighbour_lower_level_cm1: Option<f64>,
    /// Its strength times the population of its lower level at 2500 K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub neighbour_strength_gf_boltzmann: Option<f64>,
}

/// How near a neighbour is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NeighbourKind {
    /// Within 10 pm: its atoms may absorb the line itself.
    Overlap,
    /// Within 30 pm: matters to a background corrector with a continuum source, to wide lines, to a lamp of both elements.
    Near,
}

impl NeighbourKind {
    /// The words on screens.
    pub fn words(self) -> &'static str {
        match self {
            NeighbourKind::Overlap => "may overlap",
            NeighbourKind::Near => "near",
        }
    }
}

/// A pair of lines that the literature names.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnownPair {
    /// The two elements.
    pub pair: String,
    /// What is said about them.
    pub remark: String,
    /// Where the lines lie.
    pub positions: String,
    /// How sure that is.
    pub provenance: String,
}
