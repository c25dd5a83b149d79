//! The flame: a burner whose every constant is known, giving steady readings as traces.
//!
//! [`Flame::of`] is the flame a truth speaks of; [`Flame::expected_absorbance`] says what a solution gives without noise,
//! drift or fault; reading stays inside the crate, behind [`crate::simulate()`].
//!
//! A trace begins when the delay after the change of solution is over: the signal has risen to within 3e-4 of its height.
//! Its noise is that of the light, and of a flame that flickers fast and slowly.
//!
//! Invariant: each reading takes its draws in one stated order, and a fault takes as many as none.

use core::f64::consts::PI;

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::method::ResolvedMethod;
use darkline_record::pulse::Pulse;
use darkline_signal::photon_noise::PhotonNoise;

use crate::cup::Cup;
use crate::disturbance::WARM_UP_READINGS;
use crate::draws::Draws;
use crate::simulator_fault::SimulatorFault;
use crate::spectrometer::{CHARACTERISTIC_AREA_S, Firing, bent, marred};
use crate::truth::Truth;

/// A virtual flame spectrometer. Its constants may be changed one by one, to see what each does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flame {
    /// Mass concentration that gives an absorbance of 0.0044.
    pub characteristic_concentration: MassConcentration,
    /// Light no analyte absorbs over the absorbable light at absorbance 0.
    pub stray_fraction: f64,
    /// Part of the sensitivity that the lamp lacks at the first reading of the run.
    pub cold_lamp: f64,

    /// Samples a second of each channel.
    pub rate_hz: f64,
    /// Samples in all.
    pub n_samples: u32,

    /// Time constant of the rise after a change of solution, in s.
    pub rise_s: f64,
    /// Time since the solution arrived at the burner when the trace begins, in s.
    pub settled_s: f64,
    /// Background of flame and acid.
    pub background: f64,

    /// Photoelectrons of one value at absorbance 0.
    pub electrons_at_zero: f64,
    /// Read noise in electrons.
    pub read_electrons: f64,
    /// Relative flicker of the lamp from value to value.
    pub flicker: f64,
    /// Fast relative noise of the uptake: standard deviation of a mean over 1 s.
    pub fast_rsd: f64,
    /// Slow relative noise of the uptake, alike over a reading.
    pub slow_rsd: f64,
    /// Standard deviation of the zero from reading to reading.
    pub zero_sd: f64,
    /// No more absorbance than this is told apart from darkness.
    pub darkest: f64,

    /// Part of the sensitivity that a reading costs: deposits at the slot.
    pub ageing_per_reading: f64,
    /// Amplitude of a slow swing of the sensitivity.
    pub swing: f64,
    /// Readings of one such swing.
    pub swing_readings: f64,
}

impl Flame {
    /// Flame bench 1 of the invented laboratory.
    ///
    /// # Source
    /// Fast and slow noise, 0.97 % of 1 s and 0.26 %: `reference/physics/flame.toml`, `white_and_slow_noise`. Time constant
    /// of the rise: `read_delay` there. The rest is invented, so that one reading at absorbance 0 scatters by 0.0003 and a
    /// reading at 0.3 by 0.5 %: a usual bench (common practice, no source).
    pub fn burner(characteristic_concentration: MassConcentration) -> Self {
        Self {
            characteristic_concentration,
            stray_fraction: 0.0,
            cold_lamp: 0.0,
            rate_hz: 20.0,
            n_samples: 101,
            rise_s: 0.8,
            settled_s: 6.5,
            background: 0.004,
            electrons_at_zero: 250_000.0,
            read_electrons: 60.0,
            flicker: 4e-4,
            fast_rsd: 0.009_660_917_830_79,
            slow_rsd: 0.002_581_988_897_47,
            zero_sd: 2.5e-4,
            darkest: 3.0,
            ageing_per_reading: 2e-5,
            swing: 0.003,
            swing_readings: 160.0,
        }
    }

    /// The flame a truth speaks of, for a method.
    ///
    /// # Errors
    /// [`SimulatorFault::NoBenchFigure`] where the truth speaks of none.
    pub fn of(truth: &Truth, method: &ResolvedMethod) -> Result<Self, SimulatorFault> {
        let bench = &truth.spectrometer;
        let Some(amount) = &bench.characteristic_concentration else {
            return Err(SimulatorFault::NoBenchFigure {
                method: method.id.clone(),
                technique: method.technique.word(),
                what: "characteristic_concentration",
            });
        };
        let burner = Self::burner(amount.value());
        Ok(Self {
            stray_fraction: bench.stray_light.as_ref().map_or(0.0, |part| part.value().si()),
            cold_lamp: bench.cold_lamp.as_ref().map_or(0.0, |part| part.value().si()),
            ageing_per_reading: bench.ageing.as_ref().map_or(burner.ageing_per_reading, |part| part.value().si()),
            ..burner
        })
    }

    /// The same flame without noise and drift.
    pub fn without_noise(self) -> Self {
        Self {
            electrons_at_zero: 1e30,
            read_electrons: 0.0,
            flicker: 0.0,
            fast_rsd: 0.0,
            slow_rsd: 0.0,
            zero_sd: 0.0,
            ageing_per_reading: 0.0,
            swing: 0.0,
            ..self
        }
    }

    /// Absorbance of a solution without noise, drift or stray light.
    ///
    /// # Source
    /// `0.0044 c/c0`, the definition of the characteristic concentration c0; 0.0044 as for a furnace.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::kind::{Kind, MassConcentration};
    /// use darkline_simulator::Flame;
    /// let amount = |figure| MassConcentration::unit("mg/L").unwrap().of(figure);
    /// let flame = Flame::burner(amount(0.03));
    /// assert_eq!(format!("{:.4}", flame.expected_absorbance(amount(2.0))), "0.2933");
    /// ```
    pub fn expected_absorbance(&self, amount: MassConcentration) -> f64 {
        // The number is that of a characteristic mass, where it has the unit s.
        CHARACTERISTIC_AREA_S * amount.si() / self.characteristic_concentration.si()
    }

    /// Holds the constants against what a bench can be.
    ///
    /// # Errors
    /// [`SimulatorFault::Bench`].
    pub fn check(&self) -> Result<(), SimulatorFault> {
        let constants = [
            ("characteristic concentration", self.characteristic_concentration.si(), 1e-15, 1000.0),
            ("stray light", self.stray_fraction, 0.0, 1.0),
            ("lack of the cold lamp", self.cold_lamp, 0.0, 0.95),
            ("sampling rate", self.rate_hz, 1e-3, 1e6),
            ("number of samples", f64::from(self.n_samples), 0.0, 1e5),
            ("rise", self.rise_s, 1e-6, 1e3),
            ("time since arrival", self.settled_s, 0.0, 1e6),
            ("background", self.background, 0.0, 1e3),
            ("light", self.electrons_at_zero, 1.0, 1e30),
            ("read noise", self.read_electrons, 0.0, 1e6),
            ("flicker", self.flicker, 0.0, 1.0),
            ("fast noise", self.fast_rsd, 0.0, 1.0),
            ("slow noise", self.slow_rsd, 0.0, 1.0),
            ("scatter of the zero", self.zero_sd, 0.0, 10.0),
            ("darkest absorbance", self.darkest, 0.01, 10.0),
            ("ageing", self.ageing_per_reading, 0.0, 1.0),
            ("swing", self.swing, 0.0, 1.0),
            ("period of the swing", self.swing_readings, 1.0, 1e9),
        ];
        for (what, found, least, most) in constants {
            if !(least..=most).contains(&found) {
                return Err(SimulatorFault::Bench { what, found });
            }
        }
        Ok(())
    }

    /// Reads once.
    ///
    /// # Source
    /// Rise `1 - exp(-(t - d)/tau)`: `reference/physics`, (9.1). Noise of the uptake: (9.3), the fast part `a sqrt(rate)` for
    /// one value. Noise of the light: (4.12).
    pub(crate) fn read(&self, cup: &Cup, firing: Firing<'_>, draws: &mut Draws) -> Pulse {
        // Two draws before the samples, three at each, whether they are needed or not.
        let slow = 1.0 + self.slow_rsd * draws.normal();
        let zero = self.zero_sd * draws.normal();

        let wrong = firing.disturbance;
        let whole = self.expected_absorbance(cup.seen) * slow.max(0.0) * self.sensitivity(firing) * wrong.response;
        let background = cup.background + self.background + wrong.background;
        let noise = PhotonNoise {
            electrons_at_zero: self.electrons_at_zero,
            stray_fraction: self.stray_fraction + wrong.stray,
            read_electrons: self.read_electrons,
            flicker: self.flicker,
        };
        let fast_sd = self.fast_rsd * self.rate_hz.sqrt() * wrong.noise;
        // The bubble passes in the middle; solution is back as fast as it rises.
        let lasts_s = f64::from(self.n_samples) / self.rate_hz;
        let (gone_s, back_s) = (0.5 * lasts_s * (1.0 - wrong.bubble), 0.5 * lasts_s * (1.0 + wrong.bubble));
        let rise = |since_s: f64| if since_s > 0.0 { -libm::expm1(-since_s / self.rise_s) } else { 0.0 };
        // Early by this much of the time that the signal takes to be steady.
        let settled_s = (self.settled_s.min(EARLIEST_S) - wrong.early_s).max(0.0);
        let settled_s = if wrong.early_s > 0.0 { settled_s } else { self.settled_s };

        let mut moments = Vec::with_capacity(self.n_samples as usize);
        let mut totals = Vec::with_capacity(self.n_samples as usize);
        let mut backgrounds = Vec::with_capacity(self.n_samples as usize);
        for place in 0..self.n_samples {
            let t_s = f64::from(place) / self.rate_hz;
            let mut arrives = rise(t_s + settled_s);
            if wrong.bubble > 0.0 && t_s >= gone_s {
                arrives = if t_s < back_s { libm::exp(-(t_s - gone_s) / self.rise_s) } else { rise(t_s - back_s) };
            }
            let analyte_now = whole * arrives * (1.0 + fast_sd * draws.normal()).max(0.0);
            let read = |true_absorbance: f64, draws: &mut Draws| {
                let absorbance = true_absorbance.min(self.darkest);
                bent(absorbance, noise.stray_fraction) + wrong.noise * noise.sd(absorbance) * draws.normal()
            };
            let total = read(background + analyte_now, draws) + zero + wrong.zero;
            let background = read(background + wrong.structured, draws);
            moments.push(t_s);
            totals.push(total as f32);
            backgrounds.push(background as f32);
        }
        marred(moments, totals, backgrounds, None, wrong)
    }

    fn sensitivity(&self, firing: Firing<'_>) -> f64 {
        let earlier = firing.earlier as f64;
        let ageing = libm::exp(-self.ageing_per_reading * earlier);
        let turn = 2.0 * PI * (earlier / self.swing_readings) + firing.swing_phase;
        let warm = 1.0 - self.cold_lamp * libm::exp(-earlier / WARM_UP_READINGS);
        ageing * warm * (1.0 + self.swing * libm::sin(turn)).max(0.0)
    }
}

/// A reading that is too early by less than this still begins after the solution has arrived, in s: a delay after which a
/// signal with a rise of 0.8 s has come to 0.918 of its height; invented.
const EARLIEST_S: f64 = 2.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disturbance::Disturbance;

    const PLAIN: Firing<'_> = Firing { earlier: 0, swing_phase: 0.0, disturbance: &Disturbance::NONE };

    fn milligram_per_litre(figure: f64) -> MassConcentration {
        MassConcentration::unit("mg/L").unwrap().of(figure)
    }

    fn flame() -> Flame {
        Flame::burner(milligram_per_litre(0.03))
    }

    fn mean(pulse: &Pulse) -> f64 {
        let net = pulse.total().iter().zip(pulse.background()).map(|(t, b)| f64::from(*t) - f64::from(*b));
        net.sum::<f64>() / pulse.t_s().len() as f64
    }

    fn read(flame: &Flame, figure: f64, wrong: &Disturbance, replicate: u8) -> f64 {
        let amount = milligram_per_litre(figure);
        let cup = Cup { amount, background: 0.0, seen: amount };
        let run = "R1".parse().unwrap();
        let mut draws = Draws::of_firing(3, &run, 1, replicate, 1);
        mean(&flame.read(&cup, Firing { disturbance: wrong, ..PLAIN }, &mut draws))
    }

    #[test]
    fn a_noise_free_reading_is_the_absorbance_of_the_formula() {
        let flame = flame().without_noise();
        for figure in [0.0, 0.5, 4.0] {
            let found = read(&flame, figure, &Disturbance::NONE, 1);
            let formula = flame.expected_absorbance(milligram_per_litre(figure));
            // The signal still lacks exp(-6.5/0.8) = 3e-4 at the start; single precision.
            assert!((found - formula).abs() < 1e-4 * formula + 1e-7, "{figure}: {found} {formula}");
        }
    }

    #[test]
    fn readings_scatter_as_the_constants_say() {
        let flame = Flame { swing: 0.0, ..flame() };
        let sd = |figure: f64| {
            let values: Vec<f64> = (1..=250).map(|n| read(&flame, figure, &Disturbance::NONE, n)).collect();
            let mean = values.iter().sum::<f64>() / 250.0;
            (values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / 249.0).sqrt()
        };
        // By hand: zero 2.5e-4 and the light of 101 values, 0.00125/sqrt(101).
        let at_zero = (2.5e-4_f64 * 2.5e-4 + 1.25e-3 * 1.25e-3 / 101.0).sqrt();
        assert!((sd(0.0) / at_zero - 1.0).abs() < 0.18, "{}", sd(0.0));
        // (9.3) over 5.05 s: sqrt(0.00966²/5.05 + 0.00258²) = 0.50 % of 0.293, and what is there at zero.
        let relative = 0.2933 * (0.009_66_f64 * 0.009_66 / 5.05 + 0.002_58 * 0.002_58).sqrt();
        let expected = (relative * relative + at_zero * at_zero).sqrt();
        assert!((sd(2.0) / expected - 1.0).abs() < 0.18, "{} {expected}", sd(2.0));
    }

    #[test]
    fn faults_of_a_flame_move_the_mean_as_they_say() {
        let flame = flame().without_noise();
        let none = read(&flame, 2.0, &Disturbance::NONE, 1);
        let zero = Disturbance { zero: 0.02, ..Disturbance::NONE };
        assert!((read(&flame, 2.0, &zero, 1) - none - 0.02).abs() < 1e-6);
        let bubble = Disturbance { bubble: 0.4, ..Disturbance::NONE };
        let lost = 1.0 - read(&flame, 2.0, &bubble, 1) / none;
        assert!((0.3..0.5).contains(&lost), "{lost}");
        let early = Disturbance { early_s: 1.5, ..Disturbance::NONE };
        let lost = 1.0 - read(&flame, 2.0, &early, 1) / none;
        assert!((0.05..0.15).contains(&lost), "{lost}");
    }

    #[test]
    fn constants_no_flame_can_have_are_told() {
        assert_eq!(flame().check(), Ok(()));
        let absurd = Flame { rise_s: f64::NAN, ..flame() };
        assert!(matches!(absurd.check(), Err(SimulatorFault::Bench { what: "rise", .. })));
    }
}
