//! What is still open while the instrument is warm: controls not measured, and results near their limit that a few more
//! replicates would decide.
//!
//! [`open_points`] lists them. It says how far, never on which side: nobody learns that a result fails before it is
//! decided which readings count.

use darkline_quality::cost::{closing, seconds_per_reading};
use darkline_record::identity::{Element, RowId, SampleId};
use darkline_record::order::Requested;
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{RowHolds, Run};
use serde::{Deserialize, Serialize};

use crate::outcome::{Outcome, Reported, ResultOutcome, ValueOutcome};

/// A point that is open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum OpenPoint {
    /// A control stands in the run order and has not been measured.
    ControlNotMeasured {
        /// Its row.
        row: RowId,
        /// The name on the cup.
        cup: String,
        /// What it is.
        control: String,
        /// Readings it takes.
        readings: u32,
        /// How long they take, in s.
        seconds: Option<f64>,
    },
    /// A result lies so near its limit that its uncertainty leaves the statement open.
    NearLimit {
        /// The sample.
        sample: SampleId,
        /// The element.
        element: Element,
        /// More replicates that would decide it; `None` where no number would, because what the readings share dominates.
        more: Option<u32>,
        /// How long they take with the checks that close the leg, in s.
        seconds: Option<f64>,
    },
}

impl OpenPoint {
    /// In words.
    pub fn words(&self) -> String {
        let minutes = |seconds: &Option<f64>| {
            seconds.map_or_else(String::new, |seconds| format!(", {:.0} min", (seconds / 60.0).ceil()))
        };
        match self {
            OpenPoint::ControlNotMeasured { cup, control, seconds, .. } if cup.contains(control.as_str()) => {
                format!("{cup} not measured{}", minutes(seconds))
            }
            OpenPoint::ControlNotMeasured { cup, control, seconds, .. } => {
                format!("{control} {cup} not measured{}", minutes(seconds))
            }
            OpenPoint::NearLimit { sample, element, more: Some(1), seconds } => {
                format!(
                    "{sample} lies near its limit for {element}: 1 more replicate would decide it{}",
                    minutes(seconds)
                )
            }
            OpenPoint::NearLimit { sample, element, more: Some(more), seconds } => format!(
                "{sample} lies near its limit for {element}: {more} more replicates would decide it{}",
                minutes(seconds)
            ),
            OpenPoint::NearLimit { sample, element, more: None, .. } => format!(
                "{sample} lies near its limit for {element}: no number of replicates would decide it, what they share dominates"
            ),
        }
    }
}

/// More replicates than this are no offer (our choice): the method has to change.
const MOST: u32 = 20;

/// What is open, controls first, in the order of the runs and of the report.
pub fn open_points(package: &DataPackage, outcome: &Outcome) -> Vec<OpenPoint> {
    let mut points = Vec::new();
    for run in &package.runs {
        points.extend(unmeasured(package, run));
    }
    for requested in &package.order.analytes {
        let of = |result: &&ResultOutcome| result.element == requested.element && result.method == requested.method;
        points.extend(outcome.results.iter().filter(of).filter_map(|result| near_limit(package, requested, result)));
    }
    points
}

fn unmeasured<'a>(package: &'a DataPackage, run: &'a Run) -> impl Iterator<Item = OpenPoint> + 'a {
    let each = package.method(&run.method).and_then(|method| seconds_per_reading(run, method));
    let is_begun = !run.readings.is_empty();
    run.rows().filter(move |_| is_begun).filter_map(move |row| {
        let control = match &row.holds {
            RowHolds::Portion { batch, portion, .. } => match &package.portion(batch, portion)?.role {
                PortionRole::Sample { .. } => return None,
                role => role.word(),
            },
            RowHolds::Check { .. } | RowHolds::CheckBlank => row.holds.word(),
            _ => return None,
        };
        let is_read = run.readings.iter().any(|reading| run.home(reading.row) == row.number);
        if is_read || run.is_replaced(row.number) || run.home(row.number) != row.number {
            return None;
        }
        let readings = u32::from(row.replicates);
        Some(OpenPoint::ControlNotMeasured {
            row: run.row_id(row.number),
            cup: row.name.clone(),
            control: control.into(),
            readings,
            seconds: each.map(|each| each * f64::from(readings)),
        })
    })
}

fn near_limit(package: &DataPackage, requested: &Requested, result: &ResultOutcome) -> Option<OpenPoint> {
    let Reported::Value { result: found } = &result.reported else { return None };
    let limit = requested.limit.as_ref()?;
    let at_most = crate::stating::in_result_unit(limit.at_most.si(), package.method(&result.method)?)?;
    let distance = (found.value - at_most).abs();
    if distance >= found.expanded_u {
        return None;
    }
    let run = package.runs.iter().find(|run| result.rows.iter().any(|row| row.run == run.id))?;
    let own = own_readings(run, result, found);
    let more = more_replicates(distance, found.coverage_factor, found.u, &own).filter(|more| *more <= MOST);
    let closing: u32 = closing(run).map(|row| u32::from(row.replicates)).sum();
    let seconds = package
        .method(&run.method)
        .and_then(|method| seconds_per_reading(run, method))
        .zip(more)
        .map(|(each, more)| each * f64::from(more + closing));
    Some(OpenPoint::NearLimit { sample: result.sample.clone(), element: result.element.clone(), more, seconds })
}

/// Contributions of the readings that are the result's alone: more replicates make them smaller.
fn own_readings(run: &Run, result: &ResultOutcome, found: &ValueOutcome) -> Vec<f64> {
    let homes: Vec<u32> = result.rows.iter().filter(|row| row.run == run.id).map(|row| row.number).collect();
    let is_own = |source: &str| {
        let number = source.strip_prefix("calibration/readings/").and_then(|rest| rest.rsplit_once('/'));
        number.and_then(|(of, number)| (of == run.id.as_str()).then(|| number.parse::<u32>().ok())?).is_some_and(
            |number| {
                run.readings.iter().any(|reading| reading.number == number && homes.contains(&run.home(reading.row)))
            },
        )
    };
    found.contributions.iter().filter(|(source, _)| is_own(source)).map(|(_, u)| *u).collect()
}

/// More replicates that would move the limit out of the coverage interval; `None` where none would.
///
/// # Arguments
/// * `distance`: of the value from the limit.
/// * `u`: standard uncertainty of the result; `own`: the contributions of its own readings, in the same unit.
///
/// # Source
/// `n = s²/((d/k)² − u_shared²)`, from k·√(u_shared² + s²/n) ≤ d; s² the variance of one reading.
pub fn more_replicates(distance: f64, coverage_factor: f64, u: f64, own: &[f64]) -> Option<u32> {
    let of_own: f64 = own.iter().map(|own| own * own).sum();
    let shared = (u * u - of_own).max(0.0);
    #[expect(clippy::cast_precision_loss, reason = "readings are few")]
    let n_now = own.len() as f64;
    let wanted = distance / coverage_factor;
    let room = wanted * wanted - shared;
    if own.is_empty() || room <= 0.0 || !room.is_finite() {
        return None;
    }
    let n = (of_own * n_now / room).ceil();
    // A cast of a float to an integer saturates.
    Some(((n - n_now).max(1.0)) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replicates_decide_where_readings_dominate_and_none_where_shared_causes_do() {
        // Three readings of sd 0.3 each: s²/3 = 0.03; nothing shared; the limit lies 0.25 away, k = 2.
        let own = [0.1; 3];
        let u = 0.03_f64.sqrt();
        // n = 0.09/(0.125²) = 5.76, so 6 in all.
        assert_eq!(more_replicates(0.25, 2.0, u, &own), Some(3));
        // The same with a shared uncertainty of 0.13: d/k = 0.125 lies below it.
        assert_eq!(more_replicates(0.25, 2.0, (0.03_f64 + 0.13 * 0.13).sqrt(), &own), None);
        assert_eq!(more_replicates(0.0, 2.0, u, &own), None);
        assert_eq!(more_replicates(0.25, 2.0, u, &[]), None);
    }
}
