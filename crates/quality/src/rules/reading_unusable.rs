//! reading-unusable
//!
//! What it sees: a reading whose pulse cannot be reduced, or that came in as failed, and was not measured again.
//! Why it matters: it says nothing, and what is left may be too few replicates.
//! What to do: measure it again.
//! Source: common practice, no source.

use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "reading-unusable", source: "common practice, no source", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    for reading in view.readings {
        let Some(fault) = reading.fault.as_ref().filter(|_| !reading.rejected) else { continue };
        let Some(solution) = view.solution(reading.home).filter(|solution| !solution.replaced) else { continue };
        // Enough other replicates: the reading is told, and stops nothing.
        let is_made_up_for = solution.counted.len() >= solution.wanted as usize;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(reading.number))),
            severity: if is_made_up_for { Severity::Tells } else { Severity::Stops },
            settled: Settled::Now,
            evidence: Evidence::default().fact("why", fault).fact("cup", solution.name),
            holds: if is_made_up_for { Holds::Nothing } else { view.what_stands_on(solution) },
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!("{}: {}", evidence.words("cup"), evidence.words("why"))
}
