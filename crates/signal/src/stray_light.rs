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

/// Slope of the net absorbance at absorbance zero, with a background in both phases: `R/(1 + alpha 10^B)`.
///
/// # Arguments
/// * `stray_fraction`: light no analyte absorbs over the absorbable light at absorbance 0.
/// * `sensitivity_ratio`: slope with magnetic field correction over slope without, stray light aside.
/// * `background`: absorbance of the background.
///
/// # Source
/// The derivative of `lg[(10^(-(1-R) A0) + alpha 10^B)/(10^-A0 + alpha 10^B)]` at 0; derived here. Checked by
/// `tests/published/diagnostics.rs`.
pub fn slope_with_background(stray_fraction: f64, sensitivity_ratio: f64, background: f64) -> f64 {
    sensitivity_ratio / (1.0 + stray_fraction * libm::exp10(background))
}
