//! An estimate: a value with the signed contribution of each source, from which u, covariance and coverage follow.

use std::collections::BTreeMap;

use crate::distribution::student_t;
use crate::kind::Kind;
use crate::source::{PoolId, SourceId};

/// What one source adds to the uncertainty of an estimate: sensitivity coefficient times standard uncertainty, signed.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The source.
    pub source: SourceId,
    /// c·u in the SI unit of the estimate.
    pub u: f64,
    /// Degrees of freedom of the source.
    pub dof: f64,
    /// The estimated standard deviation it shares.
    pub pool: Option<PoolId>,
}

/// A value with its contributions, sorted by source.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate<K> {
    /// The value.
    pub value: K,
    /// Contributions in the order of their source's name.
    pub contributions: Vec<Contribution>,
}

/// An estimate as it is reported: value and half-width of the coverage interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded<K> {
    /// The value.
    pub value: K,
    /// Expanded uncertainty.
    pub expanded_u: K,
    /// Coverage factor.
    pub coverage_factor: f64,
}

impl<K: Kind> Estimate<K> {
    /// Combined standard uncertainty, in the SI unit of the kind; never below the largest contribution, infinite where a
    /// contribution is.
    ///
    /// # Source
    /// GUM 5.1.2, equation (10), over independent sources.
    pub fn u(&self) -> f64 {
        root_of_squares(self.contributions.iter().map(|contribution| contribution.u))
    }

    /// Combined standard uncertainty as a quantity.
    pub fn standard_uncertainty(&self) -> K {
        K::from_si(self.u())
    }

    /// Covariance with another estimate of the same model: what the shared sources do to both. Infinite where a shared
    /// contribution is.
    ///
    /// # Source
    /// GUM F.1.2.3, equation (F.2).
    pub fn covariance<L: Kind>(&self, other: &Estimate<L>) -> f64 {
        let mut others = other.contributions.iter().peekable();
        let mut covariance = 0.0;
        for mine in &self.contributions {
            while others.next_if(|theirs| theirs.source < mine.source).is_some() {}
            if let Some(theirs) = others.peek().filter(|theirs| theirs.source == mine.source) {
                covariance += mine.u * theirs.u;
            }
        }
        if covariance.is_nan() { f64::INFINITY } else { covariance }
    }

    /// Effective degrees of freedom; sources of one pool count as one. Infinite where every contribution is taken as
    /// known, and where u is infinite.
    ///
    /// # Source
    /// Welch–Satterthwaite, GUM G.4.1, equation (G.2b). Pooling: the standard deviation behind several sources was
    /// estimated once, so its relative uncertainty moves all of them together.
    pub fn effective_dof(&self) -> f64 {
        let largest = self.contributions.iter().map(|contribution| contribution.u.abs()).fold(0.0, f64::max);
        if largest == 0.0 || self.contributions.iter().any(|contribution| !contribution.u.is_finite()) {
            return f64::INFINITY;
        }
        // Fourth powers of small figures vanish, so the largest is brought near one; a power of two moves no digit.
        let scale = power_of_two_below(largest);
        let mut variances: BTreeMap<(&str, EstimatedFor), (f64, f64)> = BTreeMap::new();
        let mut total = 0.0;
        for contribution in &self.contributions {
            let scaled = contribution.u * scale;
            let variance = scaled * scaled;
            total += variance;
            if contribution.dof != f64::INFINITY {
                // Degrees that are not a number, or below zero, vouch for nothing.
                let dof = if contribution.dof > 0.0 { contribution.dof } else { 0.0 };
                variances.entry(estimated_once(contribution)).or_insert((0.0, dof)).0 += variance;
            }
        }
        let squares = variances.values().map(|(variance, dof)| (variance * variance, dof));
        let denominator: f64 = squares.filter(|(square, _)| *square > 0.0).map(|(square, dof)| square / dof).sum();
        if denominator == 0.0 { f64::INFINITY } else { total * total / denominator }
    }

    /// The two-sided coverage factor for a coverage probability, from the t distribution at the effective degrees of
    /// freedom; `None` where the probability is not between 0 and 1.
    ///
    /// # Source
    /// GUM G.3.2 and G.4.1; the degrees of freedom are truncated to an integer as G.4.1 suggests, after an allowance of
    /// one in ten thousand so that 18.9987 counts as 19. Fewer than one count as one. Checked by `tests/published/gum.rs`.
    pub fn coverage_factor(&self, probability: f64) -> Option<f64> {
        let dof = self.effective_dof();
        let dof = if dof.is_finite() { (dof * 1.0001).floor().max(1.0) } else { dof };
        student_t::coverage_factor(probability, dof)
    }

    /// The estimate with its expanded uncertainty `coverage_factor · u`.
    pub fn expand(&self, coverage_factor: f64) -> Expanded<K> {
        Expanded { value: self.value, expanded_u: K::from_si(coverage_factor * self.u()), coverage_factor }
    }

    /// The contributions added up in groups, in the order of the group's name: u of each group, without sign.
    ///
    /// # Arguments
    /// * `group`: the group a source belongs to, for example the text before the first `/`.
    pub fn by_group<'a>(&'a self, group: impl Fn(&'a SourceId) -> &'a str) -> Vec<(&'a str, f64)> {
        let mut groups: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for contribution in &self.contributions {
            groups.entry(group(&contribution.source)).or_default().push(contribution.u);
        }
        groups.into_iter().map(|(name, effects)| (name, root_of_squares(effects.iter().copied()))).collect()
    }
}

/// What one standard deviation was estimated for. A pool and a source may share a name.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum EstimatedFor {
    Source,
    Pool,
}

fn estimated_once(contribution: &Contribution) -> (&str, EstimatedFor) {
    let source = (contribution.source.as_str(), EstimatedFor::Source);
    contribution.pool.as_ref().map_or(source, |pool| (pool.as_str(), EstimatedFor::Pool))
}

/// The power of two that brings a finite figure above zero to between one and two, as far as there is one.
fn power_of_two_below(figure: f64) -> f64 {
    let exponent = figure.to_bits() >> 52;
    f64::from_bits((2046 - exponent).max(1) << 52)
}

/// √(Σ x²) in the order given; infinite where an x is infinite or not a number.
fn root_of_squares(effects: impl Iterator<Item = f64> + Clone) -> f64 {
    // Squares keep their digits between these; outside, exact powers of two bring them there.
    const SMALLEST: f64 = 1e-280;
    const UP: f64 = f64::from_bits((1023 + 600) << 52);
    const DOWN: f64 = f64::from_bits((1023 - 600) << 52);
    let sum_of_squares = |scale: f64| effects.clone().fold(0.0, |sum, x| sum + (x * scale) * (x * scale));
    let sum = sum_of_squares(1.0);
    if sum.is_nan() {
        f64::INFINITY
    } else if sum == f64::INFINITY {
        sum_of_squares(DOWN).sqrt() * UP
    } else if sum < SMALLEST {
        sum_of_squares(UP).sqrt() * DOWN
    } else {
        sum.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use proptest::prelude::*;

    fn estimate(contributions: &[(&str, f64, f64, Option<&str>)]) -> Estimate<Factor> {
        let contributions = contributions
            .iter()
            .map(|&(source, u, dof, pool)| Contribution {
                source: SourceId::new(source),
                u,
                dof,
                pool: pool.map(PoolId::new),
            })
            .collect();
        Estimate { value: Factor::from_si(1.0), contributions }
    }

    /// Any `f64` at all, small and large ones as often as ordinary ones.
    fn anything() -> impl Strategy<Value = f64> {
        prop_oneof![
            any::<f64>(),
            (-320.0_f64..308.0).prop_map(|e| format!("1e{e:.0}").parse().unwrap()),
            -10.0_f64..10.0,
            prop::sample::select(vec![0.0, -0.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, 5.0e-324]),
        ]
    }

    #[test]
    fn an_exact_estimate_has_a_plain_zero_for_its_uncertainty() {
        let exact = estimate(&[]);
        assert_eq!(exact.u().to_bits(), 0.0_f64.to_bits());
        assert_eq!(exact.effective_dof(), f64::INFINITY);
        assert_eq!(exact.covariance(&exact), 0.0);
    }

    #[test]
    fn figures_whose_squares_leave_the_range_keep_their_uncertainty() {
        assert_eq!(estimate(&[("a", 3e-200, 4.0, None), ("b", 4e-200, 9.0, None)]).u(), 5e-200);
        assert!((estimate(&[("a", 3e200, 4.0, None), ("b", 4e200, 9.0, None)]).u() / 5e200 - 1.0).abs() < 1e-15);
        let ordinary = estimate(&[("a", 3.0, 4.0, None), ("b", 4.0, 9.0, None)]).effective_dof();
        let small = estimate(&[("a", 3e-100, 4.0, None), ("b", 4e-100, 9.0, None)]).effective_dof();
        assert!((small / ordinary - 1.0).abs() < 1e-14, "{small} {ordinary}");
    }

    #[test]
    fn a_pool_and_a_source_of_one_name_are_two() {
        let found = estimate(&[("a", 1.0, 4.0, None), ("b", 1.0, 4.0, Some("a"))]);
        assert_eq!(found.effective_dof(), 8.0);
        let pooled = estimate(&[("a", 1.0, 4.0, Some("a")), ("b", 1.0, 4.0, Some("a"))]);
        assert_eq!(pooled.effective_dof(), 4.0);
    }

    #[test]
    fn a_coverage_factor_belongs_to_a_probability_between_0_and_1() {
        let found = estimate(&[("a", 1.0, 19.0, None)]);
        assert_eq!(format!("{:.3}", found.coverage_factor(0.95).unwrap()), "2.093");
        for probability in [0.0, 1.0, -0.5, 1.5, f64::NAN] {
            assert_eq!(found.coverage_factor(probability), None, "{probability}");
        }
    }

    proptest! {
        #[test]
        fn u_is_never_below_its_largest_contribution(effects in prop::collection::vec(anything(), 0..8)) {
            let rows: Vec<_> = effects.iter().map(|&u| ("s", u, 3.0, None)).collect();
            let u = estimate(&rows).u();
            prop_assert!(u >= 0.0 && effects.iter().all(|x| x.is_nan() || u >= x.abs()), "{u}");
        }

        #[test]
        fn effective_degrees_lie_between_the_smallest_and_their_sum(
            rows in prop::collection::vec((1e-3..1e3_f64, 1.0..100.0_f64), 1..8), scale in -80_i32..80,
        ) {
            let names: Vec<String> = (0..rows.len()).map(|i| i.to_string()).collect();
            let scale: f64 = format!("1e{scale}").parse().unwrap();
            let found = |scale: f64| {
                let rows: Vec<_> = names.iter().zip(&rows).map(|(name, &(u, dof))| (name.as_str(), u * scale, dof, None)).collect();
                estimate(&rows).effective_dof()
            };
            let dof = found(1.0);
            let (least, sum) = rows.iter().fold((f64::INFINITY, 0.0), |(least, sum), row| (row.1.min(least), sum + row.1));
            prop_assert!(dof >= least * (1.0 - 1e-12) && dof <= sum * (1.0 + 1e-12), "{least} {dof} {sum}");
            prop_assert!((found(scale) / dof - 1.0).abs() < 1e-12);
        }

        #[test]
        fn no_contribution_gives_a_nan(
            rows in prop::collection::vec((anything(), anything(), any::<bool>()), 0..6), probability in anything(),
        ) {
            let names = ["a", "b", "c", "d", "e", "f"];
            let rows: Vec<_> =
                names.iter().zip(&rows).map(|(name, &(u, dof, pooled))| (*name, u, dof, pooled.then_some("p"))).collect();
            let found = estimate(&rows);
            prop_assert!(found.u() >= 0.0 && found.effective_dof() >= 0.0 && !found.covariance(&found).is_nan());
            prop_assert!(found.coverage_factor(probability).is_none_or(|k| k.is_finite() && k >= 0.0));
            prop_assert!(found.by_group(|_| "all").iter().all(|(_, u)| *u >= 0.0));
        }
    }
}
