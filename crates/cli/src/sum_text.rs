//! Sums of results as text: both bounds with U, what lies below its quantification limit, and what each bound says.

use darkline_evaluation::outcome::{BoundOutcome, SumOutcome};
use darkline_metrology::conformity::Statement;
use darkline_record::order::Sum;
use darkline_report::printed::{Printed, coverage_factor, printed};

use crate::table::Table;

/// The sums of an order: a table for each that it asks for.
pub fn sums_text(asked: &[Sum], sums: &[SumOutcome], controls_passed: bool) -> String {
    let mut text = String::new();
    for of in asked {
        let found: Vec<&SumOutcome> = sums.iter().filter(|sum| sum.name == of.name).collect();
        let Some(first) = found.first() else { continue };
        let factor = found.iter().find_map(|sum| Some(coverage_factor(&sum.upper.as_ref()?.value)));
        let u_head = factor.map_or_else(|| "U".into(), |factor| format!("U (k = {factor})"));
        let mut table = Table::new()
            .words(&format!("sum: {}", of.name))
            .figures("lower bound", &first.unit)
            .figures(&u_head, &first.unit)
            .figures("upper bound", &first.unit)
            .figures("U", &first.unit)
            .words("below LOQ");
        let limit = of.limit.as_ref().filter(|_| controls_passed);
        if let Some(limit) = limit {
            table = table.words(&format!("at most {} ({})", limit.at_most, limit.decision_rule.words()));
        }
        for sum in found {
            let mut row = vec![sum.of()];
            for bound in [&sum.lower, &sum.upper] {
                let (value, u) = bound.as_ref().map_or_else(dashes, cells);
                row.extend([value, u]);
            }
            let missing = sum.missing();
            row.push(if missing.is_empty() { sum.below_loq() } else { format!("missing: {missing}") });
            if limit.is_some() {
                row.push(said(sum));
            }
            table.row(row);
        }
        text.push_str(&table.text());
        text.push('\n');
    }
    text
}

fn dashes() -> (String, String) {
    ("–".into(), "–".into())
}

fn cells(bound: &BoundOutcome) -> (String, String) {
    let Printed { value, expanded_u } = printed(&bound.value);
    (value, expanded_u)
}

/// What the bounds say: one word where they agree, both where they do not.
fn said(sum: &SumOutcome) -> String {
    let of = |bound: &Option<BoundOutcome>| Some(bound.as_ref()?.statement.as_ref()?.statement);
    match (of(&sum.lower), of(&sum.upper)) {
        (Some(Statement::Inconclusive), Some(Statement::Inconclusive)) => "inconclusive by both bounds".into(),
        (Some(lower), Some(upper)) if lower == upper => lower.to_string(),
        (Some(lower), Some(upper)) => format!("inconclusive: lower bound {lower}, upper bound {upper}"),
        _ => String::new(),
    }
}

/// The sums as lines of the table of results: two each.
pub fn sum_lines(sum: &SumOutcome) -> Vec<Vec<String>> {
    [("lower bound", &sum.lower), ("upper bound", &sum.upper)]
        .into_iter()
        .map(|(which, bound)| {
            let figure =
                |of: fn(&BoundOutcome) -> f64| bound.as_ref().map_or_else(String::new, |bound| of(bound).to_string());
            let statement = bound.as_ref().and_then(|bound| bound.statement.as_ref());
            let below = sum.below_loq();
            let state = match (bound, below.as_str()) {
                (None, _) => "awaiting".into(),
                (_, "") => which.to_owned(),
                (_, below) => format!("{which} ({below} below LOQ)"),
            };
            vec![
                sum.of(),
                sum.name.clone(),
                sum.kind.clone(),
                sum.unit.clone(),
                state,
                figure(|bound| bound.value.value),
                figure(|bound| bound.value.u),
                figure(|bound| bound.value.expanded_u),
                figure(|bound| bound.value.coverage_factor),
                statement.map_or_else(String::new, |found| found.limit.clone()),
                statement.map_or_else(String::new, |found| found.statement.to_string()),
            ]
        })
        .collect()
}
