//! The honesty of repeats: how often each result was measured, how often it may be, and what chance that gives a result at
//! its limit.
//!
//! [`repeats`] counts; [`chance_of_passing`] is the chance that the best of so many results passes although the true value
//! lies at the limit. It belongs into the internal part of a report: who may measure until it passes, passes.

use darkline_metrology::distribution::normal;
use darkline_record::identity::{Element, SampleId};
use darkline_record::order::DecisionRule;
use darkline_record::package::DataPackage;
use darkline_record::run::{RowHolds, Run};
use serde::{Deserialize, Serialize};

use crate::covering;

/// How often a result was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repeats {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// Times that rows of its portions were measured again, joined or replaced.
    pub repeated: u32,
    /// Times the method allows, fixed before anything was measured; absent where it states none.
    pub allowed: Option<u32>,
    /// Chance that one of the results passes although the true value lies at the limit.
    pub chance: f64,
}

/// Counts the repeats of each result that is held against a limit and was measured more than once, in the order of the
/// report.
pub fn repeats(package: &DataPackage) -> Vec<Repeats> {
    let mut found = Vec::new();
    for requested in &package.order.analytes {
        let (Some(limit), Some(method)) = (&requested.limit, package.method(&requested.method)) else { continue };
        for sample in &package.order.samples {
            let portions = package.portions_of(&sample.id);
            let is_ours = |holds: &RowHolds| match holds {
                RowHolds::Portion { batch, portion, .. } => {
                    portions.iter().any(|(of, candidate)| *of == batch && candidate.id == *portion)
                }
                _ => false,
            };
            let repeated: usize = package
                .runs
                .iter()
                .filter(|run| run.method == method.id)
                .map(|run| {
                    run.rows()
                        .filter(|row| is_ours(&row.holds) && row.follows.is_some() && is_read(run, row.number))
                        .count()
                })
                .sum();
            let repeated = u32::try_from(repeated).unwrap_or(u32::MAX);
            if repeated == 0 {
                continue;
            }
            found.push(Repeats {
                sample: sample.id.clone(),
                element: requested.element.clone(),
                repeated,
                allowed: method.limits.most_repeats.map(u32::from),
                chance: chance_of_passing(
                    limit.decision_rule,
                    covering::usual_factor(&method.result.coverage_factor),
                    repeated,
                ),
            });
        }
    }
    found
}

fn is_read(run: &Run, row: u32) -> bool {
    run.readings.iter().any(|reading| reading.row == row)
}

/// The chance that at least one of `1 + repeated` independent results passes although the true value lies at the limit.
///
/// # Source
/// `1 − (1 − p)^(1 + n)` with p = 1/2 for simple acceptance and p = Φ(−k) for a guard band of k standard uncertainties, Φ(k) for guarded
/// rejection; JCGM
/// 106:2012, 7 and 8.3 (p), the rest is the rule of independent trials.
///
/// # Example
/// ```
/// use darkline_evaluation::repeating::chance_of_passing;
/// use darkline_record::order::DecisionRule;
/// assert_eq!(chance_of_passing(DecisionRule::SimpleAcceptance, 2.0, 0), 0.5);
/// assert_eq!(chance_of_passing(DecisionRule::SimpleAcceptance, 2.0, 2), 0.875);
/// assert!(chance_of_passing(DecisionRule::GuardBandU, 2.0, 2) < 0.07);
/// ```
pub fn chance_of_passing(rule: DecisionRule, coverage_factor: f64, repeated: u32) -> f64 {
    let once = match rule {
        DecisionRule::SimpleAcceptance => 0.5,
        DecisionRule::GuardBandU | DecisionRule::GuardedAcceptance => normal::cdf(-coverage_factor).unwrap_or(0.0),
        DecisionRule::GuardedRejection => normal::cdf(coverage_factor).unwrap_or(1.0),
    };
    let mut fails = 1.0 - once;
    for _ in 0..repeated {
        fails *= 1.0 - once;
        // Beyond this the chance is 1 to every digit.
        if fails < 1e-300 {
            break;
        }
    }
    1.0 - fails
}
