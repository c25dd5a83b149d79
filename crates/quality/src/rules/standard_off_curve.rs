//! standard-off-curve
//!
//! What it sees: a standard whose amount, read back from the calibration function, differs from what it holds by more than
//! the method allows.
//! Why it matters: the function does not say what the standards hold, so it does not say what the samples hold; or this
//! standard is not what its label says.
//! What to do: measure the standard again; if it stays, make it again.
//! Source: the method document, `back_calculated`; where it is silent, nothing is flagged. Reading standards back: common
//! practice, no source.

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration};

/// The rule.
pub const RULE: Rule = Rule { name: "standard-off-curve", source: "the method document, back_calculated", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(allowed) = view.method.limits.back_calculated.as_ref().map(|allowed| allowed.value().si()) else {
        return Vec::new();
    };
    let SeenCalibration::Fitted { levels, .. } = view.calibration else { return Vec::new() };
    // Before all standards are read the function still moves with each of them.
    if view.standard_awaited().is_some() {
        return Vec::new();
    }
    let unit = MassConcentration::usual_unit();
    let mut flags = Vec::new();
    for level in levels.iter().filter(|level| level.amount > 0.0) {
        let read_back = level.read_back.unwrap_or(0.0);
        if (read_back / level.amount - 1.0).abs() <= allowed {
            continue;
        }
        let name = view.solution(level.row).map_or("", |solution| solution.name);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(level.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", unit.read_si(read_back), unit.symbol())
                .figure("should be", unit.read_si(level.amount), unit.symbol())
                .figure("deviation", 100.0 * (read_back / level.amount - 1.0), "%")
                .figure("allowed", 100.0 * allowed, "%")
                .fact("cup", name),
            holds: Holds::Run(view.run.id.clone()),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::Stop],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{} reads back as {} of {} ({} off, {} allowed)",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("should be"),
        evidence.told("deviation"),
        evidence.told("allowed")
    )
}
