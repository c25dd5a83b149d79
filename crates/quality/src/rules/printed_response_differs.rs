//! printed-response-differs
//!
//! What it sees: a reading whose trace gives another response than the one the instrument printed beside it, by more than a
//! tenth of it, 5 mA (mA·s) and four standard deviations of the trace's own noise, beside what all readings of the run have
//! in common; and a run whose traces give a tenth more or less than was printed throughout.
//! Why it matters: a single one that differs may have the trace of another firing; all of them together have another window or
//! baseline, or another channel.
//! What to do: look whether the trace is that of this reading, and measure it again where it is not; where all differ, compare
//! the parts of the pulse that method and instrument read.
//! Source: common practice, no source.

use darkline_metrology::kind::Kind;
use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenReading};

/// The rule.
pub const RULE: Rule = Rule { name: "printed-response-differs", source: "common practice, no source", see, say };

/// Part of the printed response that ours may differ by; instruments place their baselines otherwise (our choice).
const PART: f64 = 0.1;

/// Difference that is none, in absorbance or absorbance seconds (our choice).
const NEAR_ZERO: f64 = 0.005;

/// Standard deviations of the noise of a trace (our choice).
const OF_NOISE: f64 = 4.0;

/// Printed responses from here on tell how ours and theirs compare, where there are three of them (our choice).
const LARGE: f64 = 0.02;

/// A reading with both responses.
struct Both<'v> {
    reading: &'v SeenReading,
    ours: f64,
    printed: f64,
}

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let of_reading = |reading: &&SeenReading| -> Option<f64> {
        let recorded = view.run.readings.iter().find(|recorded| recorded.number == reading.number)?;
        Some(recorded.printed.as_ref()?.value().si())
    };
    // Most runs have no printed response beside a trace.
    if view.run.readings.iter().all(|recorded| recorded.printed.is_none()) {
        return Vec::new();
    }
    let both: Vec<Both<'_>> = view
        .readings
        .iter()
        .filter(|reading| reading.counts && (reading.pulse.is_some() || reading.steady.is_some()))
        .filter_map(|reading| Some(Both { reading, ours: reading.response?, printed: of_reading(&reading)? }))
        .collect();
    let ratios: Vec<f64> =
        both.iter().filter(|both| both.printed.abs() > LARGE).map(|both| both.ours / both.printed).collect();
    let usual = robust::median(&ratios).filter(|_| ratios.len() >= 3).unwrap_or(1.0);
    let unit = view.response_unit();
    let mut flags = Vec::new();
    if (usual - 1.0).abs() > PART {
        #[expect(clippy::cast_precision_loss, reason = "readings are few")]
        let count = ratios.len() as f64;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Run(view.run.id.clone())),
            severity: Severity::Tells,
            settled: Settled::Now,
            evidence: Evidence::default().figure("usual", 100.0 * usual, "%").figure("count", count, "1").figure(
                "allowed",
                100.0 * PART,
                "%",
            ),
            holds: Holds::Nothing,
            next: Vec::new(),
        });
    }
    for Both { reading, ours, printed } in both {
        let Some(solution) = view.solution(reading.home).filter(|solution| !solution.replaced) else { continue };
        let allowed = (PART * printed.abs()).max(NEAR_ZERO).max(OF_NOISE * reading.u_noise.unwrap_or(0.0));
        if (ours - usual * printed).abs() <= allowed {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(reading.number))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("ours", ours, unit)
                .figure("printed", printed, unit)
                .figure("allowed", allowed, unit)
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    if evidence.has("usual") {
        return format!(
            "the traces of {:.0} readings give {} of what the instrument printed, in the median ({} more or less are usual)",
            evidence.value("count"),
            evidence.told("usual"),
            evidence.told("allowed")
        );
    }
    format!(
        "{}: the trace gives {}, the instrument printed {}; they may differ by {}",
        evidence.words("cup"),
        evidence.told("ours"),
        evidence.told("printed"),
        evidence.told("allowed")
    )
}
