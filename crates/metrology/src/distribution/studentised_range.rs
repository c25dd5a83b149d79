//! The studentised range: the range of several means over an independent standard deviation.
//!
//! The law behind Tukey's comparison of many means and the range checks of replicates (ISO 5725-6).
//! [`cdf`] and [`upper_tail`] give probabilities, [`quantile`] and [`upper_quantile`] the points; infinite
//! degrees of freedom give the plain range of standard normal values.
//!
//! Domain: 2 to 1000 means, degrees of freedom from 1 to infinity.

use super::normal;
use super::quadrature::{Peaked, peaked};
use super::saddle::{SHAPES, excess_of_exp, gamma_peak};
use super::tails::{Tails, Wanted, solve_between};

/// The probability of a studentised range of at most `q`.
///
/// # Arguments
/// * `q`: 0 or above, finite.
/// * `n_means`: how many values the range is taken of, 2 to 1000.
/// * `dof`: degrees of freedom of the standard deviation, 1 or above; infinity where it is known.
///
/// # Source
/// H. O. Hartley, Biometrika 32 (1942) 334-348: k∫φ(z)(Φ(z) − Φ(z − w))^(k−1) dz, averaged over the law of s
/// (from memory). Checked by `tests/statistics/distribution.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::distribution::studentised_range;
/// let critical = studentised_range::quantile(0.95, 3, 10.0).expect("in the domain");
/// assert_eq!(format!("{critical:.2}"), "3.88");
/// ```
#[must_use]
pub fn cdf(q: f64, n_means: u32, dof: f64) -> Option<f64> {
    ((0.0..f64::INFINITY).contains(&q) && in_domain(n_means, dof)).then(|| tails(q, n_means, dof).lower)
}

/// The probability of a studentised range above `q`.
///
/// # Arguments
/// As [`cdf`].
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(q: f64, n_means: u32, dof: f64) -> Option<f64> {
    ((0.0..f64::INFINITY).contains(&q) && in_domain(n_means, dof)).then(|| tails(q, n_means, dof).upper)
}

/// The studentised range that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: from 0 to below 1.
/// * `n_means`, `dof`: as for [`cdf`].
///
/// # Source
/// Root of [`cdf`].
#[must_use]
pub fn quantile(p: f64, n_means: u32, dof: f64) -> Option<f64> {
    point(Wanted::Lower(p), n_means, dof)
}

/// The studentised range that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: above 0, however small, to 1.
/// * `n_means`, `dof`: as for [`cdf`].
///
/// # Source
/// Root of [`upper_tail`].
#[must_use]
pub fn upper_quantile(q: f64, n_means: u32, dof: f64) -> Option<f64> {
    point(Wanted::Upper(q), n_means, dof)
}

fn in_domain(n_means: u32, dof: f64) -> bool {
    (2..=1000).contains(&n_means) && dof >= 1.0
}

fn point(wanted: Wanted, n_means: u32, dof: f64) -> Option<f64> {
    if !in_domain(n_means, dof) {
        return None;
    }
    let wanted = match wanted.smaller()? {
        Wanted::Lower(0.0) => return Some(0.0),
        Wanted::Upper(0.0) => return None,
        smaller => smaller,
    };
    // On the logarithmic scale, which keeps the range above 0.
    let log = solve_between(wanted, libm::log(middle(n_means)), 0.3, |log| tails(libm::exp(log), n_means, dof))?;
    Some(libm::exp(log)).filter(|q| q.is_finite())
}

/// The range of normal scores, near the middle of the law of the plain range (G. Blom, 1958; from memory).
fn middle(n_means: u32) -> f64 {
    let k = f64::from(n_means);
    2.0 * normal::quantile((k - 0.375) / (k + 0.25)).expect("a score of two or more means lies between 0 and 1")
}

fn tails(q: f64, n_means: u32, dof: f64) -> Tails {
    if q == 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    let below = q < middle(n_means);
    let part = |w: f64| {
        if below { lower_of_range(w, n_means) } else { upper_of_range(w, n_means) }
    };
    let tail = if 0.5 * dof > *SHAPES.end() {
        part(q)
    } else {
        let a = 0.5 * dof;
        let at = |v: f64| libm::log(part(q * libm::exp(0.5 * v))) - a * excess_of_exp(v);
        // The law of the plain range has a standard deviation of 0.5 to 0.85; in v that is twice as much over the range.
        let finest = (1.0 / a.sqrt()).min(0.5).min(1.2 / middle(n_means));
        let rise = |v: f64| {
            let (before, after) = (at(v - 1.0e-3 * finest), at(v + 1.0e-3 * finest));
            if before.is_finite() || after.is_finite() {
                (after - before) / (2.0e-3 * finest)
            } else {
                // Underflown: the lower tail does so to the left of the peak, the upper one to the right.
                if below { 1.0 } else { -1.0 }
            }
        };
        gamma_peak(a) * peaked(&Peaked { finest, from: -60.0, to: 8.0 }, at, rise)
    };
    if below { Tails::from_lower(tail) } else { Tails::from_upper(tail) }
}

/// The step in z. The sharpest factor is the (k − 1)th power of a slice, never sharper than a Gaussian of width
/// 1/√k; the trapezoidal rule errs by exp(−2π²·(width/step)²), with room for the tails.
fn step(n_means: u32) -> f64 {
    (0.45 / f64::from(n_means).sqrt()).min(0.2)
}

/// The probability that the range of `n_means` standard normal values is at most `w`.
fn lower_of_range(w: f64, n_means: u32) -> f64 {
    let others = f64::from(n_means - 1);
    let (from, to) = (-9.0, 9.0 + 0.5 * w.min(18.0));
    let sum = sum_over(from, to, step(n_means), |z| normal::density_of(z) * libm::pow(slice(z, w), others));
    f64::from(n_means) * sum
}

/// The probability that the range of `n_means` standard normal values exceeds `w`.
fn upper_of_range(w: f64, n_means: u32) -> f64 {
    let others = f64::from(n_means - 1);
    let from = (0.5 * w - 9.0).max(-9.0);
    let to = (0.5 * w + 9.0).max(9.0);
    // Φ(z)^m − (Φ(z) − Φ(z − w))^m without the subtraction.
    let sum = sum_over(from, to, step(n_means), |z| {
        let whole = normal::lower_tail_of(z);
        let share = normal::lower_tail_of(z - w) / whole;
        let missing = if share >= 1.0 { 1.0 } else { -libm::expm1(others * libm::log1p(-share)) };
        normal::density_of(z) * libm::pow(whole, others) * missing
    });
    f64::from(n_means) * sum
}

/// Φ(z) − Φ(z − w), from the side that has the digits, and by its series about the middle for a thin slice.
fn slice(z: f64, w: f64) -> f64 {
    if w > 0.2 {
        let middle = z - 0.5 * w;
        return if middle > 0.0 {
            normal::lower_tail_of(w - z) - normal::lower_tail_of(-z)
        } else {
            normal::lower_tail_of(z) - normal::lower_tail_of(z - w)
        };
    }
    // φ(m)·w·Σ hⁿ·Heₙ(m)/(n + 1)! over even n, h = w/2.
    let (m, h) = (z - 0.5 * w, 0.5 * w);
    let (mut before, mut hermite) = (1.0, m);
    let (mut sum, mut term, mut n) = (1.0, h, 1.0);
    while n < 16.0 {
        // He(n + 1) = m·He(n) − n·He(n − 1).
        (before, hermite) = (hermite, m * hermite - n * before);
        n += 1.0;
        term *= h / n;
        if n % 2.0 == 0.0 {
            sum += term * hermite / (n + 1.0);
        }
    }
    normal::density_of(m) * w * sum.max(0.0)
}

/// The trapezoidal rule between points where `f` has vanished.
fn sum_over(from: f64, to: f64, step: f64, f: impl Fn(f64) -> f64) -> f64 {
    let n = ((to - from) / step).ceil();
    let mut sum = 0.0;
    let mut i = 0.0;
    while i <= n {
        sum += f(from + i * step);
        i += 1.0;
    }
    step * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for (q, k, dof) in
            [(-1.0, 3, 5.0), (f64::NAN, 3, 5.0), (1.0, 1, 5.0), (1.0, 1001, 5.0), (1.0, 3, 0.5), (1.0, 3, f64::NAN)]
        {
            assert_eq!((cdf(q, k, dof), upper_tail(q, k, dof)), (None, None));
        }
        assert_eq!(quantile(1.0, 3, 5.0), None);
        assert_eq!(quantile(0.0, 3, 5.0), Some(0.0));
        assert_eq!(upper_quantile(0.0, 3, 5.0), None);
        assert_eq!(quantile(0.5, 1, 5.0), None);
    }

    /// The range of two is √2 times the magnitude of a t.
    #[test]
    fn two_means_are_students_t() {
        for dof in [1.0, 4.5, 30.0, f64::INFINITY] {
            for q in [1.0e-3, 0.5, 2.0, 7.0, 60.0] {
                let t = super::super::student_t::upper_tail(q / 2.0_f64.sqrt(), dof).unwrap();
                let found = upper_tail(q, 2, dof).unwrap();
                assert!((found - 2.0 * t).abs() <= 4.0e-13 * found, "{q} {dof}: {found:e} {:e}", 2.0 * t);
            }
        }
    }

    #[test]
    fn the_quantile_gives_the_tail_back() {
        for (k, dof) in [(2, 1.0), (3, 10.0), (20, 60.0), (5, f64::INFINITY)] {
            for p in [1.0e-6, 0.05, 0.5, 0.95] {
                let q = quantile(p, k, dof).unwrap();
                assert!((cdf(q, k, dof).unwrap() / p - 1.0).abs() < 1.0e-12, "{k} {dof} {p}");
                let q = upper_quantile(1.0e-9, k, dof).unwrap();
                assert!((upper_tail(q, k, dof).unwrap() / 1.0e-9 - 1.0).abs() < 1.0e-12, "{k} {dof}");
            }
        }
    }

    #[test]
    fn it_rises_with_the_range_and_falls_with_the_number_of_means() {
        let mut before = 0.0;
        for i in 1..60 {
            let p = cdf(0.25 * f64::from(i), 4, 12.0).unwrap();
            assert!(p >= before && p > cdf(0.25 * f64::from(i), 5, 12.0).unwrap());
            before = p;
        }
    }
}
