//! Curves: amounts read back with their limits.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::fitted::{CalibrationCurve, Fitted};
use darkline_calibration::inverse::Band;
use darkline_calibration::least_squares::curve::{Curve, Readings};
use darkline_calibration::least_squares::marquardt;
use darkline_calibration::least_squares::number::Number;
use darkline_calibration::point::Dispersion;
use darkline_calibration::quadratic::Quadratic;
use darkline_calibration::rational::Rational;
use darkline_calibration::unabsorbed_light::UnabsorbedLight;
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;

use super::line::equal_points;
use crate::case::{Case, Found};

pub fn quadratic_inverse(case: &Case) -> Found {
    let fitted = Fitted::fit(Quadratic, &equal_points(case), Dispersion::Estimated).unwrap();
    let mut found = Found::from([("s_res".into(), fitted.residual_sd().unwrap().si())]);
    for (k, parameter) in fitted.parameters().into_iter().enumerate() {
        found.insert(format!("b{k}"), parameter.value);
        found.insert(format!("s_b{k}"), parameter.u.unwrap());
        for other in k + 1..3 {
            found.insert(format!("cov_b{k}b{other}"), fitted.covariance_of(k, other).unwrap());
        }
    }
    found.insert("t_b2".into(), found["b2"] / found["s_b2"]);
    for (place, row) in case.rows("procedure", "unknowns").iter().enumerate() {
        let (response, m, level) = (Response::from_si(row.number("y")), row.number("m") as u32, row.number("level"));
        let limits = fitted.limits(response, m, 1.0, level).unwrap();
        let u = fitted.u_amount(response, m, 1.0).unwrap().si();
        let t = student_t::coverage_factor(level, fitted.dof() as f64).unwrap();
        let mut insert = |name: &str, value: f64| found.insert(format!("{name}_{}", place + 1), value);
        insert("x0", fitted.amount(response).unwrap().si());
        insert("lower", limits.low.si());
        insert("upper", limits.high.si());
        insert("se_x0", u);
        insert("wald_half", t * u);
    }
    found
}

/// b1/(1 + exp(b2 + b3·ln x)), b1 without amount
#[derive(Clone, Copy, Debug)]
struct LogLogistic;

impl Curve<3> for LogLogistic {
    fn response<N: Number>(&self, x: N, &[b1, b2, b3]: &[N; 3]) -> N {
        if x.value() == 0.0 { b1 } else { b1 / (N::constant(1.0) + (b2 + b3 * x.ln()).exp()) }
    }
}

pub fn nonlinear_inverse(case: &Case) -> Found {
    assert_eq!(case.word("procedure", "model_id"), "loglogistic");
    let (x, y) = (case.column("x"), case.column("y"));
    let ones = vec![1.0; x.len()];
    let readings = Readings { amounts: &x, responses: &y, weights: &ones, variances_of_amounts: None };
    let from = |start: &str| {
        let start: [f64; 3] = case.numbers("procedure", start).try_into().unwrap();
        marquardt::least_squares(&LogLogistic, &readings, start).unwrap().solution()
    };
    let solution = from("start1");
    assert_eq!(solution, from("start2"));
    let unknown = case.numbers("procedure", "unknown");
    let m = unknown.len() as f64;
    let sd = (solution.squares / (x.len() - 3) as f64).sqrt();
    let band = Band { curve: &LogLogistic, parameters: &solution.parameters, factor: &solution.factor, sd };
    let response = summary::mean(&unknown).unwrap();
    let range = case.numbers("procedure", "search_range");
    let amount = band.amount_between(response, range[0], range[1]).unwrap();
    // The source takes n + m − p − 1 degrees of freedom, with the scatter of the curve alone.
    let t = student_t::coverage_factor(case.number("procedure", "level"), x.len() as f64 + m - 4.0).unwrap();
    let u_reading = sd / m.sqrt();
    let (low, high) = band.limits(response, amount, u_reading, t, range[0], range[1]);
    let u = band.u_amount(amount, u_reading);
    Found::from([
        ("x0".into(), amount),
        ("lower".into(), low.unwrap()),
        ("upper".into(), high.unwrap()),
        ("wald_lower".into(), amount - t * u),
        ("wald_upper".into(), amount + t * u),
        ("se".into(), u),
        ("b1".into(), solution.parameters[0]),
        ("b2".into(), solution.parameters[1]),
        ("b3".into(), solution.parameters[2]),
        ("s_res".into(), sd),
    ])
}

pub fn rational(case: &Case) -> Found {
    let fitted = Fitted::fit(Rational, &equal_points(case), Dispersion::Estimated).unwrap();
    let [k1, k2, k3] = fitted.solution.parameters;
    let initial = fitted.sensitivity(MassConcentration::from_si(0.0)).si();
    let mut found =
        Found::from([("k1".into(), k1), ("k2".into(), k2), ("k3".into(), k3), ("initial_slope".into(), initial)]);
    for (place, y) in case.numbers("procedure", "unknown_y").into_iter().enumerate() {
        found.insert(format!("x0_{}", place + 1), fitted.amount(Response::from_si(y)).unwrap().si());
    }
    found
}

pub fn unabsorbed_light(case: &Case) -> Found {
    let parameters = [case.number("procedure", "k"), case.number("procedure", "alpha")];
    let mut found = Found::from([
        ("A_max".into(), UnabsorbedLight::highest_absorbance(parameters[1])),
        ("initial_slope".into(), UnabsorbedLight.slopes(0.0, &parameters).by_amount),
    ]);
    for (place, x) in case.column("x").into_iter().enumerate() {
        let absorbance = UnabsorbedLight.response(x, &parameters);
        found.insert(format!("A_{}", place + 1), absorbance);
        found.insert(format!("back_{}", place + 1), UnabsorbedLight.amount(absorbance, &parameters).unwrap());
    }
    found
}
