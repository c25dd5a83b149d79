//! Two channels sampled in turn, brought to the same moments.
//!
//! An instrument that measures total and background in turn knows the background half a step before and
//! behind each total value. [`background_at_total`] interpolates it; a fast background read with the wrong
//! rule leaves a false pulse, whose size [`Interpolation::error_term`] tells. [`u_area`] and
//! [`area_over_point_noise`] say what interpolation does to noise.
//!
//! Throughout, h is half the distance of two values of one channel.

use core::f64::consts::LN_10;

/// Places of the four background values around a total value, in h.
const PLACES: [f64; 4] = [-3.0, -1.0, 1.0, 3.0];

/// How the background is read between its values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interpolation {
    /// The value before.
    HoldPrevious,
    /// The line through the value before and the one behind.
    Linear,
    /// The parabola through two values before and one behind.
    QuadraticFromLeft,
    /// The parabola through one value before and two behind.
    QuadraticFromRight,
    /// The cubic through two values before and two behind.
    Cubic,
}

/// First term of the error of an interpolation: `coefficient h^power B^(power)`, B differentiated
/// `power` times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorTerm {
    /// Lowest power of time the rule gets wrong.
    pub power: u32,
    /// Estimate less truth over `h^power B^(power)`.
    pub coefficient: f64,
}

impl Interpolation {
    /// Weights of the background values at -3h, -h, h and 3h.
    ///
    /// # Source
    /// Lagrange's interpolation at 0. The problem: J. M. Harnly, J. A. Holcombe, Anal. Chem. 57 (1985) 1983 and 58
    /// (1986) 2606 (from memory). Checked by `tests/published/main.rs`.
    pub fn weights(self) -> [f64; 4] {
        match self {
            Interpolation::HoldPrevious => [0.0, 1.0, 0.0, 0.0],
            Interpolation::Linear => [0.0, 0.5, 0.5, 0.0],
            Interpolation::QuadraticFromLeft => [-0.125, 0.75, 0.375, 0.0],
            Interpolation::QuadraticFromRight => [0.0, 0.375, 0.75, -0.125],
            Interpolation::Cubic => [-0.0625, 0.5625, 0.5625, -0.0625],
        }
    }

    /// Variance of an interpolated value over that of one background value.
    ///
    /// # Source
    /// JCGM 100:2008, equation (11a): the sum of the squared weights. Checked by
    /// `tests/published/main.rs`.
    pub fn noise_gain(self) -> f64 {
        self.weights().iter().fold(0.0, |sum, weight| sum + weight * weight)
    }

    /// What the rule gets wrong first.
    ///
    /// # Source
    /// Taylor's series of the background put into the weights; derived here. Checked by
    /// `tests/published/main.rs`.
    pub fn error_term(self) -> ErrorTerm {
        let power = match self {
            Interpolation::HoldPrevious => 1,
            Interpolation::Linear => 2,
            Interpolation::QuadraticFromLeft | Interpolation::QuadraticFromRight => 3,
            Interpolation::Cubic => 4,
        };
        let mut moment = 0.0;
        for (weight, place) in self.weights().iter().zip(PLACES) {
            let mut term = *weight;
            for k in 1..=power {
                term *= place / f64::from(k);
            }
            moment += term;
        }
        ErrorTerm { power, coefficient: moment }
    }

    /// The best rule there are values for, given which of the four exist.
    fn within(self, exists: [bool; 4]) -> Option<Interpolation> {
        let fits =
            |rule: Interpolation| rule.weights().iter().zip(exists).all(|(&weight, exists)| weight == 0.0 || exists);
        [
            self,
            Interpolation::QuadraticFromLeft,
            Interpolation::QuadraticFromRight,
            Interpolation::Linear,
            Interpolation::HoldPrevious,
        ]
        .into_iter()
        .filter(|rule| rule.error_term().power <= self.error_term().power)
        .find(|&rule| fits(rule))
    }
}

/// Which channel was read first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FirstRead {
    /// Total at 0, background at h, total at 2h ...
    Total,
    /// Background at -h, total at 0, background at h ...
    Background,
}

/// Background absorbance at the moments of the total values.
///
/// Where a rule wants a value before the first or behind the last, the next simpler rule that has its values
/// takes its place; the value behind stands in where there is none before.
///
/// # Arguments
/// * `background`: as measured, in the order of time.
/// * `n_total`: number of total values. Where the background ends early, its last value holds; without any
///   background, zeros.
/// * `first`: which channel the rows begin with.
/// * `rule`: of the method or the instrument.
///
/// # Source
/// As [`Interpolation::weights`].
///
/// # Example
/// ```
/// use darkline_signal::alignment::{FirstRead, Interpolation, background_at_total};
/// // Background 0.1, 0.3, 0.5 at h, 3h, 5h; total at 0, 2h, 4h.
/// let found = background_at_total(&[0.1_f64, 0.3, 0.5], 3, FirstRead::Total, Interpolation::Linear);
/// assert_eq!(found, [0.1, 0.2, 0.4]);
/// ```
pub fn background_at_total<T: Copy + Into<f64>>(
    background: &[T],
    n_total: usize,
    first: FirstRead,
    rule: Interpolation,
) -> Vec<f64> {
    let Some(last) = background.len().checked_sub(1) else {
        return vec![0.0; n_total];
    };
    (0..n_total)
        .map(|index| {
            // The value at h behind total value i is background value i, or i + 1 where the background
            // was read first.
            let behind = match first {
                FirstRead::Total => index,
                FirstRead::Background => index + 1,
            };
            // Places -3h, -h, h, 3h are values behind-2, behind-1, behind, behind+1.
            let place = |k: usize| (behind + k).checked_sub(2).filter(|&place| place <= last);
            let exists = [0, 1, 2, 3].map(|k| place(k).is_some());
            let Some(rule) = rule.within(exists) else {
                return background[behind.min(last)].into();
            };
            let mut sum = 0.0;
            for (k, weight) in rule.weights().into_iter().enumerate() {
                if let Some(place) = place(k).filter(|_| weight != 0.0) {
                    sum += weight * background[place].into();
                }
            }
            sum
        })
        .collect()
}

/// Error of the background's area, to the first order, where the previous value is held: `-h [B(b) - B(a)]`.
///
/// Zero where the background begins and ends at zero inside the window.
///
/// # Arguments
/// * `h_s`: half the distance of two background values, in seconds.
/// * `change`: background at the end of the window less that at its beginning.
///
/// # Source
/// The integral of the error term; derived here. Checked by `tests/published/main.rs`.
pub fn area_error_holding(h_s: f64, change: f64) -> f64 {
    -h_s * change
}

/// Error of the background's area, to the first order, with linear interpolation: `(h²/2) [B'(b) - B'(a)]`.
///
/// # Arguments
/// * `h_s`: half the distance of two background values, in seconds.
/// * `slope_change`: slope of the background, per second, at the end of the window less that at its beginning.
///
/// # Source
/// The integral of the error term; derived here. Checked by `tests/published/main.rs`.
pub fn area_error_linear(h_s: f64, slope_change: f64) -> f64 {
    0.5 * h_s * h_s * slope_change
}

/// Absorbance of the mean light over an aperture less the absorbance in its middle, on a straight slope.
///
/// # Arguments
/// * `slope_per_s`: change of absorbance per second.
/// * `aperture_s`: how long light is collected for one value.
///
/// # Source
/// `-lg[sinh(z)/z]`, z = ln(10) S a/2: the mean of 10^-A over the aperture; derived here. Checked by
/// `tests/published/main.rs`.
pub fn aperture_bias(slope_per_s: f64, aperture_s: f64) -> f64 {
    let z = 0.5 * LN_10 * slope_per_s * aperture_s;
    if z == 0.0 { 0.0 } else { -libm::log10(libm::sinh(z) / z) }
}

/// The same to the second order, `-(a²/24) ln(10) S²`: enough below a slope of 0.1 over the aperture.
///
/// # Source
/// The first term of the series of [`aperture_bias`]. Checked by `tests/published/main.rs`.
pub fn aperture_bias_second_order(slope_per_s: f64, aperture_s: f64) -> f64 {
    let swept = slope_per_s * aperture_s;
    -swept * swept * LN_10 / 24.0
}

/// Standard deviation of one net value whose background is interpolated: `sqrt(s_T² + g s_B²)`.
///
/// # Source
/// JCGM 100:2008, equation (11a). Checked by `tests/published/main.rs`.
pub fn net_sd(sd_total: f64, sd_background: f64, rule: Interpolation) -> f64 {
    (sd_total * sd_total + rule.noise_gain() * sd_background * sd_background).sqrt()
}

/// Standard uncertainty of an area of n net values whose background is interpolated, whatever the rule:
/// `dt sqrt(n (s_T² + s_B²))`.
///
/// The weights one background value receives add up to 1, so interpolation takes no noise out of an area.
///
/// # Source
/// JCGM 100:2008, equation (11a), for the sum. Checked by `tests/published/main.rs`.
pub fn u_area(sd_total: f64, sd_background: f64, dt_s: f64, n: f64) -> f64 {
    dt_s * (n * (sd_total * sd_total + sd_background * sd_background)).sqrt()
}

/// Factor by which [`u_area`] exceeds the uncertainty worked out from the noise of single net values.
///
/// Neighbouring net values share background values and are correlated; the noise of a baseline, seen value
/// by value, understates the area's uncertainty by this.
///
/// # Source
/// `sqrt((s_T² + s_B²)/(s_T² + g s_B²))`. Checked by `tests/published/main.rs`.
pub fn area_over_point_noise(sd_total: f64, sd_background: f64, rule: Interpolation) -> f64 {
    let sum = sd_total * sd_total + sd_background * sd_background;
    sum.sqrt() / net_sd(sd_total, sd_background, rule)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULES: [Interpolation; 5] = [
        Interpolation::HoldPrevious,
        Interpolation::Linear,
        Interpolation::QuadraticFromLeft,
        Interpolation::QuadraticFromRight,
        Interpolation::Cubic,
    ];

    #[test]
    fn a_constant_background_is_found_by_every_rule_at_both_ends() {
        for rule in RULES {
            for first in [FirstRead::Total, FirstRead::Background] {
                for n_background in 1..7 {
                    let background = vec![0.25_f32; n_background];
                    let found = background_at_total(&background, 5, first, rule);
                    assert_eq!(found, vec![0.25; 5], "{rule:?} {first:?} {n_background}");
                }
            }
        }
    }

    #[test]
    fn a_straight_background_is_exact_where_there_are_values_on_both_sides() {
        let background: Vec<f64> = (0..8).map(|j| 0.1 * (2.0 * f64::from(j) - 1.0)).collect();
        for rule in &RULES[1..] {
            let found = background_at_total(&background, 7, FirstRead::Background, *rule);
            for (index, value) in found.iter().enumerate() {
                assert!((value - 0.2 * index as f64).abs() < 1e-12, "{rule:?} at {index}");
            }
        }
    }

    #[test]
    fn no_background_is_zero_and_a_background_cut_short_holds_its_last_value() {
        let none: [f32; 0] = [];
        let zeros = background_at_total(&none, 3, FirstRead::Total, Interpolation::Cubic);
        assert_eq!(zeros, vec![0.0; 3]);
        let cut = background_at_total(&[0.1_f64, 0.2], 6, FirstRead::Background, Interpolation::Linear);
        assert!((cut[0] - 0.15).abs() < 1e-12);
        assert_eq!(&cut[1..], [0.2; 5]);
    }

    #[test]
    fn the_area_of_interpolated_noise_has_the_variance_of_the_closed_form() {
        // The weight each background value has in the sum of n net values: 1 inside, less at the ends.
        let n = 400;
        for rule in RULES {
            let mut squares = n as f64;
            for place in 0..n + 1 {
                let mut unit = vec![0.0_f64; n + 1];
                unit[place] = 1.0;
                let weight: f64 = background_at_total(&unit, n, FirstRead::Background, rule).iter().sum();
                squares += weight * weight;
            }
            let closed = u_area(1.0, 1.0, 1.0, n as f64);
            assert!((squares.sqrt() / closed - 1.0).abs() < 2e-3, "{rule:?}");
        }
    }
}
