//! Stock standard solutions of 1000 mg/L.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A recipe for a stock solution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stock {
    /// The element.
    pub symbol: String,
    /// What is weighed.
    pub compound: String,
    /// The mass printed, in grams.
    pub printed_mass_g: f64,
    /// The volume filled up to, in litres.
    pub final_volume_l: f64,
    /// What it is dissolved in.
    pub solvent: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
    /// Mass of the compound over the mass of the element in it.
    pub factor: f64,
    /// The mass that gives 1000 mg/L, worked out anew, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exact_mass_g_recomputed: Option<f64>,
    /// What the printed mass gives, in milligrams a litre.
    pub concentration_mg_l_recomputed: f64,
    /// Content of the compound in what is weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purity: Option<f64>,
}

impl Stock {
    /// What the printed mass gives, in milligrams a litre: mass × purity ÷ factor ÷ volume.
    ///
    /// # Source
    /// Stoichiometry; common practice, no source.
    pub fn mass_concentration_mg_l(&self) -> f64 {
        1000.0 * self.printed_mass_g * self.purity.unwrap_or(1.0) / self.factor / self.final_volume_l
    }
}
