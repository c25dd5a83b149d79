//! Flames, burners, and what is added to solutions for them.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A flame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Flame {
    /// Its name.
    pub name: String,
    /// What the fuel burns in.
    pub oxidant: String,
    /// What burns.
    pub fuel: String,
    /// Flow of oxidant at stoichiometry, in litres a minute.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stoichiometric_oxidant_l_min: Option<f64>,
    /// Flow of fuel at stoichiometry, in litres a minute.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stoichiometric_fuel_l_min: Option<f64>,
    /// The highest burning velocity, in centimetres a second: the gas has to leave the slot faster.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maximum_burning_velocity_cm_s: Option<f64>,
    /// Its temperature, in kelvin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_k: Option<f64>,
    /// The same in degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_degc_recomputed: Option<f64>,
    /// What else is to be known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A burner.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Burner {
    /// Its name.
    pub name: String,
    /// The length of its slot, in millimetres.
    pub slot_length_mm: f64,
    /// For which flame.
    pub flame: String,
    /// Where that is printed.
    pub source: String,
    /// How sure that is.
    pub provenance: Provenance,
    /// What else is to be known.
    pub note: String,
}

/// What the three kinds of flame mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stoichiometry {
    /// More oxidant than the fuel needs.
    pub fuel_lean: String,
    /// As much as it needs.
    pub stoichiometric: String,
    /// Less than it needs.
    pub fuel_rich: String,
    /// Where that is printed.
    pub source: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A releasing agent, ionisation buffer or the like.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Buffer {
    /// Its name.
    pub name: String,
    /// How it is made.
    pub preparation: String,
    /// How much of it is added.
    pub dosing: String,
    /// Its concentration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concentration: Option<String>,
    /// What for.
    #[serde(rename = "use")]
    pub purpose: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub locator: Option<String>,
    /// How sure that is.
    pub provenance: Provenance,
}
