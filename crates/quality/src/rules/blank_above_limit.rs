//! blank-above-limit
//!
//! What it sees: a method blank or check blank whose mass concentration exceeds what the method allows.
//! Why it matters: what a method blank holds is in the samples of its batch too and cannot be told from them; what a
//! check blank holds has been carried over or has drifted in since the last check.
//! What to do: measure the blank again; if a method blank stays high, prepare the batch again.
//! Source: the method document, `blank.highest`; where it is silent, nothing is flagged.

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::decision::{NextStep, Subject};
use darkline_record::preparation::PortionRole;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::rules::check_outside_limits::rows_between_checks;
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "blank-above-limit", source: "the method document, blank.highest", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(highest) = &view.method.blank.highest else { return Vec::new() };
    let unit = highest.unit();
    let mut flags = Vec::new();
    for (place, solution) in view.solutions.iter().enumerate() {
        let is_method_blank = matches!(solution.role, Some(PortionRole::MethodBlank));
        if solution.replaced || !(is_method_blank || matches!(solution.holds, RowHolds::CheckBlank)) {
            continue;
        }
        let Some(amount) = solution.amount.filter(|amount| *amount > highest.value().si()) else { continue };
        let holds = match solution.holds {
            RowHolds::Portion { batch, .. } => Holds::Batch(batch.clone()),
            _ => Holds::Rows(rows_between_checks(view, place)),
        };
        let mut next = vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }];
        if is_method_blank {
            next.push(NextStep::PrepareAgain);
        }
        let kind = if is_method_blank { "method blank" } else { "check blank" };
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", unit.read(MassConcentration::from_si(amount)), unit.symbol())
                .figure("allowed", unit.read(highest.value()), unit.symbol())
                .fact("blank", kind)
                .fact("cup", solution.name),
            holds,
            next,
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!("{}: {}, the method allows {}", evidence.cup("blank"), evidence.told("found"), evidence.told("allowed"))
}
