//! spike-outside-limits
//!
//! What it sees: a spiked portion in which the added analyte is not found again between the limits of the method. A spike
//! of less than a quarter of what the sample holds is not judged.
//! Why it matters: the matrix takes or gives response, or the element was lost on the way; the samples of the batch may
//! suffer the same.
//! What to do: dilute and measure again; if the recovery stays outside, measure by standard additions.
//! Source: EPA method 200.9, revision 2.2, 9.4.3 (the quarter); the furnace scheme of the CLP inorganic statements of work
//! (below 40 %: dilute; otherwise: standard additions); the method document, `spike_lowest` and `spike_highest`; where it is
//! silent, nothing is flagged.

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenControlKind};

/// The rule.
pub const RULE: Rule = Rule {
    name: "spike-outside-limits",
    source: "EPA method 200.9, revision 2.2, 9.4.3; CLP inorganic statements of work, furnace scheme; the method document, \
             spike_lowest and spike_highest",
    see,
    say,
};

/// A spike is judged from this part of what the sample holds.
const LEAST_PART: f64 = 0.25;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let limits = &view.method.limits;
    let (Some(lowest), Some(highest)) = (&limits.spike_lowest, &limits.spike_highest) else { return Vec::new() };
    let (lowest, highest) = (100.0 * lowest.value().si(), 100.0 * highest.value().si());
    let mut flags = Vec::new();
    for control in view.controls.iter().filter(|control| control.kind == SeenControlKind::Spike) {
        if (lowest..=highest).contains(&control.found) || !is_judged(view, control) {
            continue;
        }
        let name = view.solution(control.row).map_or("", |solution| solution.name);
        let is_suppressed = control.found < lowest;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(control.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", control.found, "%")
                .figure("lowest", lowest, "%")
                .figure("highest", highest, "%")
                .fact("how", if is_suppressed { "suppressed" } else { "enhanced" })
                .fact("batch", control.batch.as_str())
                .fact("cup", name),
            holds: Holds::Batch(control.batch.clone()),
            next: vec![
                NextStep::Dilute { factor: if control.found < 40.0 { 5 } else { 2 } },
                NextStep::StandardAdditions,
                NextStep::MeasureAgain { replicates: view.method.replicates.n },
            ],
        });
    }
    flags
}

/// Whether the addition is large enough beside what the portion brings itself.
fn is_judged(view: &RunView<'_>, control: &crate::view::SeenControl) -> bool {
    let Some(PortionRole::Spike { of, added, .. }) =
        view.package.portion(&control.batch, &control.portion).map(|portion| &portion.role)
    else {
        return false;
    };
    let native =
        view.results.iter().find(|result| result.batch == control.batch && result.portion == *of).and_then(|result| {
            let volume = view.package.portion(&control.batch, of)?.volume.as_ref()?.value.value().si();
            Some(result.solution * volume)
        });
    native.is_some_and(|native| added.value.value().si() >= LEAST_PART * native)
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} of what was added is found, the method allows {} to {}: the response is {}; batch {} is held",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("lowest"),
        evidence.told("highest"),
        evidence.words("how"),
        evidence.words("batch")
    )
}
