//! Conformity: a result against its limit, by the decision rule of the order, with the risks that go with it.

use darkline_metrology::conformity::{
    DecisionRule as Rule, Guard, Limit as Bound, MeasuredValue, Prior as Law, Statement, decide, global_risk,
    probability_of_conformity, replicates_that_would_decide,
};
use darkline_metrology::kind::Kind;
use darkline_metrology::rounding::{Decimal, Digits, ReportRule, Rounding, report};
use darkline_record::method::ResolvedMethod;
use darkline_record::order::{Comparison, DecisionRule, GuardBand, Limit};

use crate::combining::ResultEstimate;
use crate::outcome::{GlobalRiskOutcome, Replicates, Reported, StatementOutcome, ValueOutcome};
use crate::stating::in_result_unit;

/// How results are printed, for an order that compares them as printed.
///
/// # Source
/// JCGM 100:2008 (GUM), 7.2.6.
const PRINTED: ReportRule =
    ReportRule { digits: Digits::Two, uncertainty: Rounding::HalfEven, value: Rounding::HalfEven };

/// Judges a result against its limit.
///
/// What lies below the quantification limit complies where that limit itself keeps to the specified limit, and is
/// inconclusive otherwise.
///
/// # Source
/// JCGM 106:2012, 8.2 and 8.3; ILAC-G8:09/2019, 4.2. Below the quantification limit: common practice, no source.
pub fn statement(
    limit: &Limit,
    method: &ResolvedMethod,
    reported: &Reported,
    value: Option<&ResultEstimate>,
) -> Option<StatementOutcome> {
    let at_most = in_result_unit(limit.at_most.si(), method)?;
    let rule = rule(limit, at_most)?;
    let mut outcome = StatementOutcome {
        statement: Statement::Inconclusive,
        limit: limit.at_most.to_string(),
        origin: limit.origin.clone(),
        decision_rule: words(limit, &rule),
        probability_of_conformity: None,
        guard_band: None,
        replicates: None,
        global_risk: None,
    };
    match reported {
        Reported::Awaiting { .. } | Reported::Withheld { .. } => return None,
        Reported::BelowLoq { limit: quantification_limit, .. } => {
            if *quantification_limit <= at_most {
                outcome.statement = Statement::Complies;
            }
        }
        Reported::Value { result } => {
            // The limit keeps its written digits where its unit is that of the result.
            let bound = if limit.at_most.unit_symbol() == method.result.unit {
                limit.at_most.digits().parse().ok()?
            } else {
                Decimal::from_f64(at_most)?
            };
            let dof = value?.dof;
            let measured = measured(result, dof, limit.comparison)?;
            let assessment = decide(&measured, &Bound::AtMost(bound), &rule)?;
            outcome.statement = assessment.statement;
            outcome.guard_band = Some(assessment.guard_band.to_f64()).filter(|_| rule != Rule::SimpleAcceptance);
            outcome.probability_of_conformity =
                probability_of_conformity(result.value, result.u, dof, f64::NEG_INFINITY, at_most);
            if outcome.statement == Statement::Inconclusive {
                outcome.replicates = replicates(result, at_most);
            }
            outcome.global_risk = risks(limit, method, result, at_most, assessment.guard_band.to_f64());
        }
    }
    Some(outcome)
}

fn measured(result: &ValueOutcome, dof: f64, comparison: Comparison) -> Option<MeasuredValue> {
    let (value, expanded_u) = match comparison {
        Comparison::Unrounded => (Decimal::from_f64(result.value)?, Decimal::from_f64(result.expanded_u)?),
        Comparison::AsPrinted => {
            let rounded = report(result.value, result.expanded_u, PRINTED)?;
            (rounded.value, rounded.u)
        }
    };
    Some(MeasuredValue { value, expanded_u, coverage_factor: result.coverage_factor, dof })
}

fn rule(limit: &Limit, at_most: f64) -> Option<Rule> {
    let guard = match &limit.guard {
        None => Guard::ExpandedUncertainty,
        Some(GuardBand::PartOfU(part)) => Guard::Multiple(Decimal::from_f64(part.value().si())?),
        Some(GuardBand::Risk(risk)) => Guard::Risk(risk.value().si()),
        Some(GuardBand::PartOfLimit(part)) => Guard::Width(Decimal::from_f64(part.value().si() * at_most)?),
    };
    Some(match limit.decision_rule {
        DecisionRule::SimpleAcceptance => Rule::SimpleAcceptance,
        DecisionRule::GuardBandU => Rule::GuardedBothWays(guard),
        DecisionRule::GuardedAcceptance => Rule::GuardedAcceptance(guard),
        DecisionRule::GuardedRejection => Rule::GuardedRejection(guard),
    })
}

/// The rule as it is printed with the statement.
fn words(limit: &Limit, rule: &Rule) -> String {
    let mut words = rule.words();
    if let Some(GuardBand::PartOfLimit(part)) = &limit.guard {
        words.push_str(&format!(" (guard band: {part} of the limit)"));
    }
    if limit.comparison == Comparison::AsPrinted {
        words.push_str("; value and uncertainty are rounded before they are compared");
    }
    words
}

/// How many readings in all would bring the guard band within the distance from the limit: the scatter of the readings of the
/// sample against what no reading lessens.
fn replicates(result: &ValueOutcome, at_most: f64) -> Option<Replicates> {
    let of_readings: Vec<f64> = result
        .contributions
        .iter()
        .filter(|(source, _)| source.starts_with("calibration/readings/"))
        .map(|(_, u)| u * u)
        .collect();
    let n = u32::try_from(of_readings.len()).ok().filter(|n| *n > 0)?;
    let variance: f64 = of_readings.iter().sum();
    let all: f64 = result.contributions.iter().map(|(_, u)| u * u).sum();
    let one_reading = (variance * f64::from(n)).sqrt();
    let shared = (all - variance).max(0.0).sqrt();
    Some(match replicates_that_would_decide(one_reading, shared, at_most - result.value, result.coverage_factor) {
        Some(readings) => Replicates::WouldDecide { readings },
        None => Replicates::NoneWould,
    })
}

/// The risks of the rule over all that is judged, where the order says what is known of it.
fn risks(
    limit: &Limit,
    method: &ResolvedMethod,
    result: &ValueOutcome,
    at_most: f64,
    guard_band: f64,
) -> Option<GlobalRiskOutcome> {
    let prior = limit.prior.as_ref()?;
    let law =
        Law::Normal { mean: in_result_unit(prior.mean.si(), method)?, sd: in_result_unit(prior.sd.si(), method)? };
    let acceptance = match limit.decision_rule {
        DecisionRule::SimpleAcceptance => at_most,
        DecisionRule::GuardBandU | DecisionRule::GuardedAcceptance => at_most - guard_band,
        DecisionRule::GuardedRejection => at_most + guard_band,
    };
    let open = f64::NEG_INFINITY;
    let found = global_risk(law, result.u, (open, at_most), (open, acceptance))?;
    Some(GlobalRiskOutcome {
        nonconforming: found.nonconforming,
        consumer: found.consumer,
        producer: found.producer,
        acceptance_limit: acceptance,
    })
}
