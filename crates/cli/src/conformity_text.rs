//! Conformity as text: for every result the probability that it keeps to its limit, the risk that what is said is wrong, the
//! guard band.

use darkline_evaluation::outcome::{Outcome, StatementOutcome};
use darkline_report::printed::significant;

use crate::paragraph::indented;
use crate::table::Table;

/// The statements of an outcome with what they rest on; nothing where none is made.
pub fn conformity_text(outcome: &Outcome) -> String {
    let mut table = Table::new()
        .words("conformity")
        .words("statement")
        .figures("conforms with", "%")
        .figures("risk", "%")
        .figures("guard band", "");
    let mut lines = String::new();
    let mut is_empty = true;
    for (name, unit, found) in statements(outcome) {
        is_empty = false;
        let percent = |part: Option<f64>| part.map_or_else(|| "–".into(), |part| significant(100.0 * part, 3));
        table.row(vec![
            name.clone(),
            format!("{}, at most {}", found.statement, found.limit),
            percent(found.probability_of_conformity),
            percent(found.specific_risk()),
            found.guard_band.map_or_else(|| "–".into(), |width| format!("{} {unit}", significant(width, 3))),
        ]);
        if let Some(risk) = &found.global_risk {
            lines.push_str(&indented(&format!("{name}: {}", risk.words()), 0));
        }
        if let Some(replicates) = found.replicates {
            lines.push_str(&indented(&format!("{name}: {}", replicates.words()), 0));
        }
    }
    if is_empty {
        return String::new();
    }
    let heads = "conforms with: probability that the limit is kept; risk: probability that the statement is wrong";
    format!("{}{}{lines}\n", table.text(), indented(heads, 0))
}

fn statements(outcome: &Outcome) -> Vec<(String, &str, &StatementOutcome)> {
    let of_results = outcome.results.iter().filter_map(|result| {
        let name = format!("{} in {}", result.element, result.sample);
        Some((name, result.unit.as_str(), result.statement.as_ref()?))
    });
    let of_sums = outcome.sums.iter().flat_map(|sum| {
        [("lower", &sum.lower), ("upper", &sum.upper)].into_iter().filter_map(move |(which, bound)| {
            let name = format!("{}, {which} bound", sum.title());
            Some((name, sum.unit.as_str(), bound.as_ref()?.statement.as_ref()?))
        })
    });
    of_results.chain(of_sums).collect()
}
