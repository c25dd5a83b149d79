//! Sums on the report, and in the annex how sure each statement of conformity is.

use darkline_evaluation::outcome::{BoundOutcome, Outcome, StatementOutcome, SumOutcome};
use darkline_metrology::conformity::Statement as Found;
use darkline_record::order::Order;

use crate::printed::{Printed, coverage_factor, printed, significant};
use crate::test_report::{BoundLine, ConformityLine, Limit, Statement, SumLine, Verdict};

/// The sums, each with both bounds and what both say of the limit.
pub(crate) fn sums(order: &Order, outcome: &Outcome) -> Vec<SumLine> {
    outcome.sums.iter().map(|sum| sum_line(order, sum)).collect()
}

fn sum_line(order: &Order, sum: &SumOutcome) -> SumLine {
    let limit = order.sums.iter().find(|asked| asked.name == sum.name).and_then(|asked| asked.limit.as_ref());
    let stated = sum.upper.as_ref().and_then(|bound| bound.statement.as_ref());
    SumLine {
        name: sum.name.clone(),
        of: sum.of(),
        unit: sum.unit.clone(),
        lower: sum.lower.as_ref().map(bound_line),
        upper: sum.upper.as_ref().map(bound_line),
        below_loq: sum.below_loq(),
        missing: sum.missing(),
        limit: stated.zip(limit).map(|(statement, limit)| Limit {
            text: if limit.at_most.unit_symbol() == sum.unit {
                format!("at most {}", limit.at_most.digits())
            } else {
                format!("at most {}", statement.limit)
            },
            specification: statement.origin.clone(),
            rule: statement.decision_rule.clone(),
        }),
        statement: sum.statement.map(|statement| Statement { verdict: verdict(statement), detail: detail(sum) }),
    }
}

fn bound_line(bound: &BoundOutcome) -> BoundLine {
    let Printed { value, expanded_u } = printed(&bound.value);
    BoundLine { value, expanded_u, coverage_factor: coverage_factor(&bound.value) }
}

fn verdict(statement: Found) -> Verdict {
    match statement {
        Found::Complies => Verdict::Complies,
        Found::DoesNotComply => Verdict::DoesNotComply,
        Found::Inconclusive => Verdict::Inconclusive,
    }
}

/// What each bound says, where it is not the same.
fn detail(sum: &SumOutcome) -> String {
    let of = |bound: &Option<BoundOutcome>| Some(bound.as_ref()?.statement.as_ref()?.statement);
    match (of(&sum.lower), of(&sum.upper)) {
        (Some(lower), Some(upper)) if lower != upper => format!("lower bound {lower}, upper bound {upper}"),
        _ => "by both bounds".into(),
    }
}

/// How sure each statement is, in the order of the results and then of the sums.
pub(crate) fn lines(outcome: &Outcome) -> Vec<ConformityLine> {
    let of_results = outcome.results.iter().filter_map(|result| {
        let of = format!("{} in {}", result.element, result.sample);
        result.statement.as_ref().map(|statement| line(of, statement, &result.unit))
    });
    let of_sums = outcome.sums.iter().flat_map(|sum| {
        [("lower", &sum.lower), ("upper", &sum.upper)].into_iter().filter_map(move |(which, bound)| {
            let of = format!("{}, {which} bound", sum.title());
            Some(line(of, bound.as_ref()?.statement.as_ref()?, &sum.unit))
        })
    });
    of_results.chain(of_sums).collect()
}

fn line(of: String, statement: &StatementOutcome, unit: &str) -> ConformityLine {
    let percent =
        |part: Option<f64>| part.map_or_else(String::new, |part| format!("{} %", significant(100.0 * part, 3)));
    ConformityLine {
        of,
        statement: format!("{}, at most {}", statement.statement, statement.limit),
        probability: percent(statement.probability_of_conformity),
        risk: percent(statement.specific_risk()),
        guard_band: statement.guard_band.map_or_else(String::new, |width| format!("{} {unit}", significant(width, 3))),
        global_risk: statement.global_risk.as_ref().map_or_else(String::new, |risk| risk.words()),
    }
}
