//! Routes of digestion, and how samples are kept.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A route of digestion or preparation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Route {
    /// Its name in the handbook.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Where it is printed.
    pub source: String,
    /// For which matrix.
    pub matrix: String,
    /// How much is taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measure: Option<String>,
    /// Acids added.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub acids: Vec<Acid>,
    /// Acids that may stand for them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub alternative_acids: Vec<Acid>,
    /// Acids that may be added.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub optional_acids: Vec<Acid>,
    /// Temperature, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_degc: Option<String>,
    /// Heating over time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub programme: Option<String>,
    /// When it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end_point: Option<String>,
    /// The volume filled up to, in millilitres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub final_volume_ml: Option<f64>,
    /// What is said about that volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub final_volume_note: Option<String>,
    /// The acid of the solution measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub final_acid: Option<String>,
    /// Final volume over the volume taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dilution_factor: Option<f64>,
    /// Techniques it suits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suits: Vec<String>,
    /// What it does not suit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_for: Vec<String>,
    /// Elements it was published for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elements: Option<String>,
    /// How samples for it are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preservation: Option<String>,
    /// What is dangerous or goes wrong.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<String>,
    /// Where in the publication.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clauses: Option<String>,
    /// What else is to be known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// A choice the route leaves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub option: Option<String>,
    /// Another way to the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alternative: Option<String>,
    /// Examples of the matrix.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix_examples: Option<String>,
    /// What is used to dissolve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub solvent: Option<String>,
    /// How sure that is.
    pub provenance: Provenance,
}

/// An acid of a route.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Acid {
    /// Which.
    pub acid: String,
    /// How strong.
    pub strength: String,
    /// How much, in millilitres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume_ml: Option<f64>,
    /// How exactly, in millilitres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_ml: Option<f64>,
    /// How much, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass_g: Option<f64>,
    /// What else is to be known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl Acid {
    /// The acid in words: `2 mL HNO3 (concentrated)`.
    pub fn words(&self) -> String {
        let mut amount = String::new();
        if let Some(volume) = self.volume_ml {
            amount = match self.tolerance_ml {
                Some(tolerance) => format!("({volume} ± {tolerance}) mL "),
                None => format!("{volume} mL "),
            };
        } else if let Some(mass) = self.mass_g {
            amount = format!("{mass} g ");
        }
        let note = self.note.as_deref().map_or(String::new(), |note| format!(", {note}"));
        format!("{amount}{} ({}){note}", self.acid, self.strength)
    }
}

/// How samples are kept until they are measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Preservation {
    /// For which analyte.
    pub analyte: String,
    /// In which matrix.
    pub matrix: String,
    /// How much is collected at least.
    pub minimum_collected: f64,
    /// In which unit.
    pub unit: String,
    /// How it is kept.
    pub preservation: String,
    /// How much is worked up.
    pub portion: String,
    /// How long it may be kept.
    pub holding_time: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}
