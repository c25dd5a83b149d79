//! Numerical correctness: summaries, analysis of variance, polynomials, nonlinear curves.

use darkline_calibration::fitted::CalibrationCurve;
use darkline_calibration::hyperbola::Hyperbola;
use darkline_calibration::least_squares::curve::{Curve, Readings, Solution};
use darkline_calibration::least_squares::polynomial::Polynomial;
use darkline_calibration::regression::{About, Regression};
use darkline_metrology::anova::OneWay;
use darkline_metrology::summary;

use super::Computed;
use super::case::Case;
use super::formula::{Formula, from_starts, with_parameters};
use super::line::starts;
use crate::answer::Found;
use crate::stop::{Stop, no_value, refused};

pub(super) fn univariate(case: &Case<'_>) -> Computed {
    let y = case.column("y")?;
    let mut found = Found::new();
    found.put("n", y.len());
    found.put_if("mean", summary::mean(&y));
    found.put_if("sd", summary::sd(&y));
    found.put_if("r1", summary::lag_one(&y));
    Ok(found)
}

pub(super) fn anova(case: &Case<'_>) -> Computed {
    let (group, y) = case.pair("group", "y")?;
    let mut order: Vec<usize> = (0..group.len()).collect();
    order.sort_by(|&one, &other| group[one].total_cmp(&group[other]));
    let mut groups: Vec<Vec<f64>> = Vec::new();
    let mut last = None;
    for place in order {
        if last != Some(group[place]) {
            groups.push(Vec::new());
            last = Some(group[place]);
        }
        if let Some(of) = groups.last_mut() {
            of.push(y[place]);
        }
    }
    let groups: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let table = OneWay::of(&groups).ok_or_else(|| no_value("the analysis of variance"))?;
    let mut found = Found::new();
    found.put("df_between", table.dof_between);
    found.put("ss_between", table.ss_between);
    found.put("ms_between", table.ms_between());
    found.put_if("F", table.f());
    found.put("df_within", table.dof_within);
    found.put("ss_within", table.ss_within);
    found.put("ms_within", table.ms_within());
    found.put_if("r2", table.r_squared());
    found.put("s_within", table.s_within());
    Ok(found)
}

pub(super) fn polynomial(case: &Case<'_>) -> Computed {
    let node = case.procedure()?.need("powers")?;
    let powers: Vec<usize> = node.list()?.iter().map(|power| power.count(64)).collect::<Result<_, _>>()?;
    if powers.is_empty() || powers.windows(2).any(|pair| pair[0] >= pair[1]) {
        return Err(node.fault("powers rise, each once").into());
    }
    with_parameters!(powers.len(), polynomial_of(case, &powers))
}

fn polynomial_of<const P: usize>(case: &Case<'_>, powers: &[usize]) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let weights = vec![1.0; x.len()];
    let readings = Readings { amounts: &x, responses: &y, weights: &weights, variances_of_amounts: None };
    let first = powers.first().copied().unwrap_or(0);
    let without_gaps = powers.iter().enumerate().all(|(place, power)| *power == first + place);
    let (solution, fitted): (Solution<P>, Vec<f64>) = match (without_gaps, first) {
        (true, 0) => fitted(Polynomial::WithConstant, &readings)?,
        (true, 1) => fitted(Polynomial::ThroughOrigin, &readings)?,
        _ => {
            let formula = Formula::of_powers(powers).map_err(refused)?;
            let solution = from_starts(&formula, &readings, &[[0.0; P]])?;
            let fitted = x.iter().map(|&x| Curve::<P>::response(&formula, x, &solution.parameters)).collect();
            (solution, fitted)
        }
    };
    let about = if first == 0 { About::TheMean } else { About::Zero };
    let table =
        Regression::of(&fitted, &weights, solution.squares, P, about).ok_or_else(|| no_value("the regression"))?;
    let s_res = (table.residual / table.dof_residual).sqrt();
    let mut found = Found::new();
    found.put("s_res", s_res);
    found.put("r2", table.r_squared);
    found.put("ss_reg", table.regression);
    found.put("F", table.f);
    found.put("df_res", table.dof_residual);
    found.put("ss_res", table.residual);
    for (k, power) in powers.iter().enumerate() {
        found.put(format!("b{power}"), solution.parameters[k]);
        found.put(format!("s_b{power}"), s_res * solution.covariance(k, k).sqrt());
    }
    Ok(found)
}

fn fitted<const P: usize>(polynomial: Polynomial, readings: &Readings<'_>) -> Result<(Solution<P>, Vec<f64>), Stop> {
    let solution = polynomial.fit::<P>(readings).map_err(refused)?;
    let fitted = readings.amounts.iter().map(|&x| polynomial.response(x, &solution.parameters)).collect();
    Ok((solution, fitted))
}

pub(super) fn nonlinear(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let model_id = procedure.text_or_none("model_id");
    if model_id == "hyperbola" {
        let (mut found, solution) = nonlinear_of::<2>(case, &Hyperbola)?;
        let unknown = procedure.get("unknown_y").map_or(Ok(Vec::new()), |y| y.numbers())?;
        for (place, y) in unknown.into_iter().enumerate() {
            found.put_or(format!("x0_{}", place + 1), Hyperbola.amount(y, &solution.parameters));
        }
        return Ok(found);
    }
    let formula = Formula::of(model_id, procedure.text_or_none("model")).map_err(|why| procedure.fault(why))?;
    with_parameters!(formula.n_parameters, of_formula(case, &formula))
}

fn of_formula<const P: usize>(case: &Case<'_>, formula: &Formula) -> Computed {
    nonlinear_of::<P>(case, formula).map(|(found, _)| found)
}

/// Every start must lead to the same minimum.
fn nonlinear_of<const P: usize>(case: &Case<'_>, curve: &impl Curve<P>) -> Result<(Found, Solution<P>), Stop> {
    let (x, y) = case.pair("x", "y")?;
    let weights = vec![1.0; x.len()];
    let readings = Readings { amounts: &x, responses: &y, weights: &weights, variances_of_amounts: None };
    let solution = from_starts(curve, &readings, &starts::<P>(case)?)?;
    let dof = x.len() as f64 - P as f64;
    let s_res = (solution.squares / dof).sqrt();
    let mut found = Found::new();
    found.put("ss_res", solution.squares);
    found.put("s_res", s_res);
    found.put("df_res", dof);
    for k in 0..P {
        found.put(format!("b{}", k + 1), solution.parameters[k]);
        found.put(format!("s_b{}", k + 1), s_res * solution.covariance(k, k).sqrt());
    }
    Ok((found, solution))
}
