//! Pulses with a formula: what a reduction is checked with and a simulator draws.
//!
//! [`ExponentiallyModifiedGaussian`] for a pulse as it is seen, [`SupplyLoss`] for atoms that come and
//! go at first order, [`HeatedSupply`] for atoms that come as the tube heats up.

use core::f64::consts::{FRAC_1_SQRT_2, PI};

use crate::sign_change::falls_through_zero;

/// The summit of a pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// When, in seconds.
    pub time_s: f64,
    /// How high.
    pub height: f64,
}

/// Where a pulse passes a fraction of its height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossings {
    /// On the way up, in seconds.
    pub rise_s: f64,
    /// On the way down, in seconds.
    pub fall_s: f64,
}

impl Crossings {
    /// From rise to fall, in seconds.
    pub fn width_s(&self) -> f64 {
        self.fall_s - self.rise_s
    }

    /// Fall over rise, both counted from the peak: 1 for an even pulse, above 1 for a tail.
    pub fn asymmetry(&self, peak: Peak) -> f64 {
        (self.fall_s - peak.time_s) / (peak.time_s - self.rise_s)
    }
}

/// Finds both crossings of `level` by a pulse that rises from 0 at `from_s` to its peak and falls for
/// good; `scale_s` is a guess of its width.
fn crossings(f: impl Fn(f64) -> f64, peak: Peak, level: f64, from_s: f64, scale_s: f64) -> Crossings {
    let rise_s = falls_through_zero(from_s, peak.time_s, |t| level - f(t));
    let mut reach = scale_s;
    let mut far = peak.time_s + reach;
    while f(far) > level && far.is_finite() {
        reach *= 2.0;
        far = peak.time_s + reach;
    }
    let fall_s = falls_through_zero(peak.time_s, far, |t| f(t) - level);
    Crossings { rise_s, fall_s }
}

/// A Gaussian of release drawn out by an exponential of loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExponentiallyModifiedGaussian {
    /// Area of the whole pulse, in seconds.
    pub area: f64,
    /// Centre of the Gaussian, in seconds.
    pub centre_s: f64,
    /// Standard deviation of the Gaussian, in seconds, above 0.
    pub width_s: f64,
    /// Time constant of the decay, in seconds, above 0.
    pub decay_s: f64,
}

impl ExponentiallyModifiedGaussian {
    /// Absorbance at a time.
    ///
    /// # Source
    /// With x = t - mu and z = (sigma/tau - x/sigma)/sqrt 2:
    /// `Q/(2 tau) exp(sigma²/(2 tau²) - x/tau) erfc z`; E. Grushka, Anal. Chem. 44 (1972) 1733 (from
    /// memory). For z above 0 written as `Q/(2 tau) exp(-x²/(2 sigma²)) erfcx z`, which neither
    /// overflows nor vanishes. Checked by `tests/published/main.rs`.
    pub fn absorbance(&self, t_s: f64) -> f64 {
        let x = t_s - self.centre_s;
        let (u, r) = (x / self.width_s, self.width_s / self.decay_s);
        let z = (r - u) * FRAC_1_SQRT_2;
        let scale = self.area / (2.0 * self.decay_s);
        if z > 0.0 {
            scale * libm::exp(-0.5 * u * u) * erfcx(z)
        } else {
            scale * libm::exp(0.5 * r * r - x / self.decay_s) * libm::erfc(z)
        }
    }

    /// Area up to a time, in seconds.
    ///
    /// # Source
    /// `Q Phi(x/sigma) - tau A(t)`: integration by parts of the form above. Checked by
    /// `tests/published/main.rs`.
    pub fn area_until(&self, t_s: f64) -> f64 {
        let u = (t_s - self.centre_s) / self.width_s;
        self.area * 0.5 * libm::erfc(-u * FRAC_1_SQRT_2) - self.decay_s * self.absorbance(t_s)
    }

    /// Summit: where the pulse equals its own Gaussian, between the Gaussian's centre and the centroid.
    pub fn peak(&self) -> Peak {
        let gaussian = |t: f64| {
            let u = (t - self.centre_s) / self.width_s;
            libm::exp(-0.5 * u * u) / (self.width_s * (2.0 * PI).sqrt())
        };
        let unit = ExponentiallyModifiedGaussian { area: 1.0, ..*self };
        let time_s = falls_through_zero(self.centre_s, self.centroid_s(), |t| gaussian(t) - unit.absorbance(t));
        Peak { time_s, height: self.absorbance(time_s) }
    }

    /// Where the pulse passes a fraction of its height.
    ///
    /// # Arguments
    /// * `fraction`: above 0 and below 1.
    pub fn crossings(&self, fraction: f64) -> Crossings {
        let peak = self.peak();
        let from_s = self.centre_s - 40.0 * self.width_s;
        let scale_s = self.width_s + self.decay_s;
        crossings(|t| self.absorbance(t), peak, fraction * peak.height, from_s, scale_s)
    }

    /// Mean time of the pulse, in seconds: mu + tau.
    pub fn centroid_s(&self) -> f64 {
        self.centre_s + self.decay_s
    }

    /// Variance of the pulse about its centroid, in s²: sigma² + tau².
    pub fn variance_s2(&self) -> f64 {
        self.width_s * self.width_s + self.decay_s * self.decay_s
    }

    /// Skewness: 2 tau³/(sigma² + tau²)^(3/2).
    pub fn skewness(&self) -> f64 {
        let variance = self.variance_s2();
        2.0 * self.decay_s * self.decay_s * self.decay_s / (variance * variance.sqrt())
    }
}

/// `exp(z²) erfc(z)` for z at or above 0.
///
/// # Source
/// Below 6 the product itself; above, the continued fraction of NIST DLMF 7.9.1, to forty terms (from
/// memory).
fn erfcx(z: f64) -> f64 {
    if z < 6.0 {
        return libm::exp(z * z) * libm::erfc(z);
    }
    let mut tail = 0.0;
    for k in (1..=40).rev() {
        tail = 0.5 * f64::from(k) / (z + tail);
    }
    1.0 / ((z + tail) * PI.sqrt())
}

/// Atoms supplied at one first-order rate and lost at another, from one moment on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyLoss {
    /// Area of the whole pulse, in seconds.
    pub area: f64,
    /// Rate constant of supply, per second, above 0.
    pub k_supply_per_s: f64,
    /// Rate constant of loss, per second, above 0.
    pub k_loss_per_s: f64,
    /// When supply begins, in seconds.
    pub start_s: f64,
}

impl SupplyLoss {
    /// Pulse of an amount on the platform: its area is the amount over the loss constant, whatever the
    /// supply.
    ///
    /// # Arguments
    /// * `amount`: as the absorbance it would give if all of it were vapour at once.
    pub fn of_amount(amount: f64, k_supply_per_s: f64, k_loss_per_s: f64, start_s: f64) -> Self {
        SupplyLoss { area: amount / k_loss_per_s, k_supply_per_s, k_loss_per_s, start_s }
    }

    /// Absorbance at a time.
    ///
    /// # Source
    /// `Q k1 k2/(k1 - k2) [exp(-k2 x) - exp(-k1 x)]`; W. M. G. T. van den Broek, L. de Galan, Anal. Chem. 49
    /// (1977) 2176 (from memory). Written with `(1 - exp(-d x))/d`, d = k1 - k2, which has a limit at
    /// k1 = k2. Checked by `tests/published/main.rs`.
    pub fn absorbance(&self, t_s: f64) -> f64 {
        let x = t_s - self.start_s;
        if x <= 0.0 {
            return 0.0;
        }
        self.area * self.k_supply_per_s * self.k_loss_per_s * both(self.k_supply_per_s, self.k_loss_per_s, x)
    }

    /// Area up to a time, in seconds.
    ///
    /// # Source
    /// `Q [1 - (k1 exp(-k2 x) - k2 exp(-k1 x))/(k1 - k2)]`, van den Broek and de Galan 1977 (from memory).
    /// Checked by `tests/published/main.rs`.
    pub fn area_until(&self, t_s: f64) -> f64 {
        let x = t_s - self.start_s;
        if x <= 0.0 {
            return 0.0;
        }
        let (k1, k2) = (self.k_supply_per_s, self.k_loss_per_s);
        self.area * (-libm::expm1(-k2 * x) - k2 * both(k1, k2, x))
    }

    /// Summit, at `ln(k1/k2)/(k1 - k2)` after the start.
    pub fn peak(&self) -> Peak {
        let (k1, k2) = (self.k_supply_per_s, self.k_loss_per_s);
        let relative = (k1 - k2) / k2;
        let x = if relative == 0.0 { 1.0 / k2 } else { libm::log1p(relative) / (relative * k2) };
        let time_s = self.start_s + x;
        Peak { time_s, height: self.absorbance(time_s) }
    }

    /// Where the pulse passes a fraction of its height.
    ///
    /// # Arguments
    /// * `fraction`: above 0 and below 1.
    pub fn crossings(&self, fraction: f64) -> Crossings {
        let peak = self.peak();
        let scale_s = 1.0 / self.k_supply_per_s + 1.0 / self.k_loss_per_s;
        crossings(|t| self.absorbance(t), peak, fraction * peak.height, self.start_s, scale_s)
    }

    /// Mean time of the pulse, in seconds: start + 1/k1 + 1/k2.
    pub fn centroid_s(&self) -> f64 {
        self.start_s + 1.0 / self.k_supply_per_s + 1.0 / self.k_loss_per_s
    }
}

/// `[exp(-k2 x) - exp(-k1 x)]/(k1 - k2)`, with its limit `x exp(-k x)` at equal constants.
fn both(k1: f64, k2: f64, x: f64) -> f64 {
    // Symmetric in the two; with the smaller one outside, the exponent inside is never positive.
    let (fast, slow) = if k1 > k2 { (k1, k2) } else { (k2, k1) };
    let u = (fast - slow) * x;
    let ratio = if u == 0.0 { 1.0 } else { -libm::expm1(-u) / u };
    x * libm::exp(-slow * x) * ratio
}

/// The molar gas constant in J/(mol K) (SI 2019, exact).
pub const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// Atoms that leave a platform at a rate rising with its temperature, and are lost from the tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatedSupply {
    /// Amount on the platform, as the absorbance it would give if all of it were vapour at once.
    pub amount: f64,
    /// Activation energy of supply in J/mol.
    pub activation_energy_j_per_mol: f64,
    /// Frequency factor of supply, per second.
    pub frequency_per_s: f64,
    /// Temperature at the start, in kelvin.
    pub start_k: f64,
    /// Temperature held once reached, in kelvin.
    pub final_k: f64,
    /// Heating rate up to there, in kelvin per second.
    pub heating_rate_k_per_s: f64,
    /// Rate constant of loss, per second, above 0, at 2000 K.
    pub loss_at_2000_k_per_s: f64,
    /// Power of the temperature the loss grows with; 0 for a constant loss.
    pub loss_exponent: f64,
}

/// A released pulse, step by step.
#[derive(Debug, Clone, PartialEq)]
pub struct Release {
    /// Step in seconds.
    pub step_s: f64,
    /// Absorbance at 0, 1, 2 ... steps.
    pub absorbance: Vec<f64>,
    /// Area up to the last step, in seconds.
    pub area: f64,
}

impl Release {
    /// Summit, on the parabola through the highest value and its neighbours.
    pub fn peak(&self) -> Peak {
        let mut index = 0;
        for (place, &value) in self.absorbance.iter().enumerate() {
            if value > self.absorbance[index] {
                index = place;
            }
        }
        let place = crate::summit::around(&self.absorbance, index);
        Peak { time_s: place.position * self.step_s, height: place.height }
    }
}

impl HeatedSupply {
    /// Temperature at a time, in kelvin.
    pub fn temperature_k(&self, t_s: f64) -> f64 {
        (self.start_k + self.heating_rate_k_per_s * t_s).min(self.final_k)
    }

    /// The pulse in equal steps from 0 to an end.
    ///
    /// Over a step the two rates are those of its middle and the pair of first-order equations is solved
    /// exactly, so any step is stable and no atom is lost to rounding; the error falls with the square
    /// of the step.
    ///
    /// # Arguments
    /// * `until_s`: end of the pulse, above 0.
    /// * `n_steps`: number of steps, 1 or more; 20 000 a second leave less than 1e-6 of the height.
    ///
    /// # Source
    /// `dM/dt = -nu exp(-E/(R T)) M`, `dN/dt = -dM/dt - k_loss N`; van den Broek and de Galan 1977 (from
    /// memory). Checked by `tests/published/main.rs`.
    pub fn release(&self, until_s: f64, n_steps: usize) -> Release {
        let step_s = until_s / n_steps.max(1) as f64;
        let (mut on_platform, mut vapour, mut area) = (self.amount, 0.0, 0.0);
        let mut absorbance = Vec::with_capacity(n_steps + 1);
        absorbance.push(vapour);
        for step in 0..n_steps {
            let temperature = self.temperature_k((step as f64 + 0.5) * step_s);
            let supply =
                self.frequency_per_s * libm::exp(-self.activation_energy_j_per_mol / (GAS_CONSTANT * temperature));
            let loss = self.loss_at_2000_k_per_s * libm::pow(temperature / 2000.0, self.loss_exponent);
            let kept = libm::exp(-loss * step_s);
            let left = on_platform * libm::exp(-supply * step_s);
            let next = vapour * kept + on_platform * supply * both(supply, loss, step_s);
            // What was there and is no longer was lost at the rate loss times vapour.
            area += (vapour + on_platform - next - left) / loss;
            on_platform = left;
            vapour = next;
            absorbance.push(vapour);
        }
        Release { step_s, absorbance, area }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn erfcx_joins_at_six_and_has_the_right_tail() {
        let (below, above) = (erfcx(6.0 - 1e-12), erfcx(6.0));
        assert!((below / above - 1.0).abs() < 1e-11);
        // z sqrt(pi) erfcx(z) = 1 - 1/(2 z²) + 3/(4 z^4) - ...
        let z = 1000.0_f64;
        let expected = (1.0 - 0.5 / (z * z)) / (z * PI.sqrt());
        assert!((erfcx(z) / expected - 1.0).abs() < 1e-11);
    }

    #[test]
    fn a_narrow_gaussian_leaves_the_bare_decay_and_a_short_decay_the_gaussian() {
        let decay = ExponentiallyModifiedGaussian { area: 1.0, centre_s: 0.0, width_s: 1e-6, decay_s: 0.5 };
        assert!((decay.absorbance(0.5) - 2.0 * libm::exp(-1.0)).abs() < 1e-6);
        let gaussian = ExponentiallyModifiedGaussian { area: 1.0, centre_s: 0.0, width_s: 0.1, decay_s: 1e-6 };
        assert!((gaussian.absorbance(0.0) * 0.1 * (2.0 * PI).sqrt() - 1.0).abs() < 1e-5);
        assert_eq!(gaussian.absorbance(-100.0), 0.0);
    }

    #[test]
    fn nearly_equal_rates_join_the_limit() {
        let equal = SupplyLoss { area: 0.2, k_supply_per_s: 3.0, k_loss_per_s: 3.0, start_s: 0.0 };
        let nearly = SupplyLoss { k_supply_per_s: 3.0 + 1e-10, ..equal };
        for t in [0.1, 1.0, 3.0] {
            assert!((equal.absorbance(t) / nearly.absorbance(t) - 1.0).abs() < 1e-9);
            assert!((equal.area_until(t) / nearly.area_until(t) - 1.0).abs() < 1e-9);
        }
        assert!((equal.peak().time_s - nearly.peak().time_s).abs() < 1e-9);
        assert_eq!(equal.absorbance(-1.0), 0.0);
        assert_eq!(equal.area_until(-1.0), 0.0);
    }

    #[test]
    fn a_platform_at_one_temperature_gives_the_supply_and_loss_pulse() {
        let heated = HeatedSupply {
            amount: 0.8,
            activation_energy_j_per_mol: 0.0,
            frequency_per_s: 5.0,
            start_k: 2000.0,
            final_k: 2000.0,
            heating_rate_k_per_s: 0.0,
            loss_at_2000_k_per_s: 2.0,
            loss_exponent: 1.75,
        };
        let plain = SupplyLoss::of_amount(0.8, 5.0, 2.0, 0.0);
        let release = heated.release(6.0, 300);
        for (step, found) in release.absorbance.iter().enumerate() {
            let t = step as f64 * release.step_s;
            assert!((found - plain.absorbance(t)).abs() < 1e-12);
        }
        assert!((release.area - plain.area_until(6.0)).abs() < 1e-12);
    }
}
