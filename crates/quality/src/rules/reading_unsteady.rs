//! reading-unsteady
//!
//! What it sees: a steady reading that rises or falls over its read time by more than the method's part of its mean, and by
//! more than six standard deviations of that slope.
//! Why it matters: the reading began before the signal stood, or ended after the solution did; its mean is no steady value.
//! What to do: wait longer before the reading, and measure it again.
//! Source: the method document, `highest_reading_slope`; where it is silent, nothing is flagged.

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "reading-unsteady", source: "the method document, highest_reading_slope", see, say };

/// Standard deviations of the slope; hardly one false alarm in a million readings (our choice).
const CLEARLY: f64 = 6.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let (Some(highest), Some(window)) = (&view.method.limits.highest_reading_slope, &view.method.response.window)
    else {
        return Vec::new();
    };
    let highest = highest.value().si();
    let time = window.to.value().si() - window.from.value().si();
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for reading in view.readings.iter().filter(|reading| reading.counts) {
        let Some(steady) = reading.steady else { continue };
        let Some(solution) = view.solution(reading.home).filter(|solution| !solution.replaced) else { continue };
        let moved = steady.drift_per_s * time;
        // The slope of n even values over a time T has u = sd √(12/n)/T; correlated values tell less, by (1 + r)/(1 − r).
        let r = steady.lag_one_autocorrelation.clamp(0.0, 0.99);
        #[expect(clippy::cast_precision_loss, reason = "samples of a reading")]
        let u = steady.sd * (12.0 / steady.n as f64 * (1.0 + r) / (1.0 - r)).sqrt();
        if moved.abs() <= highest * steady.mean_absorbance.abs() || moved.abs() <= CLEARLY * u {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(reading.number))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("moved", moved, unit)
                .figure("mean", steady.mean_absorbance, unit)
                .figure("allowed", 100.0 * highest, "%")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    let direction = if evidence.value("moved") > 0.0 { "rises" } else { "falls" };
    format!(
        "{}: the signal {direction} by {} over the read time at a mean of {} ({} allowed): it began before the signal stood, or \
         ended after the solution did",
        evidence.words("cup"),
        evidence.told("moved"),
        evidence.told("mean"),
        evidence.told("allowed")
    )
}
