//! The bench: a graphite furnace whose every constant is known.
//!
//! [`Spectrometer::furnace`] is the bench of the invented laboratory; [`Spectrometer::expected_area`] says what a solution
//! gives without noise, drift or error of injection; firing it stays inside the crate, behind [`crate::simulate()`].
//!
//! The pulse of the analyte has its area from the amount alone and its shape from supply and loss of first order, or from
//! a platform that lags the wall; the background comes early and is gone when the analyte peaks. Noise is that of the light
//! that is left.
//!
//! Invariant: each firing takes its draws in one stated order, and a fault takes as many as none, so that a fault moves
//! nothing but its own firing.

use core::f64::consts::PI;

use darkline_metrology::kind::{Factor, IntegratedAbsorbance, Kind, Mass, MassConcentration, Volume};
use darkline_record::figure::Written;
use darkline_record::pulse::Pulse;
use darkline_signal::photon_noise::PhotonNoise;
use darkline_signal::pulse_shape::{GAS_CONSTANT, SupplyLoss};

use darkline_record::method::ResolvedMethod;

use crate::cup::Cup;
use crate::disturbance::{Disturbance, WARM_UP_READINGS};
use crate::draws::Draws;
use crate::platform::Platform;
use crate::simulator_fault::SimulatorFault;
use crate::truth::Truth;

/// Integrated absorbance of one characteristic mass, in s.
///
/// # Source
/// Absorption of 1 %: -lg 0.99 = 0.00436, for which the trade uses 0.0044 (common practice, no source).
pub const CHARACTERISTIC_AREA_S: f64 = 0.0044;

/// A virtual graphite furnace spectrometer. Its constants may be changed one by one, to see what each does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spectrometer {
    /// Mass of the element that gives [`CHARACTERISTIC_AREA_S`].
    pub characteristic_mass: Mass,
    /// Volume put into the tube.
    pub injected_volume: Volume,
    /// Light no analyte absorbs over the absorbable light at absorbance 0.
    pub stray_fraction: f64,
    /// Part of the analyte's absorbance that the field leaves in the background channel. Characteristic masses are measured
    /// with the field, so the absorbance without it is higher by `1/(1 - field_left)`.
    pub field_left: f64,
    /// Part of the analyte's absorbance that a middle field strength leaves; `None` for a bench with two channels.
    pub middle_field_left: Option<f64>,
    /// Part of the sensitivity that the lamp lacks at the first reading of the run.
    pub cold_lamp: f64,
    /// Time by which a platform lags the wall, in s; 0 for one rate of supply.
    pub platform_lag_s: f64,

    /// Samples a second of each channel.
    pub rate_hz: f64,
    /// Samples before the start of atomisation.
    pub n_before: u32,
    /// Samples in all.
    pub n_samples: u32,

    /// Rate constant of supply, per second.
    pub k_supply_per_s: f64,
    /// Rate constant of loss, per second.
    pub k_loss_per_s: f64,
    /// When atoms of a clean solution begin to come, in s.
    pub start_s: f64,
    /// How much later they come for each unit of background height, in s: the matrix holds them back.
    pub delay_by_matrix_s: f64,

    /// Rate constants of supply and loss of the background, per second.
    pub k_background_per_s: (f64, f64),
    /// When the background begins, in s.
    pub background_start_s: f64,
    /// Height of the background of standards and blanks: the acid alone.
    pub acid_background: f64,

    /// Photoelectrons of one value at absorbance 0.
    pub electrons_at_zero: f64,
    /// Read noise in electrons.
    pub read_electrons: f64,
    /// Relative flicker of the lamp from value to value, in each channel on its own.
    pub flicker: f64,
    /// No more absorbance than this is told apart from darkness.
    pub darkest: f64,

    /// Relative standard deviation of the injected volume.
    pub volume_rsd: f64,
    /// Relative standard deviation of what a firing makes of an amount: how the drop lies and dries.
    pub atomisation_rsd: f64,
    /// Standard deviation of the offset between the channels from firing to firing.
    pub offset_sd: f64,
    /// Standard deviation of the slope of that offset, per second.
    pub wander_sd_per_s: f64,

    /// Part of the sensitivity that a firing costs the tube.
    pub ageing_per_firing: f64,
    /// Amplitude of a slow swing of the sensitivity.
    pub swing: f64,
    /// Firings of one such swing.
    pub swing_firings: f64,
}

/// What is particular to one firing, or to one reading in a flame.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Firing<'a> {
    /// How many firings of the run came before it.
    pub(crate) earlier: u64,
    /// Phase of the slow swing on this day, in radians.
    pub(crate) swing_phase: f64,
    /// What goes wrong.
    pub(crate) disturbance: &'a Disturbance,
}

impl Spectrometer {
    /// Furnace bench 2 of the invented laboratory.
    ///
    /// Every constant is invented, so that one net value at absorbance 0 scatters by 0.0013, an area at 0 by 0.001 s and
    /// an area at the top standard by 1.7 %: a usual bench (common practice, no source).
    ///
    /// # Arguments
    /// * `characteristic_mass`: near 15 pg for lead at 283.3 nm (ISO 15586, Table 1, from memory).
    /// * `injected_volume`: 20 µL in the furnace methods the handbook knows (EPA method 200.9, Table 2).
    pub fn furnace(characteristic_mass: Mass, injected_volume: Volume) -> Self {
        Self {
            characteristic_mass,
            injected_volume,
            stray_fraction: 0.0,
            field_left: 0.0,
            middle_field_left: None,
            cold_lamp: 0.0,
            platform_lag_s: 0.0,
            rate_hz: 100.0,
            n_before: 50,
            n_samples: 500,
            k_supply_per_s: 6.0,
            k_loss_per_s: 3.0,
            start_s: 0.45,
            delay_by_matrix_s: 0.2,
            k_background_per_s: (16.0, 9.0),
            background_start_s: 0.15,
            acid_background: 0.012,
            electrons_at_zero: 250_000.0,
            read_electrons: 60.0,
            flicker: 4e-4,
            darkest: 3.0,
            volume_rsd: 0.012,
            atomisation_rsd: 0.012,
            offset_sd: 0.002,
            wander_sd_per_s: 5e-5,
            ageing_per_firing: 1e-4,
            swing: 0.004,
            swing_firings: 140.0,
        }
    }

    /// The furnace a truth speaks of; where it speaks of none, one of 10 pg and 20 µL.
    pub fn of(truth: &Truth) -> Self {
        let bench = &truth.spectrometer;
        let part =
            |figure: &Option<Written<Factor>>, absent: f64| figure.as_ref().map_or(absent, |part| part.value().si());
        let mass = bench.characteristic_mass.as_ref().map_or(Mass::from_si(1e-14), Written::value);
        let volume = bench.injected_volume.as_ref().map_or(Volume::from_si(2e-8), Written::value);
        let furnace = Self::furnace(mass, volume);
        Self {
            stray_fraction: part(&bench.stray_light, 0.0),
            field_left: part(&bench.field_left, 0.0),
            middle_field_left: bench.middle_field_left.as_ref().map(|left| left.value().si()),
            cold_lamp: part(&bench.cold_lamp, 0.0),
            platform_lag_s: bench.platform_lag.as_ref().map_or(0.0, |lag| lag.value().si()),
            ageing_per_firing: part(&bench.ageing, furnace.ageing_per_firing),
            ..furnace
        }
    }

    /// The furnace a truth speaks of, for a method.
    ///
    /// # Errors
    /// [`SimulatorFault::NoBenchFigure`] where the truth speaks of none.
    pub fn of_method(truth: &Truth, method: &ResolvedMethod) -> Result<Self, SimulatorFault> {
        let bench = &truth.spectrometer;
        let missing = |what| SimulatorFault::NoBenchFigure {
            method: method.id.clone(),
            technique: method.technique.word(),
            what,
        };
        if bench.characteristic_mass.is_none() {
            return Err(missing("characteristic_mass"));
        }
        if bench.injected_volume.is_none() {
            return Err(missing("injected_volume"));
        }
        Ok(Self::of(truth))
    }

    /// The same bench without noise, drift and errors of injection: pulses are then what their formulas say.
    pub fn without_noise(self) -> Self {
        Self {
            electrons_at_zero: 1e30,
            read_electrons: 0.0,
            flicker: 0.0,
            volume_rsd: 0.0,
            atomisation_rsd: 0.0,
            offset_sd: 0.0,
            wander_sd_per_s: 0.0,
            ageing_per_firing: 0.0,
            swing: 0.0,
            ..self
        }
    }

    /// Integrated absorbance of the whole pulse of a solution, without noise, drift, stray light or error of injection.
    ///
    /// # Source
    /// `0.0044 s · c V/m0`, the definition of the characteristic mass m0. Checked by
    /// `tests/published/characteristic_mass.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::kind::{Kind, Mass, MassConcentration, Volume};
    /// use darkline_simulator::Spectrometer;
    /// let mass = Mass::unit("pg").unwrap().of(15.0);
    /// let volume = Volume::unit("µL").unwrap().of(20.0);
    /// let bench = Spectrometer::furnace(mass, volume);
    /// let amount = MassConcentration::unit("µg/L").unwrap().of(50.0);
    /// assert_eq!(format!("{:.4} s", bench.expected_area(amount).si()), "0.2933 s");
    /// ```
    pub fn expected_area(&self, amount: MassConcentration) -> IntegratedAbsorbance {
        let mass = amount.si() * self.injected_volume.si();
        IntegratedAbsorbance::from_si(CHARACTERISTIC_AREA_S * mass / self.characteristic_mass.si())
    }

    /// The pulse of a solution's analyte, whole and undisturbed.
    pub fn analyte(&self, amount: MassConcentration, background_height: f64) -> SupplyLoss {
        SupplyLoss {
            area: self.expected_area(amount).si(),
            k_supply_per_s: self.k_supply_per_s,
            k_loss_per_s: self.k_loss_per_s,
            start_s: self.start_s + self.delay_by_matrix_s * background_height,
        }
    }

    /// The noise of one value of a channel.
    pub fn noise(&self) -> PhotonNoise {
        PhotonNoise {
            electrons_at_zero: self.electrons_at_zero,
            stray_fraction: self.stray_fraction,
            read_electrons: self.read_electrons,
            flicker: self.flicker,
        }
    }

    /// Holds the constants against what a bench can be.
    ///
    /// # Errors
    /// [`SimulatorFault::Bench`].
    pub fn check(&self) -> Result<(), SimulatorFault> {
        // Generous bounds, within which every pulse is finite; the smallest mass is far below an atom's.
        let constants = [
            ("characteristic mass", self.characteristic_mass.si(), 1e-30, 1.0),
            ("injected volume", self.injected_volume.si(), 1e-18, 1.0),
            ("stray light", self.stray_fraction, 0.0, 1.0),
            ("part the field leaves", self.field_left, 0.0, 0.95),
            ("lack of the cold lamp", self.cold_lamp, 0.0, 0.95),
            ("lag of the platform", self.platform_lag_s, 0.0, 10.0),
            ("sampling rate", self.rate_hz, 1e-3, 1e6),
            ("number of samples", f64::from(self.n_samples), 0.0, 1e5),
            ("rate of supply", self.k_supply_per_s, 1e-6, 1e6),
            ("rate of loss", self.k_loss_per_s, 1e-6, 1e6),
            ("start", self.start_s, 0.0, 1e3),
            ("delay by the matrix", self.delay_by_matrix_s, 0.0, 1e3),
            ("supply of the background", self.k_background_per_s.0, 1e-6, 1e6),
            ("loss of the background", self.k_background_per_s.1, 1e-6, 1e6),
            ("start of the background", self.background_start_s, 0.0, 1e3),
            ("background of the acid", self.acid_background, 0.0, 1e3),
            ("light", self.electrons_at_zero, 1.0, 1e30),
            ("read noise", self.read_electrons, 0.0, 1e6),
            ("flicker", self.flicker, 0.0, 1.0),
            ("darkest absorbance", self.darkest, 0.01, 10.0),
            ("scatter of the volume", self.volume_rsd, 0.0, 1.0),
            ("scatter of the atomisation", self.atomisation_rsd, 0.0, 1.0),
            ("scatter of the offset", self.offset_sd, 0.0, 10.0),
            ("wander", self.wander_sd_per_s, 0.0, 10.0),
            ("ageing", self.ageing_per_firing, 0.0, 1.0),
            ("swing", self.swing, 0.0, 1.0),
            ("period of the swing", self.swing_firings, 1.0, 1e9),
        ];
        for (what, found, least, most) in constants {
            if !(least..=most).contains(&found) {
                return Err(SimulatorFault::Bench { what, found });
            }
        }
        Ok(())
    }

    /// Fires once.
    pub(crate) fn fire(&self, cup: &Cup, firing: Firing<'_>, draws: &mut Draws) -> Pulse {
        // Six draws before the samples, whether they are needed or not.
        let volume = 1.0 + self.volume_rsd * draws.normal();
        let atomisation = 1.0 + self.atomisation_rsd * draws.normal();
        let offset = self.offset_sd * draws.normal();
        let wander = self.wander_sd_per_s * draws.normal();
        let kept = 0.30 + 0.15 * draws.uniform();
        let late_s = 0.4 + 0.2 * draws.uniform();

        let wrong = firing.disturbance;
        let hotter = (ATOMISATION_K + wrong.hotter_k) / ATOMISATION_K;
        let mut analyte = self.analyte(cup.seen, cup.background);
        analyte.area *= (volume * atomisation).max(0.0) * self.sensitivity(firing) * wrong.response;
        let mut background_height = (cup.background + self.acid_background + wrong.background) * volume.max(0.0);
        analyte.start_s += wrong.delay_s;
        if wrong.hotter_k != 0.0 {
            let loss = libm::pow(hotter, LOSS_EXPONENT);
            analyte.area /= loss;
            analyte.k_loss_per_s *= loss;
            analyte.k_supply_per_s *= hotter_supply(wrong.hotter_k);
            analyte.start_s /= hotter;
        }
        if let Some(size) = wrong.bad_injection {
            let kept = size.map_or(kept, |lost| 1.0 - lost);
            analyte.area *= kept;
            analyte.start_s += late_s;
            analyte.k_supply_per_s *= 0.4;
            analyte.k_loss_per_s *= 0.6;
            background_height *= kept;
        }
        let background = SupplyLoss {
            area: 1.0,
            k_supply_per_s: self.k_background_per_s.0,
            k_loss_per_s: self.k_background_per_s.1,
            start_s: self.background_start_s,
        };
        let background_top = background.peak().height;
        let background_scale = background_height / background_top;
        let structured_scale = wrong.structured / background_top;
        let platform = (self.platform_lag_s > 0.0).then(|| Platform::of_pulse(self.platform_lag_s, &analyte));
        let at = |t_s: f64| match &platform {
            Some(platform) => platform.absorbance(t_s),
            None => analyte.absorbance(t_s),
        };
        let with_field = 1.0 / (1.0 - self.field_left);
        let field_left = self.field_left + wrong.field_left * (1.0 - self.field_left);

        let noise = PhotonNoise { stray_fraction: self.stray_fraction + wrong.stray, ..self.noise() };
        let n_samples = self.n_samples as usize;
        let mut moments = Vec::with_capacity(n_samples);
        let mut totals = Vec::with_capacity(n_samples);
        let mut backgrounds = Vec::with_capacity(n_samples);
        let mut middles = Vec::new();
        for place in 0..self.n_samples {
            let t_s = (f64::from(place) - f64::from(self.n_before)) / self.rate_hz;
            let background_now = background_scale * background.absorbance(t_s);
            let mut analyte_now = with_field * at(t_s);
            if wrong.second_site != 0.0 {
                let later = with_field * at(t_s - SECOND_SITE_S);
                analyte_now = (1.0 - wrong.second_site) * analyte_now + wrong.second_site * later;
            }
            let total_now = background_now + analyte_now;
            let structured_now = structured_scale * background.absorbance(t_s);
            let background_now = background_now + field_left * analyte_now + structured_now;
            let total = self.read(total_now, &noise, wrong.noise, draws) + offset + wander * t_s;
            let background = self.read(background_now, &noise, wrong.noise, draws);
            moments.push(t_s);
            totals.push(total as f32);
            backgrounds.push(background as f32);
            // A field between moves a part of what the full field moves, of a structured background too.
            if let Some(left) = self.middle_field_left {
                let middle_now = total_now + (1.0 - left) / (1.0 - field_left) * (background_now - total_now);
                middles.push(self.read(middle_now, &noise, wrong.noise, draws) as f32);
            }
        }
        marred(moments, totals, backgrounds, self.middle_field_left.map(|_| middles), wrong)
    }

    /// What is left of the sensitivity at a firing.
    fn sensitivity(&self, firing: Firing<'_>) -> f64 {
        let earlier = firing.earlier as f64;
        let ageing = libm::exp(-self.ageing_per_firing * earlier);
        let turn = 2.0 * PI * (earlier / self.swing_firings) + firing.swing_phase;
        let swung = ageing * (1.0 + self.swing * libm::sin(turn)).max(0.0);
        if self.cold_lamp == 0.0 {
            return swung;
        }
        swung * (1.0 - self.cold_lamp * libm::exp(-earlier / WARM_UP_READINGS))
    }

    /// One value of a channel.
    ///
    /// # Source
    /// Stray light bends a channel to `lg[(1 + alpha)/(10^-A + alpha)]`; `reference/physics`, (5.1). The noise is that of
    /// [`PhotonNoise::sd`], (4.12), drawn in absorbance so that it has no bias.
    fn read(&self, true_absorbance: f64, noise: &PhotonNoise, times: f64, draws: &mut Draws) -> f64 {
        let absorbance = true_absorbance.min(self.darkest);
        bent(absorbance, noise.stray_fraction) + times * noise.sd(absorbance) * draws.normal()
    }
}

/// Temperature of atomisation, in K: 2000 °C, as the methods of the invented laboratory have it.
pub(crate) const ATOMISATION_K: f64 = 2273.15;

/// Power of the temperature with which atoms are lost: diffusion, `reference/physics`, (8.6); constructed there.
pub(crate) const LOSS_EXPONENT: f64 = 1.75;

/// Activation energy of supply over the gas constant, in K: 230 kJ/mol, `reference/physics/temperature.toml`; constructed
/// there.
const SUPPLY_K: f64 = 230_000.0 / GAS_CONSTANT;

/// How much later the second site of a double peak gives its atoms, in s; invented.
const SECOND_SITE_S: f64 = 1.0;

/// By which factor atoms are supplied faster in a tube that is hotter.
fn hotter_supply(hotter_k: f64) -> f64 {
    libm::exp(SUPPLY_K / ATOMISATION_K - SUPPLY_K / (ATOMISATION_K + hotter_k)).min(1e3)
}

/// What a channel reads of an absorbance with stray light.
///
/// # Source
/// `lg[(1 + alpha)/(10^-A + alpha)]`; `reference/physics`, (5.1).
pub(crate) fn bent(absorbance: f64, stray: f64) -> f64 {
    if stray == 0.0 { absorbance } else { libm::log10((1.0 + stray) / (libm::exp10(-absorbance) + stray)) }
}

/// A trace with its top cut off and samples missing, where a fault says so.
pub(crate) fn marred(
    mut moments: Vec<f64>,
    mut totals: Vec<f32>,
    mut backgrounds: Vec<f32>,
    mut middles: Option<Vec<f32>>,
    wrong: &Disturbance,
) -> Pulse {
    let mut top = 0;
    for (place, total) in totals.iter().enumerate() {
        if *total > totals[top] {
            top = place;
        }
    }
    if wrong.clipped > 0.0 && !totals.is_empty() {
        let ceiling = (f64::from(totals[top]) * (1.0 - wrong.clipped)) as f32;
        for total in totals.iter_mut().filter(|total| **total > ceiling) {
            *total = ceiling;
        }
    }
    if wrong.gap_s > 0.0 && !totals.is_empty() {
        let middle = moments[top];
        let stays: Vec<bool> = moments.iter().map(|t| (t - middle).abs() > wrong.gap_s / 2.0).collect();
        let mut place = stays.iter();
        moments.retain(|_| *place.next().unwrap_or(&true));
        let mut place = stays.iter();
        totals.retain(|_| *place.next().unwrap_or(&true));
        let mut place = stays.iter();
        backgrounds.retain(|_| *place.next().unwrap_or(&true));
        let mut place = stays.iter();
        if let Some(middles) = &mut middles {
            middles.retain(|_| *place.next().unwrap_or(&true));
        }
    }
    let pulse = Pulse::new(moments, totals, backgrounds).expect("each sample is pushed to and taken from all three");
    match middles {
        Some(middles) => pulse.with_middle(middles).expect("each sample is pushed to and taken from all channels"),
        None => pulse,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;

    fn bench() -> Spectrometer {
        Spectrometer::of(&small_run::truth())
    }

    fn microgram_per_litre(figure: f64) -> MassConcentration {
        MassConcentration::usual_unit().of(figure)
    }

    fn draws(replicate: u8) -> Draws {
        Draws::of_firing(3, &"R1".parse().unwrap(), 1, replicate, 1)
    }

    const PLAIN: Firing<'_> = Firing { earlier: 0, swing_phase: 0.0, disturbance: &Disturbance::NONE };

    fn cup(amount: MassConcentration, background: f64) -> Cup {
        Cup { amount, background, seen: amount }
    }

    fn badly_injected() -> Disturbance {
        Disturbance { bad_injection: Some(None), ..Disturbance::NONE }
    }

    /// Sum of the net values between 0 s and 4 s, the mean of the net values before 0 s taken off, over the rate.
    fn area(pulse: &Pulse) -> f64 {
        let net: Vec<f64> = pulse
            .total()
            .iter()
            .zip(pulse.background())
            .map(|(total, background)| f64::from(*total) - f64::from(*background))
            .collect();
        let baseline = net[..50].iter().sum::<f64>() / 50.0;
        net[50..451].iter().map(|value| value - baseline).sum::<f64>() / 100.0
    }

    fn sd(values: &[f64]) -> f64 {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
        (squares / (values.len() - 1) as f64).sqrt()
    }

    #[test]
    fn a_noise_free_area_is_the_area_of_the_formula() {
        let bench = bench().without_noise();
        for figure in [0.0, 1.0, 20.0, 50.0, 90.0] {
            for background in [0.0, 0.2] {
                let amount = microgram_per_litre(figure);
                let cup = cup(amount, background);
                let found = area(&bench.fire(&cup, PLAIN, &mut draws(1)));
                let formula = bench.analyte(amount, background).area_until(4.0);
                // Rounding to single precision, 401 values of at most 0.7: 401 · 2^-25 · 0.7/100; and the sum of samples
                // against the integral: the kink at the start, h²/12 times the jump of the slope, 18 · 0.53 · 1e-4/12.
                assert!((found - formula).abs() < 9e-5, "{figure}: {found} {formula}");
                // What is missing after 4 s.
                let whole = bench.expected_area(amount).si();
                assert!((found - whole).abs() < 9e-5 + 1e-4 * whole, "{figure}: {found} {whole}");
            }
        }
    }

    #[test]
    fn noise_at_zero_and_at_high_absorbance_is_that_of_the_model() {
        // No analyte, a background that stands still: both channels read the same absorbance all the time.
        for absorbance in [0.0, 1.0, 2.0] {
            let still = Spectrometer { n_samples: 20_000, ..bench() };
            let noise = still.noise();
            let mut draws = draws(2);
            let values: Vec<f64> =
                (0..still.n_samples).map(|_| still.read(absorbance, &noise, 1.0, &mut draws)).collect();
            // (4.12) by hand.
            let electrons = 250_000.0 * libm::exp10(-absorbance);
            let model = core::f64::consts::LOG10_E
                * (1.0 / electrons + (60.0 / electrons) * (60.0 / electrons) + 4e-4 * 4e-4).sqrt();
            // Four standard deviations of a standard deviation of 20 000 values.
            assert!((sd(&values) / model - 1.0).abs() < 0.02, "{absorbance}: {} {model}", sd(&values));
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            assert!((mean - absorbance).abs() < 4.0 * model / 141.4, "{absorbance}: {mean}");
        }
    }

    #[test]
    fn the_noise_of_a_pulse_grows_with_its_absorbance() {
        let bench =
            Spectrometer { offset_sd: 0.0, wander_sd_per_s: 0.0, volume_rsd: 0.0, atomisation_rsd: 0.0, ..bench() };
        let amount = microgram_per_litre(150.0);
        let cup = cup(amount, 0.5);
        let clean = bench.without_noise().fire(&cup, PLAIN, &mut draws(1));
        let place_of_peak = (0..500).max_by(|a, b| clean.total()[*a].total_cmp(&clean.total()[*b])).unwrap();
        let readings: Vec<Pulse> = (0..250).map(|replicate| bench.fire(&cup, PLAIN, &mut draws(replicate))).collect();
        let scatter = |place: usize| {
            let values: Vec<f64> = readings.iter().map(|pulse| f64::from(pulse.total()[place])).collect();
            sd(&values)
        };
        for place in [10, place_of_peak] {
            let model = bench.noise().sd(f64::from(clean.total()[place]));
            // Four standard deviations of a standard deviation of 250 values.
            assert!((scatter(place) / model - 1.0).abs() < 0.18, "{place}: {} {model}", scatter(place));
        }
    }

    #[test]
    fn the_mean_of_2000_replicates_is_the_truth_within_its_error() {
        let bench = Spectrometer { ageing_per_firing: 0.0, swing: 0.0, ..bench() };
        let run = "R1".parse().unwrap();
        for figure in [0.0, 30.0] {
            let amount = microgram_per_litre(figure);
            let cup = cup(amount, 0.15);
            let areas: Vec<f64> = (0..2000)
                .map(|row| area(&bench.fire(&cup, PLAIN, &mut Draws::of_firing(5, &run, row, 1, 1))))
                .collect();
            let mean = areas.iter().sum::<f64>() / 2000.0;
            let truth = bench.analyte(amount, 0.15).area_until(4.0);
            let error = sd(&areas) / 2000.0_f64.sqrt();
            // Three standard errors, and the sampling of the kink (see the noise-free areas).
            assert!((mean - truth).abs() < 3.0 * error + 9e-5, "{figure}: {mean} {truth} {error}");
            // The scatter is that of light (4.3), wandering offset and injection: one net value 0.001261 by (4.12), times
            // sqrt(401 + 401²/50)/100; 5e-5 times 4.01 s times the 2.255 s between the middles of window and baseline.
            let (light, wander) = (0.001_261 * 0.6014, 5e-5 * 4.01 * 2.255);
            let injection = truth * (0.012_f64 * 0.012 + 0.012 * 0.012).sqrt();
            let expected = (light * light + wander * wander + injection * injection).sqrt();
            // Four standard deviations of a standard deviation of 2000 areas.
            assert!((sd(&areas) / expected - 1.0).abs() < 0.064, "{figure}: {} {expected}", sd(&areas));
        }
    }

    #[test]
    fn a_bad_injection_brings_a_third_to_a_half_and_comes_late() {
        let bench = bench();
        let cup = cup(microgram_per_litre(30.0), 0.15);
        let centroid = |pulse: &Pulse| {
            let net = pulse.total().iter().zip(pulse.background()).map(|(t, b)| f64::from(*t) - f64::from(*b));
            let weighted: Vec<(f64, f64)> = pulse.t_s().iter().zip(net).map(|(t, a)| (t * a, a)).collect();
            weighted.iter().map(|w| w.0).sum::<f64>() / weighted.iter().map(|w| w.1).sum::<f64>()
        };
        for replicate in 1..20 {
            let good = bench.fire(&cup, PLAIN, &mut draws(replicate));
            let wrong = badly_injected();
            let bad_firing = Firing { disturbance: &wrong, ..PLAIN };
            let bad = bench.fire(&cup, bad_firing, &mut draws(replicate));
            let part = area(&bad) / area(&good);
            assert!((0.29..0.46).contains(&part), "{part}");
            assert!(centroid(&bad) > centroid(&good) + 0.4);
        }
    }

    #[test]
    fn the_tube_ages_from_firing_to_firing() {
        let bench = Spectrometer { swing: 0.0, ..bench() };
        let at = |earlier| bench.sensitivity(Firing { earlier, ..PLAIN });
        assert_eq!(at(0), 1.0);
        assert!((at(100) / libm::exp(-0.01) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn stray_light_keeps_absorbance_below_its_ceiling() {
        let bench = Spectrometer { stray_fraction: 0.01, ..bench().without_noise() };
        let noise = bench.noise();
        let found = bench.read(3.0, &noise, 1.0, &mut draws(1));
        // (5.1) by hand: lg(1.01/0.011).
        assert!((found - 1.962_928_7).abs() < 1e-7, "{found}");
    }

    #[test]
    fn the_worst_bench_that_can_be_gives_numbers() {
        let worst = Spectrometer {
            characteristic_mass: Mass::from_si(1e-30),
            injected_volume: Volume::from_si(1.0),
            electrons_at_zero: 1.0,
            read_electrons: 1e6,
            flicker: 1.0,
            darkest: 10.0,
            volume_rsd: 1.0,
            atomisation_rsd: 1.0,
            ageing_per_firing: 1.0,
            swing: 1.0,
            k_supply_per_s: 1e6,
            k_loss_per_s: 1e-6,
            k_background_per_s: (1e-6, 1e6),
            ..bench()
        };
        let wrong = badly_injected();
        let firing = Firing { earlier: u64::MAX, disturbance: &wrong, ..PLAIN };
        for bench in
            [worst, Spectrometer { stray_fraction: 1.0, ..worst }, Spectrometer { electrons_at_zero: 1e30, ..worst }]
        {
            assert_eq!(bench.check(), Ok(()));
            for (amount, background) in [(0.0, 0.0), (1000.0, 1e6)] {
                let cup = cup(MassConcentration::from_si(amount), background);
                let pulse = bench.fire(&cup, firing, &mut draws(1));
                assert!(pulse.total().iter().chain(pulse.background()).all(|value| value.is_finite()));
            }
        }
    }

    #[test]
    fn constants_no_bench_can_have_are_told() {
        let absurd = [f64::NAN, f64::INFINITY, -1.0, 1e300];
        for value in absurd {
            let benches = [
                Spectrometer { characteristic_mass: Mass::from_si(value), ..bench() },
                Spectrometer { rate_hz: value, ..bench() },
                Spectrometer { flicker: value, ..bench() },
                Spectrometer { swing_firings: value, ..bench() },
            ];
            for bench in benches {
                assert!(matches!(bench.check(), Err(SimulatorFault::Bench { .. })), "{value}");
            }
        }
        let endless = Spectrometer { n_samples: u32::MAX, ..bench() };
        assert_eq!(endless.check().unwrap_err().to_string(), "no bench has a number of samples of 4294967295");
        assert_eq!(bench().check(), Ok(()));
    }
}
