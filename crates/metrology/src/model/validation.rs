//! Is the budget good enough? First order held against Monte Carlo, within the digits that are meant to count.
//!
//! [`numerical_tolerance`] says how large a difference those digits allow, [`Validation`] whether both ends of the
//! coverage interval keep within it.

use super::sample::Interval;
use crate::estimate::Expanded;
use crate::kind::Kind;

/// Half a unit of the last of the digits of a standard uncertainty that count, δ.
///
/// # Arguments
/// * `u`: standard uncertainty, above zero and finite.
/// * `digits`: how many of its significant digits count, one or two as a rule; at most 17.
///
/// `None` where an argument is outside its range, or δ below what `f64` can hold.
///
/// # Source
/// JCGM 101:2008, 7.9.2: u = c·10ˡ with an integer c of so many digits, δ = ½·10ˡ. Checked by
/// `tests/published/jcgm_101.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::model::numerical_tolerance;
/// assert_eq!(numerical_tolerance(0.00035, 2), Some(5e-6));
/// assert_eq!(numerical_tolerance(0.00035, 1), Some(5e-5));
/// ```
pub fn numerical_tolerance(u: f64, digits: u8) -> Option<f64> {
    let enough = u > 0.0 && u.is_finite() && (1..=17).contains(&digits);
    if !enough {
        return None;
    }
    // The decimal form rounds correctly, so that 0.0996 to two digits is 0.10, and its exponent is read from there.
    let written = format!("{u:.*e}", usize::from(digits) - 1);
    let exponent: i32 = written.split_once('e').and_then(|(_, exponent)| exponent.parse().ok())?;
    let place = exponent - (i32::from(digits) - 1);
    format!("5e{}", place - 1).parse().ok().filter(|delta| *delta > 0.0)
}

/// First order held against Monte Carlo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Validation {
    /// How far the lower ends of the coverage intervals lie apart, in the SI unit.
    pub d_low: f64,
    /// How far the upper ends lie apart.
    pub d_high: f64,
    /// How far they may.
    pub tolerance: f64,
}

impl Validation {
    /// Holds an estimate with its expanded uncertainty against the interval of a sample.
    ///
    /// # Arguments
    /// * `first_order`: value and half-width, with the coverage factor for the probability of the interval.
    /// * `monte_carlo`: the interval of that probability, shortest or symmetric.
    /// * `tolerance`: from [`numerical_tolerance`], in the SI unit.
    ///
    /// # Source
    /// JCGM 101:2008, 8.1.3.
    pub fn of<K: Kind>(first_order: Expanded<K>, monte_carlo: Interval<K>, tolerance: f64) -> Self {
        let (y, expanded_u) = (first_order.value.si(), first_order.expanded_u.si());
        Self {
            d_low: (y - expanded_u - monte_carlo.low.si()).abs(),
            d_high: (y + expanded_u - monte_carlo.high.si()).abs(),
            tolerance,
        }
    }

    /// Whether first order may be used here.
    pub fn holds(&self) -> bool {
        self.d_low <= self.tolerance && self.d_high <= self.tolerance
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_digit_gained_in_rounding_counts() {
        assert_eq!(numerical_tolerance(0.0994, 2), Some(5e-4));
        assert_eq!(numerical_tolerance(0.0996, 2), Some(5e-3));
        assert_eq!(numerical_tolerance(9.96, 1), Some(5.0));
    }

    #[test]
    fn what_has_no_digits_has_no_tolerance() {
        for u in [0.0, -1.0, f64::NAN, f64::INFINITY, 5e-324] {
            assert_eq!(numerical_tolerance(u, 2), None, "{u}");
        }
        assert_eq!(numerical_tolerance(1.0, 0), None);
        assert_eq!(numerical_tolerance(1.0, 18), None);
    }

    proptest! {
        #[test]
        fn the_tolerance_is_half_a_unit_of_the_last_digit(u in 1e-300..1e300_f64, digits in 1_u8..4) {
            let delta = numerical_tolerance(u, digits).unwrap();
            let c = u / (2.0 * delta);
            let (least, beyond) = ([1.0, 10.0, 100.0][usize::from(digits) - 1], [10.0, 100.0, 1000.0][usize::from(digits) - 1]);
            prop_assert!(c >= least * 0.95 && c < beyond, "{c}");
        }
    }
}
