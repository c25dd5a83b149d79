//! The gamma function's logarithm, and the regularised incomplete gamma functions with their inverses.
//!
//! [`regularised_p`] is the probability that a gamma-distributed quantity of shape `a` and scale 1 stays
//! at or below `x`, [`regularised_q`] that it exceeds `x`; [`inverse_p`] and [`inverse_q`] find `x`;
//! [`density`] is the density. Chi-squared and Poisson probabilities are these functions in other words.
//!
//! Domain: shapes from 10⁻⁶ to 10²⁰. For shapes below 10⁻³ the smaller tail of the two that is not worked
//! out directly keeps only the digits that `1 −` the other leaves.

use super::quadrature::decaying;
use super::saddle::{SHAPES, excess_of_exp, gamma_slope};
use super::tails::{Local, Tails, Wanted, solve};

/// From this shape on the tails near the mean are integrated, which costs the same for any shape;
/// series and fraction need terms in proportion to √a there.
const LARGE_SHAPE: f64 = 1500.0;

/// The natural logarithm of Γ(x).
///
/// # Arguments
/// * `x`: above 0 and finite; `None` otherwise, and where the logarithm exceeds the `f64` range.
///
/// # Source
/// `libm::lgamma` (rational approximations about the zeros at 1 and 2, Stirling's series beyond 8).
/// Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn log_gamma(x: f64) -> Option<f64> {
    if !(x > 0.0 && x < f64::INFINITY) {
        return None;
    }
    Some(libm::lgamma(x)).filter(|l| l.is_finite())
}

/// P(a, x): the probability that a gamma-distributed quantity of shape `a` and scale 1 is at most `x`.
///
/// # Arguments
/// * `a`: shape, from 10⁻⁶ to 10²⁰.
/// * `x`: 0 or above, infinity included.
///
/// # Source
/// M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), 6.5.1 and 6.5.29 (series),
/// 6.5.31 (continued fraction) (from memory). Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn regularised_p(a: f64, x: f64) -> Option<f64> {
    in_domain(a, x).then(|| tails(a, x).lower)
}

/// Q(a, x) = 1 − P(a, x), accurate where P is close to 1.
///
/// # Arguments
/// As [`regularised_p`].
///
/// # Source
/// As [`regularised_p`].
#[must_use]
pub fn regularised_q(a: f64, x: f64) -> Option<f64> {
    in_domain(a, x).then(|| tails(a, x).upper)
}

/// The `x` with P(a, x) = `p`.
///
/// # Arguments
/// * `a`: shape, from 10⁻⁶ to 10²⁰.
/// * `p`: from 0 (where `x` is 0) to below 1.
///
/// A quantile below the smallest `f64` is given as 0.
///
/// # Source
/// Root of [`regularised_p`]; first guess by E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684.
#[must_use]
pub fn inverse_p(a: f64, p: f64) -> Option<f64> {
    inverse(a, Wanted::Lower(p))
}

/// The `x` with Q(a, x) = `q`.
///
/// # Arguments
/// * `a`: shape, from 10⁻⁶ to 10²⁰.
/// * `q`: above 0, however small, to 1 (where `x` is 0).
///
/// # Source
/// As [`inverse_p`].
#[must_use]
pub fn inverse_q(a: f64, q: f64) -> Option<f64> {
    inverse(a, Wanted::Upper(q))
}

/// The density of the gamma distribution of shape `a` and scale 1 at `x`.
///
/// # Arguments
/// * `a`: shape, from 10⁻⁶ to 10²⁰.
/// * `x`: above 0; `None` at 0, and where the density near 0 exceeds the `f64` range.
///
/// # Source
/// Definition; ISO 3534-1:2006, 2.56 (from memory).
#[must_use]
pub fn density(a: f64, x: f64) -> Option<f64> {
    (in_domain(a, x) && x > 0.0).then(|| gamma_slope(a, x) / x).filter(|f| f.is_finite())
}

fn in_domain(a: f64, x: f64) -> bool {
    SHAPES.contains(&a) && x >= 0.0
}

/// Both tails, for a > 0 and x ≥ 0.
pub(crate) fn tails(a: f64, x: f64) -> Tails {
    if x == 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    let slope = gamma_slope(a, x);
    tails_with(a, x, slope)
}

fn tails_with(a: f64, x: f64, slope: f64) -> Tails {
    if slope == 0.0 {
        return if x < a { Tails { lower: 0.0, upper: 1.0 } } else { Tails { lower: 1.0, upper: 0.0 } };
    }
    let near_mean = a >= LARGE_SHAPE && (x - a).abs() < 0.5 * a;
    if x < a || (a < 1.0 && x < 1.5) {
        Tails::from_lower(if near_mean {
            // t = x·e⁻ˢ: the exponent is (a − x)s + x(e⁻ˢ − 1 + s).
            slope * decaying(a - x, x, |s| (a - x) * s + x * excess_of_exp(-s))
        } else {
            slope * series(a, x)
        })
    } else {
        Tails::from_upper(if near_mean {
            slope * decaying(x - a, x, |s| (x - a) * s + x * excess_of_exp(s))
        } else {
            slope * fraction(a, x)
        })
    }
}

/// P(a, x)·Γ(a)/(xᵃe⁻ˣ) = 1/a + x/(a(a+1)) + …; all terms positive.
fn series(a: f64, x: f64) -> f64 {
    let mut term = 1.0 / a;
    let mut sum = term;
    let mut n = a;
    loop {
        n += 1.0;
        term *= x / n;
        sum += term;
        // Beyond the largest term the rest is below term·x/(n − x).
        if term <= sum * 1.0e-17 {
            return sum;
        }
    }
}

/// Q(a, x)·Γ(a)/(xᵃe⁻ˣ) by the even part of the continued fraction, Lentz's way.
fn fraction(a: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - a;
    let mut d = 1.0 / b;
    let mut c = f64::INFINITY;
    let mut value = d;
    let mut i = 1.0;
    loop {
        let over = i * (a - i);
        b += 2.0;
        d = 1.0 / (over * d + b);
        c = b + over / c;
        let factor = c * d;
        value *= factor;
        if (factor - 1.0).abs() <= 1.0e-15 || i > 100_000.0 {
            return value;
        }
        i += 1.0;
    }
}

fn inverse(a: f64, wanted: Wanted) -> Option<f64> {
    if !SHAPES.contains(&a) {
        return None;
    }
    match wanted.smaller()? {
        // Asked as an upper tail of 0, the point is infinite; as a lower tail of 0 it is 0.
        Wanted::Lower(0.0) => Some(0.0),
        Wanted::Upper(0.0) => None,
        smaller => Some(point(a, smaller)),
    }
}

/// The point for a tail strictly between 0 and ½.
fn point(a: f64, wanted: Wanted) -> f64 {
    let z = match wanted {
        Wanted::Lower(p) => -super::normal::upper_quantile(p).expect("the tail lies between 0 and 1"),
        Wanted::Upper(q) => super::normal::upper_quantile(q).expect("the tail lies between 0 and 1"),
    };
    let start = first_guess(a, wanted, z);
    if start < f64::MIN_POSITIVE {
        return 0.0;
    }
    solve(wanted, start, |x| {
        let slope = gamma_slope(a, x);
        Local { tails: tails_with(a, x, slope), slope, bend: a - x }
    })
}

fn first_guess(a: f64, wanted: Wanted, z: f64) -> f64 {
    // Wilson and Hilferty: the cube root of x/a is nearly normal.
    let ninth = 1.0 / (9.0 * a);
    let root = 1.0 - ninth + z * ninth.sqrt();
    let cubic = a * root * root * root;
    match wanted {
        // Near 0 the first term of the series is all there is: P = xᵃ/Γ(a + 1).
        Wanted::Lower(p) if a < 1.0 || root < 0.3 => {
            let log_x = (libm::log(p) + libm::lgamma(a + 1.0)) / a;
            // One term further: P = xᵃ/Γ(a+1)·(1 − a·x/(a+1)).
            let x = libm::exp(log_x);
            if x < 1.0 + a { x * (1.0 + x / (a + 1.0)) } else { cubic.max(x.min(a)) }
        }
        Wanted::Upper(q) if a < 1.0 || z > 6.0 => {
            // Far out ln Q ≈ (a − 1) ln x − x − ln Γ(a), which gives x back from itself.
            let log = -libm::log(q) - libm::lgamma(a);
            let mut x = cubic.max(log).max(0.3 * a);
            if x > 2.0 * a + 1.0 {
                for _ in 0..3 {
                    x = (log + (a - 1.0) * libm::log(x)).max(a).max(0.5);
                }
            }
            x
        }
        _ => cubic.max(a * 1.0e-3),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for (a, x) in [(0.0, 1.0), (-1.0, 1.0), (f64::NAN, 1.0), (f64::INFINITY, 1.0), (1.0, -1.0), (1.0, f64::NAN)] {
            assert_eq!(regularised_p(a, x), None);
            assert_eq!(regularised_q(a, x), None);
        }
        assert_eq!(log_gamma(0.0), None);
        assert_eq!(log_gamma(f64::INFINITY), None);
        assert_eq!(inverse_p(1.0, 1.0), None);
        assert_eq!(inverse_q(1.0, 0.0), None);
        assert_eq!(inverse_p(1.0, -0.1), None);
        assert_eq!(inverse_p(1.0, f64::NAN), None);
    }

    #[test]
    fn the_ends_are_exact() {
        assert_eq!(regularised_p(2.0, 0.0), Some(0.0));
        assert_eq!(regularised_q(2.0, 0.0), Some(1.0));
        assert_eq!(regularised_p(2.0, f64::INFINITY), Some(1.0));
        assert_eq!(regularised_q(2.0, f64::INFINITY), Some(0.0));
        assert_eq!(inverse_p(2.0, 0.0), Some(0.0));
        assert_eq!(inverse_q(2.0, 1.0), Some(0.0));
    }

    #[test]
    fn a_quantile_below_the_smallest_number_is_nought() {
        assert_eq!(inverse_p(0.001, 1.0e-10), Some(0.0));
    }

    #[test]
    fn shape_one_is_the_exponential_law() {
        for x in [1.0e-9, 0.1, 1.0, 5.0, 300.0] {
            let q = regularised_q(1.0, x).unwrap();
            assert!((q / libm::exp(-x) - 1.0).abs() < 1.0e-14);
        }
    }

    proptest! {
        #[test]
        fn p_rises_with_x(log_a in -2.0_f64..8.0, u in 0.001_f64..3.0, more in 0.0_f64..1.0) {
            let a = libm::pow(10.0, log_a);
            let x = a * u;
            let (one, other) = (regularised_p(a, x).unwrap(), regularised_p(a, x * (1.0 + more)).unwrap());
            prop_assert!(one <= other * (1.0 + 1.0e-13));
        }

        #[test]
        fn the_inverse_gives_the_tail_back(log_a in -1.0_f64..7.0, log_p in -280.0_f64..-0.31) {
            let a = libm::pow(10.0, log_a);
            let p = libm::pow(10.0, log_p);
            let x = inverse_p(a, p).unwrap();
            if x > 1.0e-300 {
                // An error of one unit in x is worth a·ε or more in the tail far out.
                let worth = 1.0 + (a - x).abs();
                prop_assert!((regularised_p(a, x).unwrap() / p - 1.0).abs() < 1.0e-12 + 4.0e-16 * worth);
            }
            let x = inverse_q(a, p).unwrap();
            let worth = 1.0 + (a - x).abs();
            prop_assert!((regularised_q(a, x).unwrap() / p - 1.0).abs() < 1.0e-12 + 4.0e-16 * worth);
        }
    }
}
