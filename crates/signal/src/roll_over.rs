//! Roll-over: why the net absorbance in a magnetic field has a maximum, and how to read beyond it.
//!
//! [`NetCurve`] is the net absorbance of total less background channel against the true absorbance. It rises to
//! the roll-over and falls again, so that one net value has two true ones.

use crate::sign_change::falls_through_zero;
use crate::stray_light::StrayLight;

/// Net absorbance of one instrument and line in a magnetic field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NetCurve {
    /// Light no analyte absorbs over the absorbable light at absorbance 0, above 0.
    pub stray_fraction: f64,
    /// Slope with magnetic field correction over slope without, stray light aside; above 0, at most 1.
    pub sensitivity_ratio: f64,
}

/// The maximum of a net curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RollOver {
    /// True absorbance there.
    pub true_absorbance: f64,
    /// Net absorbance there, the highest there is.
    pub net: f64,
    /// What the total channel reads.
    pub total: f64,
    /// What the background channel reads.
    pub background: f64,
}

/// Far beyond any true absorbance: 10 to minus this is the smallest 64-bit number.
const FAR: f64 = 300.0;

impl NetCurve {
    /// The curve with a given roll-over absorbance, as handbooks tabulate it.
    ///
    /// # Arguments
    /// * `net_at_roll_over`: above 0.
    /// * `sensitivity_ratio`: above 0 and below 1.
    ///
    /// # Source
    /// With A0 = [A - lg(1 - R)]/R: alpha = R 10^(-(1-R) A0)/(10^A - 1); derived here. Checked by
    /// `tests/published/main.rs`.
    pub fn from_roll_over(net_at_roll_over: f64, sensitivity_ratio: f64) -> NetCurve {
        let r = sensitivity_ratio;
        let a0 = (net_at_roll_over - libm::log10(1.0 - r)) / r;
        let stray_fraction = r * libm::exp10(-(1.0 - r) * a0) / (libm::exp10(net_at_roll_over) - 1.0);
        NetCurve { stray_fraction, sensitivity_ratio }
    }

    /// The same curve with a background absorbance in both phases: stray light counts 10^B times.
    ///
    /// # Source
    /// Both intensities of the absorbable light fall by 10^-B, the stray light does not; derived here. Checked
    /// by `tests/published/main.rs`.
    pub fn behind_background(&self, background: f64) -> NetCurve {
        NetCurve { stray_fraction: self.stray_fraction * libm::exp10(background), ..*self }
    }

    /// Net absorbance at a true absorbance: `lg[(10^(-(1-R) A0) + alpha)/(10^-A0 + alpha)]`.
    ///
    /// # Source
    /// M. T. C. de Loos-Vollebregt, L. de Galan, Spectrochim. Acta 33B (1978) 495 (from memory). Checked by
    /// `tests/published/main.rs`.
    pub fn net(&self, true_absorbance: f64) -> f64 {
        let alpha = self.stray_fraction;
        let in_field = libm::exp10(-(1.0 - self.sensitivity_ratio) * true_absorbance);
        libm::log10((in_field + alpha) / (libm::exp10(-true_absorbance) + alpha))
    }

    /// What the total channel reads at a true absorbance, without background.
    pub fn total(&self, true_absorbance: f64) -> f64 {
        StrayLight { fraction: self.stray_fraction }.measured(true_absorbance)
    }

    /// What the background channel reads at a true absorbance, without background: the analyte's absorbance left
    /// in the field.
    pub fn background(&self, true_absorbance: f64) -> f64 {
        self.total((1.0 - self.sensitivity_ratio) * true_absorbance)
    }

    /// Slope of the net absorbance at zero: `R/(1 + alpha)`.
    ///
    /// A linearised area is the area of the true absorbance times this, so that it joins the unbent range
    /// without a step.
    pub fn initial_slope(&self) -> f64 {
        self.sensitivity_ratio / (1.0 + self.stray_fraction)
    }

    /// The maximum; `None` where there is none: without stray light, or where the field leaves no absorbance.
    ///
    /// # Source
    /// Where `R 10^(-(1-R) A0) + alpha = alpha (1 - R) 10^(R A0)`; the derivative of [`NetCurve::net`]. Checked by
    /// `tests/published/main.rs`.
    pub fn roll_over(&self) -> Option<RollOver> {
        let (alpha, r) = (self.stray_fraction, self.sensitivity_ratio);
        let usable = alpha > 0.0 && alpha.is_finite() && r > 0.0 && r < 1.0;
        let rises = |a0: f64| r * libm::exp10(-(1.0 - r) * a0) + alpha - alpha * (1.0 - r) * libm::exp10(r * a0);
        if !usable || rises(FAR) >= 0.0 {
            return None;
        }
        let true_absorbance = falls_through_zero(0.0, FAR, rises);
        Some(RollOver {
            true_absorbance,
            net: self.net(true_absorbance),
            total: self.total(true_absorbance),
            background: self.background(true_absorbance),
        })
    }

    /// True absorbance of a net one on the rising branch; that of the roll-over where the net value is higher,
    /// `None` where it is no number.
    pub fn rising(&self, net: f64) -> Option<f64> {
        let top = self.roll_over().map_or(FAR, |roll_over| roll_over.true_absorbance);
        self.rising_up_to(net, top)
    }

    /// True absorbance of a net one on the falling branch; that of the roll-over where the net value is higher,
    /// `None` without a roll-over or at zero and below.
    pub fn falling(&self, net: f64) -> Option<f64> {
        self.falling_from(net, self.roll_over()?.true_absorbance)
    }

    pub(crate) fn rising_up_to(&self, net: f64, top: f64) -> Option<f64> {
        if net.is_nan() {
            return None;
        }
        if net <= 0.0 {
            // Below zero there is only noise; the straight line keeps its mean.
            return Some(net / self.initial_slope());
        }
        Some(falls_through_zero(0.0, top, |a0| net - self.net(a0)))
    }

    pub(crate) fn falling_from(&self, net: f64, top: f64) -> Option<f64> {
        if net.is_nan() || net <= 0.0 {
            return None;
        }
        Some(falls_through_zero(top, FAR / (1.0 - self.sensitivity_ratio), |a0| self.net(a0) - net))
    }

    /// True absorbance from both channels, free of the bending a background brings; `None` where a channel is at
    /// its ceiling.
    ///
    /// # Arguments
    /// * `total`, `background`: as the channels read them.
    ///
    /// # Source
    /// Both channels linearised, `A0 = (X_total - X_background)/R`; derived here. Checked by
    /// `tests/published/main.rs`.
    pub fn from_channels(&self, total: f64, background: f64) -> Option<f64> {
        let channel = StrayLight { fraction: self.stray_fraction };
        let difference = channel.linearised(total)? - channel.linearised(background)?;
        Some(difference / self.sensitivity_ratio)
    }

    /// Slope of the net absorbance at zero with a background in both phases: `R/(1 + alpha 10^B)`.
    ///
    /// # Source
    /// As [`NetCurve::behind_background`]. Checked by `tests/published/main.rs`.
    pub fn slope_with_background(&self, background: f64) -> f64 {
        self.behind_background(background).initial_slope()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_branches_meet_at_the_roll_over() {
        let curve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };
        let top = curve.roll_over().expect("a roll-over");
        for net in [top.net, top.net + 0.01] {
            for branch in [curve.rising(net), curve.falling(net)] {
                assert!((branch.expect("a branch") - top.true_absorbance).abs() < 1e-3);
            }
        }
        assert_eq!(curve.falling(0.0), None);
        assert_eq!(curve.rising(f64::NAN), None);
        assert!(curve.rising(-0.01).is_some_and(|a0| a0 < 0.0));
    }

    #[test]
    fn without_stray_light_or_with_full_splitting_there_is_no_roll_over() {
        for (stray_fraction, sensitivity_ratio) in [(0.0, 0.8), (0.01, 1.0), (f64::NAN, 0.8)] {
            assert_eq!(NetCurve { stray_fraction, sensitivity_ratio }.roll_over(), None);
        }
    }
}
