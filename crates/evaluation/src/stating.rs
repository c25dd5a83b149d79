//! Sixth stage: what is reported of each sample, and, once controls have passed, whether it keeps to its limit.

use darkline_metrology::conformity::{DecisionRule as Rule, Guard, Limit as Bound, MeasuredValue, Statement, decide};
use darkline_metrology::kind::Kind;
use darkline_metrology::model::Model;
use darkline_metrology::rounding::Decimal;
use darkline_quality::flag::Holds;
use darkline_record::decision::FlagId;
use darkline_record::identity::{BatchId, RowId, SampleId};
use darkline_record::method::ResolvedMethod;
use darkline_record::order::{DecisionRule, Limit, Requested};
use darkline_record::package::DataPackage;
use darkline_record::run::RowHolds;

use crate::combining::{ResultEstimate, ResultTerm};
use crate::flagging::RunWorked;
use crate::outcome::{BudgetLine, FlagOutcome, Reported, ResultOutcome, StatementOutcome, ValueOutcome};

/// What a result rests on.
#[derive(Clone, Debug)]
pub struct SampleWorked<'m> {
    /// The result; `None` where it has not been measured.
    pub term: Option<ResultTerm<'m>>,
    /// Rows it rests on, joining rows apart.
    pub rows: Vec<RowId>,
    /// Batches of its portions.
    pub batches: Vec<BatchId>,
    /// A row that is planned for it and has brought nothing yet.
    pub awaited: Option<RowId>,
}

/// Brings the portions of a sample together: the mean over its portions and rows, in the order of runs and rows.
pub fn gather<'m>(
    model: &'m Model,
    package: &DataPackage,
    runs: &[RunWorked<'_, 'm>],
    sample: &SampleId,
    method: &ResolvedMethod,
) -> SampleWorked<'m> {
    let portions = package.portions_of(sample);
    let mut worked = SampleWorked { term: None, rows: Vec::new(), batches: Vec::new(), awaited: None };
    let mut terms = Vec::new();
    for run in runs.iter().filter(|run| run.method.id == method.id) {
        for solution in run.solutions.iter().filter(|solution| !solution.replaced) {
            let Some(RowHolds::Portion { batch, portion, .. }) = run.run.row(solution.row).map(|row| &row.holds) else {
                continue;
            };
            if !portions.iter().any(|(of, candidate)| *of == batch && candidate.id == *portion) {
                continue;
            }
            let row = run.run.row_id(solution.row);
            if !worked.batches.contains(batch) {
                worked.batches.push(batch.clone());
            }
            match run.portions.iter().find(|result| result.row == solution.row).and_then(|result| result.result) {
                Some(term) => terms.push(term),
                None => worked.awaited = worked.awaited.or(Some(row.clone())),
            }
            worked.rows.push(row);
        }
    }
    if worked.awaited.is_none() {
        worked.term = ResultTerm::mean(model, &terms, &method.result.unit, &format!("mean({sample})"));
    }
    worked
}

/// States the result of one sample.
pub fn state(
    model: &Model,
    requested: &Requested,
    sample: &SampleId,
    method: &ResolvedMethod,
    worked: &SampleWorked<'_>,
    flags: &[FlagOutcome],
    controls_passed: bool,
) -> ResultOutcome {
    let coverage_factor = method.result.coverage_factor.value().si();
    let estimate = worked.term.and_then(|term| term.estimate(model, &method.result.unit));
    let value = estimate.as_ref().filter(|estimate| estimate.value.is_finite() && estimate.u.is_finite());
    let found = value.map(|estimate| value_outcome(estimate, coverage_factor));
    let reported = match (held_by(worked, flags), found) {
        (Some(because), found) => Reported::Withheld { because, found },
        (None, None) => Reported::Awaiting { row: worked.awaited.clone() },
        (None, Some(found)) => match below_limit(method, &found) {
            Some((limit, written)) => Reported::BelowLoq { limit, written, found },
            None => Reported::Value { result: found },
        },
    };
    let statement = requested
        .limit
        .as_ref()
        .filter(|_| controls_passed)
        .and_then(|limit| statement(limit, method, &reported, value));
    ResultOutcome {
        sample: sample.clone(),
        element: requested.element.clone(),
        method: method.id.clone(),
        kind: method.result.kind.words().into(),
        unit: method.result.unit.clone(),
        reported,
        statement,
        rows: worked.rows.clone(),
    }
}

fn held_by(worked: &SampleWorked<'_>, flags: &[FlagOutcome]) -> Option<FlagId> {
    let holds = |flag: &&FlagOutcome| match &flag.flag.holds {
        Holds::Nothing => false,
        Holds::Rows(rows) => rows.iter().any(|row| worked.rows.contains(row)),
        Holds::Batch(batch) => worked.batches.contains(batch),
        Holds::Run(run) => worked.rows.iter().any(|row| row.run == *run),
    };
    flags.iter().filter(|flag| flag.stops()).find(holds).map(|flag| flag.flag.id.clone())
}

/// The quantification limit, and how it is written, where a value lies below it.
fn below_limit(method: &ResolvedMethod, found: &ValueOutcome) -> Option<(f64, String)> {
    let figure = method.result.quantification_limit.as_ref()?;
    let limit = in_result_unit(figure.si(), method)?;
    // Written digits stay where the unit is that of the result; 0.20 is not 0.2.
    let written =
        if figure.unit_symbol() == method.result.unit { figure.digits().to_owned() } else { limit.to_string() };
    (found.value < limit).then_some((limit, written))
}

/// A figure in SI, read in the unit of the method's results.
pub(crate) fn in_result_unit(si: f64, method: &ResolvedMethod) -> Option<f64> {
    use darkline_metrology::kind::{AmountPerDose, MassConcentration, MassFraction, ReleasePerArea};
    use darkline_record::order::ResultKind;
    fn read<K: Kind>(si: f64, unit: &str) -> Option<f64> {
        K::unit(unit).map(|unit| unit.read_si(si))
    }
    let unit = method.result.unit.as_str();
    match method.result.kind {
        ResultKind::MassConcentration => read::<MassConcentration>(si, unit),
        ResultKind::MassFraction => read::<MassFraction>(si, unit),
        ResultKind::ReleasePerArea => read::<ReleasePerArea>(si, unit),
        ResultKind::AmountPerDose => read::<AmountPerDose>(si, unit),
    }
}

fn value_outcome(estimate: &ResultEstimate, coverage_factor: f64) -> ValueOutcome {
    ValueOutcome {
        value: estimate.value,
        u: estimate.u,
        expanded_u: coverage_factor * estimate.u,
        coverage_factor,
        dof: Some(estimate.dof).filter(|dof| dof.is_finite()),
        budget: budget(estimate),
        contributions: estimate.contributions.clone(),
    }
}

/// The budget by group of sources, largest share first.
fn budget(estimate: &ResultEstimate) -> Vec<BudgetLine> {
    let mut groups: std::collections::BTreeMap<&str, f64> = std::collections::BTreeMap::new();
    for (source, u) in &estimate.contributions {
        *groups.entry(group(source)).or_insert(0.0) += u * u;
    }
    let variance: f64 = groups.values().sum();
    let mut lines: Vec<BudgetLine> = groups
        .into_iter()
        .map(|(source, part)| BudgetLine { source: source.into(), u: part.sqrt(), share: part / variance })
        .collect();
    lines.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.source.cmp(&b.source)));
    lines
}

/// The group of a source: a shared cause stands by its own name, others by the head of their name.
fn group(source: &str) -> &str {
    match source.split_once('/') {
        Some(("shared", name)) => name,
        Some((head, _)) => head,
        None => source,
    }
}

/// Judges a result against its limit.
///
/// What lies below the quantification limit complies where that limit itself keeps to the specified limit, and is
/// inconclusive otherwise.
///
/// # Source
/// JCGM 106:2012, 8.2 and 8.3; ILAC-G8:09/2019, 4.2. Below the quantification limit: common practice, no source.
fn statement(
    limit: &Limit,
    method: &ResolvedMethod,
    reported: &Reported,
    value: Option<&ResultEstimate>,
) -> Option<StatementOutcome> {
    let rule = match limit.decision_rule {
        DecisionRule::SimpleAcceptance => Rule::SimpleAcceptance,
        DecisionRule::GuardBandU => Rule::GuardedBothWays(Guard::ExpandedUncertainty),
    };
    let at_most = in_result_unit(limit.at_most.si(), method)?;
    let statement = match reported {
        Reported::Awaiting { .. } | Reported::Withheld { .. } => return None,
        Reported::BelowLoq { limit: quantification_limit, .. } => {
            if *quantification_limit <= at_most {
                Statement::Complies
            } else {
                Statement::Inconclusive
            }
        }
        Reported::Value { result } => {
            // The limit keeps its written digits where its unit is that of the result.
            let bound = if limit.at_most.unit_symbol() == method.result.unit {
                limit.at_most.digits().parse().ok()?
            } else {
                Decimal::from_f64(at_most)?
            };
            let measured = MeasuredValue {
                value: Decimal::from_f64(result.value)?,
                expanded_u: Decimal::from_f64(result.expanded_u)?,
                coverage_factor: result.coverage_factor,
                dof: value?.dof,
            };
            decide(&measured, &Bound::AtMost(bound), &rule)?.statement
        }
    };
    Some(StatementOutcome {
        statement,
        limit: limit.at_most.to_string(),
        origin: limit.origin.clone(),
        decision_rule: rule.words(),
    })
}
