//! A pulse cut by the end of the read: how much of its area is missing.

use serde::{Deserialize, Serialize};

use crate::lanes::sum_of;

/// The exponential a pulse ends with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tail {
    /// Absorbance at the last value, on the exponential.
    pub end: f64,
    /// Time constant of the decay, in seconds.
    pub decay_s: f64,
}

impl Tail {
    /// Lays an exponential through the end of a pulse.
    ///
    /// Least squares of the logarithms, each weighted by the square of its value: equal noise of the values
    /// counts as such.
    ///
    /// # Arguments
    /// * `values`: the falling part of a pulse, offset taken off, evenly spaced; values not above zero are
    ///   left out.
    /// * `dt_s`: step in seconds, above 0.
    ///
    /// `None` where fewer than three values are above zero or they do not fall.
    ///
    /// # Source
    /// Weighted straight line through logarithms, JCGM 100:2008, H.3, for the line. Checked by
    /// `tests/published/main.rs`.
    ///
    /// # Example
    /// ```
    /// let values = [0.4, 0.2, 0.1, 0.05];
    /// let tail = darkline_signal::unfinished::Tail::of(&values, 0.5).unwrap();
    /// assert!((tail.decay_s - 0.5 / core::f64::consts::LN_2).abs() < 1e-12);
    /// assert!((tail.missed_area() - 0.05 * tail.decay_s).abs() < 1e-12);
    /// ```
    pub fn of(values: &[f64], dt_s: f64) -> Option<Tail> {
        let points: Vec<(f64, f64, f64)> = values
            .iter()
            .enumerate()
            .filter(|(_, value)| **value > 0.0 && value.is_finite())
            .map(|(index, &value)| (index as f64 * dt_s, libm::log(value), value * value))
            .collect();
        if points.len() < 3 {
            return None;
        }
        let n = points.len();
        let weight = sum_of(n, |i| points[i].2);
        let mean_t = sum_of(n, |i| points[i].2 * points[i].0) / weight;
        let mean_y = sum_of(n, |i| points[i].2 * points[i].1) / weight;
        let spread = sum_of(n, |i| points[i].2 * (points[i].0 - mean_t) * (points[i].0 - mean_t));
        let product = sum_of(n, |i| points[i].2 * (points[i].0 - mean_t) * (points[i].1 - mean_y));
        let decay_s = -spread / product;
        let last_t = (values.len() - 1) as f64 * dt_s;
        let end = libm::exp(mean_y - (last_t - mean_t) / decay_s);
        (decay_s > 0.0 && decay_s.is_finite() && end.is_finite()).then_some(Tail { end, decay_s })
    }

    /// Area behind the last value, in seconds, if the decay goes on: `A_end tau`.
    ///
    /// # Source
    /// The integral of the exponential. Checked by `tests/published/main.rs`.
    pub fn missed_area(&self) -> f64 {
        self.end * self.decay_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_that_does_not_fall_has_no_tail() {
        assert_eq!(Tail::of(&[0.1, 0.1, 0.1], 0.1), None);
        assert_eq!(Tail::of(&[0.1, 0.2, 0.4], 0.1), None);
        assert_eq!(Tail::of(&[0.1, -0.2, 0.05], 0.1), None, "two values above zero");
        assert_eq!(Tail::of(&[], 0.1), None);
    }

    #[test]
    fn values_below_zero_in_the_noise_are_left_out() {
        let mut values: Vec<f64> = (0..50).map(|i| libm::exp(-f64::from(i) * 0.1)).collect();
        values[40] = -0.001;
        let tail = Tail::of(&values, 0.1).expect("a falling tail");
        assert!((tail.decay_s - 1.0).abs() < 1e-9);
    }
}
