//! control-out-of-chart
//!
//! What it sees: a control sample whose recovery, set beside those of ten or more earlier runs, lies more than three of
//! their standard deviations from their mean; or two of the newest three more than two on the same side; or seven in a
//! row on one side, or rising or falling.
//! Why it matters: a control may pass its fixed limits and still say that something has changed since the earlier runs.
//! What to do: measure the control again; if it stays, prepare the batch again. Seven on one side or in a trend are told
//! only: look for what changed.
//! Source: Nordtest TR 569 (action and warning limits; from memory); ISO 7870-2:2013 (runs and trends of seven); the values of
//! earlier runs in the method document, `history`; where it is silent, nothing is flagged.

use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenControlKind};

/// The rule.
pub const RULE: Rule = Rule {
    name: "control-out-of-chart",
    source: "Nordtest TR 569 (from memory); ISO 7870-2:2013; the method document, history",
    see,
    say,
};

/// Earlier runs from which a chart is one (our choice; TR 569 asks for twenty and takes fewer at the start).
const ENOUGH_RUNS: usize = 10;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    for control in view.controls.iter().filter(|control| control.kind == SeenControlKind::Sample) {
        let Some(PortionRole::Control { material, .. }) =
            view.package.portion(&control.batch, &control.portion).map(|portion| &portion.role)
        else {
            continue;
        };
        let past = view.method.limits.history(material);
        let (Some(mean), Some(sd)) = (summary::mean(&past), summary::sd(&past)) else { continue };
        if past.len() < ENOUGH_RUNS || sd <= 0.0 || control.assigned <= 0.0 {
            continue;
        }
        let found = control.found / control.assigned;
        let scores: Vec<f64> = past.iter().chain([&found]).map(|value| (value - mean) / sd).collect();
        let Some((pattern, severity)) = pattern(&scores) else { continue };
        let name = view.solution(control.row).map_or("", |solution| solution.name);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(control.row))),
            severity,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", 100.0 * found, "%")
                .figure("mean", 100.0 * mean, "%")
                .figure("sd", 100.0 * sd, "%")
                .figure("score", (found - mean) / sd, "1")
                .fact("pattern", pattern)
                .fact("cup", name),
            holds: if severity == Severity::Stops { Holds::Batch(control.batch.clone()) } else { Holds::Nothing },
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::PrepareAgain],
        });
    }
    flags
}

/// What the newest of the scores completes, the gravest first.
fn pattern(scores: &[f64]) -> Option<(&'static str, Severity)> {
    let (&newest, _) = scores.split_last()?;
    let newest_of = |n: usize| scores.len().checked_sub(n).map(|from| &scores[from..]);
    if newest.abs() > 3.0 {
        return Some(("beyond three standard deviations", Severity::Stops));
    }
    let is_warned = |score: &f64| score.abs() > 2.0 && (score > &0.0) == (newest > 0.0);
    if newest.abs() > 2.0
        && newest_of(3).is_some_and(|three| three.iter().filter(|score| is_warned(score)).count() >= 2)
    {
        return Some(("the second of three beyond two standard deviations", Severity::Stops));
    }
    let seven = newest_of(7)?;
    if seven.iter().all(|score| *score > 0.0) || seven.iter().all(|score| *score < 0.0) {
        return Some(("the seventh on one side of the mean", Severity::Tells));
    }
    if seven.windows(2).all(|pair| pair[1] > pair[0]) || seven.windows(2).all(|pair| pair[1] < pair[0]) {
        return Some(("the seventh of a trend", Severity::Tells));
    }
    None
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} where earlier runs found {} with a standard deviation of {}: {}",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("mean"),
        evidence.told("sd"),
        evidence.words("pattern")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_are_those_of_the_charts() {
        let told = |scores: &[f64]| pattern(scores).map(|(pattern, _)| pattern);
        assert_eq!(told(&[0.1, -3.1]), Some("beyond three standard deviations"));
        assert_eq!(told(&[0.1, 2.1, 0.0, 2.2]), Some("the second of three beyond two standard deviations"));
        // One on either side is no pattern, nor is one exactly on the limit.
        assert_eq!(told(&[0.1, -2.1, 0.0, 2.2]), None);
        assert_eq!(told(&[0.0, 0.0, 2.1, 2.0]), None);
        assert_eq!(told(&[0.1; 7]), Some("the seventh on one side of the mean"));
        assert_eq!(told(&[-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3]), Some("the seventh of a trend"));
        assert_eq!(told(&[]), None);
    }
}
