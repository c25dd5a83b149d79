//! holding-time-exceeded
//!
//! What it sees: samples measured longer after the order was received than the method allows.
//! Why it matters: what was in the bottle need no longer be in it, or something else may be.
//! What to do: take the samples again, or report with the deviation.
//! Source: the method document, `longest_holding`; where it is silent, nothing is flagged. Mercury 28 d, chromium(VI) 24 h:
//! 40 CFR 136.3, table II (from memory).

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "holding-time-exceeded",
    source: "the method document, longest_holding; 40 CFR 136.3, table II (from memory)",
    see,
    say,
};

/// Seconds of a day.
const DAY: f64 = 86_400.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(longest) = view.method.limits.longest_holding.as_ref().map(|time| time.value().si()) else {
        return Vec::new();
    };
    let received = view.package.order.received.moment();
    let mut late = Vec::new();
    let mut most = (0.0_f64, "");
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let is_ours =
            matches!(solution.role, Some(PortionRole::Sample { order, .. }) if *order == view.package.order.id);
        if !is_ours {
            continue;
        }
        let first = view
            .run
            .readings
            .iter()
            .filter(|reading| solution.counted.contains(&reading.number))
            .map(|reading| reading.at.moment())
            .min();
        let Some(first) = first else { continue };
        #[expect(clippy::cast_precision_loss, reason = "milliseconds between moments of one order")]
        let held = (first.as_millisecond() - received.as_millisecond()) as f64 / 1e3;
        if held > longest {
            late.push(view.run.row_id(solution.row));
            if held > most.0 {
                most = (held, solution.name);
            }
        }
    }
    if late.is_empty() {
        return Vec::new();
    }
    #[expect(clippy::cast_precision_loss, reason = "rows are few")]
    let count = late.len() as f64;
    vec![Flag {
        id: flag_id(RULE.name, Subject::Run(view.run.id.clone())),
        severity: Severity::Stops,
        settled: Settled::Now,
        evidence: Evidence::default()
            .figure("count", count, "1")
            .figure("held", most.0 / DAY, "d")
            .figure("allowed", longest / DAY, "d")
            .fact("cup", most.1),
        holds: Holds::Rows(late),
        next: vec![NextStep::SampleAgain],
    }]
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{} samples were measured too late: {} {} after receipt, {} allowed",
        evidence.value("count"),
        evidence.words("cup"),
        evidence.told("held"),
        evidence.told("allowed")
    )
}
