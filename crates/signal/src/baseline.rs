//! Baseline rules and what they do to the uncertainty of an area.
//!
//! An area with any linear baseline is a weighted sum of net values over baseline and window
//! ([`area_weights`]); its uncertainty follows from the weights for white noise
//! ([`u_of_weighted_sum`]), correlated noise ([`u_autocorrelated`]) and a wandering offset
//! ([`u_random_walk`]). [`best_window`] says how long to integrate a decaying pulse.

use crate::sign_change::falls_through_zero;

/// How the offset under a pulse is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BaselineRule {
    /// Mean of the values before the window.
    MeanBefore,
    /// Mean of the values before and behind the window.
    MeanBeforeAndBehind,
    /// Straight line through the values before and behind the window.
    LineBeforeAndBehind,
    /// Straight line through the values before the window, extended.
    LineBefore,
}

/// Standard uncertainty of an area with the mean of a baseline taken off, white noise.
///
/// # Arguments
/// * `sd`: standard deviation of one net value.
/// * `dt_s`: step in seconds.
/// * `n`: values in the window; a fraction is allowed when planning.
/// * `n_baseline`: values of the baseline; `None` where no offset is taken off.
///
/// # Source
/// dt sd sqrt(n + n²/n_b); JCGM 100:2008, 5.1.2, for the sum less n times a mean. Checked by
/// `tests/published/main.rs`.
///
/// # Example
/// ```
/// // 4 s at 50 Hz, noise 0.002: a baseline of half a second doubles the uncertainty and more.
/// let with = darkline_signal::baseline::u_area(0.002, 0.02, 200.0, Some(25.0));
/// let without = darkline_signal::baseline::u_area(0.002, 0.02, 200.0, None);
/// assert_eq!(format!("{with:.6} {without:.6}"), "0.001697 0.000566");
/// ```
pub fn u_area(sd: f64, dt_s: f64, n: f64, n_baseline: Option<f64>) -> f64 {
    let offset = n_baseline.map_or(0.0, |n_baseline| n * n / n_baseline);
    dt_s * sd * (n + offset).sqrt()
}

/// Weights that make the area of the net values before, in and behind the window, for a step of 1.
///
/// # Arguments
/// * `n_before`, `n`, `n_behind`: numbers of values; those behind are used only by the rules that say so.
///   Where a rule has too few values to stand on, its offset is zero.
///
/// # Source
/// Least squares; derived here. Checked by `tests/published/main.rs`.
pub fn area_weights(rule: BaselineRule, n_before: usize, n: usize, n_behind: usize) -> Vec<f64> {
    let all = n_before + n + n_behind;
    let in_window = n_before..n_before + n;
    let behind_counts = matches!(rule, BaselineRule::MeanBeforeAndBehind | BaselineRule::LineBeforeAndBehind);
    let is_line = matches!(rule, BaselineRule::LineBeforeAndBehind | BaselineRule::LineBefore);
    let is_baseline = |j: usize| j < n_before || (behind_counts && j >= in_window.end);
    let places: Vec<f64> = (0..all).filter(|&j| is_baseline(j)).map(|j| j as f64).collect();
    let n_baseline = places.len() as f64;
    let mean = places.iter().sum::<f64>() / n_baseline;
    let spread: f64 = places.iter().map(|x| (x - mean) * (x - mean)).sum();
    // The line's value at x is the mean of the baseline plus slope times (x - mean); summed over
    // the window this is n times the value at the window's middle.
    let middle = n_before as f64 + 0.5 * (n as f64 - 1.0);
    (0..all)
        .map(|j| {
            if in_window.contains(&j) {
                1.0
            } else if !is_baseline(j) {
                0.0
            } else {
                let tilt = if is_line && spread > 0.0 { (middle - mean) * (j as f64 - mean) / spread } else { 0.0 };
                -(n as f64) * (1.0 / n_baseline + tilt)
            }
        })
        .collect()
}

/// Standard uncertainty of a weighted sum of net values, white noise: `dt sd sqrt(sum w²)`.
///
/// # Source
/// JCGM 100:2008, equation (11a). Checked by `tests/published/main.rs`.
pub fn u_of_weighted_sum(sd: f64, dt_s: f64, weights: &[f64]) -> f64 {
    u_autocorrelated(sd, dt_s, weights, 0.0)
}

/// Standard uncertainty of a weighted sum of net values whose noise has the correlation `rho^k` between
/// values k steps apart: `dt sd sqrt(sum over j, k of w_j w_k rho^|j-k|)`.
///
/// # Arguments
/// * `weights`: one for each value, in the order of time, without gaps.
///
/// # Source
/// JCGM 100:2008, equation (16), with that correlation. Checked by `tests/published/main.rs`.
pub fn u_autocorrelated(sd: f64, dt_s: f64, weights: &[f64], rho: f64) -> f64 {
    // `earlier` is the sum of w_k rho^(j-k) over all k before j.
    let (mut sum, mut earlier, mut before) = (0.0, 0.0, 0.0);
    for &weight in weights {
        earlier = rho * (earlier + before);
        sum += weight * (weight + 2.0 * earlier);
        before = weight;
    }
    dt_s * sd * f64::max(sum, 0.0).sqrt()
}

/// Factor by which correlated noise enlarges the uncertainty of a long mean or sum:
/// `sqrt((1 + rho)/(1 - rho))`.
///
/// # Source
/// The sum of `rho^|k|` over all k; derived here. Checked by `tests/published/main.rs`.
pub fn autocorrelation_factor(rho: f64) -> f64 {
    ((1.0 + rho) / (1.0 - rho)).sqrt()
}

/// Standard uncertainty of an area from an offset that wanders from the end of the baseline on.
///
/// # Arguments
/// * `step_sd`: standard deviation of the random walk's step from value to value.
/// * `dt_s`, `n`: step in seconds and values in the window.
///
/// # Source
/// dt q sqrt(n (n+1) (2n+1)/6), the variance of a sum of a random walk; derived here. Checked by
/// `tests/published/main.rs`.
pub fn u_random_walk(step_sd: f64, dt_s: f64, n: usize) -> f64 {
    let n = n as f64;
    dt_s * step_sd * (n * (n + 1.0) * (2.0 * n + 1.0) / 6.0).sqrt()
}

/// Window, in decay times, in which the area of a pulse `exp(-t/tau)` stands out best from white noise.
///
/// # Arguments
/// * `baseline_over_decay`: length of the baseline over the decay time, above 0; `None` where the
///   offset is known without noise.
///
/// # Source
/// The greatest `(1 - exp(-x))/sqrt(x (1 + x/r))`; without an offset `exp(x) = 1 + 2x`. Derived here.
/// Checked by `tests/published/main.rs`.
pub fn best_window(baseline_over_decay: Option<f64>) -> f64 {
    // The logarithmic derivative of the signal over noise.
    falls_through_zero(1e-9, 60.0, |x| {
        let baseline = baseline_over_decay.map_or(0.0, |r| 1.0 / (r + x));
        1.0 / libm::expm1(x) - 0.5 * (1.0 / x + baseline)
    })
}

/// Expected highest of `n` independent normal values, in standard deviations: how far above zero the
/// height of a blank stands by chance, where an area stands at zero.
///
/// # Source
/// The mean of the largest of n, `int z n phi(z) Phi(z)^(n-1) dz`; definition. Checked by
/// `tests/published/main.rs`.
pub fn expected_highest_of(n: u32) -> f64 {
    if n == 0 {
        return 0.0;
    }
    // Trapezoid sum of a function that vanishes with all its derivatives at both ends.
    const STEP: f64 = 1.0 / 128.0;
    let mut sum = 0.0;
    for k in -1280..=1280 {
        let z = f64::from(k) * STEP;
        let density = libm::exp(-0.5 * z * z) / (2.0 * core::f64::consts::PI).sqrt();
        let below = 0.5 * libm::erfc(-z * core::f64::consts::FRAC_1_SQRT_2);
        sum += z * f64::from(n) * density * libm::pow(below, f64::from(n - 1));
    }
    sum * STEP
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_takes_a_constant_off_and_the_lines_take_a_slope_off() {
        let rules = [
            BaselineRule::MeanBefore,
            BaselineRule::MeanBeforeAndBehind,
            BaselineRule::LineBeforeAndBehind,
            BaselineRule::LineBefore,
        ];
        for rule in rules {
            let weights = area_weights(rule, 12, 40, 17);
            let of_constant: f64 = weights.iter().sum();
            assert!(of_constant.abs() < 1e-10, "{rule:?}");
            if matches!(rule, BaselineRule::LineBeforeAndBehind | BaselineRule::LineBefore) {
                let of_slope: f64 = weights.iter().enumerate().map(|(j, w)| j as f64 * w).sum();
                assert!(of_slope.abs() < 1e-9, "{rule:?}");
            }
        }
    }

    #[test]
    fn a_baseline_of_no_values_takes_nothing_off() {
        assert_eq!(area_weights(BaselineRule::MeanBefore, 0, 3, 0), vec![1.0; 3]);
        assert_eq!(area_weights(BaselineRule::LineBefore, 1, 2, 0), vec![-2.0, 1.0, 1.0]);
    }

    #[test]
    fn the_highest_of_one_value_is_its_mean() {
        assert!(expected_highest_of(1).abs() < 1e-12);
        // Two values: 1/sqrt(pi).
        assert!((expected_highest_of(2) - 0.564_189_583_547_756_3).abs() < 1e-12);
    }
}
