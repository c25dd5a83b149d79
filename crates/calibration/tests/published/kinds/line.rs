//! Straight lines: inverse prediction, Fieller limits, weights, errors in both variables.

use darkline_calibration::errors_in_both::{self, LineInBoth, PointInBoth, Straight};
use darkline_calibration::fieller;
use darkline_calibration::least_squares::curve::{Curve, Readings};
use darkline_calibration::least_squares::marquardt;
use darkline_calibration::least_squares::number::Number;
use darkline_calibration::level::levels;
use darkline_calibration::limits::multiple_of_sd;
use darkline_calibration::line::{Line, Point};
use darkline_calibration::weighting::{ReplicateScatter, Weighting, compare, normalised};
use darkline_metrology::distribution::{chi_squared, student_t};
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;

use crate::case::{Case, Found, Row};

pub fn points(x: &[f64], y: &[f64], weights: &[f64]) -> Vec<Point> {
    let columns = x.iter().zip(y).zip(weights);
    columns
        .map(|((&x, &y), &weight)| Point {
            amount: MassConcentration::from_si(x),
            response: Response::from_si(y),
            weight,
        })
        .collect()
}

pub fn equal_points(case: &Case) -> Vec<Point> {
    let (x, y) = (case.column("x"), case.column("y"));
    points(&x, &y, &vec![1.0; x.len()])
}

/// Readings of the unknown: their mean and their number, one value standing for `m` readings.
fn reading(row: &Row) -> (Response, u32) {
    let readings = row.readings("y");
    let mean = Response::from_si(summary::mean(&readings).unwrap());
    let m = if readings.len() > 1 { readings.len() as f64 } else { row.number_or("m", 1.0) };
    (mean, m as u32)
}

/// The figures that any unweighted line has.
pub fn figures_of(line: &Line) -> Found {
    let mut found = Found::from([
        ("slope".into(), line.slope.si()),
        ("intercept".into(), line.intercept.si()),
        ("s_slope".into(), line.u_slope.si()),
        ("s_intercept".into(), line.u_intercept.si()),
        ("cov_ab".into(), line.covariance_of_parameters()),
        ("corr_ab".into(), line.correlation),
        ("s_yx".into(), line.residual_sd.si()),
        ("r".into(), line.r),
        ("sxx".into(), line.s_xx),
        ("x_mean".into(), line.mean_amount.si()),
        ("y_mean".into(), line.mean_response.si()),
        ("r2_adj".into(), line.adjusted_r_squared().unwrap()),
    ]);
    let three = multiple_of_sd::limit(line.residual_sd, line.slope, 3.0).unwrap();
    found.insert("x_lod_3s".into(), three.limit.si());
    found.insert("y_lod_3s".into(), line.response(three.limit).si());
    found
}

/// Amounts of the unknowns with standard uncertainty and half-width of the limits, `weight` being that of one reading.
pub fn unknowns(case: &Case, line: &Line, weight: impl Fn(&Row) -> f64, found: &mut Found) {
    for (place, row) in case.rows("procedure", "unknowns").iter().enumerate() {
        let key = |name: &str| format!("{name}_{}", place + 1);
        let (response, m) = reading(row);
        let level = row.number_or("level", case.number_or("procedure", "level", 0.95));
        let limits = fieller::limits(line, response, m, weight(row), level).unwrap();
        let u = line.u_amount(response, m, weight(row)).unwrap().si();
        // Two ways to one figure.
        assert!((limits.u.si() / u - 1.0).abs() < 1e-12);
        found.insert(key("x0"), line.amount(response).unwrap().si());
        found.insert(key("s_x0"), u);
        found.insert(key("ci"), limits.t * u);
    }
}

pub fn line(case: &Case) -> Found {
    let line = Line::fit(&equal_points(case)).unwrap();
    let mut found = figures_of(&line);
    let t = student_t::coverage_factor(case.number("procedure", "level"), line.dof() as f64).unwrap();
    found.insert("t".into(), t);
    found.insert("ci_slope".into(), t * line.u_slope.si());
    found.insert("ci_intercept".into(), t * line.u_intercept.si());
    unknowns(case, &line, |_| 1.0, &mut found);
    found
}

pub fn fieller(case: &Case) -> Found {
    let line = Line::fit(&equal_points(case)).unwrap();
    let mut found = Found::new();
    for (place, row) in case.rows("procedure", "unknowns").iter().enumerate() {
        let readings: Vec<Response> = row.readings("y").into_iter().map(Response::from_si).collect();
        let level = row.number("level");
        let limits = if row.flag("mean_response") {
            fieller::of_mean_response(&line, readings[0], level).unwrap()
        } else {
            fieller::of_readings(&line, &readings, 1.0, level).unwrap()
        };
        let mut insert = |name: &str, value: f64| found.insert(format!("{name}_{}", place + 1), value);
        insert("x0", limits.amount.si());
        insert("lower", limits.interval.low.si());
        insert("upper", limits.interval.high.si());
        insert("wald_lower", limits.symmetric.low.si());
        insert("wald_upper", limits.symmetric.high.si());
        insert("se", limits.u.si());
        insert("g", limits.g);
    }
    found
}

/// Lines with relative weights: of level means, or of points with their standard deviations.
pub fn relative_weights(case: &Case) -> Found {
    if case.flag("procedure", "through_means") { through_means(case) } else { with_standard_deviations(case) }
}

/// DIFFERENCE: the book rounds the standard deviations of the levels to two decimals and the weights to three before the
/// fit; the library never rounds, so the rounding stands here.
fn through_means(case: &Case) -> Found {
    let rounded = |value: f64, digits: &str| {
        let scale = libm::pow(10.0, case.number("procedure", digits));
        (value * scale).round() / scale
    };
    let mut found = Found::new();
    let mut means = Vec::new();
    for (place, level) in levels(&equal_points(case)).iter().enumerate() {
        let sd = rounded(level.sd().unwrap().si(), "round_s");
        let weight = rounded(1.0 / (sd * sd), "round_w");
        // The lowest level has s = 0.71, for which the book takes 1.984.
        found.insert(format!("w_{}", place + 1), weight);
        means.push(Point { amount: level.amount, response: level.mean().unwrap(), weight });
    }
    let line = Line::fit(&means).unwrap();
    found.extend(figures_of(&line));
    found.insert("s_w".into(), line.residual_sd.si());
    unknowns(case, &line, |row| row.number("w"), &mut found);
    found
}

fn with_standard_deviations(case: &Case) -> Found {
    let (x, y, s) = (case.column("x"), case.column("y"), case.column("s"));
    let responses: Vec<Response> = y.iter().map(|&y| Response::from_si(y)).collect();
    let sds: Vec<Response> = s.iter().map(|&s| Response::from_si(s)).collect();
    let weighting = Weighting::Replicates(ReplicateScatter::given(&responses, &sds).unwrap());
    let amounts = x.iter().map(|&x| MassConcentration::from_si(x));
    let raw = weighting.weights(&amounts.zip(responses).collect::<Vec<_>>()).unwrap();
    assert!(case.flag("procedure", "normalise"));
    let weights = normalised(&raw);
    // All weights are divided by the mean of those of the points, that of an unknown too.
    let scale = weights[0] / raw[0];
    let line = Line::fit(&points(&x, &y, &weights)).unwrap();
    let mut found = figures_of(&line);
    found.insert("s_w".into(), line.residual_sd.si());
    found.insert("x_w".into(), line.mean_amount.si());
    found.insert("y_w".into(), line.mean_response.si());
    for (place, weight) in weights.iter().enumerate() {
        found.insert(format!("w_{}", place + 1), *weight);
    }
    let of_unknown = |row: &Row| {
        let response = Response::from_si(row.number("y"));
        scale * weighting.weight_at(MassConcentration::from_si(0.0), response).unwrap()
    };
    for (place, row) in case.rows("procedure", "unknowns").iter().enumerate() {
        found.insert(format!("w0_{}", place + 1), of_unknown(row));
    }
    unknowns(case, &line, of_unknown, &mut found);
    let plain = Line::fit(&points(&x, &y, &vec![1.0; x.len()])).unwrap();
    found.insert("slope_unweighted".into(), plain.slope.si());
    found.insert("intercept_unweighted".into(), plain.intercept.si());
    let mut of_plain = Found::new();
    unknowns(case, &plain, |_| 1.0, &mut of_plain);
    for (key, value) in of_plain {
        let (name, place) = key.rsplit_once('_').unwrap();
        found.insert(format!("{name}_unweighted_{place}"), value);
    }
    found
}

pub fn known_uncertainties(case: &Case) -> Found {
    let (x, y, u) = (case.column("x"), case.column("y"), case.column("u_y"));
    let weights: Vec<f64> = u.iter().map(|u| 1.0 / (u * u)).collect();
    let line = Line::fit_known(&points(&x, &y, &weights)).unwrap();
    let dof = line.dof() as f64;
    let mut found = Found::from([
        ("a".into(), line.intercept.si()),
        ("b".into(), line.slope.si()),
        ("u_a".into(), line.u_intercept.si()),
        ("u_b".into(), line.u_slope.si()),
        ("cov_ab".into(), line.covariance_of_parameters()),
        ("chi2".into(), line.chi_squared()),
        ("df".into(), dof),
        ("chi2_crit_95".into(), chi_squared::quantile(0.95, dof).unwrap()),
    ]);
    for (place, row) in case.rows("procedure", "unknowns").iter().enumerate() {
        let (response, u) = (Response::from_si(row.number("y")), row.number("u"));
        found.insert(format!("x0_{}", place + 1), line.amount(response).unwrap().si());
        found.insert(format!("u_x0_{}", place + 1), line.u_amount(response, 1, 1.0 / (u * u)).unwrap().si());
    }
    found
}

pub fn compared_weights(case: &Case) -> Found {
    let (x, y) = (case.column("x"), case.column("y"));
    let readings: Vec<_> =
        x.iter().zip(&y).map(|(&x, &y)| (MassConcentration::from_si(x), Response::from_si(y))).collect();
    let mut found = Found::new();
    for word in case.words("procedure", "weights") {
        let power = word.split_once('^').map_or(1.0, |(_, power)| power.parse().unwrap());
        let (weighting, key) = match word.as_bytes() {
            b"none" => (Weighting::Equal, "none".to_owned()),
            [b'1', b'/', b'x', ..] => (Weighting::InverseAmount { power }, "1_x".to_owned()),
            [b'1', b'/', b'y', ..] => (Weighting::InverseResponse { power }, "1_y".to_owned()),
            _ => panic!("weights {word}"),
        };
        let suffix = if word.contains("^0.5") {
            "_05"
        } else if word.contains("^2") {
            "_2"
        } else {
            ""
        };
        let compared = compare(&weighting, &readings).unwrap();
        found.insert(format!("sum_abs_re_{key}{suffix}"), compared.sum_of_magnitudes);
        found.insert(format!("r2_adj_{key}{suffix}"), compared.line.adjusted_r_squared().unwrap());
        found.insert(format!("slope_{key}{suffix}"), compared.line.slope.si());
        found.insert(format!("intercept_{key}{suffix}"), compared.line.intercept.si());
    }
    found
}

fn points_in_both(x: &[f64], y: &[f64], u_x: &[f64], u_y: &[f64]) -> Vec<PointInBoth> {
    (0..x.len())
        .map(|place| PointInBoth {
            amount: MassConcentration::from_si(x[place]),
            u_amount: MassConcentration::from_si(u_x[place]),
            response: Response::from_si(y[place]),
            u_response: Response::from_si(u_y[place]),
        })
        .collect()
}

pub fn errors_in_both(case: &Case) -> Found {
    let (x, y) = (case.column("x"), case.column("y"));
    let points = points_in_both(&x, &y, &case.column("u_x"), &case.column("u_y"));
    let line = LineInBoth::fit(&points).unwrap();
    let scale = line.scale().unwrap();
    let mut found = Found::from([
        ("intercept".into(), line.intercept.si()),
        ("slope".into(), line.slope.si()),
        ("u_intercept_york".into(), line.u_intercept.si()),
        ("u_slope_york".into(), line.u_slope.si()),
        ("cov_york".into(), line.covariance),
        ("se_intercept_york_scaled".into(), line.u_intercept.si() * scale),
        ("se_slope_york_scaled".into(), line.u_slope.si() * scale),
        ("u_intercept_prop".into(), line.propagated.u_intercept.si()),
        ("u_slope_prop".into(), line.propagated.u_slope.si()),
        ("cov_prop".into(), line.propagated.covariance),
        ("chi2".into(), line.chi_squared),
        ("goodness".into(), line.chi_squared / line.dof() as f64),
    ]);
    // The distance regression for curves is another way to the same line.
    let same = errors_in_both::curve(Straight, &points).unwrap().solution;
    assert!((same.parameters[1] / line.slope.si() - 1.0).abs() < 1e-12, "{same:?}");
    assert!((same.squares / line.chi_squared - 1.0).abs() < 1e-12, "{same:?}");
    if case.has("data", "u_x_odr") {
        // Standard deviations rounded to two or three digits, and errors scaled by the residuals.
        let points = points_in_both(&x, &y, &case.column("u_x_odr"), &case.column("u_y_odr"));
        let curve = errors_in_both::curve(Straight, &points).unwrap();
        let scale = (curve.solution.squares / (x.len() - 2) as f64).sqrt();
        found.insert("odr_intercept".into(), curve.solution.parameters[0]);
        found.insert("odr_slope".into(), curve.solution.parameters[1]);
        found.insert("odr_sd_intercept".into(), scale * curve.solution.covariance(0, 0).sqrt());
        found.insert("odr_sd_slope".into(), scale * curve.solution.covariance(1, 1).sqrt());
        found.insert("odr_cov_ab".into(), curve.solution.covariance(0, 1));
    }
    found
}

/// y = b1 + b2·(exp(b3·x) − 1)²
#[derive(Clone, Copy, Debug)]
struct ExplicitProblem;

impl Curve<3> for ExplicitProblem {
    fn response<N: Number>(&self, x: N, &[b1, b2, b3]: &[N; 3]) -> N {
        let grown = (b3 * x).exp() - N::constant(1.0);
        b1 + b2 * grown * grown
    }
}

pub fn explicit_distance_regression(case: &Case) -> Found {
    let (x, y) = (case.column("x"), case.column("y"));
    let ones = vec![1.0; x.len()];
    let variances = case.column("x_free");
    let readings = Readings { amounts: &x, responses: &y, weights: &ones, variances_of_amounts: Some(&variances) };
    let start: [f64; 3] = case.numbers("procedure", "start").try_into().unwrap();
    let solution = marquardt::least_squares(&ExplicitProblem, &readings, start).unwrap().solution();
    let sd = (solution.squares / (x.len() - 3) as f64).sqrt();
    let mut found = Found::new();
    for k in 0..3 {
        found.insert(format!("b{}", k + 1), solution.parameters[k]);
        found.insert(format!("s_b{}", k + 1), sd * solution.covariance(k, k).sqrt());
    }
    found
}

pub fn deming(case: &Case) -> Found {
    let (x, y, ratio) = (case.column("x"), case.column("y"), case.number("procedure", "lambda"));
    let readings: Vec<_> =
        x.iter().zip(&y).map(|(&x, &y)| (MassConcentration::from_si(x), Response::from_si(y))).collect();
    let (intercept, slope) = errors_in_both::deming(&readings, ratio).unwrap();
    // York's line with variances of that ratio is the same line.
    let ones = vec![1.0; x.len()];
    let line = LineInBoth::fit(&points_in_both(&x, &y, &ones, &vec![ratio.sqrt(); x.len()])).unwrap();
    assert!((line.slope.si() / slope.si() - 1.0).abs() < 1e-12);
    Found::from([("slope".into(), slope.si()), ("intercept".into(), intercept.si())])
}
