//! Noise of one absorbance value: photons, read noise, flicker, and how the baseline tells them.
//!
//! [`PhotonNoise::sd`] is the full model of one channel. [`light_level`] turns the noise of a
//! baseline into photoelectrons, and `through` gives each value of a pulse the variance
//! that its own absorbance makes of it.

use core::f64::consts::{LN_2, LOG2_10, LOG10_E};

/// One channel's detector and source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhotonNoise {
    /// Photoelectrons of one value at absorbance 0.
    pub electrons_at_zero: f64,
    /// Light no analyte absorbs, as a fraction of the absorbable light at absorbance 0.
    pub stray_fraction: f64,
    /// Read noise in electrons.
    pub read_electrons: f64,
    /// Relative flicker of the source from value to value.
    pub flicker: f64,
}

impl PhotonNoise {
    /// Photoelectrons of one value at a true absorbance.
    pub fn electrons(&self, true_absorbance: f64) -> f64 {
        let light = libm::exp10(-true_absorbance);
        self.electrons_at_zero * (light + self.stray_fraction) / (1.0 + self.stray_fraction)
    }

    /// Standard deviation of one absorbance value.
    ///
    /// # Source
    /// lg(e) sqrt(1/N + (n_r/N)² + xi²), N = N0 (10^-A + alpha)/(1 + alpha); J. D. Ingle, S. R. Crouch,
    /// Spectrochemical Analysis, Prentice Hall, 1988 (from memory). Checked by `tests/published/main.rs`.
    pub fn sd(&self, true_absorbance: f64) -> f64 {
        let electrons = self.electrons(true_absorbance);
        let read = self.read_electrons / electrons;
        LOG10_E * (1.0 / electrons + read * read + self.flicker * self.flicker).sqrt()
    }
}

/// Absorbance of least relative noise where photons make the noise: 2 lg(e) = 0.87.
///
/// # Source
/// Ingle and Crouch 1988 (from memory): the least of 10^(A/2)/A. Checked by `tests/published/main.rs`.
pub const BEST_ABSORBANCE_PHOTONS: f64 = 2.0 * LOG10_E;

/// Absorbance of least relative noise where the detector's noise is constant: lg(e) = 0.43.
///
/// # Source
/// Ingle and Crouch 1988 (from memory): the least of 10^A/A. Checked by `tests/published/main.rs`.
pub const BEST_ABSORBANCE_DETECTOR: f64 = LOG10_E;

/// Absorbance at a transmittance: `-lg(transmittance)`.
///
/// At a transmittance of 0.99 this is the characteristic absorbance 0.00436; the trade uses 0.0044
/// (common practice, no source).
///
/// # Example
/// ```
/// let a = darkline_signal::photon_noise::absorbance_at(0.99);
/// assert_eq!(format!("{a:.5}"), "0.00436");
/// ```
pub fn absorbance_at(transmittance: f64) -> f64 {
    -libm::log10(transmittance)
}

/// Standard deviation with a constant and a proportional part: `sqrt(s0² + (r y)²)`.
///
/// # Source
/// D. M. Rocke, S. Lorenzato, Technometrics 37 (1995) 176, in the normal approximation.
/// Checked by `tests/published/main.rs`.
pub fn two_component_sd(constant: f64, relative: f64, y: f64) -> f64 {
    let proportional = relative * y;
    (constant * constant + proportional * proportional).sqrt()
}

/// Photoelectrons of one value of one channel at absorbance 0, from the noise of the baseline.
///
/// A net value is the difference of two channels with equal light: sd0² = lg(e)² 2/N0. All of the
/// baseline's noise counts as photon noise; where read noise or flicker has a part, the light is more
/// than this.
///
/// # Arguments
/// * `baseline_noise`: standard deviation of one net value before the pulse. `None` unless above 0.
///
/// # Source
/// Ingle and Crouch 1988 (from memory), photon term, solved for N0.
pub fn light_level(baseline_noise: f64) -> Option<f64> {
    let electrons = 2.0 * LOG10_E * LOG10_E / (baseline_noise * baseline_noise);
    (baseline_noise > 0.0 && electrons.is_finite()).then_some(electrons)
}

/// No detector sees through more than this; beyond it the noise grows no further in the model.
const DARKEST: f64 = 12.0;

/// Ten to the power of `x`, `x` held in -12 to 12, within 1e-8 relative.
///
/// Plain arithmetic without branches, so that it runs in vector registers: 2^k from the exponent
/// bits, the rest, at most half a power of two, by the exponential series to the seventh power.
#[inline(always)]
fn ten_to_the(x: f64) -> f64 {
    // Adding and taking off 1.5 · 2^52 rounds to a whole number.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let x = if x > DARKEST { DARKEST } else { x };
    let x = if x < -DARKEST { -DARKEST } else { x };
    let y = x * LOG2_10;
    let shifted = y + ROUND;
    let whole = shifted - ROUND;
    let z = (y - whole) * LN_2;
    let low = 1.0 + z * (1.0 + z * (1.0 / 2.0 + z * (1.0 / 6.0)));
    let z2 = z * z;
    let high = 1.0 / 24.0 + z * (1.0 / 120.0 + z * (1.0 / 720.0 + z * (1.0 / 5040.0)));
    let part = low + z2 * z2 * high;
    let exponent = shifted.to_bits().wrapping_sub(ROUND.to_bits()).wrapping_add(1023) << 52;
    part * f64::from_bits(exponent)
}

/// Variance of each value of a channel, relative to that of a value without absorbance: `10^A`.
///
/// Photons alone. Stray light is left out, which overstates the noise near the ceiling.
///
/// # Arguments
/// * `zero`: the channel's mean over the baseline, from which absorbance is counted.
///
/// # Source
/// Ingle and Crouch 1988 (from memory), photon term of one channel.
pub(crate) fn through(values: &[f32], zero: f64) -> Vec<f64> {
    values.iter().map(|&value| ten_to_the(f64::from(value) - zero)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_to_the_is_within_a_hundred_millionth_of_libm() {
        for step in -24_000..=24_000 {
            let x = f64::from(step) * 0.0005;
            let (found, expected) = (ten_to_the(x), libm::exp10(x));
            assert!((found / expected - 1.0).abs() < 1e-8, "10^{x}: {found} against {expected}");
        }
        assert!((ten_to_the(1e30) / 1e12 - 1.0).abs() < 1e-8);
        assert!((ten_to_the(-1e30) / 1e-12 - 1.0).abs() < 1e-8);
    }

    #[test]
    fn the_light_level_gives_the_baseline_noise_back() {
        let light = light_level(0.0012).expect("noise above 0");
        let one = PhotonNoise { electrons_at_zero: light, stray_fraction: 0.0, read_electrons: 0.0, flicker: 0.0 };
        let net = (2.0 * one.sd(0.0) * one.sd(0.0)).sqrt();
        assert!((net / 0.0012 - 1.0).abs() < 1e-12);
        assert_eq!(light_level(0.0), None);
        assert_eq!(light_level(1e-200), None);
        assert_eq!(light_level(f64::NAN), None);
    }

    #[test]
    fn net_variance_is_that_of_two_channels_with_photon_noise() {
        let one = PhotonNoise { electrons_at_zero: 4e5, stray_fraction: 0.0, read_electrons: 0.0, flicker: 0.0 };
        let found = through(&[0.25, 1.0], 0.0).into_iter().zip(through(&[0.0, 0.75], 0.0));
        for ((total, background), (t, b)) in found.zip([(0.25, 0.0), (1.0, 0.75)]) {
            let net = one.sd(t) * one.sd(t) + one.sd(b) * one.sd(b);
            let zero = 2.0 * one.sd(0.0) * one.sd(0.0);
            assert!((0.5 * (total + background) / (net / zero) - 1.0).abs() < 2e-8);
        }
    }
}
