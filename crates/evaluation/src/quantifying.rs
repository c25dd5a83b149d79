//! Third stage: the readings of each row become the mass concentration of the solution that was measured.

use darkline_metrology::kind::{MassConcentration, Response};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};
use darkline_metrology::summary;
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Follows, Row, RowHolds, Run};

use crate::calibrating::{Calibrated, response_unit, standards_unit, weight};
use crate::responses::Measured;
use darkline_metrology::kind::Kind;

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
}

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
            Solution {
                row: row.number,
                replaced: run.is_replaced(row.number),
                planned,
                wanted: u32::from(row.replicates),
                counted: counted.iter().map(|reading| reading.number).collect(),
                mean_response,
                amount: mean_response.and_then(|mean| {
                    let numbers: Vec<u32> = counted.iter().map(|reading| reading.number).collect();
                    amount(model, package, run, method, row, &numbers, &responses, mean, calibrated)
                }),
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
    calibrated: &Calibrated<'m>,
) -> Option<Term<'m, MassConcentration>> {
    let Calibrated::Fitted(curve) = calibrated else { return None };
    let unit = response_unit(method.response.kind);
    let u = curve.u_reading(weight(method, mean));
    let cause = cause(package, row);
    let terms: Vec<Term<'m, Response>> = numbers
        .iter()
        .zip(responses)
        .map(|(number, response)| {
            // A standard measured again as a sample would be the same cause; it is not, its row is another one.
            let id = SourceId::new(format!("{cause}/{}/{number}", run.id));
            let source = Source::pooled(id, u, curve.dof(), curve.pool.clone());
            model.input(Response::from_si(*response), &[source]).named(format!("y({}/{number})", run.id), unit)
        })
        .collect();
    let response = model.mean(&terms).named(format!("ȳ({})", row.name), unit);
    Some(((response - curve.intercept) / curve.slope).named(format!("c({})", row.name), standards_unit(run)))
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
