//! The method detection limit from spiked samples and method blanks (40 CFR 136, Appendix B, revision 2).
//!
//! [`method_detection_limit`] takes both; the larger of their limits is the method's. A blank may have no numerical result,
//! which is not the same as zero.

use darkline_metrology::distribution::{chi_squared, student_t};
use darkline_metrology::kind::Kind;
use darkline_metrology::summary;

use super::asked::NoLimit;
use crate::point::count;

/// Least number of spiked samples, and of method blanks.
///
/// # Source
/// 40 CFR Part 136, Appendix B, Revision 2, step (2).
pub const LEAST_NUMBER: usize = 7;

/// Blanks from which on the rank counts instead of the highest.
///
/// # Source
/// As above, step (2)(d)(iii)(B) (from memory).
pub const RANKED_FROM: usize = 100;

/// One method blank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MethodBlank<K> {
    /// A numerical result; it may be negative.
    Numerical(K),
    /// No numerical result.
    NotDetected,
}

/// The part of the spiked samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OfSpikes<K> {
    /// Number of spiked samples.
    pub n: usize,
    /// Their mean.
    pub mean: K,
    /// Their standard deviation.
    pub sd: K,
    /// t(0.99, n − 1).
    pub t: f64,
    /// MDL_S = t·sd.
    pub limit: K,
}

/// The part of the method blanks, by the rule that applies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OfBlanks<K> {
    /// No blank has a numerical result: this part does not apply.
    DoesNotApply {
        /// Number of blanks.
        n: usize,
    },
    /// Some have: the highest.
    Highest {
        /// Number of blanks.
        n: usize,
        /// MDL_b.
        limit: K,
    },
    /// Some of at least 100 have: the one of this rank.
    Ranked {
        /// Number of blanks.
        n: usize,
        /// 0.99·n before rounding.
        unrounded: f64,
        /// The rank, counted from the lowest.
        rank: usize,
        /// MDL_b.
        limit: K,
    },
    /// All have: mean (or zero, where that is higher) plus t·sd.
    AllNumerical {
        /// Number of blanks.
        n: usize,
        /// Their mean.
        mean: K,
        /// Their standard deviation.
        sd: K,
        /// t(0.99, n − 1).
        t: f64,
        /// MDL_b.
        limit: K,
    },
}

impl<K: Kind> OfBlanks<K> {
    /// MDL_b, where it applies.
    pub fn limit(&self) -> Option<K> {
        match self {
            OfBlanks::DoesNotApply { .. } => None,
            OfBlanks::Highest { limit, .. } | OfBlanks::Ranked { limit, .. } | OfBlanks::AllNumerical { limit, .. } => {
                Some(*limit)
            }
        }
    }
}

/// The method detection limit with its two parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MethodDetectionLimit<K> {
    /// From the spiked samples.
    pub of_spikes: OfSpikes<K>,
    /// From the method blanks.
    pub of_blanks: OfBlanks<K>,
    /// The larger of the two.
    pub limit: K,
}

/// The method detection limit.
///
/// # Arguments
/// * `spikes`: results of at least seven spiked samples.
/// * `blanks`: at least seven method blanks.
///
/// # Errors
/// [`NoLimit`].
///
/// # Source
/// 40 CFR Part 136, Appendix B, Revision 2 (82 FR 40836, 2017), steps (2)(d) and (e). Checked by
/// `tests/published/epa_mdl.rs`.
pub fn method_detection_limit<K: Kind>(
    spikes: &[K],
    blanks: &[MethodBlank<K>],
) -> Result<MethodDetectionLimit<K>, NoLimit> {
    for found in [spikes.len(), blanks.len()] {
        if found < LEAST_NUMBER {
            return Err(NoLimit::TooFewReadings { found, needed: LEAST_NUMBER });
        }
    }
    let (of_spikes, of_blanks) = (of_spikes(spikes)?, of_blanks(blanks)?);
    let limit = match of_blanks.limit() {
        Some(limit) if limit > of_spikes.limit => limit,
        _ => of_spikes.limit,
    };
    Ok(MethodDetectionLimit { of_spikes, of_blanks, limit })
}

/// The part of the spiked samples, MDL_S.
///
/// # Errors
/// [`NoLimit`].
///
/// # Source
/// As [`method_detection_limit`], step (2)(d)(i).
pub fn of_spikes<K: Kind>(spikes: &[K]) -> Result<OfSpikes<K>, NoLimit> {
    let (mean, sd, t) = with_t(spikes)?;
    Ok(OfSpikes { n: spikes.len(), mean: K::from_si(mean), sd: K::from_si(sd), t, limit: K::from_si(t * sd) })
}

/// The part of the method blanks, MDL_b.
///
/// # Errors
/// [`NoLimit`].
///
/// # Source
/// As [`method_detection_limit`], step (2)(d)(iii).
pub fn of_blanks<K: Kind>(blanks: &[MethodBlank<K>]) -> Result<OfBlanks<K>, NoLimit> {
    let n = blanks.len();
    let mut numerical: Vec<f64> = Vec::with_capacity(n);
    for blank in blanks {
        if let MethodBlank::Numerical(result) = blank {
            if !result.si().is_finite() {
                return Err(NoLimit::OutOfRange { what: "a blank", value: result.si() });
            }
            numerical.push(result.si());
        }
    }
    numerical.sort_by(f64::total_cmp);
    let Some(&highest) = numerical.last() else { return Ok(OfBlanks::DoesNotApply { n }) };
    if numerical.len() == n {
        let results: Vec<K> = numerical.iter().map(|&result| K::from_si(result)).collect();
        let (mean, sd, t) = with_t(&results)?;
        let limit = K::from_si(mean.max(0.0) + t * sd);
        return Ok(OfBlanks::AllNumerical { n, mean: K::from_si(mean), sd: K::from_si(sd), t, limit });
    }
    if n < RANKED_FROM {
        return Ok(OfBlanks::Highest { n, limit: K::from_si(highest) });
    }
    let (unrounded, rank) = rank_of(n);
    // Blanks without a numerical result rank lowest. Where even that rank has none, the lowest numerical one is above it.
    let among_numerical = (rank + numerical.len()).saturating_sub(n + 1);
    Ok(OfBlanks::Ranked { n, unrounded, rank, limit: K::from_si(numerical[among_numerical]) })
}

/// The rank of the 99th percentile among n blanks: 0.99·n before and after rounding.
///
/// # Source
/// As [`of_blanks`]: 164 blanks, 162.36, rank 162.
pub fn rank_of(n: usize) -> (f64, usize) {
    let unrounded = 0.99 * count(n);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below n, not negative")]
    let rank = unrounded.round() as usize;
    (unrounded, rank)
}

fn with_t<K: Kind>(results: &[K]) -> Result<(f64, f64, f64), NoLimit> {
    let figures: Vec<f64> = results.iter().map(|result| result.si()).collect();
    if figures.len() < 2 {
        return Err(NoLimit::TooFewReadings { found: figures.len(), needed: 2 });
    }
    let out = NoLimit::OutOfRange { what: "a result", value: f64::INFINITY };
    let summary = summary::type_a(&figures).ok_or(out)?;
    let t = student_t::upper_quantile(0.01, summary.dof).ok_or(out)?;
    Ok((summary.mean, summary.sd, t))
}

/// Factors that take a limit from a standard deviation to the ends of its confidence interval.
///
/// # Arguments
/// * `level`: two-sided, for example 0.95.
///
/// # Source
/// √(ν/χ²): 40 CFR Part 136, Appendix B, Revision 1.11, sections 6 and 7. Checked by `tests/published/epa_mdl.rs`.
pub fn interval_factors(dof: f64, level: f64) -> Option<(f64, f64)> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    let tail = 0.5 * (1.0 - level);
    let low = (dof / chi_squared::upper_quantile(tail, dof)?).sqrt();
    let high = (dof / chi_squared::quantile(tail, dof)?).sqrt();
    Some((low, high))
}

/// Whether an existing limit stands when it is worked out again.
///
/// # Arguments
/// * `blanks_above`: the part of the blanks that exceed the existing limit.
///
/// # Source
/// 40 CFR Part 136, Appendix B, Revision 2, step (4): the new one within 0.5 to 2.0 times it, fewer than 3 % of the blanks
/// above (from memory).
pub fn existing_stands<K: Kind>(existing: K, new: K, blanks_above: f64) -> bool {
    let ratio = new.si() / existing.si();
    (0.5..=2.0).contains(&ratio) && blanks_above < 0.03
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_metrology::kind::MassConcentration;

    fn numerical(figures: &[f64]) -> Vec<MethodBlank<MassConcentration>> {
        figures.iter().map(|&figure| MethodBlank::Numerical(MassConcentration::from_si(figure))).collect()
    }

    #[test]
    fn blanks_without_any_number_do_not_apply() {
        let blanks = vec![MethodBlank::<MassConcentration>::NotDetected; 8];
        assert_eq!(of_blanks(&blanks).unwrap().limit(), None);
    }

    #[test]
    fn a_rank_below_the_numerical_blanks_takes_the_lowest_of_them() {
        let mut blanks = vec![MethodBlank::NotDetected; 199];
        blanks.extend(numerical(&[0.3]));
        // Rank 198 of 200 has no numerical result.
        assert_eq!(of_blanks(&blanks).unwrap().limit(), Some(MassConcentration::from_si(0.3)));
    }

    #[test]
    fn a_mean_below_zero_counts_as_zero() {
        let OfBlanks::AllNumerical { mean, sd, t, limit, .. } = of_blanks(&numerical(&[-0.4, -0.2, -0.3])).unwrap()
        else {
            panic!("all are numerical");
        };
        assert!(mean.si() < 0.0);
        assert_eq!(limit.si(), t * sd.si());
    }

    #[test]
    fn six_spikes_are_too_few() {
        let spikes = [0.5; 6].map(MassConcentration::from_si);
        let refused = method_detection_limit(&spikes, &numerical(&[0.0; 7]));
        assert_eq!(refused, Err(NoLimit::TooFewReadings { found: 6, needed: 7 }));
    }

    #[test]
    fn a_limit_stands_within_half_and_twice_itself() {
        let limit = MassConcentration::from_si;
        assert!(existing_stands(limit(1.0), limit(1.9), 0.01));
        assert!(!existing_stands(limit(1.0), limit(2.1), 0.01));
        assert!(!existing_stands(limit(1.0), limit(1.0), 0.03));
        assert!(!existing_stands(limit(0.0), limit(0.0), 0.0));
    }
}
