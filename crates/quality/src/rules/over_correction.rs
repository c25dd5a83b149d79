//! over-correction
//!
//! What it sees: a pulse whose net absorbance dips below zero by more than the method allows.
//! Why it matters: the background channel read more than lies under the analyte's line: a structured background, or one that
//! moves faster than it is sampled; the area is too low by what the dip takes, and by what hides under the pulse.
//! What to do: skip the remaining replicates, dilute or change the modifier, and fire a spiked cup; another line if it stays.
//! Source: the method document, `deepest_dip`; where it is silent, nothing is flagged. A negative lobe as the sign of it: B. Welz,
//! M. Sperling, Atomic Absorption Spectrometry, 3rd ed. (1999), ch. 5 (from memory).

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "over-correction",
    source: "the method document, deepest_dip; B. Welz, M. Sperling (1999), ch. 5 (from memory)",
    see,
    say,
};

/// Least depth in baseline standard deviations of a smoothed value: noise alone does not get there (our choice).
const CLEARLY: f64 = 6.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(deepest) = view.method.limits.deepest_dip.as_ref().map(|dip| dip.value().si()) else { return Vec::new() };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let dips: Vec<(f64, f64, f64)> = view
            .counted(solution)
            .filter_map(|reading| {
                let pulse = reading.pulse.as_ref()?;
                let lobe = pulse.shape.lobe?;
                let is_deep = -lobe.lowest > deepest && pulse.lobe_in_sd() > CLEARLY;
                is_deep.then_some((lobe.lowest, lobe.time_s, pulse.reduced.background_max))
            })
            .collect();
        let Some(&(lowest, time, background)) = dips.iter().min_by(|a, b| a.0.total_cmp(&b.0)) else { continue };
        let again = NextStep::MeasureAgain { replicates: view.method.replicates.n };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let count = dips.len() as f64;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("dip", lowest, "1")
                .figure("time", time, "s")
                .figure("background", background, "1")
                .figure("allowed", -deepest, "1")
                .figure("count", count, "1")
                .figure("of", f64::from(solution.planned), "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: match view.portion(solution) {
                Some(_) => vec![NextStep::Dilute { factor: 5 }, again, NextStep::StandardAdditions],
                None => vec![again],
            },
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the net dips to {} at {} in {} of {} firings ({} allowed; background up to {}): the result would read low; skip \
         what is left of them, dilute, and fire a spiked cup",
        evidence.words("cup"),
        evidence.told("dip"),
        evidence.told("time"),
        evidence.value("count"),
        evidence.value("of"),
        evidence.told("allowed"),
        evidence.told("background")
    )
}
