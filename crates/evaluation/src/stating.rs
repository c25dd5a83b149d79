//! Sixth stage: what is reported of each sample, and, once controls have passed, whether it keeps to its limit.

use darkline_metrology::kind::Kind;
use darkline_metrology::model::Model;
use darkline_metrology::rounding::{Decimal, Rounding};
use darkline_quality::flag::Holds;
use darkline_record::decision::FlagId;
use darkline_record::identity::{BatchId, RowId, SampleId};
use darkline_record::method::{Coverage, CoverageInterval, ResolvedMethod, UncertaintyPlan};
use darkline_record::order::Requested;
use darkline_record::package::DataPackage;
use darkline_record::run::RowHolds;

use crate::calibrating::{Calibrated, Reader, standards_unit};
use crate::combining::{ResultEstimate, ResultTerm};
use crate::covering;
use crate::flagging::RunWorked;
use crate::judging;
use crate::outcome::{BudgetLine, FlagOutcome, Reported, ResultLimits, ResultOutcome, ValueOutcome};

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
    /// The limits of its rows in the unit of the result, the highest of each where there are several.
    pub limits: Option<ResultLimits>,
    /// Relative standard uncertainty of the initial slope of a curve it was read from, the largest where there are several.
    pub u_curves: Option<f64>,
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
    let mut worked =
        SampleWorked { term: None, rows: Vec::new(), batches: Vec::new(), awaited: None, limits: None, u_curves: None };
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
            let portion = run.portions.iter().find(|result| result.row == solution.row);
            worked.u_curves = largest(worked.u_curves, u_curve(run));
            if let (Some(limits), Some(factor)) = (&run.limits, portion.and_then(|portion| portion.per_concentration)) {
                let unit = standards_unit(run.run);
                let in_result = |limit: Option<f64>| limit.map(|limit| unit.of(limit).si() * factor);
                let before = worked.limits;
                let highest = |limit: Option<f64>, before: Option<f64>| largest(in_result(limit), before);
                worked.limits = Some(ResultLimits {
                    decision: highest(limits.decision, before.and_then(|before| before.decision)),
                    detection: highest(limits.detection, before.and_then(|before| before.detection)),
                    quantification: highest(limits.quantification, before.and_then(|before| before.quantification)),
                    stated_is_kept: None,
                });
            }
            match portion.and_then(|portion| portion.result) {
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

fn largest(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    one.into_iter().chain(other).reduce(f64::max)
}

/// The relative standard uncertainty of the slope of a curve; a straight line divides on the tape, where it is seen itself.
fn u_curve(run: &RunWorked<'_, '_>) -> Option<f64> {
    let Calibrated::Fitted(curve) = &run.calibrated else { return None };
    let Reader::Curve { .. } = curve.reader else { return None };
    let slope = curve.function.parameters().into_iter().find(|parameter| {
        matches!(parameter.name, "slope" | "initial slope" | "slope of the absorbable light" | "k1")
    })?;
    slope.u.map(|u| (u / slope.value).abs()).filter(|relative| relative.is_finite())
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
    state_with(model, requested, sample, method, worked, flags, controls_passed, covering::coverage)
}

/// How a coverage factor, and its probability where there is one, follows from what the method states and an estimate.
pub(crate) type CoverageOf = fn(&Coverage, &ResultEstimate) -> (f64, Option<f64>);

/// The same with a coverage factor of the caller's.
#[allow(clippy::too_many_arguments, reason = "the stage has seven, and the eighth is what editions differ by")]
pub(crate) fn state_with(
    model: &Model,
    requested: &Requested,
    sample: &SampleId,
    method: &ResolvedMethod,
    worked: &SampleWorked<'_>,
    flags: &[FlagOutcome],
    controls_passed: bool,
    coverage: CoverageOf,
) -> ResultOutcome {
    let estimate = worked.term.and_then(|term| term.estimate(model, &method.result.unit));
    let value = estimate.as_ref().filter(|estimate| estimate.value.is_finite() && estimate.u.is_finite());
    let found = value.map(|estimate| value_outcome(model, method, worked, estimate, coverage));
    let reported = match (held_by(worked, flags), found) {
        (Some(because), found) => Reported::Withheld { because, found },
        (None, None) => Reported::Awaiting { row: worked.awaited.clone() },
        (None, Some(found)) => match below_limit(method, worked.limits, &found) {
            Some((limit, written)) => Reported::BelowLoq { limit, written, found },
            None => Reported::Value { result: found },
        },
    };
    let statement = requested
        .limit
        .as_ref()
        .filter(|_| controls_passed)
        .and_then(|limit| judging::statement(limit, method, &reported, value));
    ResultOutcome {
        sample: sample.clone(),
        element: requested.element.clone(),
        method: method.id.clone(),
        kind: method.result.kind.words().into(),
        unit: method.result.unit.clone(),
        reported,
        statement,
        rows: worked.rows.clone(),
        limits: worked.limits.map(|limits| ResultLimits { stated_is_kept: is_kept(method, limits), ..limits }),
    }
}

/// Whether the quantification limit that the method states is at least the one worked out.
fn is_kept(method: &ResolvedMethod, limits: ResultLimits) -> Option<bool> {
    let stated = in_result_unit(method.result.quantification_limit.as_ref()?.si(), method)?;
    // Both may come of one decimal figure by different ways; a difference in the last bits says nothing.
    limits.quantification.map(|worked_out| stated >= worked_out * (1.0 - 1e-12))
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

/// The quantification limit, and how it is written, where a value lies below it: the one the method states, else the one that
/// was worked out.
fn below_limit(method: &ResolvedMethod, limits: Option<ResultLimits>, found: &ValueOutcome) -> Option<(f64, String)> {
    let Some(figure) = method.result.quantification_limit.as_ref() else {
        let limit = limits?.quantification?;
        let written = Decimal::from_f64(limit)?.rounded_to_digits(2, Rounding::Up).to_string();
        return (found.value < limit).then_some((limit, written));
    };
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

/// The value with its uncertainty. Where first order does not hold against Monte Carlo, the coverage interval of the trials is
/// reported: the expanded uncertainty reaches to its farther end.
///
/// DIFFERENCE to JCGM 101:2008, 7.6: the value stays that of the model at the estimates of its inputs, and u is the expanded
/// uncertainty over k. A quotient by an estimated slope has trials without a mean or variance; their average is no estimate.
pub(crate) fn value_outcome(
    model: &Model,
    method: &ResolvedMethod,
    worked: &SampleWorked<'_>,
    estimate: &ResultEstimate,
    coverage: CoverageOf,
) -> ValueOutcome {
    let (coverage_factor, coverage_probability) = coverage(&method.result.coverage_factor, estimate);
    let plan = method.uncertainty.as_ref().unwrap_or(&UncertaintyPlan::SILENT);
    let monte_carlo = worked.term.and_then(|term| {
        let denominator = covering::passes(model, method, term, worked.u_curves)?;
        let unit = method.result.unit.as_str();
        covering::validate(model, plan, unit, term, estimate, coverage_factor, Some(denominator))
    });
    let reported = monte_carlo.as_ref().filter(|found| !found.holds);
    let value = estimate.value;
    let (u, expanded_u) = match reported {
        None => (estimate.u, coverage_factor * estimate.u),
        Some(found) => {
            let (low, high) = match found.compared {
                CoverageInterval::Symmetric => found.symmetric,
                CoverageInterval::Shortest => found.shortest,
            };
            let farther = (value - low).max(high - value);
            (farther / coverage_factor, farther)
        }
    };
    ValueOutcome {
        value,
        u,
        expanded_u,
        coverage_factor,
        dof: Some(estimate.dof).filter(|dof| dof.is_finite()),
        budget: budget(estimate),
        contributions: estimate.contributions.clone(),
        coverage_probability,
        monte_carlo,
        top_down: plan.top_down.as_ref().and_then(|plan| covering::top_down(plan, value, u)),
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
