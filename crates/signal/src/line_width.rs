//! Bending by the lines themselves: a source line of some width, several lines in the bandpass.

use core::f64::consts::{LN_10, PI};

/// Absorbance of a source line and an absorption line that are both Gaussian.
///
/// # Arguments
/// * `width_ratio`: width of the source line over that of the absorption line.
/// * `centre_absorbance`: absorbance in the middle of the line.
///
/// # Source
/// `-lg` of the mean of `10^(-A_c exp(-rho² z²/2))` over a standard normal z, which is the series
/// `sum (-ln(10) A_c)^n/(n! sqrt(1 + n rho²))`; derived here. As a trapezoid sum over z it loses no digits at high
/// absorbance. Checked by `tests/published/main.rs`.
pub fn gaussian_lines(width_ratio: f64, centre_absorbance: f64) -> f64 {
    const STEP: f64 = 1.0 / 64.0;
    let mut mean = 0.0;
    for k in -640..=640 {
        let z = f64::from(k) * STEP;
        let density = libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt();
        let profile = libm::exp(-0.5 * width_ratio * width_ratio * z * z);
        mean += density * libm::exp(-LN_10 * centre_absorbance * profile);
    }
    -libm::log10(mean * STEP)
}

/// Slope of [`gaussian_lines`] at zero: `1/sqrt(1 + rho²)`.
pub fn gaussian_lines_initial_slope(width_ratio: f64) -> f64 {
    1.0 / (1.0 + width_ratio * width_ratio).sqrt()
}

/// One line in the bandpass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandpassLine {
    /// Its part of the light at absorbance 0; all parts add up to 1.
    pub weight: f64,
    /// Its absorptivity over that of the analytical line; 0 for light no analyte absorbs.
    pub relative_absorptivity: f64,
}

/// Absorbance of several lines at once: `-lg sum w_i 10^(-r_i A0)`.
///
/// # Source
/// The sum of the intensities; derived here. A line with r = 0 is stray light with alpha = w/(1 - w). Checked by
/// `tests/published/main.rs`.
pub fn several_lines(lines: &[BandpassLine], true_absorbance: f64) -> f64 {
    let light = lines
        .iter()
        .fold(0.0, |sum, line| sum + line.weight * libm::exp10(-line.relative_absorptivity * true_absorbance));
    -libm::log10(light)
}

/// Slope of [`several_lines`] at zero: `sum w_i r_i`.
pub fn several_lines_initial_slope(lines: &[BandpassLine]) -> f64 {
    lines.iter().fold(0.0, |sum, line| sum + line.weight * line.relative_absorptivity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stray_light::StrayLight;

    #[test]
    fn a_line_nothing_absorbs_is_stray_light() {
        let lines = [
            BandpassLine { weight: 0.99, relative_absorptivity: 1.0 },
            BandpassLine { weight: 0.01, relative_absorptivity: 0.0 },
        ];
        let channel = StrayLight { fraction: 0.01 / 0.99 };
        for a0 in [0.1, 1.0, 3.0] {
            assert!((several_lines(&lines, a0) - channel.measured(a0)).abs() < 1e-12);
        }
    }

    #[test]
    fn a_narrow_source_line_does_not_bend() {
        assert!((gaussian_lines(0.0, 2.0) - 2.0).abs() < 1e-12);
        assert!(gaussian_lines(0.5, 9.0) > gaussian_lines(0.5, 8.0));
    }
}
