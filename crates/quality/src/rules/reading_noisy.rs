//! reading-noisy
//!
//! What it sees: a reading whose own noise is so many times the usual one that the method no longer takes it. Usual is the
//! median over the twelve readings of other solutions whose responses are nearest: a flame makes more noise the more it
//! absorbs, a furnace hardly does.
//! Why it matters: a lamp that flickers, a beam that is cut, or a burner that spits makes the response a matter of chance.
//! What to do: look at lamp and beam; reject the reading with that reason and measure it once more.
//! Source: the method document, `highest_noise`; where it is silent, nothing is flagged.

use darkline_metrology::kind::Kind;
use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "reading-noisy", source: "the method document, highest_noise", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(most) = view.method.limits.highest_noise.as_ref().map(|most| most.value().si()) else {
        return Vec::new();
    };
    let all: Vec<(u32, f64, f64)> =
        view.readings.iter().filter_map(|reading| Some((reading.home, reading.response?, reading.u_noise?))).collect();
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for reading in view.readings.iter().filter(|reading| reading.counts) {
        let (Some(found), Some(response)) = (reading.u_noise, reading.response) else { continue };
        let Some(usual) = usual_near(&all, reading.home, response).filter(|usual| *usual > 0.0) else { continue };
        if found <= most * usual {
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

/// Readings of other solutions that the noise of one is held against.
const NEIGHBOURS: usize = 12;

/// The median noise of the readings of other solutions whose responses are nearest.
fn usual_near(all: &[(u32, f64, f64)], home: u32, response: f64) -> Option<f64> {
    let mut others: Vec<(f64, f64)> = all
        .iter()
        .filter(|(of, ..)| *of != home)
        .map(|(_, other, u_noise)| ((other - response).abs(), *u_noise))
        .collect();
    others.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)));
    others.truncate(NEIGHBOURS);
    let noises: Vec<f64> = others.into_iter().map(|(_, u_noise)| u_noise).collect();
    robust::median(&noises)
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the noise of this reading is {} times that of the run ({} times allowed): look at lamp and beam",
        evidence.words("cup"),
        evidence.told("times"),
        evidence.told("allowed")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_is_held_against_that_of_readings_with_a_like_response() {
        // Three solutions of twelve readings each; noise grows with the response. The first is left out where it is its own.
        let all: Vec<(u32, f64, f64)> = (0..36)
            .map(|n| {
                let home = 1 + n / 12;
                (home, 0.1 * f64::from(home), 0.001 * f64::from(home))
            })
            .collect();
        assert_eq!(usual_near(&all, 3, 0.3), Some(0.002));
        assert_eq!(usual_near(&all, 1, 0.1), Some(0.002));
        assert_eq!(usual_near(&all, 9, 0.29), Some(0.003));
        assert_eq!(usual_near(&[], 9, 0.29), None);
    }
}
