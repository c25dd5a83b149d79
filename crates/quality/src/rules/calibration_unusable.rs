//! calibration-unusable
//!
//! What it sees: standards that give no calibration function, or one that does not rise.
//! Why it matters: no response of the run can be read as an amount.
//! What to do: check lamp, line and standards, then calibrate again; the run stops here.
//! Source: common practice, no source.

use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration};

/// The rule.
pub const RULE: Rule = Rule { name: "calibration-unusable", source: "common practice, no source", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let SeenCalibration::Unusable { why } = view.calibration else { return Vec::new() };
    vec![Flag {
        id: flag_id(RULE.name, Subject::Run(view.run.id.clone())),
        severity: Severity::Stops,
        settled: Settled::Now,
        evidence: Evidence::default().fact("why", why),
        holds: Holds::Run(view.run.id.clone()),
        next: vec![NextStep::Stop],
    }]
}

fn say(evidence: &Evidence) -> String {
    evidence.words("why").into()
}
