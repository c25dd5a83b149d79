//! Homogeneity of a material: pairs of test portions, and units with several results each.

use darkline_metrology::anova::OneWay;
use darkline_metrology::distribution::{chi_squared, fisher_f};
use darkline_metrology::summary;

/// The check of samples analysed in duplicate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pairs {
    /// How many samples.
    pub n_samples: usize,
    /// The mean of all.
    pub mean: f64,
    /// Variance within the pairs.
    pub variance_within: f64,
    /// Variance of the averages of the pairs.
    pub variance_of_averages: f64,
    /// Variance between samples, not below zero.
    pub variance_between: f64,
}

impl Pairs {
    /// The variances of pairs.
    ///
    /// # Source
    /// ISO 13528:2015, Annex B.
    pub fn of(pairs: &[[f64; 2]]) -> Option<Self> {
        let averages: Vec<f64> = pairs.iter().map(|[a, b]| 0.5 * (a + b)).collect();
        let squares: f64 = pairs.iter().map(|[a, b]| (a - b) * (a - b)).sum();
        let variance_within = squares / (2.0 * pairs.len() as f64);
        let variance_of_averages = summary::variance(&averages)?;
        let found = Self {
            n_samples: pairs.len(),
            mean: summary::mean(&averages)?,
            variance_within,
            variance_of_averages,
            variance_between: (variance_of_averages - 0.5 * variance_within).max(0.0),
        };
        variance_within.is_finite().then_some(found)
    }

    /// Standard deviation between samples.
    pub fn s_between(&self) -> f64 {
        self.variance_between.sqrt()
    }

    /// The critical value for the variance between samples, which allows for the error of the test.
    ///
    /// # Arguments
    /// * `factors`: F1 and F2; see [`allowance_factors`].
    ///
    /// # Source
    /// T. Fearn, M. Thompson, Analyst 126 (2001) 1414-1417.
    pub fn critical(&self, sigma_pt: f64, factors: (f64, f64)) -> f64 {
        factors.0 * 0.09 * sigma_pt * sigma_pt + factors.1 * self.variance_within
    }
}

/// The factors F1 and F2 of the check with allowance, for a number of samples.
///
/// # Source
/// As [`Pairs::critical`].
pub fn allowance_factors(n_samples: usize) -> Option<(f64, f64)> {
    let g = n_samples as f64;
    let f1 = chi_squared::quantile(0.95, g - 1.0)? / (g - 1.0);
    let f2 = 0.5 * (fisher_f::quantile(0.95, g - 1.0, g)? - 1.0);
    Some((f1, f2))
}

/// What differences between units add to the uncertainty of a certified value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BetweenUnits {
    /// Effective number of results of a unit.
    pub n0: f64,
    /// Standard deviation between units, not below zero.
    pub s_between: f64,
    /// What the method could not have seen.
    pub hidden: f64,
    /// The larger of the two.
    pub u: f64,
}

/// Standard uncertainty from differences between units.
///
/// # Arguments
/// * `groups`: the results of each unit.
///
/// # Source
/// ISO Guide 35:2017, 7.7.3; lower bound: T. P. J. Linsinger and others, Accred. Qual. Assur. 6 (2001) 20-25.
pub fn between_units(groups: &[&[f64]]) -> Option<BetweenUnits> {
    let table = OneWay::of(groups)?;
    let n: f64 = groups.iter().map(|group| group.len() as f64).sum();
    let squares: f64 = groups.iter().map(|group| (group.len() * group.len()) as f64).sum();
    let n0 = (n - squares / n) / (groups.len() as f64 - 1.0);
    let s_between = ((table.ms_between() - table.ms_within()) / n0).max(0.0).sqrt();
    let hidden = (table.ms_within() / n0).sqrt() * (2.0 / table.dof_within).sqrt().sqrt();
    let found = BetweenUnits { n0, s_between, hidden, u: s_between.max(hidden) };
    found.u.is_finite().then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 13528:2015, Annex B: F1 = 1.88 and F2 = 1.01 for ten samples.
    #[test]
    fn factors_are_those_of_the_printed_table() {
        let (f1, f2) = allowance_factors(10).unwrap();
        assert_eq!((format!("{f1:.2}"), format!("{f2:.2}")), ("1.88".to_owned(), "1.01".to_owned()));
    }

    #[test]
    fn one_sample_tells_nothing() {
        assert_eq!(Pairs::of(&[[1.0, 2.0]]), None);
        assert_eq!(between_units(&[&[1.0, 2.0]]), None);
        assert_eq!(allowance_factors(1), None);
    }
}
