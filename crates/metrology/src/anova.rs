//! One-way analysis of variance: what differs between groups and what within.
//!
//! [`OneWay::of`] takes the values by group, [`OneWay::of_summaries`] means and standard deviations of groups;
//! the answer holds the sums of squares and mean squares, and gives the components of variance on request.
//!
//! Sums run in the order of the groups and of the values in them. Group means are centred on the first mean
//! before anything is squared, so that equal leading digits cancel first.

use crate::distribution::fisher_f;
use crate::summary;

/// A one-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Number of groups p.
    pub n_groups: usize,
    /// Number of values N.
    pub n_values: usize,
    /// Mean of all values.
    pub grand_mean: f64,
    /// Sum of squares between groups, Σ nⱼ(x̄ⱼ − x̄)².
    pub ss_between: f64,
    /// Sum of squares within groups.
    pub ss_within: f64,
    /// Degrees of freedom between, p − 1.
    pub dof_between: f64,
    /// Degrees of freedom within, N − p.
    pub dof_within: f64,
    /// The size that stands for groups of unequal size, (N − Σnⱼ²/N)/(p − 1).
    pub n0: f64,
}

/// A group of which only number, mean and standard deviation are known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupSummary {
    /// Number of values, at least 1.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation, 0 or above; passed over where n is 1.
    pub sd: f64,
}

impl OneWay {
    /// Analyses values by group.
    ///
    /// # Arguments
    /// * `groups`: two groups or more, none empty, one at least with two values; all values finite.
    ///
    /// # Source
    /// NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3. Checked by `tests/statistics/nist_strd.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::anova::OneWay;
    /// let days = OneWay::of(&[&[1.0, 3.0], &[5.0, 7.0]]).expect("two groups of two");
    /// assert_eq!((days.ss_between, days.ss_within), (16.0, 4.0));
    /// assert_eq!(days.f(), Some(8.0));
    /// ```
    #[must_use]
    pub fn of(groups: &[&[f64]]) -> Option<OneWay> {
        let mut counted = Vec::with_capacity(groups.len());
        let mut ss_within = 0.0;
        for group in groups {
            counted.push((group.len(), summary::mean(group)?));
            ss_within += summary::sum_of_squares(group)?;
        }
        OneWay::put_together(&counted, ss_within)
    }

    /// Analyses groups of which only the summaries are known.
    ///
    /// # Arguments
    /// * `groups`: two groups or more, one at least with two values.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), H.5.2. Checked by `tests/statistics/gum.rs`.
    #[must_use]
    pub fn of_summaries(groups: &[GroupSummary]) -> Option<OneWay> {
        let mut counted = Vec::with_capacity(groups.len());
        let mut ss_within = 0.0;
        for group in groups {
            if group.n == 0 || !group.mean.is_finite() {
                return None;
            }
            counted.push((group.n, group.mean));
            if group.n > 1 {
                let has_spread = group.sd >= 0.0;
                if !has_spread {
                    return None;
                }
                ss_within += (group.n - 1) as f64 * group.sd * group.sd;
            }
        }
        OneWay::put_together(&counted, ss_within)
    }

    fn put_together(groups: &[(usize, f64)], ss_within: f64) -> Option<OneWay> {
        let n_groups = groups.len();
        let n_values: usize = groups.iter().map(|(n, _)| n).sum();
        if n_groups < 2 || n_values <= n_groups {
            return None;
        }
        let all = n_values as f64;
        let first = groups[0].1;
        let shift: f64 = groups.iter().map(|(n, mean)| *n as f64 * (mean - first)).sum::<f64>() / all;
        let ss_between: f64 = groups
            .iter()
            .map(|(n, mean)| {
                let d = (mean - first) - shift;
                *n as f64 * d * d
            })
            .sum();
        let squares: f64 = groups.iter().map(|(n, _)| (*n as f64) * (*n as f64)).sum();
        let dof_between = (n_groups - 1) as f64;
        let table = OneWay {
            n_groups,
            n_values,
            grand_mean: first + shift,
            ss_between,
            ss_within,
            dof_between,
            dof_within: (n_values - n_groups) as f64,
            n0: (all - squares / all) / dof_between,
        };
        (table.grand_mean.is_finite() && (ss_between + ss_within).is_finite()).then_some(table)
    }

    /// Mean square between groups.
    #[must_use]
    pub fn ms_between(&self) -> f64 {
        self.ss_between / self.dof_between
    }

    /// Mean square within groups.
    #[must_use]
    pub fn ms_within(&self) -> f64 {
        self.ss_within / self.dof_within
    }

    /// The variance ratio between/within; `None` where nothing varies within.
    #[must_use]
    pub fn f(&self) -> Option<f64> {
        Some(self.ms_between() / self.ms_within()).filter(|f| f.is_finite())
    }

    /// The probability of a variance ratio as large as this without any difference between groups.
    #[must_use]
    pub fn p(&self) -> Option<f64> {
        fisher_f::upper_tail(self.f()?, self.dof_between, self.dof_within)
    }

    /// The variance ratio that is not exceeded with probability `level` without any difference between groups.
    ///
    /// # Arguments
    /// * `level`: above 0 and below 1, such as 0.95.
    #[must_use]
    pub fn critical_f(&self, level: f64) -> Option<f64> {
        fisher_f::quantile(level, self.dof_between, self.dof_within)
    }

    /// The standard deviation within groups: repeatability, where a group was measured under such conditions.
    #[must_use]
    pub fn s_within(&self) -> f64 {
        self.ms_within().sqrt()
    }

    /// The variance between groups as it comes out, (MS between − MS within)/n₀: below 0 by chance at times.
    #[must_use]
    pub fn raw_variance_between(&self) -> f64 {
        (self.ms_between() - self.ms_within()) / self.n0
    }

    /// The variance between groups, 0 where it comes out negative.
    ///
    /// # Source
    /// ISO 5725-3:1994, clause 8 (from memory).
    #[must_use]
    pub fn variance_between(&self) -> f64 {
        self.raw_variance_between().max(0.0)
    }

    /// The standard deviation between groups.
    #[must_use]
    pub fn s_between(&self) -> f64 {
        self.variance_between().sqrt()
    }

    /// The intermediate precision: within and between together.
    ///
    /// # Source
    /// ISO 5725-3:1994, clause 8 (from memory).
    #[must_use]
    pub fn s_intermediate(&self) -> f64 {
        (self.ms_within() + self.variance_between()).sqrt()
    }

    /// The share of the sum of squares that the groups explain; `None` where nothing varies.
    #[must_use]
    pub fn r_squared(&self) -> Option<f64> {
        Some(self.ss_between / (self.ss_between + self.ss_within)).filter(|r| r.is_finite())
    }

    /// The standard uncertainty of the grand mean with the effect between groups kept: √(MS between/N).
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), H.5.2.
    #[must_use]
    pub fn u_grand_mean(&self) -> f64 {
        (self.ms_between() / self.n_values as f64).sqrt()
    }

    /// The standard uncertainty of the grand mean if there is no effect between groups: all values as one series.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), H.5.2.
    #[must_use]
    pub fn u_grand_mean_pooled(&self) -> f64 {
        let n = self.n_values as f64;
        ((self.ss_between + self.ss_within) / (n - 1.0) / n).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_group_or_single_values_are_no_analysis() {
        assert_eq!(OneWay::of(&[]), None);
        assert_eq!(OneWay::of(&[&[1.0, 2.0]]), None);
        assert_eq!(OneWay::of(&[&[1.0], &[2.0]]), None);
        assert_eq!(OneWay::of(&[&[1.0, 2.0], &[]]), None);
        assert_eq!(OneWay::of(&[&[1.0, 2.0], &[f64::NAN]]), None);
        assert_eq!(OneWay::of_summaries(&[GroupSummary { n: 2, mean: 1.0, sd: f64::NAN }; 2]), None);
        assert_eq!(OneWay::of_summaries(&[GroupSummary { n: 0, mean: 1.0, sd: 0.0 }; 2]), None);
    }

    #[test]
    fn groups_that_do_not_vary_have_no_ratio() {
        let table = OneWay::of(&[&[1.0, 1.0], &[2.0, 2.0]]).unwrap();
        assert_eq!((table.f(), table.p()), (None, None));
        assert_eq!(table.r_squared(), Some(1.0));
        assert_eq!(OneWay::of(&[&[1.0, 1.0], &[1.0, 1.0]]).unwrap().r_squared(), None);
    }

    #[test]
    fn a_negative_component_is_set_to_nought_and_still_told() {
        let table = OneWay::of(&[&[1.0, 3.0], &[1.0, 3.0]]).unwrap();
        assert!(table.raw_variance_between() < 0.0);
        assert_eq!((table.variance_between(), table.s_intermediate()), (0.0, table.s_within()));
    }

    proptest! {
        #[test]
        fn the_parts_make_up_the_whole(a in prop::collection::vec(-10.0_f64..10.0, 2..9), b in prop::collection::vec(-10.0_f64..10.0, 1..9)) {
            let table = OneWay::of(&[&a, &b]).unwrap();
            let all: Vec<f64> = a.iter().chain(&b).copied().collect();
            let whole = summary::sum_of_squares(&all).unwrap();
            prop_assert!((table.ss_between + table.ss_within - whole).abs() <= 1.0e-9 * (1.0 + whole));
        }

        #[test]
        fn values_and_their_summaries_tell_the_same(a in prop::collection::vec(-10.0_f64..10.0, 2..9), b in prop::collection::vec(-10.0_f64..10.0, 2..9)) {
            let summed = |x: &[f64]| GroupSummary { n: x.len(), mean: summary::mean(x).unwrap(), sd: summary::sd(x).unwrap() };
            let (one, other) = (OneWay::of(&[&a, &b]).unwrap(), OneWay::of_summaries(&[summed(&a), summed(&b)]).unwrap());
            prop_assert!((one.ss_within - other.ss_within).abs() <= 1.0e-9);
            prop_assert_eq!(one.ss_between, other.ss_between);
        }
    }
}
