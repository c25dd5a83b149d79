//! An element: its lines, and what publications print about measuring it.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// A printed wavelength is matched to a line within this distance: labels differ in their last digit.
///
/// # Source
/// EPA SW-846 7000B, Table 2, prints Cu 324.7 nm and EPA 200.9, Table 2, 324.8 nm for one line.
const LABEL_WITHIN_NM: f64 = 0.15;

/// An element.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Element {
    /// Its symbol.
    pub symbol: String,
    /// Its name, as IUPAC spells it.
    pub name: String,
    /// Its atomic number.
    pub atomic_number: u8,
    /// Its number in the registry of the Chemical Abstracts Service.
    pub cas: String,
    /// Conventional standard atomic weight.
    pub atomic_weight: f64,
    /// The standard atomic weight as printed, with its uncertainty or interval.
    pub atomic_weight_printed: String,
    /// The abridged standard atomic weight.
    pub atomic_weight_abridged: f64,
    /// The interval of the atomic weight in normal materials, where the element has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub atomic_weight_interval: Option<[f64; 2]>,
    /// Where the atomic weight is printed.
    pub atomic_weight_source: String,
    /// How sure that is.
    pub atomic_weight_provenance: Provenance,
    /// Its lines, the usual one first.
    pub line: Vec<Line>,
    /// The bandpass a method uses.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bandpass_nm: Option<Bandpass>,
    /// Flames that publications use for it.
    #[serde(default)]
    pub flame: Vec<ElementFlame>,
    /// Modifiers that publications use for it in the furnace.
    #[serde(default)]
    pub modifier: Vec<Modifier>,
    /// What disturbs it, with the remedy.
    #[serde(default)]
    pub interference: Vec<Interference>,
    /// Printed figures: characteristic masses and concentrations, ranges, limits, temperatures.
    #[serde(default, rename = "value")]
    pub figures: Vec<Figure>,
}

/// An analytical line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// Wavelength in air, in nanometres; below 200 nm converted from the vacuum wavelength.
    pub wavelength_air_nm: f64,
    /// The wavelength as it is written on lists, in nanometres.
    pub label_nm: f64,
    /// Whether it is the line methods begin with.
    pub role: LineRole,
    /// Where the position is printed.
    pub source: String,
    /// How sure that is.
    pub provenance: Provenance,
    /// Sensitivity relative to the primary line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relative_sensitivity: Option<f64>,
    /// What the relative sensitivity rests on: `reference` for the primary line, `theory_2500K`, or a source.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relative_sensitivity_basis: Option<String>,
    /// Energy of the lower level, in cm⁻¹.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower_level_cm1: Option<f64>,
    /// Statistical weight of the lower level.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub g_lower: Option<u8>,
    /// Absorption oscillator strength.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub f_lu: Option<f64>,
    /// The wavelength in vacuum, in nanometres, for lines below 200 nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wavelength_vacuum_nm: Option<f64>,
    /// What a second list prints, where it differs by more than 0.0005 nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_list_nm: Option<f64>,
}

/// What a line is to its element.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineRole {
    /// The line methods begin with.
    Primary,
    /// Another line.
    Secondary,
}

/// A printed bandpass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bandpass {
    /// In nanometres.
    pub value: f64,
    /// Of which line, in nanometres.
    pub wavelength_nm: f64,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A flame that a publication uses for an element.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ElementFlame {
    /// Which flame.
    pub flame: String,
    /// Fuel lean, stoichiometric or fuel rich.
    pub stoichiometry: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A modifier that a publication uses for an element.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Modifier {
    /// What it is.
    pub modifier: String,
    /// How much of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount: Option<String>,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// What disturbs a measurement, with its remedy.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interference {
    /// Of which kind: chemical, ionisation, spectral, physical.
    pub kind: String,
    /// What causes it.
    pub interferent: String,
    /// What it does.
    pub effect: String,
    /// What helps.
    pub remedy: String,
    /// Where it is met: flame, furnace, hydride.
    pub technique: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
}

/// A printed figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    /// Of which quantity, as a word with underscores: `characteristic_mass`, `optimum_range_low`.
    pub quantity: String,
    /// Its value.
    pub value: f64,
    /// Its unit, in plain letters: `ug/L`, `pg`, `degC`.
    pub unit: String,
    /// Measured how: flame, furnace, hydride.
    pub technique: String,
    /// Where it is printed.
    pub source: String,
    /// The place in it.
    pub locator: String,
    /// How sure that is.
    pub provenance: Provenance,
    /// What else the publication says about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Of which line, in nanometres, where the publication says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wavelength_nm: Option<f64>,
    /// From peak or integrated absorbance, where the publication says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mode: Option<String>,
}

impl Figure {
    /// The quantity in words.
    pub fn quantity_words(&self) -> String {
        self.quantity.replace('_', " ")
    }

    /// The unit as it is printed.
    pub fn unit_symbol(&self) -> &str {
        match self.unit.as_str() {
            "ug/L" => "µg/L",
            "degC" => "°C",
            as_it_is => as_it_is,
        }
    }
}

impl Element {
    /// The line methods begin with.
    pub fn primary_line(&self) -> &Line {
        self.line
            .iter()
            .find(|line| line.role == LineRole::Primary)
            .or_else(|| self.line.first())
            .expect("a test reads every element of the shipped table and finds its primary line")
    }

    /// The line a printed wavelength means: the nearest within 0.15 nm, the primary one where two are that near.
    ///
    /// # Arguments
    /// `wavelength_nm`: as printed, in nanometres.
    pub fn line_at(&self, wavelength_nm: f64) -> Option<&Line> {
        let near = |line: &&Line| {
            (line.label_nm - wavelength_nm).abs() <= LABEL_WITHIN_NM
                || (line.wavelength_air_nm - wavelength_nm).abs() <= LABEL_WITHIN_NM
        };
        let away = |line: &Line| (line.wavelength_air_nm - wavelength_nm).abs();
        let nearest = self.line.iter().filter(near).min_by(|a, b| away(a).total_cmp(&away(b)));
        let primary = self.line.iter().filter(near).find(|line| line.role == LineRole::Primary);
        primary.or(nearest)
    }

    /// Printed figures of one quantity.
    pub fn figures_of<'a>(&'a self, quantity: &'a str) -> impl Iterator<Item = &'a Figure> {
        self.figures.iter().filter(move |figure| figure.quantity == quantity)
    }
}
