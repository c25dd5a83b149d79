//! portion-too-small
//!
//! What it sees: a test portion of less mass than the method's smallest, as soon as it stands in the run order.
//! Why it matters: below the minimum intake a portion is no longer like the material, and a reference value no longer holds.
//! What to do: prepare the portion again with more of it.
//! Source: the method document, `least_portion`; where it is silent, nothing is flagged. Minimum intake: ISO Guide 35:2017,
//! 7.11 (from memory).

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "portion-too-small",
    source: "the method document, least_portion; ISO Guide 35:2017, 7.11 (from memory)",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(least) = &view.method.limits.least_portion else { return Vec::new() };
    let unit = least.unit();
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let Some(portion) = view.portion(solution) else { continue };
        if matches!(portion.role, PortionRole::MethodBlank) {
            continue;
        }
        let Some(mass) = portion.mass.as_ref().map(|mass| mass.value.value()) else { continue };
        if mass.si() >= least.value().si() {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", unit.read(mass), unit.symbol())
                .figure("least", unit.read(least.value()), unit.symbol())
                .fact("cup", solution.name),
            holds: Holds::Rows(vec![view.run.row_id(solution.row)]),
            next: vec![NextStep::PrepareAgain],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: a portion of {}, the method asks for at least {}",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("least")
    )
}
