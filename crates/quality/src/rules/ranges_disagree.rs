//! ranges-disagree
//!
//! What it sees: a solution whose pulses say one thing in the sensitive range and another in the reduced one, each by more than
//! twice the standard uncertainty of the difference and all to one side; a single pulse by more than three times.
//! Why it matters: both ranges come of one firing and share everything but the field: one of the curves that the method gives is
//! not that of this instrument today, or the background is structured.
//! What to do: measure a standard that both ranges can see; if it disagrees too, find the curve anew before results beyond the
//! sensitive range are used.
//! Source: zeta = (m₂ − m₁)/u(m₂ − m₁), JCGM 100:2008, equation (16); 2 and 3 as in ISO 13528:2022, 9.4 (from memory); how many
//! pulses have to agree: common practice, no source.

use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "ranges-disagree",
    source: "JCGM 100:2008, equation (16); ISO 13528:2022, 9.4 (from memory)",
    see,
    say,
};

const OF_SEVERAL: f64 = 2.0;
const OF_ONE: f64 = 3.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let found: Vec<(f64, f64, f64)> = view
            .counted(solution)
            .filter_map(|reading| {
                let ranges = reading.restored?.ranges?;
                Some((ranges.zeta?, ranges.sensitive, ranges.reduced))
            })
            .collect();
        let limit = if found.len() > 1 { OF_SEVERAL } else { OF_ONE };
        let is_above = found.iter().all(|(zeta, ..)| *zeta > limit);
        let is_below = found.iter().all(|(zeta, ..)| *zeta < -limit);
        let Some(&(zeta, sensitive, reduced)) = found.first().filter(|_| is_above || is_below) else { continue };
        let unit = view.response_unit();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("sensitive", sensitive, unit)
                .figure("reduced", reduced, unit)
                .figure("zeta", zeta, "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the sensitive range says {} and the reduced one {} of the same firing, {} standard uncertainties apart",
        evidence.words("cup"),
        evidence.told("sensitive"),
        evidence.told("reduced"),
        evidence.told("zeta")
    )
}
