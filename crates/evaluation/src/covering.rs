//! How far a result may lie from its value: the coverage factor, first order held against Monte Carlo, control data beside both.

use darkline_metrology::bias::BiasStudy;
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, numerical_tolerance};
use darkline_record::figure::Written;
use darkline_record::method::{Coverage, CoverageInterval, ResolvedMethod, TopDown, UncertaintyPlan};

use crate::combining::{ResultEstimate, ResultTerm};
use crate::outcome::{MonteCarloOutcome, TopDownOutcome};

/// The coverage factor of an estimate, and the probability where that was asked for.
///
/// # Source
/// GUM G.3.2 and G.4.1, as [`darkline_metrology::estimate::Estimate::coverage_factor`].
pub fn coverage(coverage: &Coverage, estimate: &ResultEstimate) -> (f64, Option<f64>) {
    match coverage {
        Coverage::Factor(factor) => (factor.value().si(), None),
        Coverage::Probability { probability } => {
            let probability = probability.value().si();
            let factor = student_t::coverage_factor(probability, truncated(estimate.dof));
            // The door lets no probability in that has no factor.
            (factor.unwrap_or(f64::NAN), Some(probability))
        }
    }
}

/// The coverage factor where nothing is known of the degrees of freedom: the fixed one, or that of the normal law.
pub fn usual_factor(coverage: &Coverage) -> f64 {
    match coverage {
        Coverage::Factor(factor) => factor.value().si(),
        Coverage::Probability { probability } => {
            student_t::coverage_factor(probability.value().si(), f64::INFINITY).unwrap_or(f64::NAN)
        }
    }
}

/// Effective degrees of freedom as the tables of the guide are entered.
///
/// # Source
/// GUM G.4.1, with an allowance of one in ten thousand so that 18.9987 counts as 19.
fn truncated(dof: f64) -> f64 {
    if dof.is_finite() { (dof * 1.0001).floor().max(1.0) } else { dof }
}

/// The probability that a fixed factor covers at the effective degrees of freedom.
fn probability_of(factor: f64, dof: f64) -> Option<f64> {
    let above = student_t::upper_tail(factor, truncated(dof))?;
    Some(1.0 - 2.0 * above).filter(|p| *p > 0.0 && *p < 1.0)
}

/// The relative standard uncertainty of the least certain denominator of a result, where the method wants it looked at and
/// it passes what the method states.
pub fn passes(model: &Model, method: &ResolvedMethod, term: ResultTerm<'_>, of_curves: Option<f64>) -> Option<f64> {
    let above = method.uncertainty.as_ref()?.monte_carlo_above.as_ref()?.value().si();
    let on_tape = term.least_certain_denominator(model);
    let largest = on_tape.into_iter().chain(of_curves).fold(f64::NEG_INFINITY, f64::max);
    (largest > above).then_some(largest)
}

/// Holds first order against Monte Carlo.
///
/// # Arguments
/// * `factor`: the coverage factor of first order; the intervals cover what it covers.
/// * `denominator`: what asked for it; `None` where a person did.
///
/// `None` where the trials give no interval.
///
/// # Source
/// JCGM 101:2008, 8.1: both ends within the numerical tolerance of the digits that count.
pub fn validate<'m>(
    model: &'m Model,
    plan: &UncertaintyPlan,
    unit: &str,
    term: ResultTerm<'m>,
    estimate: &ResultEstimate,
    factor: f64,
    denominator: Option<f64>,
) -> Option<MonteCarloOutcome> {
    let probability = probability_of(factor, estimate.dof)?;
    let simulated = term.monte_carlo(model, unit, plan.trials, probability)?;
    let tolerance = numerical_tolerance(estimate.u, plan.digits)?;
    let (low, high) = match plan.interval {
        CoverageInterval::Symmetric => simulated.symmetric,
        CoverageInterval::Shortest => simulated.shortest,
    };
    let expanded_u = factor * estimate.u;
    let d_low = (estimate.value - expanded_u - low).abs();
    let d_high = (estimate.value + expanded_u - high).abs();
    Some(MonteCarloOutcome {
        trials: plan.trials,
        without_solution: simulated.without_solution,
        mean: simulated.mean,
        u: simulated.u,
        probability,
        symmetric: simulated.symmetric,
        shortest: simulated.shortest,
        compared: plan.interval,
        d_low,
        d_high,
        tolerance,
        holds: d_low <= tolerance && d_high <= tolerance,
        first_order: (estimate.value, estimate.u, expanded_u),
        denominator,
    })
}

/// The uncertainty that control data give at a value, beside that of the budget; `None` at a value of zero.
///
/// # Source
/// Nordtest Technical Report TR 537; ISO 11352:2012: u = √(u(R_w)² + RMS(bias)² + u(C_ref)²), relative.
pub fn top_down(plan: &TopDown, value: f64, u: f64) -> Option<TopDownOutcome> {
    let part = |written: &Written<Factor>| written.value().si();
    let biases: Vec<f64> = plan.biases.iter().map(part).collect();
    let study = BiasStudy::of_several(part(&plan.u_rw), &biases, part(&plan.u_reference))?;
    let at_value = study.u * value.abs();
    Some(TopDownOutcome {
        rms_bias: study.rms_bias,
        u_bias: study.u_bias,
        relative_u: study.u,
        u: at_value,
        budget_over_top_down: Some(u / at_value).filter(|ratio| ratio.is_finite())?,
    })
}
