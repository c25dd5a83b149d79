//! trace-incomplete
//!
//! What it sees: a reading whose trace lacks three samples or more in a row, has far fewer samples than the others of the run, or
//! whose total absorbance stands at its highest value for five samples or more, as one that was cut off at a ceiling does.
//! Why it matters: what was not recorded is not in the response, and nothing in the response tells.
//! What to do: measure it again; where the top is cut off, dilute.
//! Source: common practice, no source.

use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::Signal;

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenReading};

/// The rule.
pub const RULE: Rule = Rule { name: "trace-incomplete", source: "common practice, no source", see, say };

/// Samples missing in a row; fewer are a matter of the recorder's clock (our choice).
const MISSING: u32 = 3;

/// Equal highest samples in a row; noise above the last digit makes hardly three (our choice).
const FLAT: usize = 5;

/// Part of the usual number of samples below which a steady reading is short (our choice).
const SHORT: f64 = 0.95;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    #[expect(clippy::cast_precision_loss, reason = "samples of a reading")]
    let lengths: Vec<f64> = view.readings.iter().filter_map(|reading| Some(reading.steady?.n as f64)).collect();
    let usual = robust::median(&lengths);
    let mut flags = Vec::new();
    for reading in view.readings.iter().filter(|reading| reading.counts) {
        let Some(solution) = view.solution(reading.home).filter(|solution| !solution.replaced) else { continue };
        let missing = reading.pulse.as_ref().map_or(0, |pulse| pulse.missing_samples());
        #[expect(clippy::cast_precision_loss, reason = "samples of a reading")]
        let part = usual.zip(reading.steady).map_or(1.0, |(usual, steady)| steady.n as f64 / usual);
        let flat = flat_top(view, reading);
        let (what, count) = if missing >= MISSING {
            ("samples in a row are missing", f64::from(missing))
        } else if part < SHORT {
            ("% of the usual samples are there", 100.0 * part)
        } else if flat >= FLAT {
            #[expect(clippy::cast_precision_loss, reason = "samples of a reading")]
            let count = flat as f64;
            ("samples stand at the highest value: the top is cut off", count)
        } else {
            continue;
        };
        let is_cut = flat >= FLAT && view.portion(solution).is_some();
        let repeat = NextStep::Repeat { replicates: 1 };
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(reading.number))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default().figure("count", count, "1").fact("what", what).fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: if is_cut { vec![NextStep::Dilute { factor: 2 }, repeat] } else { vec![repeat] },
        });
    }
    flags
}

/// The longest stretch of samples of the total at its highest value.
fn flat_top(view: &RunView<'_>, reading: &SeenReading) -> usize {
    let recorded = view.run.readings.iter().find(|recorded| recorded.number == reading.number);
    let Some(Signal::Pulse(digest)) = recorded.map(|recorded| &recorded.signal) else { return 0 };
    view.package.pulses.get(digest).map_or(0, |pulse| longest_at_top(pulse.total()))
}

fn longest_at_top(total: &[f32]) -> usize {
    let highest = total.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let (mut longest, mut current) = (0, 0);
    for value in total {
        // Bits, not nearness: a ceiling gives the same number every time.
        current = if value.to_bits() == highest.to_bits() { current + 1 } else { 0 };
        longest = longest.max(current);
    }
    // A trace that never moves is no pulse that was cut off.
    if longest == total.len() { 0 } else { longest }
}

fn say(evidence: &Evidence) -> String {
    format!("{}: {:.0} {}", evidence.words("cup"), evidence.value("count"), evidence.words("what"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ceiling_is_seen_and_a_summit_is_not() {
        assert_eq!(longest_at_top(&[0.1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.2]), 5);
        assert_eq!(longest_at_top(&[0.1, 0.5, 0.49, 0.5, 0.2]), 1);
        assert_eq!(longest_at_top(&[0.0; 8]), 0);
        assert_eq!(longest_at_top(&[]), 0);
    }
}
