//! carry-over
//!
//! What it sees: a first replicate that lies above the others of its row by more than three standard deviations of the
//! method's repeatability, right behind a reading at least twice as high; the difference over that reading is the part
//! carried over.
//! Why it matters: what stayed in the tube, capillary or nebuliser is read as this sample's.
//! What to do: clean out, measure a blank, then this row again; the leg puts the blank before it.
//! Source: P. M. G. Broughton et al., Ann. Clin. Biochem. 11 (1974) 207 (the part carried over); EPA method 200.9, 4.4 (from
//! memory); three standard deviations, since only the rows behind richer ones are asked: a clean run raises a
//! false alarm once in a hundred and fifty (our choice).
//! The method document, `highest_carry_over`, may allow a part.

use darkline_metrology::kind::Kind;
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenReading};

/// The rule.
pub const RULE: Rule = Rule {
    name: "carry-over",
    source: "P. M. G. Broughton et al., Ann. Clin. Biochem. 11 (1974) 207; EPA method 200.9, 4.4 (from memory)",
    see,
    say,
};

/// Standard deviations by which the first replicate lies above the others.
const CLEARLY: f64 = 3.0;

/// How many times higher the reading before it is.
const RICH: f64 = 2.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let allowed = view.method.limits.highest_carry_over.as_ref().map_or(0.0, |part| part.value().si());
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let own: Vec<&SeenReading> = view.counted(solution).filter(|reading| reading.row == solution.row).collect();
        let Some((first, others)) = own.split_first() else { continue };
        let before = view
            .readings
            .iter()
            .rev()
            .find(|reading| reading.number < first.number)
            .filter(|reading| reading.home != solution.row);
        let others: Vec<f64> = others.iter().filter_map(|reading| reading.response).collect();
        let (Some(response), Some(mean), Some(before)) = (first.response, summary::mean(&others), before) else {
            continue;
        };
        let Some(rich) = before.response.filter(|rich| *rich > RICH * response && *rich > 0.0) else { continue };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let u = view.repeatability(mean.max(0.0)) * (1.0 + 1.0 / others.len() as f64).sqrt();
        let carried = response - mean;
        let part = carried / rich;
        if carried <= CLEARLY * u || part <= allowed {
            continue;
        }
        let from = view.solution(before.home).map_or("", |solution| solution.name);
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("first", response, unit)
                .figure("others", mean, unit)
                .figure("before", rich, unit)
                .figure("part", 100.0 * part, "%")
                .fact("from", from)
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }],
        });
    }
    flags
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the first replicate gives {}, the others {}: {} of what {} gave ({}) came with it; clean out and measure a blank, \
         then this row again",
        evidence.words("cup"),
        evidence.told("first"),
        evidence.told("others"),
        evidence.told("part"),
        evidence.words("from"),
        evidence.told("before")
    )
}
