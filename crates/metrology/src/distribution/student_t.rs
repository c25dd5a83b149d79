//! Student's t distribution, for real-valued degrees of freedom, infinity included.
//!
//! [`cdf`] and [`upper_tail`] give probabilities, [`quantile`] and [`upper_quantile`] the points;
//! [`coverage_factor`] is the `k` of an expanded uncertainty.
//!
//! Invariant: antisymmetric, `quantile(p) = −upper_quantile(p)`; infinite degrees of freedom give the
//! normal law's own digits.

use super::beta::{f_ratio, place_of_f, tails};
use super::normal;
use super::saddle::SHAPES;
use super::tails::Wanted;

/// The probability of a t of at most `t`.
///
/// # Arguments
/// * `t`: any number, infinities included.
/// * `dof`: degrees of freedom, from 2·10⁻⁶, integral or not; infinity gives the normal law.
///
/// # Source
/// T² follows F with 1 and ν degrees of freedom; M. Abramowitz, I. A. Stegun, Handbook of Mathematical
/// Functions (1964), 26.7.1 (from memory). Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn cdf(t: f64, dof: f64) -> Option<f64> {
    upper_tail(-t, dof)
}

/// The probability of a t above `t`.
///
/// # Arguments
/// As [`cdf`].
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(t: f64, dof: f64) -> Option<f64> {
    let inside = !t.is_nan() && 0.5 * dof >= *SHAPES.start();
    if !inside {
        return None;
    }
    Some(if counts_as_infinite(dof) {
        normal::lower_tail_of(-t)
    } else if t == 0.0 {
        0.5
    } else {
        let beyond = 0.5 * beyond_either_way(t.abs(), dof);
        if t > 0.0 { beyond } else { 1.0 - beyond }
    })
}

/// The t that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: above 0 and below 1.
/// * `dof`: as for [`cdf`].
///
/// # Source
/// Root of [`cdf`].
///
/// # Example
/// ```
/// use darkline_metrology::distribution::student_t;
/// let t = student_t::quantile(0.99, 6.0).expect("0.99 lies between 0 and 1");
/// assert_eq!(format!("{t:.3}"), "3.143");
/// ```
#[must_use]
pub fn quantile(p: f64, dof: f64) -> Option<f64> {
    upper_quantile(p, dof).map(|t| -t)
}

/// The t that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: above 0, however small, and below 1.
/// * `dof`: as for [`cdf`].
///
/// # Source
/// Root of [`upper_tail`].
#[must_use]
pub fn upper_quantile(q: f64, dof: f64) -> Option<f64> {
    if !(q > 0.0 && q < 1.0 && 0.5 * dof >= *SHAPES.start()) {
        return None;
    }
    if counts_as_infinite(dof) {
        return normal::upper_quantile(q);
    }
    if q == 0.5 {
        return Some(0.0);
    }
    // 1 − q is exact from ½ on.
    let (small, sign) = if q < 0.5 { (q, 1.0) } else { (1.0 - q, -1.0) };
    // Near the middle the probability between −t and t has the digits, further out the one beyond.
    let wanted = if small > 0.25 { Wanted::Lower(1.0 - 2.0 * small) } else { Wanted::Upper(2.0 * small) };
    let t = f_ratio(0.5, 0.5 * dof, wanted).sqrt();
    t.is_finite().then_some(sign * t)
}

/// The coverage factor k of an interval with the probability `level`, symmetric about the estimate.
///
/// # Arguments
/// * `level`: coverage probability, above 0 and below 1, such as 0.95.
/// * `dof`: effective degrees of freedom, from 2·10⁻⁶; infinity gives the normal law's factor.
///
/// # Source
/// JCGM 100:2008 (GUM), G.3.2 and Table G.2.
///
/// # Example
/// ```
/// use darkline_metrology::distribution::student_t;
/// let k = student_t::coverage_factor(0.95, 19.0).expect("0.95 lies between 0 and 1");
/// assert_eq!(format!("{k:.2}"), "2.09");
/// ```
#[must_use]
pub fn coverage_factor(level: f64, dof: f64) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    // 1 − level is exact from ½ on; below, the digits lost are below the level's own.
    upper_quantile(0.5 * (1.0 - level), dof)
}

/// Above 2·10²⁰ degrees of freedom no digit of a probability tells the law from the normal one.
fn counts_as_infinite(dof: f64) -> bool {
    0.5 * dof > *SHAPES.end()
}

/// The probability of |T| > t, for t > 0 and finite degrees of freedom.
fn beyond_either_way(t: f64, dof: f64) -> f64 {
    let square = t * t;
    if square < f64::MIN_POSITIVE {
        // The density at 0 times a t below 10⁻¹⁵⁴ is nothing beside 1.
        return 1.0;
    }
    if square == f64::INFINITY {
        return far_beyond(t, dof);
    }
    tails(&place_of_f(0.5, 0.5 * dof, square)).upper
}

/// The first term of the tail's series, all there is once t² leaves the range of `f64`.
fn far_beyond(t: f64, dof: f64) -> f64 {
    if t == f64::INFINITY {
        return 0.0;
    }
    let half = 0.5 * dof;
    let log_beta = libm::lgamma(0.5) + libm::lgamma(half) - libm::lgamma(half + 0.5);
    libm::exp(half * libm::log(dof) - dof * libm::log(t) - libm::log(half) - log_beta)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for dof in [0.0, -1.0, 1.0e-7, f64::NAN] {
            assert_eq!((cdf(1.0, dof), upper_tail(1.0, dof), quantile(0.9, dof)), (None, None, None));
        }
        assert_eq!(cdf(f64::NAN, 5.0), None);
        for p in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!((quantile(p, 5.0), coverage_factor(p, 5.0)), (None, None));
        }
        // The point lies beyond the largest number.
        assert_eq!(quantile(1.0e-300, 0.5), None);
    }

    #[test]
    fn infinite_degrees_of_freedom_have_the_normal_digits() {
        for x in [-3.0, 0.0, 1.96] {
            assert_eq!(cdf(x, f64::INFINITY), normal::cdf(x));
            assert_eq!(cdf(x, 1.0e21), normal::cdf(x));
        }
        assert_eq!(quantile(0.975, f64::INFINITY), normal::quantile(0.975));
    }

    /// One degree of freedom is Cauchy's law, two have a closed form.
    #[test]
    fn one_and_two_degrees_of_freedom_have_closed_forms() {
        for t in [1.0e-3_f64, 0.7, 3.0, 1.0e5] {
            let cauchy = libm::atan(1.0 / t) / std::f64::consts::PI;
            assert!((upper_tail(t, 1.0).unwrap() / cauchy - 1.0).abs() < 1.0e-14);
            let root = (2.0 + t * t).sqrt();
            let two = 1.0 / (root * (root + t));
            assert!((upper_tail(t, 2.0).unwrap() / two - 1.0).abs() < 1.0e-14);
        }
    }

    #[test]
    fn t_far_beyond_the_square_of_the_range_still_has_a_tail() {
        let p = upper_tail(1.0e200, 0.5).unwrap();
        assert!(p > 0.0 && p < upper_tail(1.0e150, 0.5).unwrap());
        assert_eq!(upper_tail(f64::INFINITY, 3.0), Some(0.0));
        assert_eq!(cdf(f64::INFINITY, 3.0), Some(1.0));
        assert_eq!(upper_tail(1.0e-200, 3.0), Some(0.5));
    }

    proptest! {
        #[test]
        fn the_quantile_gives_the_tail_back(log_dof in -0.5_f64..9.0, log_q in -30.0_f64..-0.31) {
            let (dof, q) = (libm::pow(10.0, log_dof), libm::pow(10.0, log_q));
            if let Some(t) = upper_quantile(q, dof) {
                prop_assert!((upper_tail(t, dof).unwrap() / q - 1.0).abs() < 1.0e-12);
            }
        }

        #[test]
        fn quantiles_mirror_and_rise(dof in 0.5_f64..1.0e4, p in 1.0e-6_f64..0.5, more in 0.0_f64..0.4) {
            prop_assert_eq!(quantile(p, dof).unwrap(), -upper_quantile(p, dof).unwrap());
            prop_assert!(quantile(p, dof).unwrap() <= quantile(p + more, dof).unwrap() + 1.0e-13);
        }

        #[test]
        fn more_degrees_of_freedom_make_a_smaller_coverage_factor(level in 0.01_f64..0.999, dof in 0.5_f64..1.0e6, times in 1.001_f64..100.0) {
            let k = |dof| coverage_factor(level, dof).unwrap();
            prop_assert!(k(dof * times) <= k(dof) * (1.0 + 1.0e-13));
            prop_assert!(k(f64::INFINITY) <= k(dof) * (1.0 + 1.0e-13));
        }
    }
}
