//! Straight lines: inverse prediction, Fieller limits, weights, errors in both variables.

use darkline_calibration::errors_in_both::{self, LineInBoth, PointInBoth, Straight};
use darkline_calibration::fieller;
use darkline_calibration::least_squares::curve::Readings;
use darkline_calibration::level::levels;
use darkline_calibration::limits::multiple_of_sd;
use darkline_calibration::line::{Line, Point};
use darkline_calibration::weighting::{ReplicateScatter, Weighting, compare, normalised};
use darkline_metrology::distribution::{chi_squared, student_t};
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;

use super::Computed;
use super::case::{Case, points, readings};
use super::formula::{Formula, from_starts, with_parameters};
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::{Stop, no_value, refused};

/// Readings of the unknown: their mean and their number, one value standing for `m` readings.
pub(super) fn mean_reading(row: &Node<'_>) -> Result<(f64, u32), Stop> {
    let of = row.numbers_of("y")?;
    let mean = summary::mean(&of).ok_or_else(|| no_value("the mean of the unknown"))?;
    let m = if of.len() > 1 { of.len() as f64 } else { row.number_or("m", 1.0)? };
    Ok((mean, readings(m)?))
}

/// The starts of a fit: `start`, or `start1`, `start2` and so on.
pub(super) fn starts<const P: usize>(case: &Case<'_>) -> Result<Vec<[f64; P]>, Stop> {
    let procedure = case.procedure()?;
    let mut found = Vec::new();
    let numbered = (1..=9).map(|place| format!("start{place}"));
    for key in ["start".to_owned()].into_iter().chain(numbered) {
        if let Some(start) = procedure.get(&key) {
            let of: [f64; P] = start
                .numbers()?
                .try_into()
                .map_err(|of: Vec<f64>| start.fault(format!("{} figures, the curve has {P} parameters", of.len())))?;
            found.push(of);
        }
    }
    if found.is_empty() {
        return Err(procedure.fault("the procedure has no \"start1\"").into());
    }
    Ok(found)
}

/// The figures that any line has.
pub(super) fn figures_of(line: &Line) -> Found {
    let mut found = Found::new();
    found.put("slope", line.slope.si());
    found.put("intercept", line.intercept.si());
    found.put("s_slope", line.u_slope.si());
    found.put("s_intercept", line.u_intercept.si());
    found.put("cov_ab", line.covariance_of_parameters());
    found.put("corr_ab", line.correlation);
    found.put("s_yx", line.residual_sd.si());
    found.put("r", line.r);
    found.put("sxx", line.s_xx);
    found.put("x_mean", line.mean_amount.si());
    found.put("y_mean", line.mean_response.si());
    found.put_if("r2_adj", line.adjusted_r_squared());
    let three = multiple_of_sd::limit(line.residual_sd, line.slope, 3.0);
    found.put_or("x_lod_3s", three.as_ref().map(|three| three.limit.si()));
    found.put_or("y_lod_3s", three.as_ref().map(|three| line.response(three.limit).si()));
    found
}

/// Amounts of the unknowns with standard uncertainty and half-width of the limits, `weight` being that of one reading.
pub(super) fn unknowns(
    case: &Case<'_>,
    line: &Line,
    weight: impl Fn(&Node<'_>) -> Result<f64, Stop>,
    found: &mut Found,
) -> Result<(), Stop> {
    for (place, row) in case.unknowns()?.iter().enumerate() {
        let key = |name: &str| format!("{name}_{}", place + 1);
        let (mean, m) = mean_reading(row)?;
        let response = Response::from_si(mean);
        let level = row.number_or("level", case.level()?)?;
        let weight = match weight(row) {
            Ok(weight) => weight,
            Err(Stop::Refused(why)) => {
                found.put_or(key("x0"), line.amount(response).map(Kind::si));
                found.put_or::<f64, _>(key("s_x0"), Err(&why));
                found.put_or::<f64, _>(key("ci"), Err(&why));
                continue;
            }
            Err(fault) => return Err(fault),
        };
        let u = line.u_amount(response, m, weight);
        let t = student_t::coverage_factor(level, line.dof() as f64);
        found.put_or(key("x0"), line.amount(response).map(Kind::si));
        found.put_or(key("s_x0"), u.as_ref().map(|u| u.si()));
        found.put_if(key("ci"), u.as_ref().ok().zip(t).map(|(u, t)| t * u.si()));
        if let (Ok(limits), Ok(u)) = (fieller::limits(line, response, m, weight, level), &u) {
            // Two ways to one figure.
            if (limits.u.si() / u.si() - 1.0).abs() > 1e-12 {
                return Err(refused(format!("two ways to s_x0 differ: {} and {}", limits.u.si(), u.si())));
            }
            found.put(key("lower"), limits.interval.low.si());
            found.put(key("upper"), limits.interval.high.si());
        }
    }
    Ok(())
}

pub(super) fn line(case: &Case<'_>) -> Computed {
    let line = Line::fit(&case.equal_points()?).map_err(refused)?;
    let mut found = figures_of(&line);
    let t = student_t::coverage_factor(case.level()?, line.dof() as f64);
    found.put_if("t", t);
    found.put_if("ci_slope", t.map(|t| t * line.u_slope.si()));
    found.put_if("ci_intercept", t.map(|t| t * line.u_intercept.si()));
    unknowns(case, &line, |_| Ok(1.0), &mut found)?;
    Ok(found)
}

pub(super) fn fieller(case: &Case<'_>) -> Computed {
    let line = Line::fit(&case.equal_points()?).map_err(refused)?;
    let mut found = figures_of(&line);
    for (place, row) in case.unknowns()?.iter().enumerate() {
        let of: Vec<Response> = row.numbers_of("y")?.into_iter().map(Response::from_si).collect();
        let level = row.number_or("level", case.level()?)?;
        let (mean, m) = mean_reading(row)?;
        let limits = if row.truth_of("mean_response")? {
            fieller::of_mean_response(&line, Response::from_si(mean), level)
        } else if of.len() == 1 && m > 1 {
            // One value stands for several readings, whose scatter is not known.
            fieller::limits(&line, Response::from_si(mean), m, 1.0, level)
        } else {
            fieller::of_readings(&line, &of, 1.0, level)
        };
        let limits = limits.as_ref();
        let mut put = |name: &str, value: Result<f64, _>| found.put_or(format!("{name}_{}", place + 1), value);
        put("x0", limits.map(|limits| limits.amount.si()));
        put("lower", limits.map(|limits| limits.interval.low.si()));
        put("upper", limits.map(|limits| limits.interval.high.si()));
        put("wald_lower", limits.map(|limits| limits.symmetric.low.si()));
        put("wald_upper", limits.map(|limits| limits.symmetric.high.si()));
        put("se", limits.map(|limits| limits.u.si()));
        put("g", limits.map(|limits| limits.g));
        put("t", limits.map(|limits| limits.t));
    }
    Ok(found)
}

/// Lines with relative weights: of level means, of points with their standard deviations or weights, or by a rule.
pub(super) fn relative_weights(case: &Case<'_>) -> Computed {
    if case.asks("through_means")? {
        through_means(case)
    } else if case.has_data("s") {
        with_standard_deviations(case)
    } else {
        with_weights(case)
    }
}

/// A book rounds the standard deviations of the levels and the weights before the fit; the library never rounds, so the
/// rounding that a case asks for stands here.
fn through_means(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let rounded = |value: f64, digits: &str| -> Result<f64, Stop> {
        let Some(digits) = procedure.get(digits) else { return Ok(value) };
        let scale = libm::pow(10.0, digits.count(15)? as f64);
        Ok((value * scale).round() / scale)
    };
    let points = case.equal_points()?;
    let mut found = Found::new();
    let mut means = Vec::new();
    for (place, level) in levels(&points).iter().enumerate() {
        let sd = level.sd().ok_or_else(|| no_value("the standard deviation of a level"))?;
        let sd = rounded(sd.si(), "round_s")?;
        let weight = rounded(1.0 / (sd * sd), "round_w")?;
        found.put(format!("w_{}", place + 1), weight);
        let response = level.mean().ok_or_else(|| no_value("the mean of a level"))?;
        means.push(Point { amount: level.amount, response, weight });
    }
    let line = Line::fit(&means).map_err(refused)?;
    found.extend(weighted_figures(&line));
    let scatter = ReplicateScatter::of(&points);
    let weight = |row: &Node<'_>| match (row.number_if("w")?, &scatter) {
        (Some(weight), _) => Ok(weight),
        (None, Ok(scatter)) => {
            let sd = scatter.sd_at(Response::from_si(mean_reading(row)?.0)).si();
            Ok(1.0 / (sd * sd))
        }
        (None, Err(why)) => Err(refused(why)),
    };
    unknowns(case, &line, weight, &mut found)?;
    Ok(found)
}

fn weighted_figures(line: &Line) -> Found {
    let mut found = figures_of(line);
    found.put("s_w", line.residual_sd.si());
    found.put("x_w", line.mean_amount.si());
    found.put("y_w", line.mean_response.si());
    found
}

fn with_standard_deviations(case: &Case<'_>) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let s = case.column("s")?;
    case.equal(&x, &s, "s")?;
    let responses: Vec<Response> = y.iter().map(|&y| Response::from_si(y)).collect();
    let sds: Vec<Response> = s.iter().map(|&s| Response::from_si(s)).collect();
    let weighting = Weighting::Replicates(ReplicateScatter::given(&responses, &sds).map_err(refused)?);
    by_rule(case, &x, &y, &weighting)
}

/// Weights that stand in the case, or follow a rule such as `1/x^2`.
fn with_weights(case: &Case<'_>) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let rule = case.procedure()?.get("weights").and_then(|rule| rule.text().ok());
    if let Some(weighting) = rule.and_then(weighting) {
        return by_rule(case, &x, &y, &weighting);
    }
    let weights = case.column("w")?;
    case.equal(&x, &weights, "w")?;
    let scaled = if case.asks("normalise")? { normalised(&weights) } else { weights };
    let line = Line::fit(&points(&x, &y, &scaled)).map_err(refused)?;
    let mut found = weighted_figures(&line);
    for (place, weight) in scaled.iter().enumerate() {
        found.put(format!("w_{}", place + 1), *weight);
    }
    unknowns(case, &line, |row| Ok(row.number_of("w")?), &mut found)?;
    unweighted(case, &x, &y, &mut found)?;
    Ok(found)
}

/// The rule of a word such as `1/y^0.5`.
fn weighting(word: &str) -> Option<Weighting> {
    let power = match word.split_once('^') {
        Some((_, power)) => power.trim().parse().ok()?,
        None => 1.0,
    };
    match word.as_bytes() {
        b"none" => Some(Weighting::Equal),
        [b'1', b'/', b'x', ..] => Some(Weighting::InverseAmount { power }),
        [b'1', b'/', b'y', ..] => Some(Weighting::InverseResponse { power }),
        _ => None,
    }
}

fn by_rule(case: &Case<'_>, x: &[f64], y: &[f64], weighting: &Weighting) -> Computed {
    let readings: Vec<_> =
        x.iter().zip(y).map(|(&x, &y)| (MassConcentration::from_si(x), Response::from_si(y))).collect();
    let raw = weighting.weights(&readings).map_err(refused)?;
    // All weights are divided by the mean of those of the points, that of an unknown too.
    let weights = if case.asks("normalise")? { normalised(&raw) } else { raw.clone() };
    let scale = match (weights.first(), raw.first()) {
        (Some(weight), Some(raw)) => weight / raw,
        _ => 1.0,
    };
    let line = Line::fit(&points(x, y, &weights)).map_err(refused)?;
    let mut found = weighted_figures(&line);
    for (place, weight) in weights.iter().enumerate() {
        found.put(format!("w_{}", place + 1), *weight);
    }
    let of_unknown = |row: &Node<'_>| match row.number_if("w")? {
        Some(weight) => Ok(weight),
        None => {
            let response = Response::from_si(mean_reading(row)?.0);
            let amount = line.amount(response).unwrap_or(MassConcentration::from_si(0.0));
            Ok(scale * weighting.weight_at(amount, response).map_err(refused)?)
        }
    };
    for (place, row) in case.unknowns()?.iter().enumerate() {
        match of_unknown(row) {
            Ok(weight) => found.put(format!("w0_{}", place + 1), weight),
            Err(Stop::Refused(why)) => found.put_or::<f64, _>(format!("w0_{}", place + 1), Err(why)),
            Err(fault) => return Err(fault),
        }
    }
    unknowns(case, &line, of_unknown, &mut found)?;
    unweighted(case, x, y, &mut found)?;
    Ok(found)
}

/// The same figures without weights, to compare with.
fn unweighted(case: &Case<'_>, x: &[f64], y: &[f64], found: &mut Found) -> Result<(), Stop> {
    let Ok(plain) = Line::fit(&points(x, y, &vec![1.0; x.len()])) else { return Ok(()) };
    let mut of_unknowns = Found::new();
    unknowns(case, &plain, |_| Ok(1.0), &mut of_unknowns)?;
    found.extend(figures_of(&plain).renamed(|key| format!("{key}_unweighted")));
    found.extend(of_unknowns.renamed(|key| match key.rsplit_once('_') {
        Some((name, place)) => format!("{name}_unweighted_{place}"),
        None => format!("{key}_unweighted"),
    }));
    Ok(())
}

pub(super) fn known_uncertainties(case: &Case<'_>) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let u = case.column("u_y")?;
    case.equal(&x, &u, "u_y")?;
    let weights: Vec<f64> = u.iter().map(|u| 1.0 / (u * u)).collect();
    let line = Line::fit_known(&points(&x, &y, &weights)).map_err(refused)?;
    let dof = line.dof() as f64;
    let mut found = Found::new();
    found.put("a", line.intercept.si());
    found.put("b", line.slope.si());
    found.put("u_a", line.u_intercept.si());
    found.put("u_b", line.u_slope.si());
    found.put("cov_ab", line.covariance_of_parameters());
    found.put("chi2", line.chi_squared());
    found.put("df", dof);
    found.put_if("chi2_crit_95", chi_squared::quantile(0.95, dof));
    for (place, row) in case.unknowns()?.iter().enumerate() {
        let (mean, m) = mean_reading(row)?;
        let (response, u) = (Response::from_si(mean), row.number_of("u")?);
        found.put_or(format!("x0_{}", place + 1), line.amount(response).map(Kind::si));
        // u belongs to the value given, however many readings are behind it.
        let m = if row.has("m") || !row.need("y")?.is_list() { 1 } else { m };
        found.put_or(format!("u_x0_{}", place + 1), line.u_amount(response, m, 1.0 / (u * u)).map(Kind::si));
    }
    Ok(found)
}

pub(super) fn compared_weights(case: &Case<'_>) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let readings: Vec<_> =
        x.iter().zip(&y).map(|(&x, &y)| (MassConcentration::from_si(x), Response::from_si(y))).collect();
    let mut found = Found::new();
    for node in case.procedure()?.list_of("weights")? {
        let word = node.text()?;
        let weighting =
            weighting(word).ok_or_else(|| node.fault(format!("{word} is no weighting; write none, 1/x^k or 1/y^k")))?;
        // `1/x^0.5` is `1_x_05` in the keys.
        let name: String = word.replace(['/', '^'], "_").replace('.', "");
        let compared = compare(&weighting, &readings);
        let compared = compared.as_ref();
        found.put_or(format!("sum_abs_re_{name}"), compared.map(|compared| compared.sum_of_magnitudes));
        found.put_or(format!("slope_{name}"), compared.map(|compared| compared.line.slope.si()));
        found.put_or(format!("intercept_{name}"), compared.map(|compared| compared.line.intercept.si()));
        found.put_if(format!("r2_adj_{name}"), compared.ok().and_then(|compared| compared.line.adjusted_r_squared()));
    }
    Ok(found)
}

fn points_in_both(x: &[f64], y: &[f64], u_x: &[f64], u_y: &[f64]) -> Vec<PointInBoth> {
    x.iter()
        .zip(y)
        .zip(u_x.iter().zip(u_y))
        .map(|((&x, &y), (&u_x, &u_y))| PointInBoth {
            amount: MassConcentration::from_si(x),
            u_amount: MassConcentration::from_si(u_x),
            response: Response::from_si(y),
            u_response: Response::from_si(u_y),
        })
        .collect()
}

/// Points with the uncertainties of two further columns.
fn with_uncertainties(case: &Case<'_>, u_x: &str, u_y: &str) -> Result<Vec<PointInBoth>, Stop> {
    let (x, y) = case.pair("x", "y")?;
    let (of_x, of_y) = (case.column(u_x)?, case.column(u_y)?);
    case.equal(&x, &of_x, u_x)?;
    case.equal(&x, &of_y, u_y)?;
    Ok(points_in_both(&x, &y, &of_x, &of_y))
}

pub(super) fn errors_in_both(case: &Case<'_>) -> Computed {
    let points = with_uncertainties(case, "u_x", "u_y")?;
    let line = LineInBoth::fit(&points).map_err(refused)?;
    let scale = line.scale();
    let mut found = Found::new();
    found.put("intercept", line.intercept.si());
    found.put("slope", line.slope.si());
    found.put("u_intercept_york", line.u_intercept.si());
    found.put("u_slope_york", line.u_slope.si());
    found.put("cov_york", line.covariance);
    found.put_if("se_intercept_york_scaled", scale.map(|scale| line.u_intercept.si() * scale));
    found.put_if("se_slope_york_scaled", scale.map(|scale| line.u_slope.si() * scale));
    found.put("u_intercept_prop", line.propagated.u_intercept.si());
    found.put("u_slope_prop", line.propagated.u_slope.si());
    found.put("cov_prop", line.propagated.covariance);
    found.put("chi2", line.chi_squared);
    found.put("df", line.dof());
    found.put_if("chi2_crit_95", chi_squared::quantile(0.95, line.dof() as f64));
    found.put("goodness", line.chi_squared / line.dof() as f64);
    for (place, row) in case.unknowns()?.iter().enumerate() {
        let response = Response::from_si(mean_reading(row)?.0);
        found.put_or(format!("x0_{}", place + 1), line.amount(response).map(Kind::si));
        if let Some(u) = row.number_if("u")? {
            found.put_or(format!("u_x0_{}", place + 1), line.u_amount(response, Response::from_si(u)).map(Kind::si));
        }
    }
    // The distance regression for curves is another way to the same line, with errors scaled by the residuals; a case may
    // give it standard deviations of its own.
    let of = if case.has_data("u_x_odr") { with_uncertainties(case, "u_x_odr", "u_y_odr")? } else { points };
    if let Ok(curve) = errors_in_both::curve(Straight, &of) {
        let scale = (curve.solution.squares / (of.len() as f64 - 2.0)).sqrt();
        found.put("odr_intercept", curve.solution.parameters[0]);
        found.put("odr_slope", curve.solution.parameters[1]);
        found.put("odr_sd_intercept", scale * curve.solution.covariance(0, 0).sqrt());
        found.put("odr_sd_slope", scale * curve.solution.covariance(1, 1).sqrt());
        found.put("odr_cov_ab", curve.solution.covariance(0, 1));
    }
    Ok(found)
}

pub(super) fn explicit_distance_regression(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let formula = Formula::of(procedure.text_or_none("model_id"), procedure.text_or_none("model"))
        .map_err(|why| procedure.fault(why))?;
    with_parameters!(formula.n_parameters, distances_of(case, &formula))
}

fn distances_of<const P: usize>(case: &Case<'_>, formula: &Formula) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let ones = vec![1.0; x.len()];
    let free = if case.has_data("x_free") { case.column("x_free")? } else { ones.clone() };
    case.equal(&x, &free, "x_free")?;
    let of = Readings { amounts: &x, responses: &y, weights: &ones, variances_of_amounts: Some(&free) };
    let solution = from_starts(formula, &of, &starts::<P>(case)?)?;
    let sd = (solution.squares / (x.len() as f64 - P as f64)).sqrt();
    let mut found = Found::new();
    for (k, parameter) in solution.parameters.iter().enumerate() {
        found.put(format!("b{}", k + 1), *parameter);
        found.put(format!("s_b{}", k + 1), sd * solution.covariance(k, k).sqrt());
    }
    found.put("s_res", sd);
    found.put("ss_res", solution.squares);
    Ok(found)
}

pub(super) fn deming(case: &Case<'_>) -> Computed {
    let (x, y) = case.pair("x", "y")?;
    let ratio = case.procedure_or("lambda", 1.0)?;
    let readings: Vec<_> =
        x.iter().zip(&y).map(|(&x, &y)| (MassConcentration::from_si(x), Response::from_si(y))).collect();
    let (intercept, slope) = errors_in_both::deming(&readings, ratio).map_err(refused)?;
    let mut found = Found::new();
    found.put("slope", slope.si());
    found.put("intercept", intercept.si());
    Ok(found)
}
