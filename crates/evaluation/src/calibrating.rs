//! Second stage: the standards of a run become its calibration function, as nodes of the measurement model.

use std::sync::Arc;

use darkline_calibration::calibration_function::{CalibrationFunction, Parameter};
use darkline_calibration::errors_in_both::PointInBoth;
use darkline_calibration::line::{Line, Point};
use darkline_calibration::point::{Dispersion, FitError};
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response, Sensitivity, Unit};
use darkline_metrology::model::{Fit, Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_record::decision::Decision;
use darkline_record::method::{Amounts, CalibrationModel, ModelPlan, ResolvedMethod, ResponseKind};
use darkline_record::run::{RowHolds, Run};

use crate::evidence;
use crate::outcome::ChoiceOutcome;
use crate::responses::Measured;
use crate::restoring::RestoredReadings;
use crate::weighing::Weighing;

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
    /// The model of the function.
    pub model: CalibrationModel,
    /// The function with its figures of merit.
    pub function: Box<dyn CalibrationFunction>,
    /// The line of exact amounts, where the function is a straight line.
    pub line: Option<Line>,
    /// How an amount is read from it.
    pub reader: Reader<'m>,
    /// The readings it rests on.
    pub points: Vec<CurvePoint>,
    /// The highest standard.
    pub top_amount: MassConcentration,
    /// The estimated standard deviation that all readings of the run share; none where it counts as known.
    pub pool: Option<PoolId>,
    /// How readings scatter.
    pub weighing: Weighing,
    /// The restored ones among the readings of the run.
    pub restored: RestoredReadings,
    /// What the evidence said, where the method lets it choose.
    pub choice: Option<ChoiceOutcome>,
}

/// How an amount is read from a calibration.
#[derive(Debug)]
pub enum Reader<'m> {
    /// Response less intercept over slope.
    Line {
        /// Intercept.
        intercept: Term<'m, Response>,
        /// Slope.
        slope: Term<'m, Sensitivity>,
    },
    /// The inverse of a curve.
    Curve {
        /// Its parameters, as nodes of the tape.
        parameters: Vec<u32>,
        /// The reading of an amount as a node.
        inverse: Arc<dyn Fit>,
    },
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
    /// The mean response of its row.
    pub mean_response: Response,
    /// The weight.
    pub weight: f64,
}

impl CurvePoint {
    /// The point as the fit takes it.
    pub fn weighted(&self) -> Point {
        Point { amount: self.amount, response: self.response, weight: self.weight }
    }
    /// The point as one among equals.
    pub fn unweighted(&self) -> Point {
        Point { amount: self.amount, response: self.response, weight: 1.0 }
    }
}

impl<'m> Curve<'m> {
    /// Standard uncertainty of a reading of this weight.
    pub fn u_reading(&self, weight: f64) -> f64 {
        self.sd_of_unit_weight() / weight.sqrt()
    }

    fn sd_of_unit_weight(&self) -> f64 {
        sd_of_unit_weight(self.function.as_ref(), self.weighing.dispersion)
    }

    /// The source of the scatter of a reading of this weight.
    pub fn source(&self, id: SourceId, weight: f64) -> Source {
        source(id, self.u_reading(weight), self.function.dof(), self.pool.as_ref())
    }

    /// The amount that gives a response, on the tape.
    ///
    /// # Errors
    /// Why it cannot be read, as a fact.
    pub fn amount(
        &self,
        model: &'m Model,
        response: Term<'m, Response>,
    ) -> Result<Term<'m, MassConcentration>, String> {
        match &self.reader {
            Reader::Line { intercept, slope } => Ok((response - *intercept) / *slope),
            Reader::Curve { parameters, inverse } => {
                // The function says why in words; the node would only say that there is no solution.
                self.function.amount(response.value()).map_err(|why| why.to_string())?;
                let from = std::iter::once(response.node()).chain(parameters.iter().copied()).collect();
                let solved = model.solve(inverse.clone(), from).map_err(|no_solution| no_solution.reason)?;
                Ok(model.term(solved[0]))
            }
        }
    }
}

fn sd_of_unit_weight(function: &dyn CalibrationFunction, dispersion: Dispersion) -> f64 {
    match dispersion {
        Dispersion::Known => 1.0,
        Dispersion::Estimated => function.residual_sd().map_or(0.0, Kind::si),
    }
}

fn source(id: SourceId, u: f64, dof: usize, pool: Option<&PoolId>) -> Source {
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let dof = dof as f64;
    match pool {
        Some(pool) => Source::pooled(id, u, dof, pool.clone()),
        None => Source::normal(id, u),
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

/// Fits the calibration function of a run.
///
/// The standard uncertainty of each reading is the residual standard deviation over the root of its weight, one pool for
/// the whole run; where the method gives standard uncertainties that count as known, it is theirs. Standards made from one
/// stock share its uncertainty.
///
/// # Arguments
/// * `measured`: the readings in the order of row, replicate and attempt.
/// * `decisions`: a person's choice of a function, among those the method allows; the last one about the run stands.
///
/// # Source
/// QUAM:2012, A5.4: the residual standard deviation stands for the repeatability of all readings.
pub fn calibrate<'m>(
    model: &'m Model,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    decisions: &[Decision],
) -> Calibrated<'m> {
    let (points, all_read) = standards(run, measured);
    // What more standards may still mend is awaited, not told.
    let refuse = |why: String| if all_read { Calibrated::Unusable { why } } else { Calibrated::NotYet };
    match fit(run, method, points, decisions) {
        Ok(fitted) => put_on_tape(model, run, method, fitted, RestoredReadings::of(measured)),
        Err(why) => refuse(why),
    }
}

/// The readings of the standards that count, and whether all that were planned are in.
fn standards(run: &Run, measured: &[Measured]) -> (Vec<CurvePoint>, bool) {
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
        points.extend(counted.into_iter().map(|(number, response)| CurvePoint {
            number,
            row: row.number,
            amount,
            response: Response::from_si(response),
            mean_response: Response::from_si(mean),
            weight: 1.0,
        }));
    }
    (points, all_read)
}

/// A function that was fitted, not yet on the tape.
struct FittedPoints {
    model: CalibrationModel,
    function: Box<dyn CalibrationFunction>,
    line: Option<Line>,
    node: Arc<dyn Fit>,
    points: Vec<CurvePoint>,
    weighing: Weighing,
    choice: Option<ChoiceOutcome>,
}

fn fit(
    run: &Run,
    method: &ResolvedMethod,
    mut points: Vec<CurvePoint>,
    decisions: &[Decision],
) -> Result<FittedPoints, String> {
    let weighing = Weighing::of(method, &points)?;
    for point in &mut points {
        point.weight = weighing.of_standard(point.amount, point.mean_response)?;
    }
    let weighted: Vec<Point> = points.iter().map(CurvePoint::weighted).collect();
    let unit = standards_unit(run);
    let (model, choice) = match &method.calibration.model {
        ModelPlan::Named(model) => (*model, None),
        ModelPlan::ByEvidence(_) => {
            let by_hand = evidence::overruled(decisions, &run.id);
            let read = |si: f64| unit.read_si(si);
            let (model, choice) = evidence::choose(method, &weighted, weighing.dispersion, by_hand, read)?;
            (model, Some(choice))
        }
    };
    let in_words = |why: FitError| why.to_string();
    let line = match (model, weighing.dispersion) {
        (CalibrationModel::StraightLine, Dispersion::Estimated) => Some(Line::fit(&weighted).map_err(in_words)?),
        (CalibrationModel::StraightLine, Dispersion::Known) => Some(Line::fit_known(&weighted).map_err(in_words)?),
        _ => None,
    };
    let weights = points.iter().map(|point| point.weight).collect();
    let (function, node): (Box<dyn CalibrationFunction>, Arc<dyn Fit>) = match (method.calibration.amounts, line) {
        (Amounts::Uncertain, _) => {
            evidence::function_of(model).fit_in_both(&in_both(run, &points)).map_err(in_words)?
        }
        (Amounts::Exact, Some(line)) => {
            let node = line.fit_node(weights, &method.calibration.weights.described());
            (Box::new(line), node)
        }
        (Amounts::Exact, None) => {
            let function = evidence::function_of(model).fit(&weighted, weighing.dispersion).map_err(in_words)?;
            let node = function.fit_node(weights, &method.calibration.weights.described());
            (function, node)
        }
    };
    if let Some(line) = line
        && (line.slope.si() <= 0.0 || line.slope.si().is_nan())
    {
        return Err(falls(run, method, &line));
    }
    function.rises().map_err(|why| why.to_string())?;
    if weighing.dispersion == Dispersion::Estimated && function.dof() == 0 {
        return Err(format!(
            "the {} has as many parameters as there are points, {}: their scatter is not known",
            model.words(),
            points.len()
        ));
    }
    Ok(FittedPoints { model, function, line, node, points, weighing, choice })
}

fn falls(run: &Run, method: &ResolvedMethod, line: &Line) -> String {
    use darkline_metrology::rounding::{Decimal, Rounding};
    let unit = slope_unit(method.response.kind, standards_unit(run));
    let slope = Decimal::from_f64(unit.read(line.slope))
        .map_or_else(String::new, |slope| slope.rounded_to_digits(3, Rounding::HalfEven).to_string());
    format!("the calibration does not rise: its slope is {slope} {}", unit.symbol())
}

/// The points with the standard uncertainty of each figure of its own; what the stock brings is shared and stands apart.
fn in_both(run: &Run, points: &[CurvePoint]) -> Vec<PointInBoth> {
    points
        .iter()
        .map(|point| {
            let u_amount = match run.row(point.row).map(|row| &row.holds) {
                Some(RowHolds::Standard { amount }) => amount.spread.as_ref().map_or(0.0, |spread| spread.given.u()),
                _ => 0.0,
            };
            PointInBoth {
                amount: point.amount,
                u_amount: MassConcentration::from_si(u_amount),
                response: point.response,
                u_response: Response::from_si(1.0 / point.weight.sqrt()),
            }
        })
        .collect()
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

/// A parameter of a curve in the units of the run: value, standard error and unit.
///
/// # Arguments
/// * `responses`: the symbol of the responses, "1" for none.
pub fn parameter_shown(
    parameter: &Parameter,
    model: CalibrationModel,
    responses: &str,
    amounts: Unit<MassConcentration>,
) -> (f64, Option<f64>, String) {
    let is_per_gram = matches!(amounts.symbol(), "mg/L" | "µg/mL" | "g/L" | "mg/mL");
    let (mass, of_one) = if is_per_gram { ("mg", 1e-3) } else { ("µg", 1e-6) };
    // Powers of response and of amount in the unit of each parameter.
    let (of_response, of_amount) = match (model, parameter.name) {
        (_, "intercept" | "offset") => (1, 0),
        (_, "curvature") => (1, -2),
        (_, "bend") => (0, -1),
        (_, "unabsorbed fraction") => (0, 0),
        (CalibrationModel::Rational, "k1") => (-1, 1),
        (CalibrationModel::Rational, "k2") => (-1, 0),
        (CalibrationModel::Rational, _) => (-2, 1),
        _ => (1, -1),
    };
    let scale = match of_amount {
        0 => 1.0,
        1 => 1.0 / of_one,
        -1 => of_one,
        _ => of_one * of_one,
    };
    let response = match (responses, of_response) {
        ("1", _) | (_, 0) => String::new(),
        (symbol, 1) => symbol.to_owned(),
        (symbol, -1) => format!("/{symbol}"),
        (symbol, _) => format!("/{symbol}²"),
    };
    let amount = match of_amount {
        0 => String::new(),
        1 => format!("{mass}/L"),
        -1 => format!("L/{mass}"),
        _ => format!("L²/{mass}²"),
    };
    let unit = match (response.as_str(), amount.as_str()) {
        ("", amount) => amount.to_owned(),
        (response, "") if response.starts_with('/') => format!("1{response}"),
        (response, amount) if response.starts_with('/') => format!("{amount}{response}"),
        (response, "") => response.to_owned(),
        (response, amount) => format!("{response}·{amount}"),
    };
    (parameter.value * scale, parameter.u.map(|u| u * scale), unit)
}

fn put_on_tape<'m>(
    model: &'m Model,
    run: &Run,
    method: &ResolvedMethod,
    fitted: FittedPoints,
    restored: RestoredReadings,
) -> Calibrated<'m> {
    let FittedPoints { model: of, function, line, node, points, weighing, choice } = fitted;
    let pool = match weighing.dispersion {
        Dispersion::Estimated => Some(PoolId::new(format!("residual/{}", run.id))),
        Dispersion::Known => None,
    };
    let sd = sd_of_unit_weight(function.as_ref(), weighing.dispersion);
    let unit = response_unit(method.response.kind);
    let responses: Vec<Term<'m, Response>> = points
        .iter()
        .map(|point| {
            let id = SourceId::new(format!("calibration/standards/{}/{}", run.id, point.number));
            let source = source(id, sd / point.weight.sqrt(), function.dof(), pool.as_ref());
            let term = restored.response(model, method, run.id.as_str(), point.number, point.response, source);
            term.named(format!("y({}/{})", run.id, point.number), unit)
        })
        .collect();
    let (amounts, top_amount) = amounts_on_tape(model, run, method, &points);
    let from = responses.iter().map(|term| term.node()).chain(amounts.iter().map(|term| term.node())).collect();
    let parameters = match model.solve(node, from) {
        Ok(parameters) => parameters,
        Err(no_solution) => return Calibrated::Unusable { why: no_solution.reason },
    };
    let slopes = slope_unit(method.response.kind, standards_unit(run));
    let reader = if of == CalibrationModel::StraightLine {
        Reader::Line {
            intercept: model.term(parameters[0]).named(format!("a({})", run.id), unit),
            slope: model.term(parameters[1]).named(format!("b({})", run.id), slopes),
        }
    } else {
        for (node, parameter) in parameters.iter().zip(function.parameters()) {
            match parameter.name {
                "intercept" | "offset" => drop(model.term(*node).named(format!("a({})", run.id), unit)),
                "slope" | "initial slope" => drop(model.term(*node).named(format!("b({})", run.id), slopes)),
                _ => {}
            }
        }
        Reader::Curve { parameters, inverse: function.inverse_node() }
    };
    Calibrated::Fitted(Box::new(Curve {
        model: of,
        function,
        line,
        reader,
        points,
        top_amount,
        pool,
        weighing,
        restored,
        choice,
    }))
}

/// The amounts of the points on the tape, and the highest of them.
pub(crate) fn amounts_on_tape<'m>(
    model: &'m Model,
    run: &Run,
    method: &ResolvedMethod,
    points: &[CurvePoint],
) -> (Vec<Term<'m, MassConcentration>>, MassConcentration) {
    let amounts_unit = standards_unit(run);
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
    (amounts, top_amount)
}
