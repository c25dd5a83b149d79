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
    /// Combined standard uncertainty, in the SI unit of the kind.
    ///
    /// # Source
    /// GUM 5.1.2, equation (10), over independent sources.
    pub fn u(&self) -> f64 {
        self.contributions.iter().map(|contribution| contribution.u * contribution.u).sum::<f64>().sqrt()
    }

    /// Combined standard uncertainty as a quantity.
    pub fn standard_uncertainty(&self) -> K {
        K::from_si(self.u())
    }

    /// Covariance with another estimate of the same model: what the shared sources do to both.
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
        covariance
    }

    /// Effective degrees of freedom; sources of one pool count as one.
    ///
    /// # Source
    /// Welch–Satterthwaite, GUM G.4.1, equation (G.2b). Pooling: the standard deviation behind several sources was
    /// estimated once, so its relative uncertainty moves all of them together.
    pub fn effective_dof(&self) -> f64 {
        let mut variances: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
        let mut total = 0.0;
        for contribution in &self.contributions {
            let variance = contribution.u * contribution.u;
            total += variance;
            if contribution.dof.is_finite() {
                let name = contribution.pool.as_ref().map_or(contribution.source.as_str(), PoolId::as_str);
                let entry = variances.entry(name).or_insert((0.0, contribution.dof));
                entry.0 += variance;
            }
        }
        let denominator: f64 = variances.values().map(|(variance, dof)| variance * variance / dof).sum();
        if denominator == 0.0 { f64::INFINITY } else { total * total / denominator }
    }

    /// The two-sided coverage factor for a coverage probability, from the t distribution at the effective degrees of
    /// freedom; `None` where the probability is not between 0 and 1.
    ///
    /// # Source
    /// GUM G.3.2 and G.4.1; the degrees of freedom are truncated to an integer as G.4.1 suggests, after an allowance of
    /// one in ten thousand so that 18.9987 counts as 19.
    pub fn coverage_factor(&self, probability: f64) -> Option<f64> {
        let dof = self.effective_dof();
        let dof = if dof.is_finite() { (dof * 1.0001).floor().max(1.0) } else { dof };
        student_t::quantile(0.5 + 0.5 * probability, dof)
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
        let mut groups: BTreeMap<&str, f64> = BTreeMap::new();
        for contribution in &self.contributions {
            *groups.entry(group(&contribution.source)).or_insert(0.0) += contribution.u * contribution.u;
        }
        groups.into_iter().map(|(name, variance)| (name, variance.sqrt())).collect()
    }
}
