//! Standard additions: the amount of a portion from its own line, made by the spikes of it that stand in the run.
//!
//! Four ways of adding, as the method says: equal portions made up to one volume, additions that leave the volume as it is,
//! additions one after the other to one solution that grows, and one addition to one of two equal portions. What the matrix
//! does to the slope is in the slope. Background and blank have to be right beforehand.

use std::sync::Arc;

use darkline_calibration::line::{LineFit, Point};
use darkline_calibration::standard_additions::{NotFound, StandardAdditions};
use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, Response, Sensitivity, Volume};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_metrology::summary;
use darkline_record::figure::Uncertain;
use darkline_record::identity::{BatchId, PortionId};
use darkline_record::method::{Additions, ResolvedMethod};
use darkline_record::package::DataPackage;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::{Follows, Row, RowHolds, Run};

use crate::bracketing::u_of_reading;
use crate::calibrating::{Curve, response_unit, slope_unit, standards_unit};
use crate::quantifying::LEVEL;
use crate::responses::Measured;
use crate::restoring::RestoredReadings;

/// An amount, with what speaks against it where something does.
type Found<'m> = (Term<'m, MassConcentration>, Option<String>);

/// The amount of the measured solution of a row by standard additions; `None` where the row holds no portion of a sample.
///
/// # Errors
/// Why the additions find no amount, as a fact.
///
/// # Source
/// Equal portions and plain: J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010,
/// 5.8: x_E = a/b, the native portion being one of the points. Successive: M. Bader, J. Chem. Educ. 57 (1980) 703:
/// S·(V_0 + V_S)/V_0 against C_S·V_S/V_0. Single: US EPA SW-846, Methods 7000B and 7010: C_X = S_B·V_S·C_S/((S_A − S_B)·V_X).
/// Checked by `tests/published/additions.rs`.
pub fn amount<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    curve: &Curve<'m>,
    row: &Row,
) -> Option<Result<Found<'m>, String>> {
    let RowHolds::Portion { batch, portion, dilution } = &row.holds else { return None };
    let role = &package.portion(batch, portion)?.role;
    if !matches!(role, PortionRole::Sample { .. } | PortionRole::Duplicate { .. }) {
        return None;
    }
    let desk = Desk { model, run, method, measured };
    Some(spikes(package, run, batch, portion).and_then(|spikes| match method.calibration.additions {
        Additions::ConstantVolume | Additions::Plain => desk.line_through(row, |on_tape| on_tape.apart(&spikes)),
        Additions::Successive => {
            same_dilution(row, dilution, &spikes)?;
            desk.line_through(row, |on_tape| on_tape.one_after_the_other(&spikes))
        }
        Additions::Single => {
            same_dilution(row, dilution, &spikes)?;
            desk.single(row, curve, &spikes).map(|amount| (amount, None))
        }
    }))
}

/// A row that holds a spike of the portion.
struct Spike<'p> {
    row: &'p Row,
    dilution: &'p Uncertain<Factor>,
    portion: &'p Portion,
    added: &'p Uncertain<Mass>,
    added_volume: Option<&'p Uncertain<Volume>>,
    volume: &'p Uncertain<Volume>,
}

/// The rows that hold spikes of a portion, in the order measured.
fn spikes<'p>(
    package: &'p DataPackage,
    run: &'p Run,
    batch: &BatchId,
    portion: &PortionId,
) -> Result<Vec<Spike<'p>>, String> {
    let mut found = Vec::new();
    for row in run.rows().filter(|row| stands_for_itself(run, row)) {
        let RowHolds::Portion { batch: of_batch, portion: spiked, dilution } = &row.holds else { continue };
        let Some(described) = package.portion(of_batch, spiked).filter(|_| of_batch == batch) else { continue };
        let PortionRole::Spike { of, added, added_volume } = &described.role else { continue };
        if of != portion {
            continue;
        }
        let Some(volume) = &described.volume else {
            return Err(format!("portion {spiked} of batch {batch} has no volume that its addition is made to"));
        };
        let added_volume = added_volume.as_ref();
        found.push(Spike { row, dilution, portion: described, added, added_volume, volume });
    }
    if found.is_empty() {
        return Err(format!("no row of the run holds a spike of portion {portion} of batch {batch}"));
    }
    Ok(found)
}

/// Whether no other row stands in its place, and it joins none.
fn stands_for_itself(run: &Run, row: &Row) -> bool {
    !run.is_replaced(row.number) && !matches!(row.follows, Some(Follows::Joins(_)))
}

/// Additions made to the measured solution itself need all its rows diluted alike.
fn same_dilution(row: &Row, dilution: &Uncertain<Factor>, spikes: &[Spike<'_>]) -> Result<(), String> {
    let of = |dilution: &Uncertain<Factor>| dilution.value.value().si();
    match spikes.iter().find(|spike| of(spike.dilution) != of(dilution)) {
        None => Ok(()),
        Some(spike) => Err(format!(
            "row {} is diluted by {} and row {}, a spike of it, by {}",
            row.number, dilution.value, spike.row.number, spike.dilution.value
        )),
    }
}

/// The point that a row of additions gives: what is added, and by how much the solution has grown.
struct Added<'m> {
    row: u32,
    concentration: Term<'m, MassConcentration>,
    growth: Option<Term<'m, Factor>>,
}

/// What the stage was given, for one portion.
struct Desk<'a, 'm> {
    model: &'m Model,
    run: &'a Run,
    method: &'a ResolvedMethod,
    measured: &'a [Measured],
}

impl<'m> Desk<'_, 'm> {
    fn volume(&self, figure: &Uncertain<Volume>, portion: &Portion, what: &str) -> Term<'m, Volume> {
        self.model.input(figure.value.value(), &figure.sources(&format!("{what}/{}", portion.id)))
    }

    fn mass(&self, spike: &Spike<'_>) -> Term<'m, Mass> {
        let sources = spike.added.sources(&format!("addition/{}", spike.portion.id));
        self.model.input(spike.added.value.value(), &sources)
    }

    /// Mass added over volume, and over the dilution in the cup: each spike is a solution of its own.
    fn apart(&self, spikes: &[Spike<'_>]) -> Result<Vec<Added<'m>>, String> {
        let added = |spike: &Spike<'_>| {
            let volume = self.volume(spike.volume, spike.portion, "volume");
            let sources = spike.dilution.sources(&format!("dilution/{}", spike.row.name));
            let dilution: Term<'m, Factor> = self.model.input(spike.dilution.value.value(), &sources);
            let concentration = self.mass(spike) / volume / dilution;
            Added { row: spike.row.number, concentration: self.named(concentration, spike), growth: None }
        };
        Ok(spikes.iter().map(added).collect())
    }

    /// Mass added so far over the volume before the first addition; the solution has grown by what came with it.
    fn one_after_the_other(&self, spikes: &[Spike<'_>]) -> Result<Vec<Added<'m>>, String> {
        let Some(first) = spikes.first() else { return Ok(Vec::new()) };
        if let Some(other) = spikes.iter().find(|spike| spike.volume.value.value() != first.volume.value.value()) {
            return Err(format!(
                "portion {} has {} before the first addition and portion {} {}: successive additions go to one solution",
                first.portion.id, first.volume.value, other.portion.id, other.volume.value
            ));
        }
        // One solution, so one volume with one cause.
        let before = self.volume(first.volume, first.portion, "volume");
        let added = |spike: &Spike<'_>| {
            let Some(grown) = spike.added_volume else {
                return Err(format!(
                    "portion {} has no added_volume, by which the solution has grown with its addition",
                    spike.portion.id
                ));
            };
            let grown = self.volume(grown, spike.portion, "volume added");
            let growth = (before + grown) / before;
            let concentration = self.named(self.mass(spike) / before, spike);
            Ok(Added { row: spike.row.number, concentration, growth: Some(growth) })
        };
        spikes.iter().map(added).collect()
    }

    fn named(&self, concentration: Term<'m, MassConcentration>, spike: &Spike<'_>) -> Term<'m, MassConcentration> {
        concentration.named(format!("c_added({})", spike.row.name), standards_unit(self.run))
    }

    /// The readings of a row that count, with their responses.
    fn readings(&self, row: u32) -> impl Iterator<Item = (u32, f64)> + '_ {
        self.measured.iter().filter(move |reading| reading.home == row && reading.counts).filter_map(|reading| {
            let responded = reading.response.as_ref().ok()?;
            Some((reading.number, responded.response))
        })
    }

    /// The line through the portion and its spikes, extrapolated to no response.
    fn line_through(
        &self,
        native: &Row,
        points: impl FnOnce(&Self) -> Result<Vec<Added<'m>>, String>,
    ) -> Result<Found<'m>, String> {
        let model = self.model;
        let zero = model.exact(MassConcentration::from_si(0.0));
        let mut rows = points(self)?;
        let place = rows.iter().take_while(|added| added.row < native.number).count();
        rows.insert(place, Added { row: native.number, concentration: zero, growth: None });
        let mut points: Vec<Point> = Vec::new();
        let mut readings = Vec::new();
        for added in &rows {
            let growth = added.growth.map_or(1.0, |growth| growth.value().si());
            for (number, response) in self.readings(added.row) {
                let seen = Response::from_si(response * growth);
                points.push(Point { amount: added.concentration.value(), response: seen, weight: 1.0 });
                readings.push((added, number, response, growth));
            }
        }
        let found = StandardAdditions::fit(&points).map_err(|why| why.to_string())?;
        let pool = PoolId::new(format!("additions/{}/{}", self.run.id, native.number));
        #[expect(clippy::cast_precision_loss, reason = "points are few")]
        let dof = found.line.dof() as f64;
        let unit = response_unit(self.method.response.kind);
        let restored = RestoredReadings::of(self.measured);
        let responses = readings.iter().map(|(added, number, response, growth)| {
            // Not the name it has where checks read it from the function of the run: the scatter is that of this line, and of
            // the response as it stands on it.
            let id = SourceId::new(format!("calibration/additions/{}/{number}", self.run.id));
            let source = Source::pooled(id, found.line.residual_sd.si() / growth, dof, pool.clone());
            let response = Response::from_si(*response);
            let term = restored.response(model, self.method, self.run.id.as_str(), *number, response, source);
            let term = term.named(format!("y({}/{number})", self.run.id), unit);
            added.growth.map_or(term, |growth| term * growth).node()
        });
        let from = responses.chain(readings.iter().map(|(added, ..)| added.concentration.node())).collect();
        let fit = LineFit::new(vec![1.0; readings.len()], "equal, standard additions");
        let parameters = model.solve(Arc::new(fit), from).map_err(|no_solution| no_solution.reason)?;
        let slopes = slope_unit(self.method.response.kind, standards_unit(self.run));
        let intercept: Term<'m, Response> = model.term(parameters[0]).named(format!("a({})", native.name), unit);
        let slope: Term<'m, Sensitivity> = model.term(parameters[1]).named(format!("b({})", native.name), slopes);
        let amount = (intercept / slope).named(format!("c({})", native.name), standards_unit(self.run));
        Ok((amount, found.limits(LEVEL).err().map(|why| why.to_string())))
    }

    /// The amount by one addition; the readings scatter as the method states, since two points have no scatter of their own.
    fn single(
        &self,
        native: &Row,
        curve: &Curve<'m>,
        spikes: &[Spike<'_>],
    ) -> Result<Term<'m, MassConcentration>, String> {
        let [spike] = spikes else {
            return Err(format!("a single addition has one spike, and the run has {} of this portion", spikes.len()));
        };
        let (without, with) = (self.mean(native, curve)?, self.mean(spike.row, curve)?);
        let (y_without, y_with) = (without.value().si(), with.value().si());
        if y_with <= y_without {
            return Err(NotFound::NoRise { with: y_with, without: y_without }.to_string());
        }
        let added = self.named(self.mass(spike) / self.volume(spike.volume, spike.portion, "volume"), spike);
        let amount = added * (without / (with - without));
        Ok(amount.named(format!("c({})", native.name), standards_unit(self.run)))
    }

    fn mean(&self, row: &Row, curve: &Curve<'m>) -> Result<Term<'m, Response>, String> {
        let readings: Vec<(u32, f64)> = self.readings(row.number).collect();
        let responses: Vec<f64> = readings.iter().map(|(_, response)| *response).collect();
        let mean = summary::mean(&responses).ok_or_else(|| format!("no reading of row {} counts", row.number))?;
        let mean = Response::from_si(mean);
        let about = curve.function.amount(mean).unwrap_or(MassConcentration::from_si(0.0));
        let u = u_of_reading(self.method, curve, about, mean)?;
        let unit = response_unit(self.method.response.kind);
        let terms: Vec<Term<'m, Response>> = readings
            .iter()
            .map(|(number, response)| {
                let id = SourceId::new(format!("calibration/additions/{}/{number}", self.run.id));
                let (response, scatter) = (Response::from_si(*response), Source::normal(id, u));
                let run = self.run.id.as_str();
                let term = curve.restored.response(self.model, self.method, run, *number, response, scatter);
                term.named(format!("y({}/{number})", self.run.id), unit)
            })
            .collect();
        Ok(self.model.mean(&terms).named(format!("ȳ({})", row.name), unit))
    }
}
