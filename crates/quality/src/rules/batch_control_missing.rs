//! batch-control-missing
//!
//! What it sees: a preparation batch that brings no portion of a kind that the method asks of every batch, or whose portion
//! of that kind stands in no row of the run, although other portions of it have been measured.
//! Why it matters: nothing shows what the preparation added, lost or mixed up.
//! What to do: measure it in this run; where the batch has none, prepare it again with one.
//! Source: the method document, `batch_controls`; where it is silent, nothing is flagged. EPA method 200.9, revision 2.2, 9.3
//! and 9.4, asks for blank, fortified blank and fortified matrix (from memory).

use std::collections::BTreeSet;

use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::BatchId;
use darkline_record::limits::BatchControl;
use darkline_record::preparation::PortionRole;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "batch-control-missing",
    source: "the method document, batch_controls; EPA method 200.9, revision 2.2, 9.3 and 9.4 (from memory)",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let wanted = &view.method.limits.batch_controls;
    if wanted.is_empty() {
        return Vec::new();
    }
    let mut read: BTreeSet<&BatchId> = BTreeSet::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced && view.is_read(solution)) {
        if let RowHolds::Portion { batch, .. } = solution.holds {
            read.insert(batch);
        }
    }
    let mut flags = Vec::new();
    for batch in read {
        // Any run of the package may hold the row; the control is one of the batch, not of the run.
        let stands = |role: BatchControl| {
            view.package.runs.iter().filter(|run| run.method == view.method.id).flat_map(|run| run.rows()).any(|row| {
                matches!(&row.holds, RowHolds::Portion { batch: of, portion, .. } if of == batch
                    && view.package.portion(of, portion).is_some_and(|portion| is(&portion.role, role)))
            })
        };
        let missing: Vec<&str> =
            wanted.iter().filter(|role| !stands(**role)).map(|role| BatchControl::words(*role)).collect();
        if missing.is_empty() {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Batch(batch.clone())),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default().fact("batch", batch.as_str()).fact("missing", &missing.join(", ")),
            holds: Holds::Batch(batch.clone()),
            next: vec![NextStep::PrepareAgain],
        });
    }
    flags
}

fn is(role: &PortionRole, wanted: BatchControl) -> bool {
    matches!(
        (role, wanted),
        (PortionRole::MethodBlank, BatchControl::MethodBlank)
            | (PortionRole::Control { .. }, BatchControl::Control)
            | (PortionRole::Duplicate { .. }, BatchControl::Duplicate)
            | (PortionRole::Spike { .. }, BatchControl::Spike)
    )
}

fn say(evidence: &Evidence) -> String {
    format!("batch {} has no row for: {}", evidence.words("batch"), evidence.words("missing"))
}
