//! Straight lines written out as models of their readings.

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_metrology::summary;

use super::Computed;
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::{Stop, no_value};

/// A straight line by least squares, written out in terms of the readings.
struct Line<'m> {
    mean: Term<'m, Factor>,
    slope: Term<'m, Factor>,
    x_bar: f64,
    s_xx: f64,
    residual_sd: f64,
}

/// The pool of every reading that varies as the residuals do.
fn residuals() -> PoolId {
    PoolId::new("residuals")
}

/// The readings x and y of a case, at least three.
fn readings(data: &Node<'_>) -> Result<(Vec<f64>, Vec<f64>), Stop> {
    let (x, y) = (data.numbers_of("x")?, data.numbers_of("y")?);
    if x.len() != y.len() || x.len() < 3 || x.len() > 10_000 {
        return Err(data.fault(format!("{} figures x and {} figures y", x.len(), y.len())).into());
    }
    Ok((x, y))
}

impl<'m> Line<'m> {
    fn of(model: &'m Model, x: &[f64], y: &[f64]) -> Result<Self, Stop> {
        let x_bar = summary::mean(x).ok_or_else(|| no_value("the mean of x"))?;
        let s_xx = summary::sum_of_squares(x).ok_or_else(|| no_value("the spread of x"))?;
        if s_xx == 0.0 {
            return Err(no_value("a line through one x"));
        }
        let exact = |value: f64| model.exact(Factor::from_si(value));
        // Twice: the first line tells how the readings scatter, the second carries it.
        let through = |residual_sd: f64, dof: f64| {
            let readings: Vec<Term<'m, Factor>> = y
                .iter()
                .enumerate()
                .map(|(i, &y)| {
                    let id = SourceId::new(format!("reading {i}"));
                    model.input(Factor::from_si(y), &[Source::pooled(id, residual_sd, dof, residuals())])
                })
                .collect();
            let weighted: Vec<Term<'m, Factor>> =
                readings.iter().zip(x).map(|(&y, x)| y * exact((x - x_bar) / s_xx)).collect();
            (model.mean(&readings), model.sum(&weighted))
        };
        let dof = x.len() as f64 - 2.0;
        let (mean, slope) = through(0.0, dof);
        let residual = |x: f64, y: f64| y - (mean.value().si() + slope.value().si() * (x - x_bar));
        let squares: f64 = x.iter().zip(y).map(|(&x, &y)| residual(x, y) * residual(x, y)).sum();
        let residual_sd = (squares / dof).sqrt();
        let (mean, slope) = through(residual_sd, dof);
        Ok(Self { mean, slope, x_bar, s_xx, residual_sd })
    }
}

/// A line and its prediction, the intercept at `x0`.
pub(super) fn least_squares_line(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let (x, y) = readings(&data)?;
    let model = Model::new();
    let line = Line::of(&model, &x, &y)?;
    let at = |x: f64| line.mean + line.slope * model.exact(Factor::from_si(x - line.x_bar));
    let intercept = model.first_order(at(data.number_or("x0", 0.0)?));
    let slope = model.first_order(line.slope);
    let mut found = Found::new();
    found.put("intercept", intercept.value.si());
    found.put("u_intercept", intercept.u());
    found.put("slope", slope.value.si());
    found.put("u_slope", slope.u());
    found.put("r", intercept.covariance(&slope) / (intercept.u() * slope.u()));
    found.put("s", line.residual_sd);
    found.put("dof", slope.effective_dof());
    if let Some(place) = data.number_if("predict_at")? {
        let prediction = model.first_order(at(place));
        found.put("prediction", prediction.value.si());
        found.put("u_prediction", prediction.u());
        found.put("dof", prediction.effective_dof());
    }
    Ok(found)
}

/// A calibration line and the concentration read from it.
pub(super) fn calibration_interpolation(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let (x, y) = readings(&data)?;
    let sample = data.numbers_of("sample")?;
    let model = Model::new();
    let line = Line::of(&model, &x, &y)?;
    let exact = |value: f64| model.exact(Factor::from_si(value));
    let intercept = line.mean - line.slope * exact(line.x_bar);
    let of_sample: Vec<_> = sample
        .iter()
        .enumerate()
        .map(|(i, &reading)| {
            let id = SourceId::new(format!("sample {i}"));
            let source = Source::pooled(id, line.residual_sd, x.len() as f64 - 2.0, residuals());
            model.input(Factor::from_si(reading), &[source])
        })
        .collect();
    let c_0 = model.first_order((model.mean(&of_sample) - intercept) / line.slope);
    let (b_0, b_1) = (model.first_order(intercept), model.first_order(line.slope));
    let s_yy = summary::sum_of_squares(&y).ok_or_else(|| no_value("the spread of y"))?;
    let mut found = Found::new();
    found.put("B0", b_0.value.si());
    found.put("u_B0", b_0.u());
    found.put("B1", b_1.value.si());
    found.put("u_B1", b_1.u());
    found.put("S", line.residual_sd);
    found.put("r_B0_B1", b_0.covariance(&b_1) / (b_0.u() * b_1.u()));
    found.put("correlation_coefficient", b_1.value.si() * (line.s_xx / s_yy).sqrt());
    found.put("c0", c_0.value.si());
    found.put("u_c0", c_0.u());
    found.put("dof", c_0.effective_dof());
    found.put("n", x.len());
    found.put("p", sample.len());
    found.put("S_xx", line.s_xx);
    found.put("c_bar", line.x_bar);
    Ok(found)
}
