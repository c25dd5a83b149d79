//! Standard additions: the amount of a portion from its own line, made by the spikes of it that stand in the run.
//!
//! Equal portions of one sample with growing masses of analyte, all made up to one volume: the portion itself and its spikes. What
//! the matrix does to the slope is in the slope. Background and blank have to be right beforehand.

use std::sync::Arc;

use darkline_calibration::line::{LineFit, Point};
use darkline_calibration::standard_additions::StandardAdditions;
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_record::identity::{BatchId, PortionId};
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Follows, Row, RowHolds, Run};

use crate::calibrating::{response_unit, slope_unit, standards_unit};
use crate::responses::Measured;

/// One reading of a portion or of a spike of it.
struct Addition<'m> {
    number: u32,
    added: Option<Term<'m, MassConcentration>>,
    response: f64,
}

/// The amount of the measured solution of a row by standard additions; `None` where the row holds no portion of a sample.
///
/// # Errors
/// Why the additions find no amount, as a fact.
///
/// # Source
/// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, 5.8: x_E = a/b, the native
/// portion being one of the points. Checked by `tests/published/additions.rs`.
pub fn amount<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    row: &Row,
) -> Option<Result<Term<'m, MassConcentration>, String>> {
    let RowHolds::Portion { batch, portion, .. } = &row.holds else { return None };
    let role = &package.portion(batch, portion)?.role;
    matches!(role, PortionRole::Sample { .. } | PortionRole::Duplicate { .. })
        .then(|| of_portion(model, package, run, method, measured, row, batch, portion))
}

#[expect(clippy::too_many_arguments, reason = "the stage hands on what it was given, for one portion")]
fn of_portion<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    native: &Row,
    batch: &BatchId,
    portion: &PortionId,
) -> Result<Term<'m, MassConcentration>, String> {
    let mut additions: Vec<Addition<'m>> = Vec::new();
    let mut n_spikes = 0_usize;
    for row in run.rows().filter(|row| !run.is_replaced(row.number) && !matches!(row.follows, Some(Follows::Joins(_))))
    {
        let added = if row.number == native.number {
            None
        } else {
            let Some(added) = added(model, package, row, batch, portion) else { continue };
            n_spikes += 1;
            Some(added?.named(format!("c_added({})", row.name), standards_unit(run)))
        };
        for reading in measured.iter().filter(|reading| reading.home == row.number && reading.counts) {
            let Ok(responded) = &reading.response else { continue };
            additions.push(Addition { number: reading.number, added, response: responded.response });
        }
    }
    if n_spikes == 0 {
        return Err(format!("no row of the run holds a spike of portion {portion} of batch {batch}"));
    }
    let zero = model.exact(MassConcentration::from_si(0.0));
    let points: Vec<Point> = additions
        .iter()
        .map(|addition| Point {
            amount: addition.added.unwrap_or(zero).value(),
            response: Response::from_si(addition.response),
            weight: 1.0,
        })
        .collect();
    let found = StandardAdditions::fit(&points).map_err(|why| why.to_string())?;
    let pool = PoolId::new(format!("additions/{}/{}", run.id, native.number));
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let dof = found.line.dof() as f64;
    let unit = response_unit(method.response.kind);
    let responses = additions.iter().map(|addition| {
        // Not the name it has where checks read it from the function of the run: the scatter is that of this line.
        let id = SourceId::new(format!("calibration/additions/{}/{}", run.id, addition.number));
        let source = Source::pooled(id, found.line.residual_sd.si(), dof, pool.clone());
        let term = model.input(Response::from_si(addition.response), &[source]);
        term.named(format!("y({}/{})", run.id, addition.number), unit).node()
    });
    let from = responses.chain(additions.iter().map(|addition| addition.added.unwrap_or(zero).node())).collect();
    let fit = LineFit::new(vec![1.0; additions.len()], "equal, standard additions");
    let parameters = model.solve(Arc::new(fit), from).map_err(|no_solution| no_solution.reason)?;
    let slopes = slope_unit(method.response.kind, standards_unit(run));
    let intercept: Term<'m, Response> = model.term(parameters[0]).named(format!("a({})", native.name), unit);
    let slope: Term<'m, Sensitivity> = model.term(parameters[1]).named(format!("b({})", native.name), slopes);
    Ok((intercept / slope).named(format!("c({})", native.name), standards_unit(run)))
}

/// The mass concentration that a spike adds to the measured solution: mass added over volume, and over the dilution in the cup;
/// `None` for a row that holds no spike of the portion.
fn added<'m>(
    model: &'m Model,
    package: &DataPackage,
    row: &Row,
    batch: &BatchId,
    portion: &PortionId,
) -> Option<Result<Term<'m, MassConcentration>, String>> {
    let RowHolds::Portion { batch: of_batch, portion: spiked, dilution } = &row.holds else { return None };
    let described = package.portion(of_batch, spiked).filter(|_| of_batch == batch)?;
    let PortionRole::Spike { of, added } = &described.role else { return None };
    if of != portion {
        return None;
    }
    let Some(volume) = &described.volume else {
        return Some(Err(format!("portion {spiked} of batch {batch} has no volume that its addition is made up to")));
    };
    let mass = model.input(added.value.value(), &added.sources(&format!("addition/{spiked}")));
    let volume = model.input(volume.value.value(), &volume.sources(&format!("volume/{spiked}")));
    let factor: Term<'m, Factor> =
        model.input(dilution.value.value(), &dilution.sources(&format!("dilution/{}", row.name)));
    Some(Ok(mass / volume / factor))
}
