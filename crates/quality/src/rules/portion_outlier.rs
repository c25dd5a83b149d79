//! portion-outlier
//!
//! What it sees: a portion weighed into the tube whose response over its mass lies farther from that of the other portions of
//! the row than chance explains.
//! Why it matters: a portion that was spilled, weighed wrongly, or holds a grain rich in the element moves the mean of all.
//! What to do: look at its pulse and its weighing; where a cause is found, reject it with that reason and weigh in another.
//! Without a cause it belongs to the material: weigh in more portions.
//! Source: F. E. Grubbs, Technometrics 11 (1969) 1, two-sided at 1 % (our choice); for four portions or more.

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "portion-outlier", source: "F. E. Grubbs, Technometrics 11 (1969) 1, two-sided at 1 %", see, say };

/// Both ends together.
const SIGNIFICANCE: f64 = 0.01;
const FEWEST: usize = 4;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    if view.method.solid.is_none() {
        return Vec::new();
    }
    // What an empty platform shows is no part of a portion.
    let blanks: Vec<f64> = view
        .solutions
        .iter()
        .filter(|solution| matches!(solution.role, Some(darkline_record::preparation::PortionRole::MethodBlank)))
        .filter_map(|solution| solution.mean_response)
        .collect();
    let blank = summary::mean(&blanks).unwrap_or(0.0);
    let mass = |number: u32| {
        let reading = view.run.readings.iter().find(|reading| reading.number == number)?;
        Some(reading.mass.as_ref()?.value().si() * 1e6)
    };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let portions: Vec<(u32, f64, f64)> = view
            .counted(solution)
            .filter_map(|reading| Some((reading.number, mass(reading.number)?, reading.response?)))
            .collect();
        let n = portions.len();
        let per_mass: Vec<f64> = portions.iter().map(|(_, mass, response)| (response - blank) / mass).collect();
        let (Some(mean), Some(sd)) = (summary::mean(&per_mass), summary::sd(&per_mass)) else { continue };
        if n < FEWEST || sd <= 0.0 || mean <= 0.0 {
            continue;
        }
        let Some(critical) = critical(n) else { continue };
        let farthest = (0..n).max_by(|a, b| (per_mass[*a] - mean).abs().total_cmp(&(per_mass[*b] - mean).abs()));
        let Some(place) = farthest.filter(|place| (per_mass[*place] - mean).abs() > critical * sd) else { continue };
        let others: Vec<f64> = (0..n).filter(|other| *other != place).map(|other| per_mass[other]).collect();
        let Some(of_others) = summary::mean(&others).filter(|mean| *mean > 0.0) else { continue };
        #[expect(clippy::cast_precision_loss, reason = "portions are few")]
        let count = n as f64;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Reading(view.run.reading_id(portions[place].0))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("mass", portions[place].1, "mg")
                .figure("found", 100.0 * per_mass[place] / of_others, "%")
                .figure("statistic", (per_mass[place] - mean).abs() / sd, "1")
                .figure("critical", critical, "1")
                .figure("count", count, "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: 1 }],
        });
    }
    flags
}

/// Critical value of the largest deviation over the standard deviation.
fn critical(n: usize) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "portions are few")]
    let n = n as f64;
    let t = student_t::upper_quantile(SIGNIFICANCE / (2.0 * n), n - 2.0)?;
    Some((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the portion of {} shows {} of what the other portions show per mass: look at its pulse and its weighing",
        evidence.words("cup"),
        evidence.told("mass"),
        evidence.told("found")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grubbs, two-sided 1 % (one-sided 0.5 %): 1.496 for four, 2.482 for ten values (ISO 5725-2:1994, table 5; from memory).
    #[test]
    fn critical_values_are_those_of_the_tables() {
        for (n, tabulated) in [(4, 1.496), (10, 2.482)] {
            let found = critical(n).unwrap();
            assert!((found - tabulated).abs() < 0.0006, "{n}: {found}");
        }
    }
}
