//! duplicates-differ
//!
//! What it sees: two portions of one sample whose results differ by more than the method allows: relative to their mean, or,
//! where one of them lies below five times the quantification limit, by more than that limit.
//! Why it matters: the batch was not prepared as evenly as its results claim, or the sample is not what one portion can
//! stand for.
//! What to do: measure the duplicate again; if it stays, prepare the batch again.
//! Source: EPA methods 7000B and 7010, 9.7 (relative difference); CLP inorganic statements of work (near the limit; from
//! memory); the method document, `highest_duplicate_difference`; where it is silent, nothing is flagged.

use darkline_metrology::kind::{AmountPerDose, Kind, MassConcentration, MassFraction, ReleasePerArea};
use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::{BatchId, PortionId};
use darkline_record::order::ResultKind;
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenControlKind};

/// The rule.
pub const RULE: Rule = Rule {
    name: "duplicates-differ",
    source: "EPA methods 7000B and 7010, 9.7; CLP inorganic statements of work (from memory); the method document, \
             highest_duplicate_difference",
    see,
    say,
};

/// Times the quantification limit, below which the difference itself is judged.
const NEAR: f64 = 5.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(allowed) = view.method.limits.highest_duplicate_difference.as_ref().map(|figure| figure.value().si())
    else {
        return Vec::new();
    };
    let unit = result_unit(view);
    let limit = quantification_limit(view);
    let mut flags = Vec::new();
    for control in view.controls.iter().filter(|control| control.kind == SeenControlKind::Duplicates) {
        let Some(PortionRole::Duplicate { of }) =
            view.package.portion(&control.batch, &control.portion).map(|portion| &portion.role)
        else {
            continue;
        };
        let (Some(first), Some(second)) = (value(view, &control.batch, of), value_at(view, control.row)) else {
            continue;
        };
        let near = limit.filter(|limit| first.min(second) < NEAR * limit);
        let difference = (first - second).abs();
        let passes = match near {
            Some(limit) => difference <= limit,
            None => control.found <= 100.0 * allowed,
        };
        if passes {
            continue;
        }
        let evidence = Evidence::default().figure("first", first, unit).figure("second", second, unit);
        let evidence = match near {
            Some(limit) => evidence.figure("difference", difference, unit).figure("allowed", limit, unit),
            None => evidence.figure("difference", control.found, "%").figure("allowed", 100.0 * allowed, "%"),
        };
        let name = view.solution(control.row).map_or("", |solution| solution.name);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(control.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: evidence.fact("batch", control.batch.as_str()).fact("cup", name),
            holds: Holds::Batch(control.batch.clone()),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::PrepareAgain],
        });
    }
    flags
}

/// The unit of the results, as a word that lives as long as the program.
pub(crate) fn result_unit(view: &RunView<'_>) -> &'static str {
    let unit = view.method.result.unit.as_str();
    match view.method.result.kind {
        ResultKind::MassConcentration => MassConcentration::unit(unit).map(|unit| unit.symbol()),
        ResultKind::MassFraction => MassFraction::unit(unit).map(|unit| unit.symbol()),
        ResultKind::ReleasePerArea => ReleasePerArea::unit(unit).map(|unit| unit.symbol()),
        ResultKind::AmountPerDose => AmountPerDose::unit(unit).map(|unit| unit.symbol()),
    }
    .unwrap_or("1")
}

/// The quantification limit in the unit of the results.
pub(crate) fn quantification_limit(view: &RunView<'_>) -> Option<f64> {
    let si = view.method.result.quantification_limit.as_ref()?.si();
    let unit = view.method.result.unit.as_str();
    match view.method.result.kind {
        ResultKind::MassConcentration => MassConcentration::unit(unit).map(|unit| unit.read_si(si)),
        ResultKind::MassFraction => MassFraction::unit(unit).map(|unit| unit.read_si(si)),
        ResultKind::ReleasePerArea => ReleasePerArea::unit(unit).map(|unit| unit.read_si(si)),
        ResultKind::AmountPerDose => AmountPerDose::unit(unit).map(|unit| unit.read_si(si)),
    }
}

fn value(view: &RunView<'_>, batch: &BatchId, portion: &PortionId) -> Option<f64> {
    view.results.iter().find(|result| result.batch == *batch && result.portion == *portion)?.value
}

fn value_at(view: &RunView<'_>, row: u32) -> Option<f64> {
    view.results.iter().find(|result| result.row == row)?.value
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} beside {}, a difference of {} ({} allowed); batch {} is held",
        evidence.words("cup"),
        evidence.told("second"),
        evidence.told("first"),
        evidence.told("difference"),
        evidence.told("allowed"),
        evidence.words("batch")
    )
}
