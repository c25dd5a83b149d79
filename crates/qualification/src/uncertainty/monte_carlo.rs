//! Propagation of distributions: Monte Carlo of 10⁶ trials, and the validation of the first order by it.

use darkline_metrology::estimate::Expanded;
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Interval, Model, Term, Validation, numerical_tolerance};

use super::Computed;
use super::first_order::on_model;
use super::inputs::{self, correlated};
use crate::answer::Found;
use crate::case_file::Node;
use crate::expression::Expression;
use crate::stop::{Stop, no_value};

/// What the standard's own examples use.
const TRIALS: u32 = 1_000_000;

pub(super) fn one_output(case: Node<'_>) -> Computed {
    let equation = case.need("model")?;
    let p = equation.number_or("p", 0.95)?;
    let inputs = inputs::read(&case)?;
    let model = Model::new();
    let symbols = correlated(&model, &case, &inputs)?;
    let y = on_model(&equation.need("expression")?, &model, &symbols)?;
    let mut found = Found::new();
    let estimate = model.first_order(y);
    let value = estimate.value.si();
    found.put("guf_y", value);
    found.put("guf_u", estimate.u());
    found.put("nu_eff", estimate.effective_dof());
    if let Some(k) = estimate.coverage_factor(p) {
        let half_width = estimate.expand(k).expanded_u.si();
        found.put("guf_low", value - half_width);
        found.put("guf_high", value + half_width);
        let u_2 = model.second_order(y).map(Kind::si);
        found.put_if("guf2_u", u_2);
        found.put_if("guf2_low", u_2.map(|u| value - k * u));
        found.put_if("guf2_high", u_2.map(|u| value + k * u));
    }
    let sample = model.monte_carlo(&[y], TRIALS).pop().ok_or_else(|| no_value("the sample"))?;
    let interval_node = equation.get("interval");
    let interval = match interval_node.map_or(Ok("symmetric"), |word| word.text())? {
        "symmetric" => sample.symmetric_interval(p),
        "shortest" => sample.shortest_interval(p),
        other => {
            return Err(equation.fault(format!("{other} is no interval; write symmetric or shortest")).into());
        }
    };
    found.put_if("y", sample.mean().map(Kind::si));
    found.put_if("u", sample.u().map(Kind::si));
    found.put_if("low", interval.as_ref().map(|interval| interval.low.si()));
    found.put_if("high", interval.as_ref().map(|interval| interval.high.si()));
    found.put_if("length", interval.as_ref().map(|interval| interval.high.si() - interval.low.si()));
    Ok(found)
}

/// Outputs that stand as equations, `Y1 = …; Y2 = …`, or as a list of expressions.
pub(super) fn two_outputs(case: Node<'_>) -> Computed {
    let equation = case.need("model")?;
    let outputs = equation.texts_of("outputs")?;
    let inputs = inputs::read(&case)?;
    let model = Model::new();
    let symbols = correlated(&model, &case, &inputs)?;
    let terms: Vec<Term<'_, Factor>> = match equation.get("expressions") {
        Some(list) => list.list()?.iter().map(|text| on_model(text, &model, &symbols)).collect::<Result<_, Stop>>()?,
        None => {
            let text = equation.need("equation")?;
            let built = |part: &str| Expression::right_side(part)?.on_model(&model, &symbols);
            text.text()?.split(';').map(built).collect::<Result<_, String>>().map_err(|why| text.fault(why))?
        }
    };
    if terms.len() != outputs.len() {
        return Err(equation.fault(format!("{} outputs and {} equations", outputs.len(), terms.len())).into());
    }
    let mut found = Found::new();
    let estimates: Vec<_> = terms.iter().map(|term| model.first_order(*term)).collect();
    let samples = model.monte_carlo(&terms, TRIALS);
    for ((name, estimate), sample) in outputs.iter().zip(&estimates).zip(&samples) {
        found.put(format!("{name}_guf"), estimate.value.si());
        found.put(format!("u_{name}_guf"), estimate.u());
        found.put_if(*name, sample.mean().map(Kind::si));
        found.put_if(format!("u_{name}"), sample.u().map(Kind::si));
    }
    for i in 0..outputs.len() {
        for j in i + 1..outputs.len() {
            let (a, b) = (&estimates[i], &estimates[j]);
            let first_order = a.covariance(b) / (a.u() * b.u());
            found.put(format!("r_{}_{}_guf", outputs[i], outputs[j]), first_order);
            // Of two outputs there is one coefficient.
            found.put("r_guf", first_order);
            let (x, y) = (samples[i].values(), samples[j].values());
            if let (Some(x_mean), Some(y_mean), Some(u_x), Some(u_y)) =
                (samples[i].mean(), samples[j].mean(), samples[i].u(), samples[j].u())
            {
                let products: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean.si()) * (y - y_mean.si())).sum();
                let covariance = products / (x.len() as f64 - 1.0);
                let drawn = covariance / (u_x.si() * u_y.si());
                found.put(format!("r_{}_{}", outputs[i], outputs[j]), drawn);
                found.put("r", drawn);
            }
        }
    }
    Ok(found)
}

pub(super) fn validation(_: Node<'_>, item: Node<'_>) -> Computed {
    let digits = item.count_of("n_dig", 15)?;
    #[expect(clippy::cast_possible_truncation, reason = "at most 15")]
    let delta = numerical_tolerance(item.number_of("u")?, digits as u8).ok_or_else(|| no_value("the tolerance"))?;
    let mut found = Found::new();
    found.put("delta", delta);
    if item.has("guf_low") {
        let (low, high) = (item.number_of("guf_low")?, item.number_of("guf_high")?);
        let first_order = Expanded {
            value: Factor::from_si(0.5 * (low + high)),
            expanded_u: Factor::from_si(0.5 * (high - low)),
            coverage_factor: 1.0,
        };
        let interval = Interval {
            low: Factor::from_si(item.number_of("mcm_low")?),
            high: Factor::from_si(item.number_of("mcm_high")?),
        };
        let verdict = Validation::of(first_order, interval, delta);
        found.put("d_low", verdict.d_low);
        found.put("d_high", verdict.d_high);
        found.put("validated", verdict.holds());
    }
    Ok(found)
}
