//! check-outside-limits
//!
//! What it sees: a check standard or a control sample that does not come out between the limits of the method; the first
//! check and those not above the lowest standard may have limits of their own.
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
        let (lowest, highest) = limits_of(view, place, solution);
        if (lowest..=highest).contains(&found) {
            continue;
        }
        let unit = amount.value.unit();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", 100.0 * found, "%")
                .figure("lowest", 100.0 * lowest, "%")
                .figure("highest", 100.0 * highest, "%")
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

/// What a check standard found over what it should show.
pub(crate) fn part_found(solution: &SeenSolution<'_>) -> Option<f64> {
    let RowHolds::Check { amount } = solution.holds else { return None };
    let should_be = amount.value.value().si();
    solution.amount.filter(|_| should_be > 0.0).map(|found| found / should_be)
}

/// Lowest and highest recovery of a check: of the first one and of those at the foot of the range the method may say other
/// limits than of the rest.
fn limits_of(view: &RunView<'_>, place: usize, solution: &SeenSolution<'_>) -> (f64, f64) {
    let limits = &view.method.limits;
    let usual = (view.method.check.lowest.value().si(), view.method.check.highest.value().si());
    let RowHolds::Check { amount } = solution.holds else { return usual };
    if let (Some(lowest), Some(highest)) = (&limits.low_check_lowest, &limits.low_check_highest) {
        let lowest_standard = view
            .run
            .rows()
            .filter_map(|row| match &row.holds {
                RowHolds::Standard { amount } => Some(amount.value.value().si()),
                _ => None,
            })
            .fold(f64::INFINITY, f64::min);
        if amount.value.value().si() <= lowest_standard {
            return (lowest.value().si(), highest.value().si());
        }
    }
    if let (Some(lowest), Some(highest)) = (&limits.first_check_lowest, &limits.first_check_highest) {
        let is_first = view.solutions[..place]
            .iter()
            .all(|before| before.replaced || !matches!(before.holds, RowHolds::Check { .. }));
        if is_first {
            return (lowest.value().si(), highest.value().si());
        }
    }
    usual
}

/// The portions between the last check standard before a place that passed and the next one after it that passes.
///
/// What lies before the last passing check stands on that check; what lies after the next one stands on that.
pub(crate) fn rows_between_checks(view: &RunView<'_>, place: usize) -> Vec<RowId> {
    let passes = |place: usize| {
        let solution = &view.solutions[place];
        let (lowest, highest) = limits_of(view, place, solution);
        !solution.replaced && part_found(solution).is_some_and(|part| (lowest..=highest).contains(&part))
    };
    let first = (0..place).rev().find(|before| passes(*before)).map_or(0, |last| last + 1);
    let n = view.solutions.len();
    let end = (place + 1..n).find(|behind| passes(*behind)).unwrap_or(n);
    view.solutions[first..end]
        .iter()
        .filter(|solution| matches!(solution.holds, RowHolds::Portion { .. }))
        .map(|solution| view.run.row_id(solution.row))
        .collect()
}
