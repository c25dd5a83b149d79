//! Second stage: the standards of a run become its calibration function, as nodes of the measurement model.

use std::sync::Arc;

use darkline_calibration::line::{Line, LineFit, Point};
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response, Sensitivity, Unit};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_record::method::{ResolvedMethod, ResponseKind, Weights};
use darkline_record::run::{RowHolds, Run};

use crate::responses::Measured;

/// The calibration of a run.
#[derive(Debug)]
pub enum Calibrated<'m> {
    /// Too few standards have been read so far.
    NotYet,
    /// The standards give no calibration function.
    Unusable {
        /// Why, as a fact.
        why: String,
    },
    /// There is one.
    Fitted(Box<Curve<'m>>),
}

/// A fitted calibration function on the tape.
#[derive(Debug)]
pub struct Curve<'m> {
    /// The line with its figures of merit.
    pub line: Line,
    /// Its intercept.
    pub intercept: Term<'m, Response>,
    /// Its slope.
    pub slope: Term<'m, Sensitivity>,
    /// The readings it rests on.
    pub points: Vec<CurvePoint>,
    /// The highest standard.
    pub top_amount: MassConcentration,
    /// The estimated standard deviation that all readings of the run share.
    pub pool: PoolId,
}

/// One reading of a standard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The reading.
    pub number: u32,
    /// The row.
    pub row: u32,
    /// The amount.
    pub amount: MassConcentration,
    /// The response.
    pub response: Response,
    /// The weight.
    pub weight: f64,
}

impl Curve<'_> {
    /// Standard uncertainty of a reading of this weight, with its degrees of freedom behind it.
    pub fn u_reading(&self, weight: f64) -> f64 {
        self.line.residual_sd.si() / weight.sqrt()
    }
    /// Degrees of freedom of the residual standard deviation.
    pub fn dof(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "points are few")]
        let dof = self.line.dof() as f64;
        dof
    }
}

/// The unit a response is shown in.
pub fn response_unit(kind: ResponseKind) -> Unit<Response> {
    Response::unit(kind.unit_symbol()).expect("responses are pure numbers or seconds")
}

/// The unit a slope is shown in, for the unit of the standards.
pub fn slope_unit(kind: ResponseKind, amounts: Unit<MassConcentration>) -> Unit<Sensitivity> {
    let per_gram = matches!(amounts.symbol(), "mg/L" | "µg/mL" | "g/L" | "mg/mL");
    let symbol = match (kind, per_gram) {
        (ResponseKind::IntegratedAbsorbance, true) => "s·L/mg",
        (ResponseKind::IntegratedAbsorbance, false) => "s·L/µg",
        (_, true) => "L/mg",
        (_, false) => "L/µg",
    };
    Sensitivity::unit(symbol).expect("the symbols of the list")
}

/// How much a reading of a solution counts in the fit.
///
/// # Source
/// Weights by the inverse variance: ISO/TS 28037:2010, 6.1; the variance by the two-component model of D. M. Rocke,
/// S. Lorenzato, Technometrics 37 (1995) 176, with the figures of the method.
pub fn weight(method: &ResolvedMethod, mean_response: f64) -> f64 {
    match method.calibration.weights {
        Weights::Equal => 1.0,
        Weights::Repeatability => {
            let sd_at_zero = method.replicates.sd_at_zero.value().si();
            let relative = method.replicates.rsd.value().si() * mean_response;
            1.0 / (sd_at_zero * sd_at_zero + relative * relative)
        }
    }
}

/// Fits the calibration function of a run.
///
/// The standard uncertainty of each reading is the residual standard deviation over the root of its weight, one pool for
/// the whole run. Standards made from one stock share its uncertainty.
///
/// # Arguments
/// * `measured`: the readings in the order of row, replicate and attempt.
///
/// # Source
/// QUAM:2012, A5.4: the residual standard deviation stands for the repeatability of all readings.
pub fn calibrate<'m>(model: &'m Model, run: &Run, method: &ResolvedMethod, measured: &[Measured]) -> Calibrated<'m> {
    let mut points = Vec::new();
    let mut all_read = true;
    for row in run.rows() {
        let amount = match &row.holds {
            RowHolds::CalibrationBlank => MassConcentration::from_si(0.0),
            RowHolds::Standard { amount } => amount.value.value(),
            _ => continue,
        };
        if run.is_replaced(row.number) {
            continue;
        }
        let readings: Vec<&Measured> = measured.iter().filter(|reading| reading.row == row.number).collect();
        all_read &= readings.len() >= usize::from(row.replicates);
        let counted: Vec<(u32, f64)> = readings
            .iter()
            .filter(|reading| reading.counts)
            .filter_map(|reading| Some((reading.number, reading.response.as_ref().ok()?.response)))
            .collect();
        let responses: Vec<f64> = counted.iter().map(|(_, response)| *response).collect();
        let Some(mean) = darkline_metrology::summary::mean(&responses) else { continue };
        let weight = weight(method, mean);
        points.extend(counted.into_iter().map(|(number, response)| CurvePoint {
            number,
            row: row.number,
            amount,
            response: Response::from_si(response),
            weight,
        }));
    }
    let fit_points: Vec<Point> = points
        .iter()
        .map(|point| Point { amount: point.amount, response: point.response, weight: point.weight })
        .collect();
    match Line::fit(&fit_points) {
        Ok(line) if line.slope.si() > 0.0 => put_on_tape(model, run, method, line, points),
        Ok(line) if all_read => {
            let unit = slope_unit(method.response.kind, standards_unit(run));
            let slope = darkline_metrology::rounding::Decimal::from_f64(unit.read(line.slope))
                .map_or_else(String::new, |slope| {
                    slope.rounded_to_digits(3, darkline_metrology::rounding::Rounding::HalfEven).to_string()
                });
            Calibrated::Unusable {
                why: format!("the calibration does not rise: its slope is {slope} {}", unit.symbol()),
            }
        }
        Err(fault) if all_read => Calibrated::Unusable { why: fault.to_string() },
        _ => Calibrated::NotYet,
    }
}

/// The unit the standards of a run are written in.
pub fn standards_unit(run: &Run) -> Unit<MassConcentration> {
    run.rows()
        .find_map(|row| match &row.holds {
            RowHolds::Standard { amount } | RowHolds::Check { amount } => Some(amount.value.unit()),
            _ => None,
        })
        .unwrap_or_else(MassConcentration::usual_unit)
}

fn put_on_tape<'m>(
    model: &'m Model,
    run: &Run,
    method: &ResolvedMethod,
    line: Line,
    points: Vec<CurvePoint>,
) -> Calibrated<'m> {
    let pool = PoolId::new(format!("residual/{}", run.id));
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let dof = line.dof() as f64;
    let unit = response_unit(method.response.kind);
    let amounts_unit = standards_unit(run);
    let responses: Vec<Term<'m, Response>> = points
        .iter()
        .map(|point| {
            let id = SourceId::new(format!("calibration/standards/{}/{}", run.id, point.number));
            let source = Source::pooled(id, line.residual_sd.si() / point.weight.sqrt(), dof, pool.clone());
            model.input(point.response, &[source]).named(format!("y({}/{})", run.id, point.number), unit)
        })
        .collect();
    let stock = method.calibration.u_stock.as_ref().map(|u_stock| {
        let source = Source::normal(SourceId::new(format!("calibration/stock/{}", run.id)), u_stock.value().si());
        model.input(Factor::from_si(1.0), &[source]).named(format!("stock({})", run.id), Factor::usual_unit())
    });
    let mut top_amount = MassConcentration::from_si(0.0);
    let mut amounts: Vec<Term<'m, MassConcentration>> = Vec::new();
    for (place, point) in points.iter().enumerate() {
        if point.amount.si() > top_amount.si() {
            top_amount = point.amount;
        }
        // The readings of one row share its amount: one solution, one term.
        if let Some(before) = place.checked_sub(1).filter(|before| points[*before].row == point.row) {
            amounts.push(amounts[before]);
            continue;
        }
        let row = run.row(point.row);
        let name = row.map_or("", |row| row.name.as_str());
        let sources = match row.map(|row| &row.holds) {
            Some(RowHolds::Standard { amount }) => {
                amount.sources(&format!("calibration/amount/{}/{}", run.id, point.row))
            }
            _ => Vec::new(),
        };
        let own = model.input(point.amount, &sources);
        amounts.push(match stock {
            Some(stock) if point.amount.si() != 0.0 => {
                (own.named(format!("x₀({name})"), amounts_unit) * stock).named(format!("x({name})"), amounts_unit)
            }
            _ => own.named(format!("x({name})"), amounts_unit),
        });
    }
    let fit = LineFit::new(points.iter().map(|point| point.weight).collect(), method.calibration.weights.words());
    let from = responses.iter().map(|term| term.node()).chain(amounts.iter().map(|term| term.node())).collect();
    match model.solve(Arc::new(fit), from) {
        Ok(parameters) => Calibrated::Fitted(Box::new(Curve {
            intercept: model.term(parameters[0]).named(format!("a({})", run.id), unit),
            slope: model
                .term(parameters[1])
                .named(format!("b({})", run.id), slope_unit(method.response.kind, amounts_unit)),
            line,
            points,
            top_amount,
            pool,
        })),
        Err(no_solution) => Calibrated::Unusable { why: no_solution.reason },
    }
}
