//! pulse-doubled
//!
//! What it sees: a pulse with a second hump of more than the method's part of the highest one.
//! Why it matters: two forms or two places of the element, or a drop that broke: what comes late meets a hotter tube, and
//! a dip at the top may be a pulse beyond the roll-over.
//! What to do: where one replicate has it, reject it with that reason and measure it once more; where all have it, dilute or
//! change the modifier.
//! Source: the method document, `highest_second_hump`; where it is silent, nothing is flagged.

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "pulse-doubled", source: "the method document, highest_second_hump", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(highest) = view.method.limits.highest_second_hump.as_ref().map(|part| part.value().si()) else {
        return Vec::new();
    };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let doubled: Vec<(u32, f64)> = view
            .counted(solution)
            .filter(|reading| !reading.is_dipped())
            .filter_map(|reading| Some((reading.number, reading.pulse.as_ref()?.second_hump()?)))
            .filter(|(_, part)| *part > highest)
            .collect();
        let evidence = |part: f64, which: &str| {
            Evidence::default()
                .figure("found", 100.0 * part, "%")
                .figure("allowed", 100.0 * highest, "%")
                .fact("which", which)
                .fact("cup", solution.name)
        };
        let holds = || view.what_stands_on(solution);
        if doubled.len() > 1 && doubled.len() == solution.counted.len() {
            let again = NextStep::MeasureAgain { replicates: view.method.replicates.n };
            flags.push(Flag {
                id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
                severity: Severity::Stops,
                settled: Settled::Now,
                evidence: evidence(doubled.iter().map(|(_, part)| *part).fold(0.0, f64::max), "all replicates"),
                holds: holds(),
                next: match view.portion(solution) {
                    Some(_) => vec![NextStep::Dilute { factor: 2 }, again, NextStep::StandardAdditions],
                    None => vec![again],
                },
            });
            continue;
        }
        for (number, part) in doubled {
            flags.push(Flag {
                id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(number))),
                severity: Severity::Stops,
                settled: Settled::Now,
                evidence: evidence(part, "one replicate"),
                holds: holds(),
                next: vec![NextStep::Repeat { replicates: 1 }],
            });
        }
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the pulse of {} has a second hump of {} of the first ({} allowed)",
        evidence.words("cup"),
        evidence.words("which"),
        evidence.told("found"),
        evidence.told("allowed")
    )
}
