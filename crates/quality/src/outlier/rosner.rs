//! Rosner's generalised test: up to a number of outliers, one after the other.

use darkline_metrology::distribution::student_t;
use darkline_metrology::summary;

/// The test of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Rosner {
    /// R_i: the largest distance from the mean over the standard deviation, step by step.
    pub statistics: Vec<f64>,
    /// λ_i: what each is held against.
    pub critical: Vec<f64>,
    /// The outliers found, in the order they were left out.
    pub outliers: Vec<f64>,
}

/// The test for up to `most` outliers.
///
/// # Arguments
/// * `x`: more than `most` + 2 values.
/// * `significance`: such as 0.05.
///
/// # Source
/// B. Rosner, Technometrics 25 (1983) 165-172; NIST/SEMATECH e-Handbook 1.3.5.17.3.
pub fn rosner(x: &[f64], most: usize, significance: f64) -> Option<Rosner> {
    if !x.iter().all(|value| value.is_finite()) || most == 0 || most + 2 >= x.len() {
        return None;
    }
    let mut left = x.to_vec();
    let (mut statistics, mut critical, mut removed) = (Vec::new(), Vec::new(), Vec::new());
    let mut n_outliers = 0;
    for step in 1..=most {
        let n = left.len() as f64;
        let (mean, sd) = (summary::mean(&left)?, summary::sd(&left)?);
        if sd == 0.0 {
            return None;
        }
        let furthest = |a: &(usize, f64), b: &(usize, f64)| (a.1 - mean).abs().total_cmp(&(b.1 - mean).abs());
        let (place, value) = left.iter().copied().enumerate().max_by(furthest)?;
        let statistic = (value - mean).abs() / sd;
        let t = student_t::upper_quantile(significance / (2.0 * n), n - 2.0)?;
        let limit = (n - 1.0) * t / ((n - 2.0 + t * t) * n).sqrt();
        if statistic > limit {
            n_outliers = step;
        }
        statistics.push(statistic);
        critical.push(limit);
        removed.push(value);
        left.remove(place);
    }
    removed.truncate(n_outliers);
    Some(Rosner { statistics, critical, outliers: removed })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_outliers_that_hide_each_other_are_both_found() {
        let mut x: Vec<f64> = (0..20).map(|i| f64::from(i % 5)).collect();
        x.extend([40.0, 41.0]);
        let found = rosner(&x, 4, 0.05).unwrap();
        assert_eq!(found.outliers, [41.0, 40.0]);
        assert_eq!(rosner(&x, 20, 0.05), None);
    }
}
