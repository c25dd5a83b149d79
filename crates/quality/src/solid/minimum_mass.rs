//! How much of a material a portion needs, and how many portions.

use darkline_metrology::distribution::{chi_squared, normal, student_t};

use crate::tail_point::tail_point;

/// Steps of the integration over the place of the mean.
const STEP: f64 = 0.05;
const REACH: i32 = 160;

/// k₂: the two-sided factor of a normal tolerance interval, mean and standard deviation both from n values.
///
/// # Source
/// ISO 16269-6; the double integral, not its approximation.
pub fn tolerance_factor(n: usize, coverage: f64, confidence: f64) -> Option<f64> {
    let within = |p: f64| p > 0.0 && p < 1.0;
    if n < 2 || !within(coverage) || !within(confidence) {
        return None;
    }
    let size = n as f64;
    // r(v): Φ(v + r) − Φ(v − r) is the coverage.
    let half_width = |v: f64| {
        let missed = |r: f64| {
            let (above, below) = (normal::upper_tail(v + r).unwrap_or(0.0), normal::cdf(v - r).unwrap_or(0.0));
            above + below
        };
        tail_point(missed, 1.0 - coverage, 0.0, v.abs() + 40.0)
    };
    let half_widths: Vec<f64> = (0..=REACH).map(|place| half_width(f64::from(place) * STEP / size.sqrt())).collect();
    let held = |k: f64| -> Option<f64> {
        let mut sum = 0.0;
        for (place, r) in half_widths.iter().enumerate() {
            let u = place as f64 * STEP;
            let tail = chi_squared::upper_tail((size - 1.0) * r * r / (k * k), size - 1.0)?;
            let weight = if place == 0 { 1.0 } else { 2.0 };
            sum += weight * normal::density(u)? * tail;
        }
        Some(sum * STEP)
    };
    held(1.0)?;
    let missed = |k: f64| 1.0 - held(k).unwrap_or(1.0);
    let mut high = 8.0;
    while missed(high) > 1.0 - confidence {
        high *= 2.0;
        if high > 1e6 {
            return None;
        }
    }
    Some(tail_point(missed, 1.0 - confidence, 1e-3, high))
}

/// The mass, in mg, at which the stated part of portions lies within the stated relative uncertainty.
///
/// # Source
/// J. Pauwels, C. Vandecasteele, Fresenius J. Anal. Chem. 345 (1993) 121-123 (formula from memory).
pub fn minimum_mass_mg(factor: f64, homogeneity_factor: f64, uncertainty_percent: f64) -> f64 {
    let ratio = factor * homogeneity_factor / uncertainty_percent;
    ratio * ratio
}

/// Portions are counted so far.
const MOST_PORTIONS: usize = 1_000_000;

/// How many portions bring the confidence interval of the mean to a half-width: by t, and by the normal law.
///
/// # Source
/// B. Kratochvil, J. K. Taylor, Anal. Chem. 53 (1981) 924A (use; from memory).
pub fn portions(rsd_percent: f64, target_percent: f64, confidence: f64) -> Option<(usize, usize)> {
    let ratio = rsd_percent / target_percent;
    if !(ratio.is_finite() && ratio > 0.0) {
        return None;
    }
    let upper = 0.5 * (1.0 - confidence);
    let z = normal::upper_quantile(upper)?;
    let by_normal = (z * ratio) * (z * ratio);
    if by_normal.is_nan() || by_normal >= MOST_PORTIONS as f64 {
        return None;
    }
    let by_normal = (by_normal.ceil() as usize).max(1);
    let enough = |n: usize| Some(student_t::upper_quantile(upper, n as f64 - 1.0)? * ratio <= (n as f64).sqrt());
    let mut n = by_normal.max(2);
    // t asks for a few more than the normal law; never fewer.
    while !enough(n)? {
        n += 1;
        if n > MOST_PORTIONS {
            return None;
        }
    }
    Some((n, by_normal))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 16269-6: 95 % of the population with 95 % confidence.
    #[test]
    fn tolerance_factors_are_those_of_the_table() {
        for (n, exact) in [(4, 6.3411), (10, 3.3934), (20, 2.760_346_178_446), (100, 2.2339)] {
            let found = tolerance_factor(n, 0.95, 0.95).unwrap();
            assert!((found - exact).abs() < 6e-5, "{n}: {found}");
        }
        assert_eq!(tolerance_factor(1, 0.95, 0.95), None);
        assert_eq!(tolerance_factor(5, 1.0, 0.95), None);
    }

    #[test]
    fn numbers_of_portions_that_never_end_are_not_given() {
        assert_eq!(portions(10.0, 5.0, 0.95), Some((18, 16)));
        assert_eq!(portions(1e9, 1.0, 0.95), None);
        assert_eq!(portions(10.0, 0.0, 0.95), None);
        assert_eq!(portions(10.0, 5.0, 1.0), None);
    }
}
