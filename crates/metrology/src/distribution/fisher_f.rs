//! Fisher's F distribution, for real-valued degrees of freedom, infinity included.
//!
//! The law of the ratio of two variances of equal expectation. [`cdf`] and [`upper_tail`] give
//! probabilities, [`quantile`] and [`upper_quantile`] the points.

use super::beta::{f_ratio, place_of_f, tails};
use super::gamma;
use super::saddle::SHAPES;
use super::tails::{Tails, Wanted};

/// The probability of a variance ratio of at most `f`.
///
/// # Arguments
/// * `f`: 0 or above.
/// * `dof_over`, `dof_under`: degrees of freedom of numerator and denominator, from 2·10⁻⁶; one of
///   them may be infinite (the variance is then known).
///
/// # Source
/// I_x(ν₁/2, ν₂/2) with x = ν₁F/(ν₁F + ν₂), M. Abramowitz, I. A. Stegun, Handbook of Mathematical
/// Functions (1964), 26.6.2 (from memory). Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn cdf(f: f64, dof_over: f64, dof_under: f64) -> Option<f64> {
    both(f, dof_over, dof_under).map(|t| t.lower)
}

/// The probability of a variance ratio above `f`.
///
/// # Arguments
/// As [`cdf`].
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(f: f64, dof_over: f64, dof_under: f64) -> Option<f64> {
    both(f, dof_over, dof_under).map(|t| t.upper)
}

/// The variance ratio that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: from 0 to below 1.
/// * `dof_over`, `dof_under`: as for [`cdf`].
///
/// # Source
/// Root of [`cdf`].
///
/// # Example
/// ```
/// use darkline_metrology::distribution::fisher_f;
/// let critical = fisher_f::quantile(0.95, 9.0, 40.0).expect("0.95 lies between 0 and 1");
/// assert_eq!(format!("{critical:.2}"), "2.12");
/// ```
#[must_use]
pub fn quantile(p: f64, dof_over: f64, dof_under: f64) -> Option<f64> {
    point(Wanted::Lower(p), dof_over, dof_under)
}

/// The variance ratio that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: above 0, however small, to 1.
/// * `dof_over`, `dof_under`: as for [`cdf`].
///
/// # Source
/// Root of [`upper_tail`].
#[must_use]
pub fn upper_quantile(q: f64, dof_over: f64, dof_under: f64) -> Option<f64> {
    point(Wanted::Upper(q), dof_over, dof_under)
}

/// Half the degrees of freedom, if the two make an F law. Above 2·10²⁰ they count as infinite: no digit of a
/// probability tells the difference.
fn halves(dof_over: f64, dof_under: f64) -> Option<(f64, f64)> {
    let half = |dof: f64| if 0.5 * dof > *SHAPES.end() { f64::INFINITY } else { 0.5 * dof };
    let (a, b) = (half(dof_over), half(dof_under));
    let inside = a >= *SHAPES.start() && b >= *SHAPES.start() && (a.is_finite() || b.is_finite());
    inside.then_some((a, b))
}

fn both(f: f64, dof_over: f64, dof_under: f64) -> Option<Tails> {
    let (a, b) = halves(dof_over, dof_under)?;
    if f.is_nan() || f < 0.0 {
        return None;
    }
    Some(if f == 0.0 {
        Tails { lower: 0.0, upper: 1.0 }
    } else if f == f64::INFINITY {
        Tails { lower: 1.0, upper: 0.0 }
    } else if b == f64::INFINITY {
        gamma::tails(a, a * f)
    } else if a == f64::INFINITY {
        gamma::tails(b, b / f).swapped()
    } else {
        tails(&place_of_f(a, b, f))
    })
}

fn point(wanted: Wanted, dof_over: f64, dof_under: f64) -> Option<f64> {
    let (a, b) = halves(dof_over, dof_under)?;
    let f = match wanted.smaller()? {
        Wanted::Lower(0.0) => 0.0,
        Wanted::Upper(0.0) => return None,
        smaller if b == f64::INFINITY => match smaller {
            Wanted::Lower(p) => gamma::inverse_p(a, p)? / a,
            Wanted::Upper(q) => gamma::inverse_q(a, q)? / a,
        },
        smaller if a == f64::INFINITY => match smaller {
            Wanted::Lower(p) => b / gamma::inverse_q(b, p)?,
            Wanted::Upper(q) => b / gamma::inverse_p(b, q)?,
        },
        smaller => f_ratio(a, b, smaller),
    };
    f.is_finite().then_some(f)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distribution::{chi_squared, student_t};
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for (over, under) in
            [(0.0, 1.0), (1.0, -1.0), (f64::NAN, 1.0), (f64::INFINITY, f64::INFINITY), (1.0e30, 1.0e30)]
        {
            assert_eq!(
                (cdf(1.0, over, under), upper_tail(1.0, over, under), quantile(0.5, over, under)),
                (None, None, None)
            );
        }
        assert_eq!(cdf(-1.0, 3.0, 4.0), None);
        assert_eq!(cdf(f64::NAN, 3.0, 4.0), None);
        assert_eq!((quantile(1.0, 3.0, 4.0), upper_quantile(0.0, 3.0, 4.0)), (None, None));
        assert_eq!((quantile(0.0, 3.0, 4.0), upper_quantile(1.0, 3.0, 4.0)), (Some(0.0), Some(0.0)));
        assert_eq!((cdf(0.0, 3.0, 4.0), cdf(f64::INFINITY, 3.0, 4.0)), (Some(0.0), Some(1.0)));
    }

    #[test]
    fn a_known_variance_below_makes_it_chi_squared() {
        for p in [1.0e-9, 0.05, 0.95] {
            let (f, chi) = (quantile(p, 7.0, f64::INFINITY).unwrap(), chi_squared::quantile(p, 7.0).unwrap() / 7.0);
            assert!((f / chi - 1.0).abs() < 1.0e-14);
            let (f, chi) =
                (upper_quantile(p, f64::INFINITY, 7.0).unwrap(), 7.0 / chi_squared::quantile(p, 7.0).unwrap());
            assert!((f / chi - 1.0).abs() < 1.0e-14);
        }
        let near = cdf(1.3, 7.0, 1.0e12).unwrap();
        assert!((near / cdf(1.3, 7.0, f64::INFINITY).unwrap() - 1.0).abs() < 1.0e-10);
    }

    proptest! {
        #[test]
        fn the_square_of_a_t_is_an_f(t in 0.01_f64..35.0, dof in 0.5_f64..1.0e5) {
            let (f, tail) = (upper_tail(t * t, 1.0, dof).unwrap(), 2.0 * student_t::upper_tail(t, dof).unwrap());
            prop_assert!((f / tail - 1.0).abs() < 1.0e-13);
        }

        #[test]
        fn turned_over_it_is_the_other_law(f in 1.0e-3_f64..1.0e3, over in 0.5_f64..2.0e3, under in 0.5_f64..2.0e3) {
            let (one, other) = (cdf(f, over, under).unwrap(), upper_tail(1.0 / f, under, over).unwrap());
            // 1/f is rounded; far out that is worth its depth.
            prop_assert!((one - other).abs() <= 1.0e-12 * (one + 1.0e-290));
        }

        #[test]
        fn the_quantile_gives_the_probability_back(p in 1.0e-9_f64..0.999, over in 0.5_f64..2.0e4, under in 0.5_f64..2.0e4) {
            let f = quantile(p, over, under).unwrap();
            prop_assert!((cdf(f, over, under).unwrap() / p - 1.0).abs() < 1.0e-12);
        }
    }
}
