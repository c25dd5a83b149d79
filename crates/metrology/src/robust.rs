//! Location and scale that a stray value does not carry away.
//!
//! [`median`] and [`mad`] are the plain ones; [`algorithm_a`] gives the robust mean and standard deviation of
//! values, [`algorithm_s`] that of standard deviations or ranges; [`huber_pass`] is one pass of Algorithm A
//! for those who want to see it work.
//!
//! Invariant: the order of the values does not matter to a single bit; `None` says that there are no values,
//! or one that is not finite.

use crate::distribution::{chi_squared, normal};
use crate::summary;

/// What turns a median absolute deviation into a standard deviation under the normal law, as commonly
/// rounded; ISO 13528 prints 1.483.
pub const MAD_TO_SD: f64 = 1.4826;

/// Where Algorithm A limits values: this many scales from the location.
pub const ALGORITHM_A_LIMIT: f64 = 1.5;

/// Two passes agree when location and scale move by less than this share of the scale.
const SETTLED: f64 = 1.0e-13;

/// The median: the middle value, or the mean of the two middle ones.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values, any order.
///
/// # Source
/// ISO 13528:2015, C.2.1 (from memory).
///
/// # Example
/// ```
/// use darkline_metrology::robust;
/// assert_eq!(robust::median(&[3.0, 1.0, 28.95, 2.0]), Some(2.5));
/// ```
#[must_use]
pub fn median(x: &[f64]) -> Option<f64> {
    sorted(x).map(|x| middle(&x))
}

/// The median of the absolute deviations from the median, without a factor.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values, any order.
///
/// # Source
/// ISO 13528:2015, C.2.2 (from memory).
#[must_use]
pub fn mad(x: &[f64]) -> Option<f64> {
    let centre = median(x)?;
    let deviations: Vec<f64> = x.iter().map(|x| (x - centre).abs()).collect();
    median(&deviations)
}

/// The standard deviation by the median absolute deviation, `1.4826·MAD`.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values, any order.
///
/// # Source
/// ISO 13528:2015, C.2.2 (from memory).
#[must_use]
pub fn scaled_mad(x: &[f64]) -> Option<f64> {
    mad(x).map(|mad| MAD_TO_SD * mad)
}

/// A robust location with its scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Robust {
    /// Robust mean x*.
    pub location: f64,
    /// Robust standard deviation s*.
    pub scale: f64,
    /// How many passes it took until nothing moved any more.
    pub passes: u32,
}

/// One pass of winsorising: its limits and what it gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HuberPass {
    /// Values below count as this.
    pub lower_limit: f64,
    /// Values above count as this.
    pub upper_limit: f64,
    /// Mean of the limited values.
    pub location: f64,
    /// Factor times standard deviation of the limited values.
    pub scale: f64,
}

/// The robust mean and standard deviation by Algorithm A, carried until it moves no more.
///
/// Where more than half the values are equal the scale is 0 and the location is theirs.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values, any order.
///
/// # Source
/// ISO 13528:2015, C.3.1, and ISO 5725-5:1998, 6.2: start from median and 1.4826 MAD, limit at ±1.5 s*, new
/// s* = s/√β with β the variance of the limited normal law (the standards print 1.134 for 1/√β). Checked by
/// `tests/statistics/iso_5725_5.rs`.
#[must_use]
pub fn algorithm_a(x: &[f64]) -> Option<Robust> {
    let x = sorted(x).filter(|x| x.len() >= 2)?;
    let factor = winsorised_sd_factor(ALGORITHM_A_LIMIT)?;
    let mut now = Robust { location: middle(&x), scale: scaled_mad(&x)?, passes: 0 };
    // The passes converge geometrically; ten thousand are never met by data that are not made for it.
    while now.passes < 10_000 {
        let pass = huber_pass(&x, now.location, now.scale, ALGORITHM_A_LIMIT, factor)?;
        let moved = (pass.location - now.location).abs().max((pass.scale - now.scale).abs());
        let settled = moved <= SETTLED * pass.scale;
        now = Robust { location: pass.location, scale: pass.scale, passes: now.passes + 1 };
        if settled {
            return Some(now);
        }
    }
    None
}

/// The robust mean with a scale that stays as it is.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values, any order.
/// * `scale`: known standard deviation, above 0.
/// * `k`: values are limited at this many scales, above 0.
///
/// # Source
/// P. J. Huber, Ann. Math. Statist. 35 (1964) 73-101; Analytical Methods Committee, Analyst 114 (1989) 1693.
/// Checked by `tests/statistics/amc.rs`.
#[must_use]
pub fn huber_location(x: &[f64], scale: f64, k: f64) -> Option<f64> {
    let x = sorted(x).filter(|x| x.len() >= 2)?;
    if !(scale > 0.0 && scale < f64::INFINITY) {
        return None;
    }
    let mut location = middle(&x);
    for _ in 0..10_000 {
        let next = huber_pass(&x, location, scale, k, 1.0)?.location;
        if (next - location).abs() <= SETTLED * scale {
            return Some(next);
        }
        location = next;
    }
    None
}

/// One pass: values limited at `location ± k·scale`, then their mean and `factor` times their standard deviation.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values, the original ones in every pass.
/// * `location`, `scale`: from the pass before, scale 0 or above.
/// * `k`: above 0, commonly 1.5.
/// * `factor`: what makes up for the limiting, such as [`winsorised_sd_factor`].
///
/// # Source
/// Analytical Methods Committee, Technical Brief No. 6 (2001). Checked by `tests/statistics/amc.rs`.
#[must_use]
pub fn huber_pass(x: &[f64], location: f64, scale: f64, k: f64, factor: f64) -> Option<HuberPass> {
    if !(scale >= 0.0 && k > 0.0 && location.is_finite()) {
        return None;
    }
    let (lower_limit, upper_limit) = (location - k * scale, location + k * scale);
    let limited: Vec<f64> = x.iter().map(|x| x.clamp(lower_limit, upper_limit)).collect();
    let pass = HuberPass {
        lower_limit,
        upper_limit,
        location: summary::mean(&limited)?,
        scale: factor * summary::sd(&limited)?,
    };
    (pass.scale.is_finite() && upper_limit - lower_limit < f64::INFINITY).then_some(pass)
}

/// 1/√β: what makes the standard deviation of values limited at ±k one of the normal law again.
///
/// # Arguments
/// * `k`: above 0; 1.5 gives 1.134.
///
/// # Source
/// β = 2(Φ(k) − ½ − kφ(k)) + 2k²(1 − Φ(k)), the variance of the limited standard normal law.
#[must_use]
pub fn winsorised_sd_factor(k: f64) -> Option<f64> {
    if !(k > 0.0 && k < f64::INFINITY) {
        return None;
    }
    let (inside, outside) = (normal::cdf(k)? - 0.5 - k * normal::density(k)?, normal::upper_tail(k)?);
    let beta = 2.0 * inside + 2.0 * k * k * outside;
    (beta > 0.0).then(|| 1.0 / beta.sqrt())
}

/// A robust pooled standard deviation with the factors it was found by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RobustSpread {
    /// Limit factor η.
    pub eta: f64,
    /// Adjustment factor ξ.
    pub xi: f64,
    /// The robust pooled value w*.
    pub w: f64,
    /// How many passes it took.
    pub passes: u32,
}

/// The robust pooled value of standard deviations, or of ranges of duplicates, by Algorithm S.
///
/// # Arguments
/// * `w`: n ≥ 1 standard deviations or ranges, 0 or above, any order.
/// * `dof`: degrees of freedom behind each, above 0; 1 for the range of duplicates, whose s_r is w*/√2.
///
/// # Source
/// ISO 13528:2015, C.4, and ISO 5725-5:1998, 6.3: η² = χ²(0.90; ν)/ν,
/// 1/ξ² = P(χ²(ν + 2) < νη²) + 0.1 η². Checked by `tests/statistics/iso_5725_5.rs`.
#[must_use]
pub fn algorithm_s(w: &[f64], dof: f64) -> Option<RobustSpread> {
    let w = sorted(w)?;
    if w[0] < 0.0 {
        return None;
    }
    let ninety = chi_squared::quantile(0.9, dof)?;
    let eta = (ninety / dof).sqrt();
    let xi = 1.0 / (chi_squared::cdf(ninety, dof + 2.0)? + 0.1 * eta * eta).sqrt();
    let mut now = middle(&w);
    for passes in 1..10_000 {
        let limit = eta * now;
        let squares: Vec<f64> = w.iter().map(|w| w.min(limit)).map(|w| w * w).collect();
        let next = xi * summary::mean(&squares)?.sqrt();
        if !next.is_finite() {
            return None;
        }
        if (next - now).abs() <= SETTLED * next {
            return Some(RobustSpread { eta, xi, w: next, passes });
        }
        now = next;
    }
    None
}

/// The values in rising order; `None` without values or with one that is not finite.
fn sorted(x: &[f64]) -> Option<Vec<f64>> {
    if x.is_empty() || x.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    Some(sorted)
}

/// The median of sorted values.
fn middle(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    if n % 2 == 1 { sorted[n / 2] } else { 0.5 * sorted[n / 2 - 1] + 0.5 * sorted[n / 2] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn no_values_or_one_that_is_no_number_give_nothing() {
        for x in [&[][..], &[1.0, f64::NAN], &[f64::INFINITY, 1.0, 2.0]] {
            assert_eq!(median(x), None);
            assert_eq!(mad(x), None);
            assert_eq!(algorithm_a(x), None);
            assert_eq!(algorithm_s(x, 1.0), None);
            assert_eq!(huber_location(x, 1.0, 1.5), None);
        }
        assert_eq!(algorithm_a(&[1.0]), None);
        assert_eq!(algorithm_s(&[0.1, -0.1], 1.0), None);
        assert_eq!(algorithm_s(&[0.1, 0.1], 0.0), None);
        assert_eq!(huber_location(&[1.0, 2.0], 0.0, 1.5), None);
        assert_eq!(huber_pass(&[1.0, 2.0], 1.0, -1.0, 1.5, 1.0), None);
        assert_eq!(winsorised_sd_factor(0.0), None);
    }

    #[test]
    fn more_than_half_equal_values_have_no_scale() {
        let robust = algorithm_a(&[5.0, 5.0, 5.0, 5.0, 9.0]).unwrap();
        assert_eq!((robust.location, robust.scale), (5.0, 0.0));
        assert_eq!(algorithm_s(&[0.0, 0.0, 0.0], 2.0).unwrap().w, 0.0);
    }

    #[test]
    fn the_middle_of_the_largest_numbers_does_not_overflow() {
        assert_eq!(median(&[f64::MAX, f64::MAX]), Some(f64::MAX));
        assert_eq!(algorithm_a(&[f64::MAX, -f64::MAX, f64::MAX, 0.0]), None);
    }

    #[test]
    fn the_factor_is_near_the_one_the_standards_print() {
        // DIFFERENCE: the standards print 1.134; unrounded it is 1.1334.
        assert_eq!(format!("{:.4}", winsorised_sd_factor(1.5).unwrap()), "1.1334");
    }

    fn values() -> impl Strategy<Value = Vec<f64>> {
        prop::collection::vec(-100.0_f64..100.0, 3..25)
    }

    proptest! {
        #[test]
        fn a_shuffled_series_gives_the_same_bits(x in values()) {
            let mut turned = x.clone();
            turned.reverse();
            prop_assert_eq!(median(&x), median(&turned));
            prop_assert_eq!(algorithm_a(&x), algorithm_a(&turned));
        }

        #[test]
        fn a_stray_value_moves_the_location_by_a_scale_at_most(x in prop::collection::vec(9.0_f64..11.0, 9..25), stray in 1.0e3_f64..1.0e9) {
            let mut with = x.clone();
            with.push(stray);
            let (clean, strayed) = (algorithm_a(&x).unwrap(), algorithm_a(&with).unwrap());
            prop_assert!((clean.location - strayed.location).abs() < 1.0);
        }

        #[test]
        fn scaling_the_unit_by_two_scales_the_result_exactly(x in values()) {
            let doubled: Vec<f64> = x.iter().map(|x| 2.0 * x).collect();
            let (one, other) = (algorithm_a(&x).unwrap(), algorithm_a(&doubled).unwrap());
            prop_assert_eq!((2.0 * one.location, 2.0 * one.scale), (other.location, other.scale));
        }
    }
}
