//! pulse-late
//!
//! What it sees: a pulse whose peak comes earlier or later than those of the standards of the same run by more than the
//! method allows.
//! Why it matters: atoms that come at another temperature than those of the standards meet other losses: the matrix holds
//! them back, the capillary or the tube has changed, or the drop did not lie where it should.
//! What to do: look at the pulse; where only one replicate is late, reject it with that reason and measure it once more;
//! where all are, dilute or change the modifier.
//! Source: the method document, `highest_peak_shift`; where it is silent, nothing is flagged. Comparison with the standards:
//! B. Welz, M. Sperling, Atomic Absorption Spectrometry, 3rd ed. (1999), ch. 4 (from memory).

use darkline_metrology::kind::Kind;
use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenReading};

/// The rule.
pub const RULE: Rule = Rule {
    name: "pulse-late",
    source: "the method document, highest_peak_shift; comparison with the standards: B. Welz, M. Sperling (1999) (from memory)",
    see,
    say,
};

/// A pulse has a peak worth timing from this many standard deviations at zero (our choice).
const CLEAR: f64 = 20.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(allowed) = view.method.limits.highest_peak_shift.as_ref().map(|shift| shift.value().si()) else {
        return Vec::new();
    };
    let clear = CLEAR * view.method.replicates.sd_at_zero.value().si();
    let peak_time = |reading: &SeenReading| {
        reading
            .pulse
            .as_ref()
            .filter(|_| !reading.is_dipped() && reading.response.is_some_and(|response| response >= clear))
            .map(|pulse| pulse.reduced.peak_time_s)
    };
    let of_standards: Vec<f64> = view
        .solutions
        .iter()
        .filter(|solution| matches!(solution.holds, RowHolds::Standard { .. }) && !solution.replaced)
        .flat_map(|solution| view.counted(solution).filter_map(peak_time))
        .collect();
    let Some(usual) = robust::median(&of_standards) else { return Vec::new() };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let timed: Vec<(u32, f64)> =
            view.counted(solution).filter_map(|reading| Some((reading.number, peak_time(reading)?))).collect();
        let is_off = |time: f64| (time - usual).abs() > allowed;
        let n_off = timed.iter().filter(|(_, time)| is_off(*time)).count();
        if n_off == 0 {
            continue;
        }
        let evidence = |time: f64, others: &str| {
            Evidence::default()
                .figure("found", time, "s")
                .figure("standards", usual, "s")
                .figure("allowed", allowed, "s")
                .fact("which", others)
                .fact("cup", solution.name)
        };
        // All of several: the solution does it. Some of them: the firing did.
        if n_off == timed.len() && n_off > 1 {
            let times: Vec<f64> = timed.iter().map(|(_, time)| *time).collect();
            let again = NextStep::MeasureAgain { replicates: view.method.replicates.n };
            flags.push(Flag {
                id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
                severity: Severity::Stops,
                settled: Settled::Now,
                evidence: evidence(robust::median(&times).unwrap_or(usual), "all replicates"),
                holds: view.what_stands_on(solution),
                next: match view.portion(solution) {
                    Some(_) => vec![NextStep::Dilute { factor: 2 }, again, NextStep::StandardAdditions],
                    None => vec![again],
                },
            });
            continue;
        }
        for (number, time) in timed.iter().filter(|(_, time)| is_off(*time)) {
            flags.push(Flag {
                id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(*number))),
                severity: Severity::Stops,
                settled: Settled::Now,
                evidence: evidence(*time, "one replicate"),
                holds: view.what_stands_on(solution),
                next: vec![NextStep::Repeat { replicates: 1 }],
            });
        }
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the peak of {} comes at {}, those of the standards at {} ({} allowed)",
        evidence.words("cup"),
        evidence.words("which"),
        evidence.told("found"),
        evidence.told("standards"),
        evidence.told("allowed")
    )
}
