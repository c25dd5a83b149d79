//! Grubbs' test of one extreme value.

use darkline_metrology::distribution::student_t;
use darkline_metrology::summary;

use super::End;

/// The test of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grubbs {
    /// How many values.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    pub sd: f64,
    /// The distance of the extreme value from the mean over the standard deviation.
    pub statistic: f64,
}

impl Grubbs {
    /// The test of the value at an end.
    ///
    /// # Arguments
    /// * `x`: at least three values that are not all equal.
    ///
    /// # Source
    /// F. E. Grubbs, Technometrics 11 (1969) 1-21; NIST/SEMATECH e-Handbook 1.3.5.17.1.
    pub fn of(x: &[f64], end: End) -> Option<Self> {
        let x = super::sorted(x)?;
        if x.len() < 3 {
            return None;
        }
        let (mean, sd) = (summary::mean(&x)?, summary::sd(&x)?);
        if sd == 0.0 {
            return None;
        }
        let (above, below) = (x[x.len() - 1] - mean, mean - x[0]);
        let distance = match end {
            End::Highest => above,
            End::Lowest => below,
            End::Either => above.max(below),
        };
        Some(Self { n: x.len(), mean, sd, statistic: distance / sd })
    }
}

/// The critical value for a named end.
///
/// # Arguments
/// * `significance`: such as 0.05.
///
/// # Source
/// As [`Grubbs::of`]: the Bonferroni bound, exact where it is above 0.7·(n − 1)/√n (from memory).
pub fn critical_one_sided(n: usize, significance: f64) -> Option<f64> {
    critical(n, significance / n as f64)
}

/// The critical value where either end may lie apart.
///
/// # Source
/// As [`critical_one_sided`].
pub fn critical_two_sided(n: usize, significance: f64) -> Option<f64> {
    critical(n, significance / (2.0 * n as f64))
}

fn critical(n: usize, upper: f64) -> Option<f64> {
    if n < 3 {
        return None;
    }
    let n = n as f64;
    let t = student_t::upper_quantile(upper, n - 2.0)?;
    Some((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_critical_values_are_those_of_the_usual_table() {
        // ISO 5725-2, Table 5: n = 10, 5 % 2.290 and 1 % 2.482 (from memory), two-sided points.
        assert!((critical_two_sided(10, 0.05).unwrap() - 2.290).abs() < 6e-4);
        assert!((critical_two_sided(10, 0.01).unwrap() - 2.482).abs() < 6e-4);
    }

    #[test]
    fn series_without_scatter_or_with_too_few_values_are_not_tested() {
        for x in [&[1.0, 2.0][..], &[1.0, 1.0, 1.0], &[1.0, f64::NAN, 2.0], &[]] {
            assert_eq!(Grubbs::of(x, End::Highest), None);
        }
    }
}
