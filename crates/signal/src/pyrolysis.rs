//! Pyrolysis: how much analyte a temperature drives off, which temperature to try next, and whether a loss is real.
//!
//! [`ThermalLoss`] is loss of first order at a constant temperature. [`PlateauSearch`] asks for temperature after temperature
//! until the highest one on the plateau is known; [`loss_score`] and [`Verdict`] say whether the scatter of readings allows the
//! decision. [`relative_area`] is the other end: what the temperature of atomisation makes of the area.

use crate::furnace_temperature::ZERO_CELSIUS_K;
use crate::pulse_shape::GAS_CONSTANT;

/// Loss of first order from the platform: rate `nu exp(-E/(R T))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermalLoss {
    /// Activation energy, in joule per mole.
    pub activation_energy_j_per_mol: f64,
    /// Frequency factor, per second.
    pub frequency_per_s: f64,
}

impl ThermalLoss {
    /// Part of the analyte that is left after a hold: `exp(-nu t exp(-E/(R T)))`.
    ///
    /// # Arguments
    /// * `temperature_c`: of the platform, in degrees Celsius.
    /// * `hold_s`: at that temperature.
    ///
    /// # Source
    /// First-order loss with a rate after Arrhenius; W. M. G. T. van den Broek, L. de Galan, Anal. Chem. 49 (1977) 2176
    /// (from memory). Checked by `tests/published/main.rs`.
    pub fn survival(&self, temperature_c: f64, hold_s: f64) -> f64 {
        let t_k = temperature_c + ZERO_CELSIUS_K;
        let rate = self.frequency_per_s * libm::exp(-self.activation_energy_j_per_mol / (GAS_CONSTANT * t_k));
        libm::exp(-rate * hold_s)
    }

    /// Temperature, in degrees Celsius, at which a hold loses a part: `E/(R ln(nu t/(-ln(1 - delta))))`.
    ///
    /// # Arguments
    /// * `part`: above 0 and below 1.
    ///
    /// # Source
    /// [`ThermalLoss::survival`] solved for the temperature. Checked by `tests/published/main.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_signal::pyrolysis::ThermalLoss;
    /// let bare = ThermalLoss { activation_energy_j_per_mol: 230e3, frequency_per_s: 1e9 };
    /// assert_eq!(format!("{:.0}", bare.temperature_losing_c(0.05, 20.0)), "763");
    /// ```
    pub fn temperature_losing_c(&self, part: f64, hold_s: f64) -> f64 {
        let ratio = self.frequency_per_s * hold_s / -libm::log1p(-part);
        self.activation_energy_j_per_mol / (GAS_CONSTANT * libm::log(ratio)) - ZERO_CELSIUS_K
    }
}

/// A temperature that was tried and the response found there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tried {
    /// Temperature, in degrees Celsius.
    pub temperature_c: u32,
    /// Response, in any unit.
    pub response: f64,
    /// Whether it is on the plateau.
    pub on_plateau: bool,
}

/// A search for the highest temperature on the plateau of a pyrolysis curve, by halving on a grid.
///
/// The lowest temperature is known to be safe and is tried first, then the highest, then the middle between the highest that
/// passed and the lowest that did not.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateauSearch {
    safe_c: u32,
    highest_c: u32,
    step_c: u32,
    loss_allowed: f64,
    tried: Vec<Tried>,
}

impl PlateauSearch {
    /// A search between two temperatures; `None` where there is nothing to search.
    ///
    /// # Arguments
    /// * `safe_c`: known to be on the plateau.
    /// * `highest_c`: above it.
    /// * `step_c`: of the grid, above 0.
    /// * `loss_allowed`: part of the response that may be lost on the plateau, above 0 and below 1.
    pub fn new(safe_c: u32, highest_c: u32, step_c: u32, loss_allowed: f64) -> Option<PlateauSearch> {
        let usable = safe_c < highest_c && step_c > 0 && loss_allowed > 0.0 && loss_allowed < 1.0;
        usable.then(|| PlateauSearch { safe_c, highest_c, step_c, loss_allowed, tried: Vec::new() })
    }

    /// The temperature to try next, in degrees Celsius; `None` when the search is over.
    ///
    /// # Source
    /// `lo + step floor((hi - lo)/(2 step))`, our own rule. Checked by `tests/published/main.rs`.
    pub fn next_c(&self) -> Option<u32> {
        if self.tried.is_empty() {
            return Some(self.safe_c);
        }
        let Some(lost) = self.tried.iter().filter(|tried| !tried.on_plateau).map(|tried| tried.temperature_c).min()
        else {
            return (self.tried.len() == 1).then_some(self.highest_c);
        };
        let low = self.highest_on_plateau_c();
        let next = low + self.step_c * (lost.saturating_sub(low) / (2 * self.step_c));
        (next > low).then_some(next)
    }

    /// Takes the response found at the temperature asked for; nothing where the search is over.
    ///
    /// The first is on the plateau; a later one is where it is not below the mean of those that are by more than the loss
    /// allowed.
    pub fn take(&mut self, response: f64) {
        let Some(temperature_c) = self.next_c() else { return };
        let passing: Vec<f64> =
            self.tried.iter().filter(|tried| tried.on_plateau).map(|tried| tried.response).collect();
        let mean = passing.iter().fold(0.0, |sum, response| sum + response) / passing.len() as f64;
        let on_plateau = passing.is_empty() || response >= (1.0 - self.loss_allowed) * mean;
        self.tried.push(Tried { temperature_c, response, on_plateau });
    }

    /// What was tried, in order.
    pub fn tried(&self) -> &[Tried] {
        &self.tried
    }

    /// The highest temperature known to be on the plateau, in degrees Celsius.
    pub fn highest_on_plateau_c(&self) -> u32 {
        let passing = self.tried.iter().filter(|tried| tried.on_plateau).map(|tried| tried.temperature_c);
        passing.fold(self.safe_c, u32::max)
    }
}

/// Loss found, less the one allowed, over its standard deviation.
///
/// # Arguments
/// * `loss`: 1 less the mean of `n` readings over the mean of `n_reference` readings on the plateau.
/// * `allowed`: loss that is allowed.
/// * `rsd`: standard deviation of one reading as part of the plateau, above 0.
/// * `n`, `n_reference`: numbers of readings, above 0.
///
/// # Source
/// `z = (d - delta)/(rsd sqrt(1/n + (1 - delta)²/n_ref))`; JCGM 100:2008, equation (10), for the quotient of two means.
/// Checked by `tests/published/main.rs`.
pub fn loss_score(loss: f64, allowed: f64, rsd: f64, n: u32, n_reference: u32) -> f64 {
    let kept = 1.0 - allowed;
    (loss - allowed) / (rsd * (1.0 / f64::from(n) + kept * kept / f64::from(n_reference)).sqrt())
}

/// What readings at a temperature say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Less than the allowed loss, beyond doubt.
    OnThePlateau,
    /// The scatter of the readings allows no decision.
    MeasureAgain,
    /// More than the allowed loss, beyond doubt.
    Lost,
}

impl Verdict {
    /// The verdict for a [`loss_score`]: beyond doubt outside of -1.64 to 1.64, 5 % on one side.
    ///
    /// # Source
    /// Our own rule; the 95 % quantile of the normal distribution. Checked by `tests/published/main.rs`.
    pub fn of(score: f64) -> Verdict {
        if score < -1.64 {
            Verdict::OnThePlateau
        } else if score > 1.64 {
            Verdict::Lost
        } else {
            Verdict::MeasureAgain
        }
    }

    /// The words on screens and in documents.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::OnThePlateau => "on the plateau",
            Verdict::MeasureAgain => "measure again",
            Verdict::Lost => "lost",
        }
    }
}

/// Area per amount at one temperature of atomisation over that at another: `(T_ref/T)^p`.
///
/// # Arguments
/// * `temperature_k`, `reference_k`: of the gas, in kelvin, above 0.
/// * `exponent`: 1.75 for removal by diffusion (an assumption, to be fitted).
///
/// # Source
/// The area is proportional to the residence time, which falls as T^-p; W. M. G. T. van den Broek, L. de Galan, Anal. Chem.
/// 49 (1977) 2176 (from memory). Checked by `tests/published/main.rs`.
pub fn relative_area(temperature_k: f64, reference_k: f64, exponent: f64) -> f64 {
    libm::pow(reference_k / temperature_k, exponent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LOSS: ThermalLoss = ThermalLoss { activation_energy_j_per_mol: 230e3, frequency_per_s: 1e9 };

    #[test]
    fn the_temperature_that_loses_a_part_loses_it() {
        let t = LOSS.temperature_losing_c(0.05, 20.0);
        assert!((LOSS.survival(t, 20.0) - 0.95).abs() < 1e-9);
    }

    #[test]
    fn a_plateau_without_an_end_is_known_after_two_temperatures() {
        let mut search = PlateauSearch::new(400, 1400, 50, 0.05).expect("a span");
        search.take(1.0);
        search.take(1.01);
        assert_eq!((search.next_c(), search.highest_on_plateau_c()), (None, 1400));
        search.take(0.0);
        assert_eq!(search.tried().len(), 2, "a search that is over takes nothing");
    }

    #[test]
    fn nothing_to_search_is_told() {
        assert_eq!(PlateauSearch::new(400, 400, 50, 0.05), None);
        assert_eq!(PlateauSearch::new(400, 800, 0, 0.05), None);
        assert_eq!(PlateauSearch::new(400, 800, 50, 0.0), None);
    }

    proptest! {
        #[test]
        fn a_search_ends_within_one_step_of_the_edge(edge in 400_u32..1400, step in 10_u32..100) {
            let mut search = PlateauSearch::new(400, 1400, step, 0.05).expect("a span");
            let mut n = 0;
            while let Some(next) = search.next_c() {
                search.take(if next <= edge { 1.0 } else { 0.0 });
                n += 1;
                prop_assert!(n < 20);
            }
            let found = search.highest_on_plateau_c();
            // Off the grid at its upper end, the last stretch can be almost two steps long.
            prop_assert!(found <= edge && edge < found + 2 * step);
        }
    }
}
