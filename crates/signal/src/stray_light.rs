//! Stray light: absorbance that light no analyte absorbs keeps below a ceiling.

/// Noise of a linearised value over that of the measured one: `1 + alpha 10^A0`.
///
/// # Arguments
/// * `stray_fraction`: light no analyte absorbs over the absorbable light at absorbance 0.
/// * `true_absorbance`: the linearised value.
///
/// # Source
/// The derivative of `A0 = -lg[(1 + alpha) 10^-A - alpha]` by A; derived here. Checked by
/// `tests/published/noise.rs`.
pub fn noise_amplification(stray_fraction: f64, true_absorbance: f64) -> f64 {
    1.0 + stray_fraction * libm::exp10(true_absorbance)
}
