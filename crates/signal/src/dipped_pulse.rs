//! A dipped pulse: true absorbance beyond the roll-over, read from the falling branch.
//!
//! Where the true absorbance passes the roll-over, the net pulse falls into a valley between two humps.
//! [`restore`] takes the falling branch between them. A true double peak looks the same in the net value;
//! [`is_dip`] tells them apart by the total channel.

use crate::humps;
use crate::roll_over::{NetCurve, RollOver};

/// A hump counts as one of the roll-over when it reaches this part of the roll-over absorbance (our choice: a
/// sampled hump falls short by some thousandths, a roll-over from a handbook is known to some hundredths).
pub const REACHES: f64 = 0.95;

/// A pulse read along both branches.
#[derive(Debug, Clone, PartialEq)]
pub struct Restored {
    /// True absorbance, value by value.
    pub true_absorbance: Vec<f64>,
    /// Places of the two humps, counted in samples; `None` where the pulse does not dip.
    pub humps: Option<(f64, f64)>,
}

impl Restored {
    /// Area of the true absorbance, in seconds, scaled by the initial slope so that it joins the unbent range
    /// without a step: trapezoid sum.
    ///
    /// # Arguments
    /// * `curve`: the one the pulse was restored with.
    /// * `dt_s`: step in seconds.
    pub fn linearised_area(&self, curve: &NetCurve, dt_s: f64) -> f64 {
        let values = &self.true_absorbance;
        let ends = values.first().copied().unwrap_or(0.0) + values.last().copied().unwrap_or(0.0);
        curve.initial_slope() * dt_s * (crate::lanes::sum(values) - 0.5 * ends)
    }
}

/// Reads a net pulse back to true absorbance along both branches of its curve.
///
/// Where noise lifts a value above the roll-over it is set to the roll-over's true absorbance.
///
/// # Arguments
/// * `net`: net absorbance, offset taken off, in the order of time.
/// * `curve`: its two parameters decide the answer: an error of 1 % in the roll-over absorbance costs 1 % to 2 % of
///   the area, one of 0.01 in the sensitivity ratio 2.5 % to 6 %. Carry both into the uncertainty.
/// * `noise_sd`: standard deviation of one net value; a valley less than five of them deep is no valley.
///
/// `None` where the curve has no roll-over or a value is no number.
///
/// # Source
/// Restoring with two parameters: B. V. L'vov, L. K. Polzik, P. V. Fedorov, W. Slavin, Spectrochim. Acta 47B (1992) 1411
/// (abstract seen). Curve: M. T. C. de Loos-Vollebregt, L. de Galan, Spectrochim. Acta 33B (1978) 495 (from
/// memory). Checked by `tests/published/main.rs`.
pub fn restore(net: &[f64], curve: &NetCurve, noise_sd: f64) -> Option<Restored> {
    let top = curve.roll_over()?;
    // Without noise, rounding alone must not make a hump.
    let least = (5.0 * noise_sd).max(1e-12);
    let reaching: Vec<humps::Hump> =
        humps::humps(net, least).into_iter().filter(|hump| hump.height >= REACHES * top.net).collect();
    let humps = match reaching[..] {
        [first, .., last] => Some((first.place, last.place)),
        _ => None,
    };
    restore_between(net, curve, humps)
}

/// Reads a net pulse back, along the falling branch between two places and along the rising one outside.
pub(crate) fn restore_between(net: &[f64], curve: &NetCurve, humps: Option<(f64, f64)>) -> Option<Restored> {
    let top = curve.roll_over()?;
    let mut values = Vec::with_capacity(net.len());
    for (index, &value) in net.iter().enumerate() {
        let beyond = humps.is_some_and(|(from, to)| {
            let place = index as f64;
            from < place && place < to
        });
        values.push(true_absorbance(value, curve, top, beyond)?);
    }
    Some(Restored { true_absorbance: values, humps })
}

/// True absorbance of one net value on the branch it belongs to; that of the roll-over where noise lifts it above.
pub(crate) fn true_absorbance(net: f64, curve: &NetCurve, top: RollOver, beyond: bool) -> Option<f64> {
    if net >= top.net {
        Some(top.true_absorbance)
    } else if beyond {
        // A net value at zero or below stands for any high absorbance; so deep no valley is restored.
        curve.falling_from(net, top.true_absorbance)
    } else {
        curve.rising_up_to(net, top.true_absorbance)
    }
}

/// Whether a valley between two humps is a dip beyond the roll-over: the total channel is higher in the valley
/// than at either hump. In a true double peak it is lower.
///
/// # Source
/// The total channel never falls while the true absorbance rises. Checked by `tests/published/main.rs`.
pub fn is_dip(total_at_humps: (f64, f64), total_in_valley: f64) -> bool {
    total_in_valley > total_at_humps.0 && total_in_valley > total_at_humps.1
}

#[cfg(test)]
mod tests {
    use super::*;

    const CURVE: NetCurve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };

    #[test]
    fn a_pulse_below_the_roll_over_is_read_along_the_rising_branch() {
        let truth: Vec<f64> =
            (0..60).map(|i| 2.0 * libm::exp(-(f64::from(i) - 30.0) * (f64::from(i) - 30.0) / 50.0)).collect();
        let net: Vec<f64> = truth.iter().map(|&a0| CURVE.net(a0)).collect();
        let restored = restore(&net, &CURVE, 0.0).expect("a curve with a roll-over");
        assert_eq!(restored.humps, None);
        for (found, truth) in restored.true_absorbance.iter().zip(truth) {
            assert!((found - truth).abs() < 1e-9);
        }
    }

    #[test]
    fn no_roll_over_no_number_and_no_values_are_no_trouble() {
        let straight = NetCurve { stray_fraction: 0.0, sensitivity_ratio: 0.9 };
        assert_eq!(restore(&[0.1], &straight, 0.0), None);
        assert_eq!(restore(&[0.1, f64::NAN], &CURVE, 0.0), None);
        let nothing = restore(&[], &CURVE, 0.001).expect("a curve with a roll-over");
        assert_eq!(nothing.linearised_area(&CURVE, 0.02), 0.0);
    }
}
