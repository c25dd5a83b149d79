//! method-blank-missing
//!
//! What it sees: a preparation batch without a measured method blank, where the method subtracts it.
//! Why it matters: nothing can be subtracted, and a result without it would be something else than the method says.
//! What to do: measure the batch's method blank in this run; where the batch has none, prepare it again with one.
//! Source: the method document, `blank.subtract`.

use std::collections::BTreeMap;

use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::BatchId;
use darkline_record::method::Subtract;
use darkline_record::preparation::PortionRole;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "method-blank-missing", source: "the method document, blank.subtract", see, say };

/// What a batch has in a run.
#[derive(Default)]
struct Seen {
    portions_read: usize,
    blanks_read: usize,
    blank_planned: Option<u32>,
}

fn see(view: &RunView<'_>) -> Vec<Flag> {
    if view.method.blank.subtract == Subtract::Nothing {
        return Vec::new();
    }
    let mut batches: BTreeMap<&BatchId, Seen> = BTreeMap::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let RowHolds::Portion { batch, .. } = solution.holds else { continue };
        let seen = batches.entry(batch).or_default();
        let is_read = usize::from(solution.amount.is_some());
        if matches!(solution.role, Some(PortionRole::MethodBlank)) {
            seen.blanks_read += is_read;
            seen.blank_planned = seen.blank_planned.or(Some(solution.row));
        } else {
            seen.portions_read += is_read;
        }
    }
    let flag = |(batch, seen): (&BatchId, Seen)| Flag {
        id: flag_id(RULE.name, Subject::Batch(batch.clone())),
        severity: Severity::Stops,
        settled: seen.blank_planned.map_or(Settled::Now, |row| Settled::Until(view.run.row_id(row))),
        evidence: Evidence::default().fact("batch", batch.as_str()).fact("run", view.run.id.as_str()),
        holds: Holds::Batch(batch.clone()),
        next: vec![NextStep::PrepareAgain],
    };
    batches.into_iter().filter(|(_, seen)| seen.portions_read > 0 && seen.blanks_read == 0).map(flag).collect()
}

fn say(evidence: &Evidence) -> String {
    format!("batch {} has no method blank measured in run {}", evidence.words("batch"), evidence.words("run"))
}
