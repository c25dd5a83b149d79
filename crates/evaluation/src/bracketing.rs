//! Bracketing: the amount of a portion from the standards measured before and after it.
//!
//! What the sensitivity does between two measurements of a standard is taken as linear in time. The scatter of a reading is what
//! the method states, given u or its repeatability: about the function of the whole run the drift would count as scatter.

use std::collections::BTreeMap;

use darkline_calibration::bracketing::{Bracket, Drift, Interpolated, OneStandard};
use darkline_calibration::weighting::Weighting;
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};
use darkline_metrology::summary;
use darkline_record::method::{OfSamples, ResolvedMethod};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Row, RowHolds, Run};

use crate::calibrating::{Calibrated, Curve, CurvePoint, amounts_on_tape, response_unit, standards_unit};
use crate::responses::Measured;

/// Amounts that differ by less than this share of themselves are one standard, written in two units.
const SAME_AMOUNT: f64 = 1e-9;

/// The standards of a run in the order of their amounts, each with its places in time.
#[derive(Debug)]
pub struct Brackets {
    takes_two: bool,
    levels: Vec<Level>,
    /// Seconds from the first reading of the run, by the number of the reading.
    seconds: BTreeMap<u32, f64>,
    /// Whether all standards that the run order plans have been measured.
    are_all_read: bool,
}

/// One standard.
#[derive(Debug)]
struct Level {
    amount: MassConcentration,
    /// Where it was measured, in the order of `drift`.
    visits: Vec<Visit>,
    drift: Drift,
}

/// One row of a standard.
#[derive(Debug)]
struct Visit {
    second: f64,
    readings: Vec<CurvePoint>,
}

impl Visit {
    fn mean(&self) -> Option<Response> {
        self.readings.first().map(|reading| reading.mean_response)
    }
}

impl Level {
    /// The response at a moment between two measurements of the standard; `None` outside them.
    fn enclosing(&self, second: f64) -> Option<Interpolated> {
        let (first, last) = (self.visits.first()?, self.visits.last()?);
        (first.second < second && second < last.second).then(|| self.drift.at(second))
    }
}

impl Brackets {
    /// The brackets of a run; `None` where its method reads portions in another way, or there is no calibration yet.
    pub fn of(run: &Run, method: &ResolvedMethod, measured: &[Measured], calibrated: &Calibrated<'_>) -> Option<Self> {
        let takes_two = match method.calibration.of_samples {
            OfSamples::Bracket => true,
            OfSamples::OneStandard => false,
            OfSamples::CalibrationFunction | OfSamples::StandardAdditions => return None,
        };
        let Calibrated::Fitted(curve) = calibrated else { return None };
        let start = run.readings.first()?.at.moment();
        let seconds: BTreeMap<u32, f64> = run
            .readings
            .iter()
            .map(|reading| (reading.number, reading.at.moment().duration_since(start).as_secs_f64()))
            .collect();
        let are_all_read = run
            .rows()
            .filter(|row| matches!(row.holds, RowHolds::Standard { .. } | RowHolds::CalibrationBlank))
            .filter(|row| !run.is_replaced(row.number))
            .all(|row| {
                measured.iter().filter(|reading| reading.row == row.number).count() >= usize::from(row.replicates)
            });
        Some(Self { takes_two, levels: levels(&curve.points, &seconds), seconds, are_all_read })
    }

    /// Whether a row is read so: it holds a portion that is no method blank, which lies below any bracket.
    pub fn read(&self, package: &DataPackage, row: &Row) -> bool {
        let RowHolds::Portion { batch, portion, .. } = &row.holds else { return false };
        package.portion(batch, portion).is_some_and(|portion| !matches!(portion.role, PortionRole::MethodBlank))
    }

    /// The amount of the measured solution of a row; `None` as long as standards are still to be measured that may close its
    /// bracket.
    ///
    /// Readings of a row that joins it later are read in the bracket of their own place.
    ///
    /// # Arguments
    /// * `counted`: its readings, one at least.
    ///
    /// # Errors
    /// Why no bracket reads it, as a fact.
    ///
    /// # Source
    /// M. S. Epstein, course material on atomic absorption, method of bracketing:
    /// c = c_low + (c_high − c_low)·(A − A_low)/(A_high − A_low), A_low and A_high straight between the measurements before and
    /// after; with one standard c = c_standard·A/A_standard (common practice, no source). Checked by
    /// `tests/published/brackets.rs`.
    pub fn amount<'m>(
        &self,
        model: &'m Model,
        run: &Run,
        method: &ResolvedMethod,
        curve: &Curve<'m>,
        row: &Row,
        counted: &[&Measured],
    ) -> Result<Option<Term<'m, MassConcentration>>, String> {
        let mut visits: BTreeMap<u32, Vec<(u32, f64)>> = BTreeMap::new();
        for reading in counted {
            let Ok(responded) = &reading.response else { continue };
            visits.entry(reading.row).or_default().push((reading.number, responded.response));
        }
        let on_tape = OnTape { model, run, method, curve };
        let mut amounts = Vec::new();
        for readings in visits.values() {
            match self.of_visit(&on_tape, readings)? {
                Some(amount) => amounts.push((amount, readings.len())),
                None => return Ok(None),
            }
        }
        let amount = match amounts.as_slice() {
            [] => return Ok(None),
            [(amount, _)] => *amount,
            several => {
                let n: usize = several.iter().map(|(_, n)| n).sum();
                let shares: Vec<_> =
                    several.iter().map(|(amount, own)| *amount * model.exact(share(*own, n))).collect();
                model.sum(&shares)
            }
        };
        Ok(Some(amount.named(format!("c({})", row.name), standards_unit(run))))
    }

    fn of_visit<'m>(
        &self,
        on_tape: &OnTape<'_, 'm>,
        readings: &[(u32, f64)],
    ) -> Result<Option<Term<'m, MassConcentration>>, String> {
        let at: Vec<f64> = readings.iter().filter_map(|(number, _)| self.seconds.get(number).copied()).collect();
        let responses: Vec<f64> = readings.iter().map(|(_, response)| *response).collect();
        let (Some(second), Some(mean)) = (summary::mean(&at), summary::mean(&responses)) else { return Ok(None) };
        let mean = Response::from_si(mean);
        let around: Vec<(&Level, Interpolated)> =
            self.levels.iter().filter_map(|level| Some((level, level.enclosing(second)?))).collect();
        let found = if self.takes_two { between(&around, mean) } else { beside(&around, mean) };
        match found {
            None if !self.are_all_read => Ok(None),
            None if self.takes_two => Err(format!(
                "a bracket needs two standards measured both before and after the portion, and {} was",
                if around.is_empty() { "none" } else { "one" }
            )),
            None => Err("no standard was measured both before and after the portion".into()),
            Some(Enclosed::Two([(low, at_low), (high, at_high)])) => {
                let bracket = Bracket {
                    low: low.amount,
                    high: high.amount,
                    response_low: at_low.response,
                    response_high: at_high.response,
                };
                let about = bracket.amount(mean).map_err(|why| why.to_string())?.amount;
                let response = on_tape.mean(readings, about, mean)?;
                let (y_low, y_high) = (on_tape.standard(low, at_low)?, on_tape.standard(high, at_high)?);
                let (x_low, x_high) = (on_tape.amount(low)?, on_tape.amount(high)?);
                let position = (response - y_low) / (y_high - y_low);
                Ok(Some(x_low + (x_high - x_low) * position))
            }
            Some(Enclosed::One((level, at))) => {
                let standard = OneStandard { amount: level.amount, response: at.response };
                let about = standard.amount(mean).map_err(|why| why.to_string())?;
                let response = on_tape.mean(readings, about, mean)?;
                let ratio = response / on_tape.standard(level, at)?;
                Ok(Some(on_tape.amount(level)? * ratio))
            }
        }
    }
}

/// Standards about a portion, with their responses at its place.
enum Enclosed<'l> {
    One((&'l Level, Interpolated)),
    Two([(&'l Level, Interpolated); 2]),
}

/// The neighbours in amount about a response; the outermost two where it lies outside all of them.
fn between<'l>(around: &[(&'l Level, Interpolated)], response: Response) -> Option<Enclosed<'l>> {
    let holds = |pair: &&[(&Level, Interpolated)]| pair[1].1.response.si() >= response.si();
    let pair = around.windows(2).find(holds).or_else(|| around.windows(2).last())?;
    Some(Enclosed::Two([pair[0], pair[1]]))
}

/// The standard whose response is nearest; a blank is none.
fn beside<'l>(around: &[(&'l Level, Interpolated)], response: Response) -> Option<Enclosed<'l>> {
    let off = |at: &Interpolated| (at.response.si() - response.si()).abs();
    let with_analyte = around.iter().filter(|(level, _)| level.amount.si() > 0.0);
    with_analyte.min_by(|a, b| off(&a.1).total_cmp(&off(&b.1))).map(|nearest| Enclosed::One(*nearest))
}

/// What nodes of the model are made from.
struct OnTape<'a, 'm> {
    model: &'m Model,
    run: &'a Run,
    method: &'a ResolvedMethod,
    curve: &'a Curve<'m>,
}

impl<'m> OnTape<'_, 'm> {
    /// The mean of readings of one solution at one place.
    fn mean(
        &self,
        readings: &[(u32, f64)],
        amount: MassConcentration,
        mean: Response,
    ) -> Result<Term<'m, Response>, String> {
        let u = u_of_reading(self.method, self.curve, amount, mean)?;
        let unit = response_unit(self.method.response.kind);
        let terms: Vec<Term<'m, Response>> = readings
            .iter()
            .map(|(number, response)| {
                // Not the name it has where checks are read from the function of the run: its scatter is another one.
                let id = SourceId::new(format!("calibration/brackets/{}/{number}", self.run.id));
                let (response, scatter) = (Response::from_si(*response), Source::normal(id, u));
                let restored = &self.curve.restored;
                let term = restored.response(self.model, self.method, self.run.id.as_str(), *number, response, scatter);
                term.named(format!("y({}/{number})", self.run.id), unit)
            })
            .collect();
        Ok(self.model.mean(&terms))
    }

    /// The response of a standard at the place of the portion.
    fn standard(&self, level: &Level, at: Interpolated) -> Result<Term<'m, Response>, String> {
        let visit = |place: usize| {
            let visit = &level.visits[place];
            let readings: Vec<(u32, f64)> =
                visit.readings.iter().map(|reading| (reading.number, reading.response.si())).collect();
            self.mean(&readings, level.amount, visit.mean().unwrap_or(at.response))
        };
        let earlier = visit(at.earlier)?;
        if at.earlier == at.later {
            return Ok(earlier);
        }
        Ok(earlier + (visit(at.later)? - earlier) * self.model.exact(Factor::from_si(at.share)))
    }

    /// The amount of a standard: that of its first row, since it is one solution however often it is measured.
    fn amount(&self, level: &Level) -> Result<Term<'m, MassConcentration>, String> {
        let first = level.visits.iter().flat_map(|visit| &visit.readings).min_by_key(|reading| reading.row);
        let first = first.ok_or("a standard of the bracket has no reading")?;
        let (amounts, _) = amounts_on_tape(self.model, self.run, self.method, std::slice::from_ref(first));
        amounts.first().copied().ok_or_else(|| "a standard of the bracket has no amount".into())
    }
}

/// The standard uncertainty of a reading by what the method states: `given_u`, or else its repeatability.
pub(crate) fn u_of_reading(
    method: &ResolvedMethod,
    curve: &Curve<'_>,
    amount: MassConcentration,
    response: Response,
) -> Result<f64, String> {
    let weighting = match &curve.weighing.weighting {
        given @ Weighting::Given(_) => given.clone(),
        _ => Weighting::Repeatability {
            sd_at_zero: method.replicates.sd_at_zero.value().si(),
            rsd: method.replicates.rsd.value().si(),
        },
    };
    Ok(1.0 / weighting.weight_at(amount, response).map_err(|undefined| undefined.to_string())?.sqrt())
}

fn levels(points: &[CurvePoint], seconds: &BTreeMap<u32, f64>) -> Vec<Level> {
    let mut rows: BTreeMap<u32, Vec<CurvePoint>> = BTreeMap::new();
    for point in points {
        rows.entry(point.row).or_default().push(*point);
    }
    let mut visits: Vec<(MassConcentration, Visit)> = rows
        .into_values()
        .filter_map(|readings| {
            let at: Vec<f64> = readings.iter().filter_map(|point| seconds.get(&point.number).copied()).collect();
            Some((readings.first()?.amount, Visit { second: summary::mean(&at)?, readings }))
        })
        .collect();
    visits.sort_by(|a, b| a.0.si().total_cmp(&b.0.si()));
    let mut grouped: Vec<(MassConcentration, Vec<Visit>)> = Vec::new();
    for (amount, visit) in visits {
        match grouped.last_mut() {
            Some((same, of)) if (amount.si() - same.si()).abs() <= SAME_AMOUNT * same.si().abs() => of.push(visit),
            _ => grouped.push((amount, vec![visit])),
        }
    }
    grouped
        .into_iter()
        .filter_map(|(amount, mut visits)| {
            // The order of `Drift`, whose places are looked up here.
            let response = |visit: &Visit| visit.mean().map_or(0.0, Kind::si);
            visits.sort_by(|a, b| a.second.total_cmp(&b.second).then(response(a).total_cmp(&response(b))));
            let along: Vec<(f64, Response)> =
                visits.iter().filter_map(|visit| Some((visit.second, visit.mean()?))).collect();
            Some(Level { amount, drift: Drift::of(&along)?, visits })
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "readings of a row are few")]
fn share(own: usize, of: usize) -> Factor {
    Factor::from_si(own as f64 / of as f64)
}
