//! part-above-whole
//!
//! What it sees: a sample that the order calls a part of another one, such as the dissolved part of a water, with a result above
//! that of the whole by more than three standard deviations of their difference.
//! Why it matters: a part cannot hold more than the whole: a bottle was mixed up, the filter gave something off, or the
//! digestion lost something.
//! What to do: measure both again; if it stays, prepare both again, with a filter blank.
//! Source: common practice, no source; three standard deviations of the repeatability of the method document (our choice).
//! Seen within one run only.

use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::identity::{RowId, SampleId};
use darkline_record::preparation::PortionRole;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::rules::duplicates_differ::result_unit;
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule { name: "part-above-whole", source: "common practice, no source", see, say };

/// Standard deviations of the difference.
const CLEARLY: f64 = 3.0;

/// What a run says of a sample.
struct Found {
    rows: Vec<RowId>,
    value: f64,
    u: f64,
}

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let unit = result_unit(view);
    let mut flags = Vec::new();
    for sample in &view.package.order.samples {
        let Some(whole_id) = &sample.part_of else { continue };
        let (Some(part), Some(whole)) = (found(view, &sample.id), found(view, whole_id)) else { continue };
        let u = (part.u * part.u + whole.u * whole.u).sqrt();
        if part.value - whole.value <= CLEARLY * u {
            continue;
        }
        let row = part.rows[0].clone();
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(row)),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("part", part.value, unit)
                .figure("whole", whole.value, unit)
                .figure("noise", CLEARLY * u, unit)
                .fact("part", sample.id.as_str())
                .fact("whole", whole_id.as_str()),
            holds: Holds::Rows(part.rows.into_iter().chain(whole.rows).collect()),
            next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::PrepareAgain],
        });
    }
    flags
}

/// The mean over the portions of a sample, with the uncertainty of its replicates.
fn found(view: &RunView<'_>, id: &SampleId) -> Option<Found> {
    let (mut rows, mut values, mut squares) = (Vec::new(), Vec::new(), 0.0);
    for result in view.results {
        let role = &view.package.portion(&result.batch, &result.portion)?.role;
        if !matches!(role, PortionRole::Sample { order, sample } if *order == view.package.order.id && sample == id) {
            continue;
        }
        let (Some(value), Some(solution)) = (result.value, view.solution(result.row)) else { continue };
        let Some(response) = solution.mean_response.filter(|response| *response > 0.0) else { continue };
        let relative = view.repeatability(response) / response;
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let n = solution.counted.len().max(1) as f64;
        rows.push(view.run.row_id(result.row));
        values.push(value);
        squares += value * value * relative * relative / n;
    }
    #[expect(clippy::cast_precision_loss, reason = "portions are few")]
    let n = values.len() as f64;
    Some(Found { value: summary::mean(&values)?, u: squares.sqrt() / n, rows })
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}, a part of {}, holds {}, the whole {}: noise explains {}",
        evidence.words("part"),
        evidence.words("whole"),
        evidence.told("part"),
        evidence.told("whole"),
        evidence.told("noise")
    )
}
