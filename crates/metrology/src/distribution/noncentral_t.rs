//! The noncentral t distribution: t with a mean that is not zero.
//!
//! The law of (Z + δ)/√(χ²/ν): tolerance factors, and the error of the second kind behind a detection
//! limit with few blanks. [`cdf`] and [`upper_tail`] give probabilities, [`quantile`] and
//! [`upper_quantile`] the points.
//!
//! Domain: |δ| at most 1000, degrees of freedom from 1 to infinity.

use super::normal;
use super::quadrature::{Peaked, peaked};
use super::saddle::{SHAPES, excess_of_exp, gamma_peak};
use super::tails::{Tails, Wanted, solve_between};

/// The probability of a noncentral t of at most `t`.
///
/// # Arguments
/// * `t`: any finite number.
/// * `dof`: degrees of freedom, at least 1; infinity gives the normal law about δ.
/// * `delta`: noncentrality δ, from −1000 to 1000.
///
/// # Source
/// The mean of Φ(t·s − δ) over s = √(χ²/ν), ISO 3534-1:2006, 2.54 (from memory) read as an integral.
/// Checked by `tests/statistics/distribution.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::distribution::{noncentral_t, student_t};
/// let (one, other) = (noncentral_t::cdf(2.0, 9.0, 0.0), student_t::cdf(2.0, 9.0));
/// assert!((one.expect("in the domain") - other.expect("in the domain")).abs() < 1e-14);
/// ```
#[must_use]
pub fn cdf(t: f64, dof: f64, delta: f64) -> Option<f64> {
    (t.is_finite() && in_domain(dof, delta)).then(|| tails(t, dof, delta).lower)
}

/// The probability of a noncentral t above `t`.
///
/// # Arguments
/// As [`cdf`].
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(t: f64, dof: f64, delta: f64) -> Option<f64> {
    (t.is_finite() && in_domain(dof, delta)).then(|| tails(t, dof, delta).upper)
}

/// The noncentral t that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: above 0 and below 1.
/// * `dof`, `delta`: as for [`cdf`].
///
/// # Source
/// Root of [`cdf`].
#[must_use]
pub fn quantile(p: f64, dof: f64, delta: f64) -> Option<f64> {
    point(Wanted::Lower(p), dof, delta)
}

/// The noncentral t that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: above 0, however small, and below 1.
/// * `dof`, `delta`: as for [`cdf`].
///
/// # Source
/// Root of [`upper_tail`].
#[must_use]
pub fn upper_quantile(q: f64, dof: f64, delta: f64) -> Option<f64> {
    point(Wanted::Upper(q), dof, delta)
}

fn in_domain(dof: f64, delta: f64) -> bool {
    dof >= 1.0 && delta.abs() <= 1.0e3
}

fn point(wanted: Wanted, dof: f64, delta: f64) -> Option<f64> {
    if !in_domain(dof, delta) {
        return None;
    }
    let wanted = match wanted.smaller()? {
        Wanted::Lower(0.0) | Wanted::Upper(0.0) => return None,
        smaller => smaller,
    };
    let spread = 1.0 + delta.abs() / (2.0 * dof).sqrt();
    solve_between(wanted, delta, spread, |t| tails(t, dof, delta))
}

fn tails(t: f64, dof: f64, delta: f64) -> Tails {
    if 0.5 * dof > *SHAPES.end() {
        let (lower, upper) = (normal::lower_tail_of(t - delta), normal::lower_tail_of(delta - t));
        return Tails { lower, upper };
    }
    // Mirrored, −T has −δ. The smaller tail is integrated, the other one is what remains.
    if t < delta {
        Tails::from_lower(lower_tail(t, dof, delta))
    } else {
        Tails::from_upper(lower_tail(-t, dof, -delta))
    }
}

/// ∫ Φ(t·s − δ) over the law of s = e^{v/2}, v the logarithm of χ²/ν.
fn lower_tail(t: f64, dof: f64, delta: f64) -> f64 {
    let a = 0.5 * dof;
    let at = |v: f64| {
        let pull = t * libm::exp(0.5 * v);
        normal::log_lower_tail_of(pull - delta) - a * excess_of_exp(v)
    };
    let rise = |v: f64| {
        let pull = t * libm::exp(0.5 * v);
        0.5 * pull * normal::inverse_mills(pull - delta) - a * libm::expm1(v)
    };
    let shape = Peaked { finest: (1.0 / a.sqrt()).min(0.5).min(2.0 / (1.0 + delta.abs())), from: -3000.0, to: 60.0 };
    gamma_peak(a) * peaked(&shape, at, rise)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::student_t;
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for (t, dof, delta) in
            [(f64::NAN, 5.0, 1.0), (f64::INFINITY, 5.0, 1.0), (1.0, 0.5, 1.0), (1.0, 5.0, 2000.0), (1.0, 5.0, f64::NAN)]
        {
            assert_eq!((cdf(t, dof, delta), upper_tail(t, dof, delta)), (None, None));
        }
        for p in [0.0, 1.0, f64::NAN] {
            assert_eq!((quantile(p, 5.0, 1.0), upper_quantile(p, 5.0, 1.0)), (None, None));
        }
        assert_eq!(quantile(0.5, 0.5, 1.0), None);
    }

    #[test]
    fn infinite_degrees_of_freedom_are_the_shifted_normal_law() {
        assert_eq!(cdf(3.0, f64::INFINITY, 2.0), normal::cdf(1.0));
        let near = cdf(3.0, 1.0e12, 2.0).unwrap();
        assert!((near / normal::cdf(1.0).unwrap() - 1.0).abs() < 1.0e-11);
    }

    /// At t = 0 only the sign of the normal part counts.
    #[test]
    fn at_nought_it_is_the_normal_tail() {
        for (dof, delta) in [(1.0, 3.0), (7.5, -2.0), (300.0, 10.0)] {
            let (found, expected) = (cdf(0.0, dof, delta).unwrap(), normal::cdf(-delta).unwrap());
            assert!((found / expected - 1.0).abs() < 1.0e-13);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn without_noncentrality_it_is_students_t(t in -30.0_f64..30.0, dof in 1.0_f64..3.0e3) {
            let (one, other) = (cdf(t, dof, 0.0).unwrap(), student_t::cdf(t, dof).unwrap());
            prop_assert!((one / other - 1.0).abs() < 1.0e-12);
        }

        #[test]
        fn it_rises_with_t_and_falls_with_the_noncentrality(t in -10.0_f64..30.0, more in 0.0_f64..5.0, dof in 1.0_f64..200.0, delta in -5.0_f64..20.0) {
            let p = cdf(t, dof, delta).unwrap();
            prop_assert!(p <= cdf(t + more, dof, delta).unwrap() * (1.0 + 1.0e-12));
            prop_assert!(cdf(t, dof, delta + more).unwrap() <= p * (1.0 + 1.0e-12));
        }

        #[test]
        fn the_quantile_gives_the_tail_back(log_q in -20.0_f64..-0.31, dof in 1.0_f64..200.0, delta in -20.0_f64..20.0) {
            let q = libm::pow(10.0, log_q);
            let t = upper_quantile(q, dof, delta).unwrap();
            prop_assert!((upper_tail(t, dof, delta).unwrap() / q - 1.0).abs() < 1.0e-12);
            let t = quantile(q, dof, delta).unwrap();
            prop_assert!((cdf(t, dof, delta).unwrap() / q - 1.0).abs() < 1.0e-12);
        }
    }
}
