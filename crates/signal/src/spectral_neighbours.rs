//! Which lines nearby could be behind a background that is corrected wrongly.
//!
//! [`suspects`] sifts a table of neighbouring lines by how the instrument corrects: a continuum source averages over the
//! bandpass and takes a narrow line in it for a background far too low or, beside the analytical line, far too high; a field
//! moves a neighbour's components onto the analytical line. The table is the caller's; a suspect is a screen, no verdict.

use serde::{Deserialize, Serialize};

/// A line beside an analytical line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Neighbour {
    /// Element, by its symbol.
    pub element: String,
    /// Wavelength, in nanometres.
    pub wavelength_nm: f64,
    /// Wavelength less that of the analytical line, in picometres.
    pub delta_pm: f64,
    /// Energy of the lower level, in reciprocal centimetres; the line absorbs only where atoms are in it.
    pub lower_level_per_cm: Option<f64>,
}

/// How background is corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Correction {
    /// By a magnetic field that shifts absorbing components by so many picometres.
    Field {
        /// Mean shift at full field, in picometres.
        shift_pm: f64,
    },
    /// By a continuum source seen through a bandpass.
    Continuum {
        /// Width of the bandpass, in picometres.
        bandpass_pm: f64,
    },
}

/// How a neighbour disturbs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Disturbs {
    /// Its line overlaps the analytical line: it is measured as analyte.
    Overlaps,
    /// It absorbs in the background phase alone: the background reads too high, and the net value goes below zero.
    OverCorrects,
}

impl Disturbs {
    /// The words on screens and in documents.
    pub fn words(self) -> &'static str {
        match self {
            Disturbs::Overlaps => "overlaps the analytical line and is measured as analyte",
            Disturbs::OverCorrects => "absorbs in the background phase alone and makes the background read too high",
        }
    }
}

/// A neighbour that could disturb.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspect {
    /// The line.
    pub neighbour: Neighbour,
    /// How.
    pub disturbs: Disturbs,
    /// How near it comes: distance over the width within which lines meet; 0 is full overlap, 1 the edge.
    pub distance: f64,
    /// Part of the atoms in the line's lower level beside those in a ground level, at the temperature of atomisation, the
    /// levels' weights aside; `None` where the table does not name the level.
    pub population: Option<f64>,
}

/// Lines meet within this distance, in picometres (reference table of neighbours: direct overlap is possible within 10 pm).
pub const MEET_WITHIN_PM: f64 = 10.0;

/// Energy of 1 cm⁻¹ over the Boltzmann constant, in kelvin: the second radiation constant in centimetres.
const KELVIN_PER_CM: f64 = 1.438_776_877;

/// A level with less than this part of the atoms absorbs too little to be seen (our choice).
const LEAST_POPULATION: f64 = 1e-4;

/// Sifts the neighbours of one analytical line, the likeliest first.
///
/// # Arguments
/// * `neighbours`: of this line.
/// * `temperature_k`: of atomisation, above 0.
///
/// # Source
/// Which correction meets which line: SW-846 Method 7010, 4.3 and 4.6 (a field copes with Fe on Se and Al on As where a continuum
/// fails). Population: Boltzmann's factor. Checked by `tests/published/handbook.rs`.
pub fn suspects(neighbours: &[Neighbour], correction: Correction, temperature_k: f64) -> Vec<Suspect> {
    let mut found: Vec<Suspect> = neighbours
        .iter()
        .flat_map(|neighbour| {
            let population =
                neighbour.lower_level_per_cm.map(|level| libm::exp(-level * KELVIN_PER_CM / temperature_k));
            let away = neighbour.delta_pm.abs();
            let (overlaps, over_corrects) = match correction {
                Correction::Field { shift_pm } => (away, (away - shift_pm.abs()).abs()),
                // A continuum sees the whole bandpass: what lies in it but not on the line is taken for background.
                Correction::Continuum { bandpass_pm } => (away, MEET_WITHIN_PM * away / (0.5 * bandpass_pm)),
            };
            let suspect = move |disturbs, distance_pm: f64| {
                let is_near = distance_pm <= MEET_WITHIN_PM;
                let is_populated = population.is_none_or(|part| part >= LEAST_POPULATION);
                let distance = distance_pm / MEET_WITHIN_PM;
                (is_near && is_populated).then(|| Suspect {
                    neighbour: neighbour.clone(),
                    disturbs,
                    distance,
                    population,
                })
            };
            [suspect(Disturbs::Overlaps, overlaps), suspect(Disturbs::OverCorrects, over_corrects)]
        })
        .flatten()
        .collect();
    // Nearest first; a level nobody named counts as half populated.
    let likely = |suspect: &Suspect| suspect.population.unwrap_or(0.5) * (1.0 - suspect.distance);
    found.sort_by(|a, b| likely(b).total_cmp(&likely(a)));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn neighbour(delta_pm: f64, level: Option<f64>) -> Neighbour {
        Neighbour { element: "Fe".into(), wavelength_nm: 196.0, delta_pm, lower_level_per_cm: level }
    }

    #[test]
    fn a_line_20_pm_away_over_corrects_with_a_continuum_and_not_in_a_field() {
        let lines = [neighbour(20.0, Some(0.0))];
        let with_continuum = suspects(&lines, Correction::Continuum { bandpass_pm: 200.0 }, 2500.0);
        assert_eq!(with_continuum.iter().map(|s| s.disturbs).collect::<Vec<_>>(), [Disturbs::OverCorrects]);
        assert_eq!(suspects(&lines, Correction::Field { shift_pm: 2.0 }, 2500.0), []);
    }

    #[test]
    fn a_line_that_the_field_moves_over_the_analytical_line_over_corrects() {
        let found = suspects(&[neighbour(6.0, Some(0.0))], Correction::Field { shift_pm: 6.0 }, 2500.0);
        assert_eq!(found[0].disturbs, Disturbs::OverCorrects);
        assert_eq!(found[0].distance, 0.0);
    }

    #[test]
    fn an_empty_level_absorbs_nothing_and_a_named_one_is_weighed() {
        let lines = [neighbour(2.0, Some(40_000.0)), neighbour(3.0, Some(5_000.0)), neighbour(3.0, Some(0.0))];
        let found = suspects(&lines, Correction::Field { shift_pm: 2.0 }, 2500.0);
        assert!(found.iter().all(|s| s.neighbour.lower_level_per_cm != Some(40_000.0)));
        assert_eq!(found[0].neighbour.lower_level_per_cm, Some(0.0), "the ground level first");
        assert!(!found[0].disturbs.words().is_empty());
    }
}
