//! Furnace programmes as public methods print them.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A table of furnace conditions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Programme {
    /// Its name in the handbook.
    pub id: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
    /// Wall, platform or another tube.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub atomiser: Option<String>,
    /// The modifier it was printed with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub modifier: Option<String>,
    /// Volume dispensed, in microlitres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample_volume_ul: Option<f64>,
    /// Gas through the tube.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purge_gas: Option<String>,
    /// Drying temperature, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drying_degc: Option<f64>,
    /// What is said about drying.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drying_note: Option<String>,
    /// Cooling before atomisation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cool_down: Option<String>,
    /// Gas flow in atomisation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub atomisation_gas: Option<String>,
    /// Cleaning the tube afterwards.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clean_out: Option<String>,
    /// Notes, each beginning with the mark rows refer to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub note: Vec<String>,
    /// One row an element.
    pub row: Vec<ProgrammeRow>,
}

/// The conditions of one element in a table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeRow {
    /// The element.
    pub symbol: String,
    /// The line, in nanometres, as printed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wavelength_nm: Option<f64>,
    /// The bandpass, in nanometres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bandpass_nm: Option<f64>,
    /// Pyrolysis temperature, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pyrolysis_degc: Option<f64>,
    /// Atomisation temperature, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub atomisation_degc: Option<f64>,
    /// Drying: how long, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drying_s: Option<f64>,
    /// Drying temperature, in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drying_degc: Option<f64>,
    /// Pyrolysis: how long, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pyrolysis_s: Option<f64>,
    /// Atomisation: how long, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub atomisation_s: Option<f64>,
    /// Method detection limit, in micrograms a litre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method_detection_limit_ug_l: Option<f64>,
    /// Minimum level, in micrograms a litre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minimum_level_ug_l: Option<f64>,
    /// Detection limit, in micrograms a litre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detection_limit_ug_l: Option<f64>,
    /// Characteristic mass, in picograms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub characteristic_mass_pg: Option<f64>,
    /// The range it works best in, in micrograms a litre.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub optimum_range_ug_l: Option<[f64; 2]>,
    /// The single-element method.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// The tube.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tube: Option<String>,
    /// Marks of the notes that hold for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
}

/// Which modifiers a publication names for which elements.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModifierChoice {
    /// The elements.
    pub elements: String,
    /// The modifiers.
    pub modifiers: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub clause: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// The stages a furnace programme has.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeShape {
    /// In order.
    pub steps: Vec<String>,
    /// What is to be known.
    pub note: String,
    /// Where it is printed.
    pub source: String,
    /// How sure that is.
    pub provenance: Provenance,
}
