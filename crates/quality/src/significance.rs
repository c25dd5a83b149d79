//! Significance tests of means and standard deviations: Student, Welch, the variance ratio.

use darkline_metrology::distribution::{fisher_f, student_t};
use darkline_metrology::summary;

/// A t test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TTest {
    /// t, with the sign of the difference.
    pub t: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

impl TTest {
    fn of(difference: f64, standard_error: f64, dof: f64) -> Option<Self> {
        let t = difference / standard_error;
        (t.is_finite() && dof >= 1.0).then_some(Self { t, dof })
    }

    /// The two-sided critical value.
    pub fn critical(&self, significance: f64) -> Option<f64> {
        student_t::upper_quantile(0.5 * significance, self.dof)
    }

    /// The two-sided probability of a t as large or larger.
    pub fn p(&self) -> Option<f64> {
        Some((2.0 * student_t::upper_tail(self.t.abs(), self.dof)?).min(1.0))
    }

    /// Whether the difference is significant, two-sided.
    pub fn is_significant(&self, significance: f64) -> Option<bool> {
        Some(self.t.abs() > self.critical(significance)?)
    }
}

/// A mean against a known value.
///
/// # Source
/// Student, Biometrika 6 (1908) 1-25.
pub fn mean_against(x: &[f64], known: f64) -> Option<TTest> {
    let (mean, sd, n) = (summary::mean(x)?, summary::sd(x)?, x.len() as f64);
    TTest::of(mean - known, sd / n.sqrt(), n - 1.0)
}

/// A mean, its standard deviation and the number of values behind both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Series {
    /// The mean.
    pub mean: f64,
    /// The standard deviation.
    pub sd: f64,
    /// How many values.
    pub n: usize,
}

impl Series {
    /// Of values.
    pub fn of(x: &[f64]) -> Option<Self> {
        Some(Self { mean: summary::mean(x)?, sd: summary::sd(x)?, n: x.len() })
    }
}

/// The pooled standard deviation of two series.
pub fn pooled_sd(one: Series, other: Series) -> Option<f64> {
    let (a, b) = (one.n as f64, other.n as f64);
    let dof = a + b - 2.0;
    let variance = ((a - 1.0) * one.sd * one.sd + (b - 1.0) * other.sd * other.sd) / dof;
    (one.n > 0 && other.n > 0 && dof >= 1.0 && variance >= 0.0).then_some(variance.sqrt())
}

/// Two means with a common standard deviation.
///
/// # Source
/// Student's test for two samples; J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, chapter
/// on significance tests (from memory).
pub fn two_means_pooled(one: Series, other: Series) -> Option<TTest> {
    let (a, b) = (one.n as f64, other.n as f64);
    let sd = pooled_sd(one, other)?;
    TTest::of(one.mean - other.mean, sd * (1.0 / a + 1.0 / b).sqrt(), a + b - 2.0)
}

/// Two means with standard deviations of their own.
///
/// # Source
/// B. L. Welch, Biometrika 34 (1947) 28-35.
pub fn two_means(one: Series, other: Series) -> Option<TTest> {
    let (a, b) = (one.n as f64, other.n as f64);
    let (u, v) = (one.sd * one.sd / a, other.sd * other.sd / b);
    let dof = (u + v) * (u + v) / (u * u / (a - 1.0) + v * v / (b - 1.0));
    TTest::of(one.mean - other.mean, (u + v).sqrt(), dof)
}

/// A variance ratio, the larger variance above.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VarianceRatio {
    /// The ratio, 1 or more.
    pub f: f64,
    /// Degrees of freedom of the larger variance.
    pub dof_over: f64,
    /// Degrees of freedom of the smaller.
    pub dof_under: f64,
}

/// The ratio of two variances.
///
/// # Source
/// Variance ratio test; J. N. Miller, J. C. Miller, as above (from memory).
pub fn variance_ratio(one: (f64, usize), other: (f64, usize)) -> Option<VarianceRatio> {
    let (over, under) = if one.0 >= other.0 { (one, other) } else { (other, one) };
    let f = (over.0 / under.0) * (over.0 / under.0);
    let enough = over.1 >= 2 && under.1 >= 2 && under.0 > 0.0 && f.is_finite();
    enough.then_some(VarianceRatio { f, dof_over: over.1 as f64 - 1.0, dof_under: under.1 as f64 - 1.0 })
}

impl VarianceRatio {
    /// The critical value.
    ///
    /// # Arguments
    /// * `tails`: 1 or 2.
    pub fn critical(&self, significance: f64, tails: u8) -> Option<f64> {
        fisher_f::upper_quantile(significance / f64::from(tails), self.dof_over, self.dof_under)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_without_scatter_are_not_tested() {
        assert_eq!(mean_against(&[1.0, 1.0], 1.0), None);
        assert_eq!(mean_against(&[1.0], 1.0), None);
        assert_eq!(variance_ratio((1.0, 5), (0.0, 5)), None);
        let none = Series { mean: 1.0, sd: 0.0, n: 3 };
        assert_eq!(two_means(none, none), None);
        assert_eq!(two_means_pooled(none, none), None);
    }
}
