//! How much of a material a portion needs, and how many portions.

use darkline_metrology::distribution::{normal, student_t};

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

    #[test]
    fn numbers_of_portions_that_never_end_are_not_given() {
        assert_eq!(portions(10.0, 5.0, 0.95), Some((18, 16)));
        assert_eq!(portions(1e9, 1.0, 0.95), None);
        assert_eq!(portions(10.0, 0.0, 0.95), None);
        assert_eq!(portions(10.0, 5.0, 1.0), None);
    }
}
