//! What each rejection does: the results with the reading and without it, side by side.
//!
//! [`rejections`] evaluates once for each rejection that stands, with that reading reinstated; nobody has to believe that a
//! rejection mattered little, or forget that it mattered much.

use darkline_record::decision::Decision;
use darkline_record::identity::{Element, ReadingId, SampleId};
use darkline_record::package::DataPackage;
use serde::{Deserialize, Serialize};

use crate::evaluating::{UnknownEdition, evaluate};
use crate::outcome::{Reported, ResultOutcome};

/// A rejection that stands and what it changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rejection {
    /// The reading.
    pub reading: ReadingId,
    /// Why it was rejected.
    pub reason: String,
    /// Results that are other with it than without it, in the order of the report.
    pub changed: Vec<ChangedResult>,
}

/// A result with a reading and without it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChangedResult {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// The value if the reading counted; absent where there would be none.
    pub with: Option<f64>,
    /// The value without it; absent where there is none.
    pub without: Option<f64>,
    /// The unit of both.
    pub unit: String,
}

/// The rejections that stand, in the order they were made, with what each changed.
///
/// # Errors
/// [`UnknownEdition`].
///
/// # Source
/// FDA guidance on out-of-specification results (2006, revised 2022), section V: reject nothing without showing what it was
/// (from memory).
pub fn rejections(package: &DataPackage, decisions: &[Decision]) -> Result<Vec<Rejection>, UnknownEdition> {
    let mut standing: Vec<(&ReadingId, &str)> = Vec::new();
    for decision in decisions {
        match decision {
            Decision::Reject { reading, reason } => {
                standing.retain(|(other, _)| *other != reading);
                standing.push((reading, reason.as_str()));
            }
            Decision::Reinstate { reading, .. } => standing.retain(|(other, _)| *other != reading),
            _ => {}
        }
    }
    if standing.is_empty() {
        return Ok(Vec::new());
    }
    let without = evaluate(package, decisions)?.results;
    standing
        .into_iter()
        .map(|(reading, reason)| {
            let kept: Vec<Decision> = decisions
                .iter()
                .filter(|decision| !matches!(decision, Decision::Reject { reading: of, .. } if of == reading))
                .cloned()
                .collect();
            let with = evaluate(package, &kept)?.results;
            let changed = with.iter().zip(&without).filter_map(|(with, without)| changed(with, without)).collect();
            Ok(Rejection { reading: reading.clone(), reason: reason.to_owned(), changed })
        })
        .collect()
}

fn changed(with: &ResultOutcome, without: &ResultOutcome) -> Option<ChangedResult> {
    let (with_value, without_value) = (value(with), value(without));
    (with_value != without_value).then(|| ChangedResult {
        sample: with.sample.clone(),
        element: with.element.clone(),
        with: with_value,
        without: without_value,
        unit: with.unit.clone(),
    })
}

/// What was found, held back or not.
fn value(result: &ResultOutcome) -> Option<f64> {
    match &result.reported {
        Reported::Awaiting { .. } => None,
        Reported::BelowLoq { found, .. } => Some(found.value),
        Reported::Value { result } => Some(result.value),
        Reported::Withheld { found, .. } => found.as_ref().map(|found| found.value),
    }
}
