//! amount-not-read
//!
//! What it sees: a response that the calibration gives no amount for, because it lies beyond the turning point or the ceiling of
//! the curve, or outside the standards that bracket it, or whose amount has no finite limits.
//! Why it matters: no figure can be stated for it; the others of the run are not touched.
//! What to do: dilute it into the range of the standards; where that does not help, calibrate again.
//! Source: N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 3.2 (from memory), for the limits.

use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "amount-not-read",
    source: "N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 3.2 (from memory)",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let Some(why) = solution.unread else { continue };
        let next = match solution.holds {
            RowHolds::Portion { .. } => vec![
                NextStep::Dilute { factor: 2 },
                NextStep::MeasureAgain { replicates: u8::try_from(solution.wanted).unwrap_or(u8::MAX) },
            ],
            _ => vec![NextStep::MeasureAgain { replicates: u8::try_from(solution.wanted).unwrap_or(u8::MAX) }],
        };
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: evidence(view, solution.name, solution.mean_response, why),
            holds: view.what_stands_on(solution),
            next,
        });
    }
    flags
}

fn evidence(view: &RunView<'_>, cup: &str, response: Option<f64>, why: &str) -> Evidence {
    let evidence = Evidence::default().fact("cup", cup).fact("why", why);
    match response {
        Some(response) => evidence.figure("response", response, view.response_unit()),
        None => evidence,
    }
}

fn say(evidence: &Evidence) -> String {
    format!("{}: {}", evidence.words("cup"), evidence.words("why"))
}
