//! reading-noisy
//!
//! What it sees: a reading whose own noise is so many times that of the run that the method no longer takes it. The noise of
//! the run is the median over its readings, each held against the repeatability of the method at its response: a flame makes
//! more noise the more it absorbs.
//! Why it matters: a lamp that flickers, a beam that is cut, or a burner that spits makes the response a matter of chance.
//! What to do: look at lamp and beam; reject the reading with that reason and measure it once more.
//! Source: the method document, `highest_noise`; where it is silent, nothing is flagged.

use darkline_metrology::kind::Kind;
use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenReading};

/// The rule.
pub const RULE: Rule = Rule { name: "reading-noisy", source: "the method document, highest_noise", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(most) = view.method.limits.highest_noise.as_ref().map(|most| most.value().si()) else {
        return Vec::new();
    };
    let part = |reading: &SeenReading| {
        let part = reading.u_noise? / view.repeatability(reading.response?);
        part.is_finite().then_some(part)
    };
    let all: Vec<f64> = view.readings.iter().filter_map(part).collect();
    let Some(usual_part) = robust::median(&all).filter(|usual| *usual > 0.0) else { return Vec::new() };
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for reading in view.readings.iter().filter(|reading| reading.counts) {
        let (Some(found), Some(response)) = (reading.u_noise, reading.response) else { continue };
        let usual = usual_part * view.repeatability(response);
        if part(reading).is_none_or(|part| part <= most * usual_part) {
            continue;
        }
        let Some(solution) = view.solution(reading.home).filter(|solution| !solution.replaced) else { continue };
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(reading.number))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", found, unit)
                .figure("usual", usual, unit)
                .figure("times", found / usual, "1")
                .figure("allowed", most, "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the noise of this reading is {} times that of the run ({} times allowed): look at lamp and beam",
        evidence.words("cup"),
        evidence.told("times"),
        evidence.told("allowed")
    )
}
