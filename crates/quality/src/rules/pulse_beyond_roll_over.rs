//! pulse-beyond-roll-over
//!
//! What it sees: a pulse that dips between two humps at the highest net absorbance there is, while the total channel rises: it
//! went beyond the roll-over, and its area was read along the falling branch of the curve that the method gives.
//! Why it matters: the area as measured would be far too low; the restored one rests on the two parameters of the curve, whose
//! uncertainty is in the result.
//! What to do: look at the pulse; a dilution below the roll-over is surer wherever there is time and solution for it.
//! Source: two parameters suffice: B. V. L'vov, L. K. Polzik, P. V. Fedorov, W. Slavin, Spectrochim. Acta 47B (1992) 1411 (abstract
//! seen); the curve is that of the method document, `[background] roll_over`; where it is silent, nothing is flagged.

use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "pulse-beyond-roll-over",
    source: "B. V. L'vov et al., Spectrochim. Acta 47B (1992) 1411 (abstract seen); the method document, roll_over",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let dips: Vec<(f64, f64, f64, f64)> = view
            .counted(solution)
            .filter_map(|reading| {
                let restored = reading.restored?;
                let (from_s, to_s) = restored.dip_s?;
                Some((from_s, to_s, restored.measured, reading.response?))
            })
            .collect();
        let Some(&(from_s, to_s, measured, restored)) = dips.first() else { continue };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let count = dips.len() as f64;
        let unit = view.response_unit();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Tells,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("from", from_s, "s")
                .figure("to", to_s, "s")
                .figure("measured", measured, unit)
                .figure("restored", restored, unit)
                .figure("count", count, "1")
                .figure("of", f64::from(solution.planned), "1")
                .fact("cup", solution.name),
            holds: Holds::Nothing,
            next: match view.portion(solution) {
                Some(_) => vec![NextStep::Dilute { factor: 10 }],
                None => Vec::new(),
            },
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: {} of {} pulses went beyond the roll-over, the first from {} to {}; its area of {} is {} along both branches. A \
         dilution is surer than a restored pulse",
        evidence.words("cup"),
        evidence.value("count"),
        evidence.value("of"),
        evidence.told("from"),
        evidence.told("to"),
        evidence.told("measured"),
        evidence.told("restored")
    )
}
