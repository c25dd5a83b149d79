//! check-outside-limits
//!
//! What it sees: a check standard or a control sample that does not come out between the limits of the method.
//! Why it matters: a check standard that fails says that the calibration no longer holds, since when nobody knows; so the
//! rows since the last check that passed do not count. A control sample that fails says the same of its preparation.
//! What to do: measure the check once more; if it fails again, calibrate and measure the rows since the last passing
//! check again. For a control sample: measure it again, then prepare its batch again.
//! Source: the method document, `check`; the bracket as in SW-846 Method 7000B, 8.5 and 9.3 (from memory).

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::RowId;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenControlKind, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "check-outside-limits",
    source: "the method document, check; SW-846 Method 7000B, 8.5 and 9.3 (from memory)",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    let check = &view.method.check;
    for (place, solution) in view.solutions.iter().enumerate() {
        let RowHolds::Check { amount } = solution.holds else { continue };
        let Some(found) = part_found(solution).filter(|_| !solution.replaced) else { continue };
        if found >= check.lowest.value().si() && found <= check.highest.value().si() {
            continue;
        }
        let unit = amount.value.unit();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", 100.0 * found, "%")
                .figure("lowest", 100.0 * check.lowest.value().si(), "%")
                .figure("highest", 100.0 * check.highest.value().si(), "%")
                .figure("should be", unit.read(amount.value.value()), unit.symbol())
                .fact("check", "check standard")
                .fact("cup", solution.name),
            holds: Holds::Rows(rows_between_checks(view, place)),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::RepeatSinceLastCheck],
        });
    }
    let lowest = check.control_lowest.as_ref().unwrap_or(&check.lowest).value().si();
    let highest = check.control_highest.as_ref().unwrap_or(&check.highest).value().si();
    for control in view.controls.iter().filter(|control| control.kind == SeenControlKind::Sample) {
        let found = control.found / control.assigned;
        if found >= lowest && found <= highest {
            continue;
        }
        let name = view.solution(control.row).map_or("", |solution| solution.name);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(control.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", 100.0 * found, "%")
                .figure("lowest", 100.0 * lowest, "%")
                .figure("highest", 100.0 * highest, "%")
                .figure("should be", control.assigned, control.unit)
                .fact("check", "control sample")
                .fact("cup", name),
            holds: Holds::Batch(control.batch.clone()),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::PrepareAgain],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} of {}, the method allows {} to {}",
        evidence.cup("check"),
        evidence.told("found"),
        evidence.told("should be"),
        evidence.told("lowest"),
        evidence.told("highest")
    )
}

fn part_found(solution: &SeenSolution<'_>) -> Option<f64> {
    let RowHolds::Check { amount } = solution.holds else { return None };
    let should_be = amount.value.value().si();
    solution.amount.filter(|_| should_be > 0.0).map(|found| found / should_be)
}

/// The portions between the last check standard before a place that passed and the next one after it that passes.
///
/// What lies before the last passing check stands on that check; what lies after the next one stands on that.
pub(crate) fn rows_between_checks(view: &RunView<'_>, place: usize) -> Vec<RowId> {
    let check = &view.method.check;
    let passes = |solution: &SeenSolution<'_>| {
        part_found(solution).is_some_and(|part| part >= check.lowest.value().si() && part <= check.highest.value().si())
    };
    let first = view.solutions[..place].iter().rposition(&passes).map_or(0, |last| last + 1);
    let end =
        view.solutions[place + 1..].iter().position(&passes).map_or(view.solutions.len(), |next| place + 1 + next);
    view.solutions[first..end]
        .iter()
        .filter(|solution| matches!(solution.holds, RowHolds::Portion { .. }))
        .map(|solution| view.run.row_id(solution.row))
        .collect()
}
