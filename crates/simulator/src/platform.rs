//! Atoms from a platform that lags the wall: they come when the platform is hot, into a tube that is hot already.
//!
//! [`Platform::of_pulse`] gives the pulse of one firing in fine steps; its area is that of the pulse it stands for.

use darkline_signal::pulse_shape::{GAS_CONSTANT, SupplyLoss};

use crate::spectrometer::{ATOMISATION_K, LOSS_EXPONENT};

/// A pulse in equal steps.
#[derive(Clone, Debug)]
pub(crate) struct Platform {
    from_s: f64,
    step_s: f64,
    absorbance: Vec<f64>,
}

/// Temperature of wall and platform before atomisation, in K: a pyrolysis at 400 °C; invented.
const START_K: f64 = 673.15;
/// Heating rate of the wall, in K/s; common practice, no source.
const HEATING_K_PER_S: f64 = 2000.0;
/// Activation energy of supply over the gas constant, in K: 230 kJ/mol, `reference/physics/temperature.toml`; constructed.
const SUPPLY_K: f64 = 230_000.0 / GAS_CONSTANT;
/// Frequency factor of supply, per second: `reference/physics/temperature.toml`; constructed.
const FREQUENCY_PER_S: f64 = 1e9;
/// When a pulse with one rate of supply begins on the usual bench, in s; what is later there is later here.
const USUAL_START_S: f64 = 0.45;
/// Step, in s, and steps: 6 s in all, more than any trace lasts.
const STEP_S: f64 = 0.004;
const N_STEPS: usize = 1500;

impl Platform {
    /// The pulse that a platform makes of an amount.
    ///
    /// # Arguments
    /// * `lag_s`: time constant by which the platform follows the wall, above 0.
    /// * `pulse`: gives area, rate of loss and delay.
    ///
    /// # Source
    /// `dM/dt = -nu exp(-E/(R T)) M`, `dN/dt = -dM/dt - k_loss (T_wall/T)^p N`; `reference/physics`, (4.11). The lag of the
    /// platform, `dT/dt = (T_wall - T)/lag`, is a constructed simplification of heating by radiation.
    pub(crate) fn of_pulse(lag_s: f64, pulse: &SupplyLoss) -> Self {
        let (mut on_platform, mut vapour, mut platform_k) = (1.0, 0.0, START_K);
        let mut absorbance = Vec::with_capacity(N_STEPS + 1);
        let mut sum = 0.0;
        absorbance.push(0.0);
        let follows = -libm::expm1(-STEP_S / lag_s);
        for step in 0..N_STEPS {
            let t_s = (step as f64 + 0.5) * STEP_S;
            let wall_k = (START_K + HEATING_K_PER_S * t_s).min(ATOMISATION_K);
            platform_k += follows * (wall_k - platform_k);
            let supply = FREQUENCY_PER_S * libm::exp(-SUPPLY_K / platform_k);
            let loss = pulse.k_loss_per_s * libm::pow(wall_k / ATOMISATION_K, LOSS_EXPONENT);
            let released = on_platform * -libm::expm1(-supply * STEP_S);
            on_platform -= released;
            vapour = vapour * libm::exp(-loss * STEP_S) + released;
            absorbance.push(vapour);
            sum += vapour;
        }
        // What the platform keeps to the end has no share: the area is that of what was released.
        let scale = if sum > 0.0 { pulse.area / (sum * STEP_S) } else { 0.0 };
        for value in &mut absorbance {
            *value *= scale;
        }
        Self { from_s: pulse.start_s - USUAL_START_S, step_s: STEP_S, absorbance }
    }

    /// Absorbance at a time since the start of atomisation.
    pub(crate) fn absorbance(&self, t_s: f64) -> f64 {
        let place = (t_s - self.from_s) / self.step_s;
        if !(place > 0.0 && place < (self.absorbance.len() - 1) as f64) {
            return 0.0;
        }
        let (before, part) = (place.floor(), place - place.floor());
        // The place is above 0 and below the last.
        let before = before as usize;
        self.absorbance[before] + part * (self.absorbance[before + 1] - self.absorbance[before])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(start_s: f64) -> SupplyLoss {
        SupplyLoss { area: 0.3, k_supply_per_s: 6.0, k_loss_per_s: 3.0, start_s }
    }

    fn area_and_peak(platform: &Platform) -> (f64, f64) {
        let values: Vec<(f64, f64)> = (0..6000).map(|n| n as f64 * 1e-3).map(|t| (t, platform.absorbance(t))).collect();
        let peak = values.iter().fold((0.0, 0.0), |top, now| if now.1 > top.1 { *now } else { top });
        (values.iter().map(|value| value.1).sum::<f64>() * 1e-3, peak.0)
    }

    #[test]
    fn a_platform_gives_the_area_of_its_amount_and_later_the_more_it_lags() {
        let (area, early) = area_and_peak(&Platform::of_pulse(0.1, &pulse(0.45)));
        assert!((area / 0.3 - 1.0).abs() < 1e-3, "{area}");
        let (area, late) = area_and_peak(&Platform::of_pulse(0.8, &pulse(0.45)));
        assert!((area / 0.3 - 1.0).abs() < 1e-3, "{area}");
        assert!(late > early + 0.1, "{early} {late}");
        let (_, held_back) = area_and_peak(&Platform::of_pulse(0.8, &pulse(0.65)));
        assert!((held_back - late - 0.2).abs() < 0.01, "{held_back} {late}");
    }

    #[test]
    fn any_rates_give_numbers() {
        for (lag_s, k_loss_per_s) in [(1e-9, 1e6), (10.0, 1e-6), (10.0, 1e6)] {
            let platform = Platform::of_pulse(lag_s, &SupplyLoss { k_loss_per_s, ..pulse(0.45) });
            assert!(platform.absorbance.iter().all(|value| value.is_finite()));
        }
    }
}
