//! background-too-high
//!
//! What it sees: a pulse whose background absorbance rises above what the method says its instrument corrects.
//! Why it matters: the light left is noise, and what the corrector leaves over or takes too much goes into the result.
//! What to do: skip the remaining replicates, dilute so that the background falls below the limit, and fire a spiked cup;
//! or raise the pyrolysis temperature.
//! Source: the method document, `highest_background`; where it is silent, nothing is flagged. The factor offered: common
//! practice, no source.

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::rules::over_range::factor_for;
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "background-too-high", source: "the method document, highest_background", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(highest) = view.method.limits.highest_background.as_ref().map(|highest| highest.value().si()) else {
        return Vec::new();
    };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        // All replicates that stand, so that the first one is enough to speak.
        let above: Vec<f64> = view
            .counted(solution)
            .filter_map(|reading| Some(reading.pulse.as_ref()?.reduced.background_max))
            .filter(|background| *background > highest)
            .collect();
        let Some(found) = above.iter().copied().reduce(f64::max) else { continue };
        let is_portion = view.portion(solution).is_some();
        let dilute = NextStep::Dilute { factor: factor_for(found / highest) };
        let again = NextStep::MeasureAgain { replicates: view.method.replicates.n };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let count = above.len() as f64;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", found, "1")
                .figure("allowed", highest, "1")
                .figure("count", count, "1")
                .figure("of", f64::from(solution.planned), "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: if is_portion { vec![dilute, again, NextStep::StandardAdditions] } else { vec![again] },
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: background {} in {} of {} firings, the instrument corrects {}: skip what is left of them, dilute, and fire a \
         spiked cup",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.value("count"),
        evidence.value("of"),
        evidence.told("allowed")
    )
}
