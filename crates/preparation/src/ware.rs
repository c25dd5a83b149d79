//! Volumetric ware: pipettes and flasks, by how much they may be off, their calibration, and when it is due.
//!
//! [`Pipette::step`] gives the standard uncertainty of one volume; [`gravimetric`] works a pipette's calibration out from
//! weighings of water. What is overdue is told by [`overdue`] and nobody plans with it.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::weighing::z_factor;

/// A pipette.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pipette {
    /// What the laboratory calls it.
    pub id: String,
    /// How it works.
    pub kind: PipetteKind,
    /// The last day its calibration holds; none where it needs none.
    pub due: Option<Date>,
}

/// How a pipette works.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PipetteKind {
    /// Glass with one mark: one volume.
    OneMark {
        /// The volume, in m³.
        volume: f64,
        /// Limits of its deviation, in m³.
        tolerance: f64,
    },
    /// A piston whose volume is set.
    Piston {
        /// The smallest volume, in m³.
        from: f64,
        /// The largest volume, in m³; its limits of deviation belong to it.
        to: f64,
        /// What it can be set in, in m³.
        increment: f64,
        /// Limits of the systematic deviation, in m³.
        systematic: f64,
        /// Standard deviation of repeated volumes, in m³.
        random: f64,
    },
}

/// A one-mark flask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flask {
    /// What the laboratory calls it.
    pub id: String,
    /// Its volume, in m³.
    pub volume: f64,
    /// Limits of its deviation, in m³.
    pub tolerance: f64,
    /// The last day its calibration holds; none where it needs none.
    pub due: Option<Date>,
}

/// Two volumes are the same where they differ by less than this part.
pub(crate) const SAME: f64 = 1e-9;

impl Pipette {
    /// The standard uncertainty of a volume, in m³; none where the pipette cannot deliver it.
    ///
    /// The limits of a piston pipette belong to its largest volume and hold at every setting.
    ///
    /// # Source
    /// One mark: limits as a rectangular distribution (GUM 4.3.7). Piston: √((systematic/√3)² + random²), ISO 8655-2:2002, Table 1
    /// for the limits; to take them so is common practice, no source. Checked by `tests/published/ware.rs`.
    pub fn step(&self, volume: f64) -> Option<f64> {
        match self.kind {
            PipetteKind::OneMark { volume: own, tolerance } => {
                ((volume - own).abs() <= SAME * own).then(|| tolerance / 3.0_f64.sqrt())
            }
            PipetteKind::Piston { from, to, increment, systematic, random } => {
                let settings = volume / increment;
                let is_set = (settings - settings.round()).abs() <= 1e-6;
                let is_within = volume >= from * (1.0 - SAME) && volume <= to * (1.0 + SAME);
                (is_set && is_within).then(|| (systematic * systematic / 3.0 + random * random).sqrt())
            }
        }
    }

    /// The volumes that people set when they are free to choose, ascending, in m³: one of a one-mark pipette, a few of each
    /// decade of a piston.
    pub fn round_settings(&self) -> Vec<f64> {
        const ROUND: [f64; 12] = [1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];
        match self.kind {
            PipetteKind::OneMark { volume, .. } => vec![volume],
            PipetteKind::Piston { from, to, .. } => {
                let mut settings = Vec::new();
                // Decades from a nanolitre to a decilitre hold every pipette.
                for decade in -12..-3 {
                    let ten = decimal(decade);
                    settings.extend(ROUND.iter().map(|part| part * ten));
                }
                settings.retain(|volume| {
                    *volume >= from * (1.0 - SAME) && *volume <= to * (1.0 + SAME) && self.step(*volume).is_some()
                });
                settings
            }
        }
    }

    /// The largest volume, in m³.
    pub fn largest(&self) -> f64 {
        match self.kind {
            PipetteKind::OneMark { volume, .. } => volume,
            PipetteKind::Piston { to, .. } => to,
        }
    }
}

/// Ten to a small power, without `powi`: the same bits everywhere.
fn decimal(power: i32) -> f64 {
    let mut ten = 1.0;
    for _ in 0..power.unsigned_abs() {
        ten *= 10.0;
    }
    if power < 0 { 1.0 / ten } else { ten }
}

impl Flask {
    /// The standard uncertainty of its volume, in m³.
    ///
    /// # Source
    /// Limits as a triangular distribution: values near the mark are more likely. Eurachem/CITAC CG 4, QUAM:2012, A1.4.
    pub fn u(&self) -> f64 {
        self.tolerance / 6.0_f64.sqrt()
    }
}

/// Whether something may not be used any more on a day.
pub fn overdue(due: Option<Date>, on: Date) -> bool {
    due.is_some_and(|due| on > due)
}

/// What weighings of water say about a pipette at one volume; all in m³.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gravimetric {
    /// The mean volume delivered.
    pub mean: f64,
    /// The systematic deviation: mean less the volume set.
    pub systematic: f64,
    /// The random deviation: the standard deviation of one volume.
    pub random: f64,
    /// Standard uncertainty of one volume as it is set: √(systematic²/3 + random²).
    pub u: f64,
}

/// Weighings that say nothing about a pipette.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum GravimetricFault {
    /// Fewer than ten.
    #[error("{found} weighings stand here; a calibration needs ten")]
    TooFew {
        /// How many there are.
        found: usize,
    },
    /// Temperature or pressure of no laboratory.
    #[error("{t} °C and {hectopascal} hPa are outside 15 to 30 °C and 600 to 1100 hPa, for which the factor holds")]
    Surroundings {
        /// Temperature.
        t: f64,
        /// Pressure in hPa.
        hectopascal: f64,
    },
    /// A mass that is none.
    #[error("weighing {number} is no mass above zero")]
    NoMass {
        /// Which, from 1.
        number: usize,
    },
}

/// The calibration of a pipette at one volume from weighings of water.
///
/// # Arguments
/// * `set`: the volume set, in m³. `masses`: what the balance showed, in kg, ten or more.
/// * `t`: temperature of the water in °C. `pressure`: in Pa.
/// * `evaporated`: mass lost in one cycle, in kg; it is added to each.
///
/// # Errors
/// [`GravimetricFault`].
///
/// # Source
/// ISO 8655-6:2002, clauses 8 and 9 (from memory), annex A for Z. Checked by `tests/published/ware.rs`.
pub fn gravimetric(
    set: f64,
    masses: &[f64],
    t: f64,
    pressure: f64,
    evaporated: f64,
) -> Result<Gravimetric, GravimetricFault> {
    if masses.len() < 10 {
        return Err(GravimetricFault::TooFew { found: masses.len() });
    }
    if !(15.0..=30.0).contains(&t) || !(60_000.0..=110_000.0).contains(&pressure) {
        return Err(GravimetricFault::Surroundings { t, hectopascal: pressure / 100.0 });
    }
    if let Some(place) = masses.iter().position(|mass| !(mass.is_finite() && *mass > 0.0)) {
        return Err(GravimetricFault::NoMass { number: place + 1 });
    }
    let z = z_factor(t, pressure);
    let n = masses.len() as f64;
    let volumes: Vec<f64> = masses.iter().map(|mass| (mass + evaporated) * z).collect();
    let mean = volumes.iter().sum::<f64>() / n;
    let squares: f64 = volumes.iter().map(|volume| (volume - mean) * (volume - mean)).sum();
    let random = (squares / (n - 1.0)).sqrt();
    let systematic = mean - set;
    Ok(Gravimetric { mean, systematic, random, u: (systematic * systematic / 3.0 + random * random).sqrt() })
}

/// Largest deviations that a standard permits to a piston pipette of this largest volume.
///
/// # Arguments
/// * `largest`: in m³.
///
/// # Returns
/// Systematic and random, in m³; those of the next larger volume of the table, none above 10 mL.
///
/// # Source
/// ISO 8655-2:2002, Table 1, type A, single channel (from memory). Checked by `tests/published/ware.rs`.
pub fn permitted(largest: f64) -> Option<(f64, f64)> {
    // Largest volume, systematic, random, in µL.
    const TABLE: [(f64, f64, f64); 13] = [
        (1.0, 0.05, 0.05),
        (2.0, 0.08, 0.04),
        (5.0, 0.125, 0.075),
        (10.0, 0.12, 0.08),
        (20.0, 0.2, 0.1),
        (50.0, 0.5, 0.2),
        (100.0, 0.8, 0.3),
        (200.0, 1.6, 0.6),
        (500.0, 4.0, 1.5),
        (1000.0, 8.0, 3.0),
        (2000.0, 16.0, 6.0),
        (5000.0, 40.0, 15.0),
        (10000.0, 60.0, 30.0),
    ];
    let microlitres = largest * 1e9;
    let row = TABLE.iter().find(|(size, ..)| *size >= microlitres * (1.0 - SAME))?;
    Some((row.1 / 1e9, row.2 / 1e9))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piston() -> Pipette {
        let kind = PipetteKind::Piston { from: 100e-9, to: 1000e-9, increment: 1e-9, systematic: 8e-9, random: 3e-9 };
        Pipette { id: "P1000".into(), kind, due: None }
    }

    #[test]
    fn a_piston_delivers_what_lies_in_its_range_and_on_its_scale() {
        let pipette = piston();
        assert!(pipette.step(250e-9).is_some());
        for beyond in [50e-9, 1001e-9, 250.5e-9, 0.0, f64::NAN] {
            assert_eq!(pipette.step(beyond), None, "{beyond}");
        }
        let settings = pipette.round_settings();
        assert_eq!(settings.len(), 13);
        assert!(settings.is_sorted());
        assert!((settings[12] - 1000e-9).abs() < 1e-18);
    }

    #[test]
    fn what_is_due_today_still_serves_today() {
        let day = |text: &str| text.parse::<Date>().unwrap();
        assert!(!overdue(Some(day("2026-03-14")), day("2026-03-14")));
        assert!(overdue(Some(day("2026-03-14")), day("2026-03-15")));
        assert!(!overdue(None, day("2026-03-15")));
    }

    #[test]
    fn ten_weighings_make_a_calibration_and_nine_do_not() {
        let masses = [0.9960e-3; 10];
        let found = gravimetric(1000e-9, &masses, 20.0, 101_325.0, 0.0).unwrap();
        // Z at 20 °C and 101.3 kPa is 1.00285 µL/mg, 1.0029 in the table of ISO 8655-6: 998.84 µL.
        assert!((found.mean * 1e9 - 998.84).abs() < 0.01, "{found:?}");
        assert!(found.random < 1e-15);
        assert_eq!(
            gravimetric(1000e-9, &masses[..9], 20.0, 101_325.0, 0.0),
            Err(GravimetricFault::TooFew { found: 9 })
        );
        assert!(gravimetric(1000e-9, &masses, 20.0, 1013.25, 0.0).is_err(), "a pressure in hPa is told");
    }
}
