//! Cochran's test: whether one of several variances lies apart.

use darkline_metrology::distribution::fisher_f;
use darkline_metrology::summary;

/// The test of several variances with equal degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cochran {
    /// The largest variance over the sum of all.
    pub statistic: f64,
    /// Its place, from zero.
    pub largest: usize,
    /// How many variances.
    pub n_groups: usize,
    /// Values behind each.
    pub n: usize,
}

impl Cochran {
    /// The test of groups of equal size.
    ///
    /// # Source
    /// W. G. Cochran, Ann. Eugen. 11 (1941) 47-52; ISO 5725-2.
    pub fn of_groups(groups: &[Vec<f64>]) -> Option<Self> {
        let n = groups.first()?.len();
        if groups.iter().any(|group| group.len() != n) {
            return None;
        }
        let variances = groups.iter().map(|group| summary::variance(group)).collect::<Option<Vec<f64>>>()?;
        Self::of_variances(&variances, n)
    }

    /// The test of duplicates by their differences.
    ///
    /// # Source
    /// As [`Cochran::of_groups`].
    pub fn of_differences(differences: &[f64]) -> Option<Self> {
        let variances: Vec<f64> = differences.iter().map(|d| 0.5 * d * d).collect();
        Self::of_variances(&variances, 2)
    }

    fn of_variances(variances: &[f64], n: usize) -> Option<Self> {
        if variances.len() < 2 || n < 2 || !variances.iter().all(|variance| variance.is_finite()) {
            return None;
        }
        let sum: f64 = variances.iter().sum();
        let (largest, variance) = variances.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
        if sum == 0.0 || !sum.is_finite() {
            return None;
        }
        Some(Self { statistic: variance / sum, largest, n_groups: variances.len(), n })
    }

    /// The critical value for a significance.
    ///
    /// # Source
    /// C = f/(f + p − 1) with f the F quantile at 1 − α/p; at most 0.00013 above the exact value.
    pub fn critical(&self, significance: f64) -> Option<f64> {
        let (p, n) = (self.n_groups as f64, self.n as f64);
        let f = fisher_f::upper_quantile(significance / p, n - 1.0, (p - 1.0) * (n - 1.0))?;
        Some(f / (f + p - 1.0))
    }

    /// Above the 5 % point and not above the 1 % point.
    pub fn is_straggler(&self) -> Option<bool> {
        Some(self.statistic > self.critical(0.05)? && self.statistic <= self.critical(0.01)?)
    }

    /// Above the 1 % point.
    pub fn is_outlier(&self) -> Option<bool> {
        Some(self.statistic > self.critical(0.01)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_of_unequal_size_or_without_scatter_are_not_tested() {
        assert_eq!(Cochran::of_groups(&[vec![1.0, 2.0], vec![1.0]]), None);
        assert_eq!(Cochran::of_groups(&[vec![1.0, 1.0], vec![2.0, 2.0]]), None);
        assert_eq!(Cochran::of_groups(&[]), None);
        assert_eq!(Cochran::of_differences(&[f64::NAN, 1.0]), None);
    }
}
