//! Stray light: light no analyte absorbs keeps absorbance below a ceiling and bends it on the way.
//!
//! [`StrayLight`] is one channel. The difference of two channels in a magnetic field is [`crate::roll_over`]; the
//! bending by the width of the lines is [`crate::line_width`].

use crate::sign_change::falls_through_zero;

/// One channel with stray light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrayLight {
    /// Light no analyte absorbs over the absorbable light at absorbance 0, at or above 0.
    pub fraction: f64,
}

impl StrayLight {
    /// Absorbance measured at a true absorbance: `lg[(1 + alpha)/(10^-A0 + alpha)]`.
    ///
    /// # Source
    /// The definition of absorbance with a second light added to both intensities; derived here. Checked by
    /// `tests/published/main.rs`.
    pub fn measured(&self, true_absorbance: f64) -> f64 {
        let light = libm::exp10(-true_absorbance);
        libm::log10((1.0 + self.fraction) / (light + self.fraction))
    }

    /// Highest absorbance that can be measured: `lg[(1 + alpha)/alpha]`; infinite without stray light.
    pub fn ceiling(&self) -> f64 {
        libm::log10((1.0 + self.fraction) / self.fraction)
    }

    /// Slope of the measured absorbance at zero: `1/(1 + alpha)`.
    pub fn initial_slope(&self) -> f64 {
        1.0 / (1.0 + self.fraction)
    }

    /// True absorbance of a measured one: `-lg[(1 + alpha) 10^-A - alpha]`; `None` at the ceiling and above.
    ///
    /// # Source
    /// The first equation solved for A0. Checked by `tests/published/main.rs`.
    ///
    /// # Example
    /// ```
    /// let channel = darkline_signal::stray_light::StrayLight { fraction: 0.01 };
    /// assert!((channel.linearised(channel.measured(1.5)).unwrap() - 1.5).abs() < 1e-12);
    /// assert_eq!(channel.linearised(2.1), None);
    /// ```
    pub fn linearised(&self, measured: f64) -> Option<f64> {
        let light = (1.0 + self.fraction) * libm::exp10(-measured) - self.fraction;
        (light > 0.0 && light.is_finite()).then(|| -libm::log10(light))
    }

    /// Noise of a linearised value over that of the measured one: `1 + alpha 10^A0`.
    ///
    /// # Source
    /// The derivative of [`StrayLight::linearised`]; derived here. Checked by `tests/published/main.rs`.
    pub fn noise_amplification(&self, true_absorbance: f64) -> f64 {
        1.0 + self.fraction * libm::exp10(true_absorbance)
    }

    /// True absorbance above 0 at which the measured one is low by a part of the initial slope's.
    ///
    /// # Arguments
    /// * `part`: above 0 and below 1; 0.1 for ten per cent low.
    ///
    /// # Source
    /// `A(A0) = (1 - part) A0/(1 + alpha)`. Checked by `tests/published/main.rs`.
    pub fn low_by(&self, part: f64) -> f64 {
        let kept = (1.0 - part) * self.initial_slope();
        // The measured absorbance never exceeds the ceiling, so the line is above it there.
        let far = self.ceiling().min(300.0) / kept;
        falls_through_zero(far * 1e-6, far, |a0| self.measured(a0) - kept * a0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_of_the_inverse_agree() {
        let channel = StrayLight { fraction: 0.01 };
        let limit = libm::exp10(-channel.ceiling());
        for a in [0.1, 0.5, 1.0, 1.9] {
            let other = libm::log10((1.0 - limit) / (libm::exp10(-a) - limit));
            assert!((channel.linearised(a).expect("below the ceiling") - other).abs() < 1e-12);
        }
    }

    #[test]
    fn without_stray_light_nothing_bends() {
        let channel = StrayLight { fraction: 0.0 };
        assert!((channel.measured(2.5) - 2.5).abs() < 1e-12);
        assert_eq!(channel.ceiling(), f64::INFINITY);
        assert_eq!(channel.linearised(f64::NAN), None);
    }
}
