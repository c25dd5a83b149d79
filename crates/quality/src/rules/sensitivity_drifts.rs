//! sensitivity-drifts
//!
//! What it sees: check standards whose recovery moves from one to the next, or from the first to the last, by more than the
//! method allows; from four of them on it tells a step from a trend.
//! Why it matters: a trend is a tube that ages or a slot that clogs; a step is a tube, lamp or capillary that changed, and
//! what was measured across it stands on two calibrations.
//! What to do: after a step, condition the tube, look at the characteristic mass, calibrate and measure the rows since the
//! last passing check again; in a trend, clean burner or change tube before the next bracket.
//! Source: USP general chapter 233 (drift of a standard before and after the samples; from memory); the method document,
//! `highest_drift`; where it is silent, nothing is flagged. Step against trend: which leaves less scatter of the recoveries
//! (our choice).

use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::method::Technique;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::rules::check_outside_limits::part_found;
use crate::view::{RunView, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "sensitivity-drifts",
    source: "USP general chapter 233 (from memory); the method document, highest_drift",
    see,
    say,
};

/// Checks from which a step can be told from a trend.
const ENOUGH: usize = 4;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(allowed) = view.method.limits.highest_drift.as_ref().map(|drift| drift.value().si()) else {
        return Vec::new();
    };
    let checks: Vec<(&SeenSolution<'_>, f64)> = view
        .solutions
        .iter()
        .filter(|solution| !solution.replaced && matches!(solution.holds, RowHolds::Check { .. }))
        .filter_map(|solution| Some((solution, part_found(solution).filter(|part| *part > 0.0)?)))
        .collect();
    let moved = |from: f64, to: f64| to / from - 1.0;
    let between_neighbours = checks.windows(2).find(|pair| moved(pair[0].1, pair[1].1).abs() > allowed);
    let over_all = match (checks.first(), checks.last()) {
        (Some(first), Some(last)) if moved(first.1, last.1).abs() > allowed => Some((first, last)),
        _ => None,
    };
    let Some((first, last)) = between_neighbours.map(|pair| (&pair[0], &pair[1])).or(over_all) else {
        return Vec::new();
    };
    let parts: Vec<f64> = checks.iter().map(|(_, part)| *part).collect();
    let course = if checks.len() < ENOUGH { "course" } else { course(&parts) };
    let is_falling = last.1 < first.1;
    let cause = match (course, view.method.technique, is_falling) {
        ("trend", Technique::Flame, true) => "a burner slot or nebuliser that clogs",
        ("trend", Technique::Furnace, true) => "a tube that ages",
        ("trend", ..) => "a lamp that warms up, or a solution that evaporates",
        ("step", Technique::Furnace, _) => "a tube, lamp or capillary that changed",
        ("step", Technique::Flame, _) => "a nebuliser, lamp or gas that changed",
        _ => "too few checks to tell a step from a trend",
    };
    vec![Flag {
        id: flag_id(RULE.name, Subject::Row(view.run.row_id(last.0.row))),
        severity: Severity::Tells,
        settled: Settled::Now,
        evidence: Evidence::default()
            .figure("moved", 100.0 * moved(first.1, last.1), "%")
            .figure("allowed", 100.0 * allowed, "%")
            .fact("from", first.0.name)
            .fact("course", course)
            .fact("cause", cause)
            .fact("cup", last.0.name),
        holds: Holds::Nothing,
        next: vec![NextStep::RepeatSinceLastCheck, NextStep::Stop],
    }]
}

/// "step" where two means describe the series better than a line, else "trend"; both have the place or slope chosen freely.
fn course(parts: &[f64]) -> &'static str {
    let about_line = scatter_about_line(parts);
    let about_step = (1..parts.len())
        .filter_map(|place| Some(summary::sum_of_squares(&parts[..place])? + summary::sum_of_squares(&parts[place..])?))
        .fold(f64::INFINITY, f64::min);
    if about_step < about_line { "step" } else { "trend" }
}

#[expect(clippy::cast_precision_loss, reason = "checks are few")]
fn scatter_about_line(parts: &[f64]) -> f64 {
    let Some(mean) = summary::mean(parts) else { return 0.0 };
    let middle = (parts.len() as f64 - 1.0) / 2.0;
    let (mut over, mut under) = (0.0, 0.0);
    for (place, part) in parts.iter().enumerate() {
        let x = place as f64 - middle;
        over += x * (part - mean);
        under += x * x;
    }
    let slope = if under > 0.0 { over / under } else { 0.0 };
    parts
        .iter()
        .enumerate()
        .map(|(place, part)| {
            let rest = part - mean - slope * (place as f64 - middle);
            rest * rest
        })
        .sum()
}

fn say(evidence: &Evidence) -> String {
    let course = match evidence.words("course") {
        "step" => "in a step: ",
        "trend" => "in a trend: ",
        _ => "",
    };
    format!(
        "the sensitivity moved by {} from {} to {} ({} allowed), {course}{}",
        evidence.told("moved"),
        evidence.words("from"),
        evidence.words("cup"),
        evidence.told("allowed"),
        evidence.words("cause")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_told_from_a_trend() {
        assert_eq!(course(&[1.00, 1.01, 0.85, 0.84, 0.86]), "step");
        assert_eq!(course(&[1.00, 0.96, 0.93, 0.88, 0.84]), "trend");
        // Nothing moves: neither is better, and the simpler word is taken.
        assert_eq!(course(&[1.0, 1.0, 1.0, 1.0]), "trend");
    }
}
