//! blank-drifts
//!
//! What it sees: in a flame, a check blank whose response has moved from that of the calibration blank by more than four
//! standard deviations of the difference.
//! Why it matters: the zero has drifted, and every response since the last blank with it.
//! What to do: set the zero, measure a check and a check blank, and the rows since the last passing check again.
//! Source: the repeatability of the method document; four standard deviations so that a clean run raises a false alarm once
//! in some thousand runs (our choice). Drift of the flame's blank: common practice, no source.

use darkline_record::decision::{NextStep, Subject};
use darkline_record::method::Technique;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::rules::check_outside_limits::rows_between_checks;
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "blank-drifts",
    source: "repeatability of the method document; drift of the flame's blank: common practice, no source",
    see,
    say,
};

/// Standard deviations of the difference.
const CLEARLY: f64 = 4.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    if view.method.technique != Technique::Flame {
        return Vec::new();
    }
    let zero = view
        .solutions
        .iter()
        .find(|solution| !solution.replaced && matches!(solution.holds, RowHolds::CalibrationBlank))
        .and_then(|solution| Some((solution.mean_response?, solution.counted.len())));
    let Some((zero, n_zero)) = zero else { return Vec::new() };
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for (place, solution) in view.solutions.iter().enumerate() {
        if solution.replaced || !matches!(solution.holds, RowHolds::CheckBlank) {
            continue;
        }
        let Some(found) = solution.mean_response else { continue };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let u = view.repeatability(0.0) * (1.0 / solution.counted.len() as f64 + 1.0 / n_zero as f64).sqrt();
        if (found - zero).abs() <= CLEARLY * u {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", found, unit)
                .figure("zero", zero, unit)
                .figure("allowed", CLEARLY * u, unit)
                .fact("cup", solution.name),
            holds: Holds::Rows(rows_between_checks(view, place)),
            next: vec![NextStep::RepeatSinceLastCheck],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{} gives {}, the calibration blank gave {}: the zero has drifted (noise explains {})",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("zero"),
        evidence.told("allowed")
    )
}
