//! replicate-outlier
//!
//! What it sees: replicates of one solution whose range exceeds the critical range of the method's repeatability, or which fail
//! another test that the method names (Grubbs, Dixon, robust) from five replicates on; the one farthest from their median is
//! named.
//! Why it matters: a droplet left on the tip or a double injection moves the mean by more than its uncertainty tells.
//! What to do: look at its pulse; where a cause is found, reject it with that reason, and measure it once more.
//! Source: ISO 5725-6:1994, 5.2.2 (critical range; from memory) with the quantile of the range at 99.9 % instead of
//! 95 %: a clean run of thirty rows raises a false alarm once in thirty-three runs (our choice).

use std::collections::BTreeMap;

use darkline_metrology::distribution::studentised_range;
use darkline_metrology::robust;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::limits::ReplicateTest;

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::outlier::End;
use crate::outlier::dixon::Ratio;
use crate::outlier::grubbs::{self, Grubbs};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "replicate-outlier", source: "ISO 5725-6:1994, 5.2.2 (from memory), at 99.9 %", see, say };

const PROBABILITY: f64 = 0.999;

/// Replicates from which their own scatter says anything; below, the critical range is asked (our choice).
const ENOUGH: usize = 5;

/// Robust standard deviations from the median; with the repeatability as the least spread, hardly one row in a thousand (our
/// choice; Iglewicz and Hoaglin take 3.5).
const ROBUST: f64 = 4.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    // Quantiles take from a tenth of a millisecond to some of them, and a run has few numbers of replicates.
    let mut criticals: BTreeMap<usize, Option<f64>> = BTreeMap::new();
    let named = view.method.limits.replicate_test.unwrap_or(ReplicateTest::CriticalRange);
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
        let test = if n < ENOUGH { ReplicateTest::CriticalRange } else { named };
        let Some(critical) = *criticals.entry(n).or_insert_with(|| critical(test, n)) else { continue };
        let responses: Vec<f64> = readings.iter().map(|(response, _)| *response).collect();
        let repeatability = view.repeatability(median);
        let Some(statistic) = statistic(test, &responses, median, repeatability).filter(|found| *found > critical)
        else {
            continue;
        };
        // Of two readings neither is farther from their median; the later one is named.
        let farthest =
            readings.iter().max_by(|a, b| (a.0 - median).abs().total_cmp(&(b.0 - median).abs()).then(a.1.cmp(&b.1)));
        let Some(&(response, number)) = farthest else { continue };
        let unit = view.response_unit();
        let evidence = Evidence::default().figure("found", response, unit).figure("median", median, unit);
        let evidence =
            match test {
                ReplicateTest::CriticalRange => evidence
                    .figure("range", readings[n - 1].0 - readings[0].0, unit)
                    .figure("allowed", critical * repeatability, unit),
                test => evidence
                    .figure("statistic", statistic, "1")
                    .figure("critical", critical, "1")
                    .fact("test", test.words()),
            };
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(number))),
            severity: Severity::Stops,
            // A replicate to come may show that it was the other one.
            settled: view.replicates_awaited(solution).map_or(Settled::Now, |row| Settled::Until(view.run.row_id(row))),
            evidence: evidence.fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

/// What is held against the critical value; `None` where the replicates do not scatter at all.
///
/// # Source
/// ISO 5725-6:1994, 5.2.2 (range over the repeatability standard deviation; from memory); the others as in
/// [`crate::outlier`]. Robust: distance from the median over 1.4826 times the median distance from it, which is not taken
/// below the repeatability of the method; B. Iglewicz, D. C. Hoaglin, How to detect and handle outliers (1993) (from memory).
fn statistic(test: ReplicateTest, sorted: &[f64], median: f64, repeatability: f64) -> Option<f64> {
    let (lowest, highest) = (*sorted.first()?, *sorted.last()?);
    match test {
        ReplicateTest::CriticalRange if repeatability > 0.0 => Some((highest - lowest) / repeatability),
        ReplicateTest::CriticalRange => (highest > lowest).then_some(f64::MAX),
        ReplicateTest::Grubbs => Some(Grubbs::of(sorted, End::Either)?.statistic),
        ReplicateTest::Dixon => Ratio::for_size(sorted.len())?.of(sorted, End::Either),
        ReplicateTest::Robust => {
            let spread = robust::scaled_mad(sorted)?.max(repeatability);
            (spread > 0.0).then(|| (highest - median).max(median - lowest) / spread)
        }
    }
}

/// The value of [`statistic`] that is exceeded once in a thousand rows where nothing is wrong.
fn critical(test: ReplicateTest, n: usize) -> Option<f64> {
    match test {
        ReplicateTest::CriticalRange => quantile_of_range(n),
        ReplicateTest::Grubbs => grubbs::critical_two_sided(n, 1.0 - PROBABILITY),
        ReplicateTest::Dixon => Ratio::for_size(n)?.critical(n, (1.0 - PROBABILITY) / 2.0),
        ReplicateTest::Robust => Some(ROBUST),
    }
}

/// The range of `n` replicates, over their standard deviation, that is exceeded once in a thousand rows where nothing is
/// wrong.
fn quantile_of_range(n: usize) -> Option<f64> {
    studentised_range::quantile(PROBABILITY, u32::try_from(n).ok()?, f64::INFINITY)
}

fn say(evidence: &Evidence) -> String {
    if evidence.has("statistic") {
        return format!(
            "{}: {} where the median is {}; test {}: {}, critical {}",
            evidence.words("cup"),
            evidence.told("found"),
            evidence.told("median"),
            evidence.words("test"),
            evidence.told("statistic"),
            evidence.told("critical")
        );
    }
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

    #[test]
    fn each_test_finds_one_that_lies_apart_and_none_that_does_not() {
        let apart = [0.099, 0.100, 0.101, 0.102, 0.103, 0.150];
        let together = [0.098, 0.100, 0.101, 0.102, 0.103, 0.105];
        for test in ReplicateTest::ALL {
            let is_found = |sorted: &[f64]| {
                statistic(test, sorted, 0.1015, 0.002).unwrap() > critical(test, sorted.len()).unwrap()
            };
            assert!(is_found(&apart), "{test:?}");
            assert!(!is_found(&together), "{test:?}");
            // Replicates that do not scatter are no outliers of one another.
            assert!(statistic(test, &[0.1; 5], 0.1, 0.002).is_none_or(|found| found == 0.0), "{test:?}");
        }
    }

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
