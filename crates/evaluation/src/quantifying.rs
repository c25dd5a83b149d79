//! Third stage: the readings of each row become the mass concentration of the solution that was measured.

use darkline_calibration::inverse::Unreadable;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::SourceId;
use darkline_metrology::summary;
use darkline_record::method::{OfSamples, ResolvedMethod};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Follows, Row, RowHolds, Run};

use crate::adding;
use crate::bracketing::Brackets;
use crate::calibrating::{Calibrated, Curve, response_unit, standards_unit};
use crate::responses::Measured;
use crate::solids::{Weighed, weigh};

/// The solution of one row, with the readings of that row and of those that join it.
#[derive(Clone, Debug)]
pub struct Solution<'m> {
    /// Its row.
    pub row: u32,
    /// Whether a later row stands in its place.
    pub replaced: bool,
    /// Replicates planned, joining rows included.
    pub planned: u32,
    /// Replicates its own row asks for.
    pub wanted: u32,
    /// Numbers of the readings that count.
    pub counted: Vec<u32>,
    /// Mean response.
    pub mean_response: Option<f64>,
    /// Mass concentration of the measured solution.
    pub amount: Option<Term<'m, MassConcentration>>,
    /// Why its amount cannot be read from the calibration, or not within finite limits.
    pub unread: Option<String>,
    /// Its portions one by one, where they are weighed into the tube.
    pub weighed: Vec<Weighed<'m>>,
}

/// Level of confidence at which an amount has to have finite limits.
///
/// # Source
/// N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 3.2 (from memory): the inversion limits at 95 %.
pub const LEVEL: f64 = 0.95;

/// Reads the amount of each row back from the calibration, in the order measured.
///
/// # Source
/// QUAM:2012, A5.4, equation for c₀: `(mean response − intercept)/slope`; the readings of one solution each bring the
/// repeatability of the run.
pub fn quantify<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    calibrated: &Calibrated<'m>,
) -> Vec<Solution<'m>> {
    let brackets = Brackets::of(run, method, measured, calibrated);
    run.rows()
        .filter(|row| !matches!(row.follows, Some(Follows::Joins(_))))
        .map(|row| {
            let counted: Vec<&Measured> =
                measured.iter().filter(|reading| reading.home == row.number && reading.counts).collect();
            let responses: Vec<f64> =
                counted.iter().filter_map(|reading| Some(reading.response.as_ref().ok()?.response)).collect();
            let mean_response = summary::mean(&responses);
            let planned = run
                .rows()
                .filter(|other| run.home(other.number) == row.number)
                .map(|row| u32::from(row.replicates))
                .sum();
            let numbers: Vec<u32> = counted.iter().map(|reading| reading.number).collect();
            let bracket = brackets.as_ref().filter(|brackets| brackets.read(package, row));
            let bracketed = |curve: &Curve<'m>, readings: &[&Measured]| {
                let found = bracket?.amount(model, run, method, curve, row, readings);
                Some(found.map(|amount| Some((amount?, None))).transpose())
            };
            let read = match (calibrated, mean_response) {
                (Calibrated::Fitted(curve), Some(_)) if bracket.is_some() => bracketed(curve, &counted).flatten(),
                (Calibrated::Fitted(curve), Some(mean)) => {
                    Some(amount(model, package, run, method, row, &numbers, &responses, mean, curve))
                }
                _ => None,
            };
            let weighed = weigh(run, method, &numbers, &responses, |number, response| {
                let Calibrated::Fitted(curve) = calibrated else { return None };
                if bracket.is_some() {
                    let own: Vec<&Measured> = counted.iter().copied().filter(|one| one.number == number).collect();
                    return bracketed(curve, &own).flatten()?.ok().map(|(amount, _): (_, Option<String>)| amount);
                }
                let read = amount(model, package, run, method, row, &[number], &[response], response, curve);
                read.ok().map(|(amount, _)| amount)
            });
            let read = match (calibrated, mean_response, method.calibration.of_samples) {
                // Read from the line of its own spikes, and from nothing else.
                (Calibrated::Fitted(curve), Some(_), OfSamples::StandardAdditions) => {
                    adding::amount(model, package, run, method, measured, curve, row).or(read)
                }
                // All of what was weighed in counts, or none: a mean of those inside the bracket would be too near its middle.
                _ if bracket.is_some() && method.solid.is_some() && weighed.len() < numbers.len() => {
                    let why = "not every portion weighed into the tube can be read from the bracket";
                    read.map(|read| read.and_then(|_| Err(why.into())))
                }
                _ => read,
            };
            let (amount, unread) = match read {
                None => (None, None),
                Some(Ok((amount, doubt))) => (Some(amount), doubt),
                Some(Err(why)) => (None, Some(why)),
            };
            // A standard is part of what it would be read from.
            let is_standard = matches!(row.holds, RowHolds::Standard { .. } | RowHolds::CalibrationBlank);
            Solution {
                row: row.number,
                replaced: run.is_replaced(row.number),
                planned,
                wanted: u32::from(row.replicates),
                counted: numbers,
                mean_response,
                amount,
                unread: unread.filter(|_| !is_standard),
                weighed,
            }
        })
        .collect()
}

#[expect(clippy::too_many_arguments, reason = "the stage hands on what it was given, for one row")]
fn amount<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    row: &Row,
    numbers: &[u32],
    responses: &[f64],
    mean: f64,
    curve: &Curve<'m>,
) -> Result<(Term<'m, MassConcentration>, Option<String>), String> {
    let unit = response_unit(method.response.kind);
    let mean = Response::from_si(mean);
    let weight = if curve.weighing.needs_no_amount() {
        curve.weighing.of_unknown(MassConcentration::from_si(0.0), mean)?
    } else {
        let about = curve.function.amount(mean).map_err(|why| why.to_string())?;
        curve.weighing.of_unknown(about, mean)?
    };
    let cause = cause(package, row);
    let terms: Vec<Term<'m, Response>> = numbers
        .iter()
        .zip(responses)
        .map(|(number, response)| {
            // A standard measured again as a sample would be the same cause; it is not, its row is another one.
            let id = SourceId::new(format!("{cause}/{}/{number}", run.id));
            let source = curve.source(id, weight);
            let response = Response::from_si(*response);
            let term = curve.restored.response(model, method, run.id.as_str(), *number, response, source);
            term.named(format!("y({}/{number})", run.id), unit)
        })
        .collect();
    let response = model.mean(&terms).named(format!("ȳ({})", row.name), unit);
    let amount = curve.amount(model, response)?.named(format!("c({})", row.name), standards_unit(run));
    let n = u32::try_from(terms.len()).unwrap_or(u32::MAX);
    let doubt = match curve.function.limits(response.value(), n, weight, LEVEL) {
        Err(why @ Unreadable::NoFiniteInterval { .. }) => Some(why.to_string()),
        _ => None,
    };
    Ok((amount, doubt))
}

/// The head of the source of a row's readings: a blank's readings reach every sample of its batch.
fn cause(package: &DataPackage, row: &Row) -> &'static str {
    match &row.holds {
        RowHolds::Portion { batch, portion, .. } => {
            match package.portion(batch, portion).map(|portion| &portion.role) {
                Some(PortionRole::MethodBlank) => "method blank/readings",
                _ => "calibration/readings",
            }
        }
        _ => "calibration/readings",
    }
}
