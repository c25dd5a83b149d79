//! Curves: amounts read back with their limits.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::fitted::{CalibrationCurve, Fitted};
use darkline_calibration::inverse::Band;
use darkline_calibration::least_squares::curve::{Curve, Readings};
use darkline_calibration::point::Dispersion;
use darkline_calibration::quadratic::Quadratic;
use darkline_calibration::rational::Rational;
use darkline_calibration::unabsorbed_light::UnabsorbedLight;
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;

use super::Computed;
use super::case::{Case, readings};
use super::formula::{Formula, from_starts, with_parameters};
use super::line::{mean_reading, starts};
use crate::answer::Found;
use crate::stop::{no_value, refused};

pub(super) fn quadratic_inverse(case: &Case<'_>) -> Computed {
    let fitted = Fitted::fit(Quadratic, &case.equal_points()?, Dispersion::Estimated).map_err(refused)?;
    let mut found = Found::new();
    found.put_if("s_res", fitted.residual_sd().map(Kind::si));
    for (k, parameter) in fitted.parameters().into_iter().enumerate() {
        found.put(format!("b{k}"), parameter.value);
        found.put_if(format!("s_b{k}"), parameter.u);
        found.put_if(format!("t_b{k}"), parameter.u.map(|u| parameter.value / u));
        for other in k + 1..3 {
            found.put_if(format!("cov_b{k}b{other}"), fitted.covariance_of(k, other));
        }
    }
    for (place, row) in case.unknowns()?.iter().enumerate() {
        let (mean, m) = mean_reading(row)?;
        let (response, level) = (Response::from_si(mean), row.number_or("level", case.level()?)?);
        let limits = fitted.limits(response, m, 1.0, level);
        let u = fitted.u_amount(response, m, 1.0);
        let t = student_t::coverage_factor(level, fitted.dof() as f64).unwrap_or(f64::NAN);
        let key = |name: &str| format!("{name}_{}", place + 1);
        found.put_or(key("x0"), fitted.amount(response).map(Kind::si));
        found.put_or(key("lower"), limits.as_ref().map(|limits| limits.low.si()));
        found.put_or(key("upper"), limits.as_ref().map(|limits| limits.high.si()));
        found.put_or(key("se_x0"), u.as_ref().map(|u| u.si()));
        found.put_or(key("wald_half"), u.as_ref().map(|u| t * u.si()));
    }
    Ok(found)
}

pub(super) fn nonlinear_inverse(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let formula = Formula::of(procedure.text_or_none("model_id"), procedure.text_or_none("model"))
        .map_err(|why| procedure.fault(why))?;
    with_parameters!(formula.n_parameters, inverse_of(case, &formula))
}

fn inverse_of<const P: usize>(case: &Case<'_>, formula: &Formula) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let ones = vec![1.0; x.len()];
    let of = Readings { amounts: &x, responses: &y, weights: &ones, variances_of_amounts: None };
    let solution = from_starts(formula, &of, &starts::<P>(case)?)?;
    let procedure = case.procedure()?;
    let unknown = procedure.numbers_of("unknown")?;
    let m = f64::from(readings(unknown.len() as f64)?);
    let sd = (solution.squares / (x.len() as f64 - P as f64)).sqrt();
    let band = Band { curve: formula, parameters: &solution.parameters, factor: &solution.factor, sd };
    let response = summary::mean(&unknown).ok_or_else(|| no_value("the mean of the unknown"))?;
    let range = procedure.need("search_range")?;
    let [low, high] = range.numbers()?[..] else { return Err(range.fault("a range is two figures").into()) };
    let mut found = Found::new();
    for (k, parameter) in solution.parameters.iter().enumerate() {
        found.put(format!("b{}", k + 1), *parameter);
        found.put(format!("s_b{}", k + 1), sd * solution.covariance(k, k).sqrt());
    }
    found.put("s_res", sd);
    let amount = band.amount_between(response, low, high).ok_or_else(|| no_value("the amount in the search range"))?;
    // The source takes n + m − p − 1 degrees of freedom, with the scatter of the curve alone.
    let dof = x.len() as f64 + m - P as f64 - 1.0;
    let t = student_t::coverage_factor(case.level()?, dof).ok_or_else(|| no_value("t"))?;
    let u_reading = sd / m.sqrt();
    let (lower, upper) = band.limits(response, amount, u_reading, t, low, high);
    let u = band.u_amount(amount, u_reading);
    found.put("x0", amount);
    found.put_if("lower", lower);
    found.put_if("upper", upper);
    found.put("wald_lower", amount - t * u);
    found.put("wald_upper", amount + t * u);
    found.put("se", u);
    Ok(found)
}

pub(super) fn rational(case: &Case<'_>) -> Computed {
    let fitted = Fitted::fit(Rational, &case.equal_points()?, Dispersion::Estimated).map_err(refused)?;
    let mut found = Found::new();
    for (k, parameter) in fitted.solution.parameters.iter().enumerate() {
        found.put(format!("k{}", k + 1), *parameter);
    }
    found.put("initial_slope", fitted.sensitivity(MassConcentration::from_si(0.0)).si());
    for (place, y) in
        case.procedure()?.get("unknown_y").map_or(Ok(Vec::new()), |y| y.numbers())?.into_iter().enumerate()
    {
        found.put_or(format!("x0_{}", place + 1), fitted.amount(Response::from_si(y)).map(Kind::si));
    }
    Ok(found)
}

pub(super) fn unabsorbed_light(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let parameters = [procedure.number_of("k")?, procedure.number_of("alpha")?];
    let mut found = Found::new();
    found.put("A_max", UnabsorbedLight::highest_absorbance(parameters[1]));
    found.put("initial_slope", UnabsorbedLight.slopes(0.0, &parameters).by_amount);
    for (place, x) in case.column("x")?.into_iter().enumerate() {
        let absorbance = UnabsorbedLight.response(x, &parameters);
        found.put(format!("A_{}", place + 1), absorbance);
        found.put_or(format!("back_{}", place + 1), UnabsorbedLight.amount(absorbance, &parameters));
    }
    Ok(found)
}
