//! calibration-lacks-fit
//!
//! What it sees: level means of the standards that scatter about the calibration function more than their own replicates
//! explain, at the significance the method states.
//! Why it matters: a function of the wrong shape, or a standard that is not what its label says, moves every result between
//! the levels by more than its uncertainty tells.
//! What to do: measure the level that lies farthest off again; if it stays, choose a function that bends, or fewer levels.
//! Source: ISO 11095:1996, 6 (analysis of variance for lack of fit; from memory); the method document, `lack_of_fit`. One test
//! a run: a significance of 0.1 % is one false alarm in a thousand runs.

use darkline_metrology::distribution::fisher_f;
use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration};

/// The rule.
pub const RULE: Rule = Rule {
    name: "calibration-lacks-fit",
    source: "ISO 11095:1996, 6 (from memory); the method document, lack_of_fit",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(significance) = view.method.limits.lack_of_fit.as_ref().map(|figure| figure.value().si()) else {
        return Vec::new();
    };
    let SeenCalibration::Fitted { levels, n_parameters, .. } = view.calibration else { return Vec::new() };
    if view.standard_awaited().is_some() {
        return Vec::new();
    }
    let (mut about_function, mut within, mut n_points) = (0.0, 0.0, 0_usize);
    let mut farthest: Option<(f64, u32)> = None;
    for level in levels {
        let (Some(mean), Some(squares)) = (summary::mean(&level.responses), summary::sum_of_squares(&level.responses))
        else {
            continue;
        };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let n = level.responses.len() as f64;
        let part = n * level.weight * (mean - level.fitted) * (mean - level.fitted);
        about_function += part;
        within += level.weight * squares;
        n_points += level.responses.len();
        if farthest.is_none_or(|(most, _)| part > most) {
            farthest = Some((part, level.row));
        }
    }
    let (Some(dof_fit), Some(dof_within)) =
        (levels.len().checked_sub(*n_parameters), n_points.checked_sub(levels.len()))
    else {
        return Vec::new();
    };
    let Some((_, row)) = farthest.filter(|_| dof_fit > 0 && dof_within > 0 && within > 0.0) else { return Vec::new() };
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let (dof_fit, dof_within) = (dof_fit as f64, dof_within as f64);
    let ratio = (about_function / dof_fit) / (within / dof_within);
    let Some(chance) = fisher_f::upper_tail(ratio, dof_fit, dof_within).filter(|chance| *chance < significance) else {
        return Vec::new();
    };
    let name = view.solution(row).map_or("", |solution| solution.name);
    vec![Flag {
        id: flag_id(RULE.name, Subject::Row(view.run.row_id(row))),
        severity: Severity::Stops,
        settled: Settled::Now,
        evidence: Evidence::default()
            .figure("ratio", ratio, "1")
            .figure("chance", 100.0 * chance, "%")
            .figure("significance", 100.0 * significance, "%")
            .fact("cup", name),
        holds: Holds::Run(view.run.id.clone()),
        next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::Stop],
    }]
}

fn say(evidence: &Evidence) -> String {
    format!(
        "the standards scatter about the calibration function {} times more than their replicates explain (chance {}, {} is the \
         method's limit); {} lies farthest off",
        evidence.told("ratio"),
        evidence.told("chance"),
        evidence.told("significance"),
        evidence.words("cup")
    )
}
