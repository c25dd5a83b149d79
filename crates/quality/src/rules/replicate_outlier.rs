//! replicate-outlier
//!
//! What it sees: replicates of one solution whose range exceeds the critical range of the method's repeatability; the one
//! farthest from their median is named.
//! Why it matters: a droplet left on the tip or a double injection moves the mean by more than its uncertainty tells.
//! What to do: look at its pulse; where a cause is found, reject it with that reason, and measure it once more.
//! Source: ISO 5725-6:1994, 5.2.2 (critical range; from memory) with the quantile of the range at 99.9 % instead of
//! 95 %: a clean run of thirty rows raises a false alarm once in thirty-three runs (our choice).

use std::collections::BTreeMap;

use darkline_metrology::distribution::studentised_range;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "replicate-outlier", source: "ISO 5725-6:1994, 5.2.2 (from memory), at 99.9 %", see, say };

const PROBABILITY: f64 = 0.999;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    // The quantile takes a tenth of a millisecond, and a run has few numbers of replicates.
    let mut quantiles: BTreeMap<usize, Option<f64>> = BTreeMap::new();
    // Portions weighed into the tube differ by their masses; `portion-outlier` looks at them.
    let is_weighed = |number: u32| {
        view.method.solid.is_some()
            && view.run.readings.iter().any(|reading| reading.number == number && reading.mass.is_some())
    };
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        if solution.counted.iter().any(|number| is_weighed(*number)) {
            continue;
        }
        let mut readings: Vec<(f64, u32)> =
            view.counted(solution).filter_map(|reading| Some((reading.response?, reading.number))).collect();
        let n = readings.len();
        if n < 2 {
            continue;
        }
        readings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let median = f64::midpoint(readings[(n - 1) / 2].0, readings[n / 2].0);
        let range = readings[n - 1].0 - readings[0].0;
        let Some(quantile) = *quantiles.entry(n).or_insert_with(|| quantile_of_range(n)) else { continue };
        let allowed = quantile * view.repeatability(median);
        if range <= allowed {
            continue;
        }
        // Of two readings neither is farther from their median; the later one is named.
        let farthest =
            readings.iter().max_by(|a, b| (a.0 - median).abs().total_cmp(&(b.0 - median).abs()).then(a.1.cmp(&b.1)));
        let Some(&(response, number)) = farthest else { continue };
        let unit = view.response_unit();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(number))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", response, unit)
                .figure("median", median, unit)
                .figure("range", range, unit)
                .figure("allowed", allowed, unit)
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

/// The range of `n` replicates, over their standard deviation, that is exceeded once in a thousand rows where nothing is
/// wrong.
fn quantile_of_range(n: usize) -> Option<f64> {
    studentised_range::quantile(PROBABILITY, u32::try_from(n).ok()?, f64::INFINITY)
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} where the median is {}; the replicates span {}, the method's repeatability allows {}",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("median"),
        evidence.told("range"),
        evidence.told("allowed")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// H. L. Harter, Tables of the studentised range, 99.9 % points for infinite degrees of freedom: 4.65, 5.06, 5.31
    /// (from memory).
    #[test]
    fn critical_ranges_are_those_of_the_tables() {
        for (n, tabulated) in [(2, 4.65), (3, 5.06), (4, 5.31)] {
            let found = quantile_of_range(n).unwrap();
            assert!((found - tabulated).abs() < 0.005, "{n}: {found}");
        }
    }
}
