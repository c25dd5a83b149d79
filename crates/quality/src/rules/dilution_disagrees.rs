//! dilution-disagrees
//!
//! What it sees: one portion measured undiluted and diluted in the same run, whose solutions differ by more than the method
//! allows, where the less diluted one holds at least twenty-five times what can be quantified.
//! Why it matters: a matrix that takes or gives response does less of it when diluted; the less diluted result is wrong.
//! What to do: dilute further until two dilutions agree, or measure by standard additions.
//! Source: EPA methods 7000B and 7010, dilution test (10 %, factor 25; from memory); the method document,
//! `highest_dilution_difference`; where it is silent, nothing is flagged.

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::decision::{NextStep, Subject};
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "dilution-disagrees",
    source: "EPA methods 7000B and 7010, dilution test (from memory); the method document, highest_dilution_difference",
    see,
    say,
};

/// Times what can be quantified, from which the test applies.
const ENOUGH: f64 = 25.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(allowed) = view.method.limits.highest_dilution_difference.as_ref().map(|figure| figure.value().si())
    else {
        return Vec::new();
    };
    let SeenCalibration::Fitted { slope, .. } = view.calibration else { return Vec::new() };
    // Ten standard deviations at zero, as an amount.
    let quantified = 10.0 * view.method.replicates.sd_at_zero.value().si() / slope;
    let unit = MassConcentration::usual_unit();
    let diluted: Vec<(&SeenSolution<'_>, f64, f64)> = view
        .solutions
        .iter()
        .filter(|solution| !solution.replaced)
        .filter_map(|solution| match solution.holds {
            RowHolds::Portion { dilution, .. } => Some((solution, dilution.value.value().si(), solution.amount?)),
            _ => None,
        })
        .collect();
    let mut flags = Vec::new();
    for (more, factor, amount) in &diluted {
        let less = diluted
            .iter()
            .filter(|(other, other_factor, _)| is_same_portion(other, more) && *other_factor < *factor)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((less, less_factor, less_amount)) = less else { continue };
        if *less_amount < ENOUGH * quantified {
            continue;
        }
        let (from_less, from_more) = (less_amount * less_factor, amount * factor);
        let difference = (from_more - from_less) / from_less;
        if difference.abs() <= allowed {
            continue;
        }
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(more.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("less diluted", unit.read_si(from_less), unit.symbol())
                .figure("more diluted", unit.read_si(from_more), unit.symbol())
                .figure("difference", 100.0 * difference, "%")
                .figure("allowed", 100.0 * allowed, "%")
                .fact("cup", more.name),
            holds: Holds::Rows(vec![view.run.row_id(less.row), view.run.row_id(more.row)]),
            next: vec![NextStep::Dilute { factor: 5 }, NextStep::StandardAdditions],
        });
    }
    flags
}

fn is_same_portion(one: &SeenSolution<'_>, other: &SeenSolution<'_>) -> bool {
    match (one.holds, other.holds) {
        (
            RowHolds::Portion { batch, portion, .. },
            RowHolds::Portion { batch: other_batch, portion: other_portion, .. },
        ) => batch == other_batch && portion == other_portion,
        _ => false,
    }
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: diluted further it gives {} where it gave {} ({} off, {} allowed): dilute on, or measure by standard additions",
        evidence.words("cup"),
        evidence.told("more diluted"),
        evidence.told("less diluted"),
        evidence.told("difference"),
        evidence.told("allowed")
    )
}
