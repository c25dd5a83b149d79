//! The chi-squared distribution, for real-valued degrees of freedom.
//!
//! The law of `ν·s²/σ²`: confidence limits of a standard deviation, pooled variances, Algorithm S.
//! [`cdf`] and [`upper_tail`] give probabilities, [`quantile`] and [`upper_quantile`] the points.

use super::gamma;

/// The probability of a chi-squared quantity of at most `x`.
///
/// # Arguments
/// * `x`: 0 or above.
/// * `dof`: degrees of freedom, from 2·10⁻⁶ to 2·10²⁰, integral or not.
///
/// # Source
/// P(ν/2, x/2), M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), 26.4.19
/// (from memory). Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn cdf(x: f64, dof: f64) -> Option<f64> {
    gamma::regularised_p(0.5 * dof, 0.5 * x)
}

/// The probability of a chi-squared quantity above `x`.
///
/// # Arguments
/// As [`cdf`].
///
/// # Source
/// As [`cdf`].
#[must_use]
pub fn upper_tail(x: f64, dof: f64) -> Option<f64> {
    gamma::regularised_q(0.5 * dof, 0.5 * x)
}

/// The point that is not exceeded with probability `p`.
///
/// # Arguments
/// * `p`: from 0 to below 1.
/// * `dof`: degrees of freedom, from 2·10⁻⁶ to 2·10²⁰, integral or not.
///
/// # Source
/// As [`gamma::inverse_p`].
///
/// # Example
/// ```
/// use darkline_metrology::distribution::chi_squared;
/// let limit = chi_squared::quantile(0.95, 4.0).expect("0.95 lies between 0 and 1");
/// assert_eq!(format!("{limit:.3}"), "9.488");
/// ```
#[must_use]
pub fn quantile(p: f64, dof: f64) -> Option<f64> {
    gamma::inverse_p(0.5 * dof, p).map(|half| 2.0 * half)
}

/// The point that is exceeded with probability `q`.
///
/// # Arguments
/// * `q`: above 0, however small, to 1.
/// * `dof`: degrees of freedom, from 2·10⁻⁶ to 2·10²⁰, integral or not.
///
/// # Source
/// As [`gamma::inverse_q`].
#[must_use]
pub fn upper_quantile(q: f64, dof: f64) -> Option<f64> {
    gamma::inverse_q(0.5 * dof, q).map(|half| 2.0 * half)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for dof in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(
                (cdf(1.0, dof), upper_tail(1.0, dof), quantile(0.5, dof), upper_quantile(0.5, dof)),
                (None, None, None, None)
            );
        }
        assert_eq!(cdf(-1.0, 3.0), None);
        assert_eq!(quantile(1.0, 3.0), None);
        assert_eq!((quantile(0.0, 3.0), upper_quantile(1.0, 3.0)), (Some(0.0), Some(0.0)));
    }

    #[test]
    fn two_degrees_of_freedom_are_the_exponential_law() {
        for q in [1.0e-300, 1.0e-12, 0.3, 0.999] {
            let found = upper_quantile(q, 2.0).unwrap();
            assert!((found / (-2.0 * libm::log(q)) - 1.0).abs() < 1.0e-13);
        }
    }

    proptest! {
        #[test]
        fn quantiles_rise_and_tails_add_up(dof in 0.2_f64..5.0e3, p in 1.0e-6_f64..0.5, more in 0.0_f64..0.49) {
            let (x, y) = (quantile(p, dof).unwrap(), quantile(p + more, dof).unwrap());
            prop_assert!(x <= y * (1.0 + 1.0e-12));
            prop_assert!((cdf(y, dof).unwrap() + upper_tail(y, dof).unwrap() - 1.0).abs() < 1.0e-15);
        }
    }
}
