//! JCGM 100:2008 (GUM): common causes, effective degrees of freedom, and the examples H.1, H.2 and H.3.

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{PoolId, Source, SourceId};
use darkline_metrology::summary;

use crate::budget;
use crate::expression::{self, Symbols};
use crate::published::{as_number, case, check_expected, close, items, list, number, numbers, table, text};

/// GUM 5.2.2, example, from memory: ten resistors of 1000 Ω compared with one standard, joined in series.
#[test]
fn gum_5_2_2_ten_resistors_share_one_standard() {
    for item in items("uncertainty/gum-5-2-2-common-standard.toml") {
        let get = |key| number(&item.table, key);
        let (u_i, r) = (get("u_i"), get("r"));
        let model = Model::new();
        let resistors: Vec<Term<'_, Factor>> = (0..get("n") as usize)
            .map(|i| {
                let common = Source::normal(SourceId::new("standard"), u_i * r.sqrt());
                let own = Source::normal(SourceId::new(format!("resistor {i}")), u_i * (1.0 - r).sqrt());
                model.input(Factor::from_si(1000.0), &[common, own])
            })
            .collect();
        item.close("u", Some(model.first_order(model.sum(&resistors)).u()));
    }
}

/// GUM G.4.1, example with equation (G.2b), from memory: a product of three inputs, n = 10, 5 and 15; the effective
/// degrees of freedom of 18.9987 count as 19.
#[test]
fn gum_g_4_welch_satterthwaite_of_a_product() {
    let case = case("uncertainty/gum-g4-welch-satterthwaite.toml");
    let model = Model::new();
    let product = list(&case, "input")
        .iter()
        .map(|input| {
            let input = input.as_table().expect("an input is a table");
            let source = SourceId::new(text(input, "symbol"));
            let u = 0.01 * number(input, "u_rel_percent");
            model.input(Factor::from_si(1.0), &[Source::estimated(source, u, number(input, "dof"))])
        })
        .reduce(|product, input| product * input)
        .expect("three inputs");
    let found = model.first_order(product);
    let k = found.coverage_factor(number(table(&case, "given"), "p")).expect("a probability");
    check_expected(&case, |key| match key {
        "uc_rel_percent" => Some(100.0 * found.u()),
        "nu_eff" => Some(found.effective_dof()),
        "k" => Some(k),
        "U_rel_percent" => Some(100.0 * found.expand(k).expanded_u.si()),
        _ => None,
    });
    // With 19 degrees of freedom the factor is 2.093, with 18 it would be 2.101.
    assert_eq!(format!("{k:.3}"), "2.093");
}

/// GUM H.1, Table H.1, H.1.6 and H.1.7: calibration of an end gauge, 99 % coverage.
#[test]
fn gum_h_1_end_gauge_with_its_effective_degrees_of_freedom() {
    budget::check("uncertainty/gum-h1-end-gauge.toml");
}

/// GUM H.1.3.2 and H.1.6: the measured difference of H.1 put together from its three parts.
#[test]
fn gum_h_1_difference_from_its_parts() {
    let case = case("uncertainty/gum-h1-end-gauge.toml");
    let parts = table(&case, "parts_of_d");
    let (u, dof) = (numbers(parts, "u_nm"), numbers(parts, "dof"));
    let model = Model::new();
    let terms: Vec<Term<'_, Factor>> = list(parts, "symbols")
        .iter()
        .zip(u.iter().zip(&dof))
        .map(|(symbol, (&u, &dof))| {
            let source = SourceId::new(symbol.as_str().expect("a symbol"));
            model.input(Factor::from_si(0.0), &[Source::estimated(source, u, dof)])
        })
        .collect();
    let found = model.first_order(model.sum(&terms));
    close("u(d)", Some(found.u()), number(parts, "combined_u_nm"), 0.05);
    // DIFFERENCE: the guide puts the rounded 9.7 nm into its formula and prints 25.6; unrounded it is 25.4.
    let rounded = number(parts, "combined_u_nm") / found.u();
    let fourth_power = rounded * rounded * rounded * rounded;
    close("dof of d", Some(found.effective_dof() * fourth_power), number(parts, "combined_dof"), 0.05);
    close("dof of d, unrounded", Some(found.effective_dof()), 25.447, 5e-4);
}

/// GUM H.2, Tables H.2 to H.4: resistance, reactance and impedance from five simultaneous sets of readings; correlations
/// in and out.
#[test]
fn gum_h_2_resistance_reactance_and_impedance() {
    let case = case("uncertainty/gum-h2-resistance-reactance.toml");
    let data = table(&case, "data");
    let names: Vec<&str> = list(data, "symbols").iter().map(|name| name.as_str().expect("a symbol")).collect();
    let readings: Vec<Vec<f64>> = names.iter().map(|name| numbers(data, name)).collect();
    let means: Vec<f64> = readings.iter().map(|x| summary::mean(x).expect("five readings")).collect();
    let n = readings[0].len() as f64;
    let mut covariance = Vec::new();
    for (x, x_mean) in readings.iter().zip(&means) {
        for (y, y_mean) in readings.iter().zip(&means) {
            let products: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
            covariance.push(products / (n * (n - 1.0)));
        }
    }
    let model = Model::new();
    let values: Vec<Factor> = means.iter().map(|&mean| Factor::from_si(mean)).collect();
    let terms = model.correlated(&values, &covariance, "sets of readings", n - 1.0).expect("a covariance matrix");
    let symbols: Symbols<'_> = names.iter().map(|name| (*name).to_owned()).zip(terms).collect();

    let mut estimates: Vec<(&str, _)> = names.iter().map(|name| (*name, model.first_order(symbols[*name]))).collect();
    let equation = table(&case, "model");
    for (name, expression) in list(equation, "outputs").iter().zip(list(equation, "expressions")) {
        let term = expression::build(&model, expression.as_str().expect("an expression"), &symbols);
        estimates.push((name.as_str().expect("a name"), model.first_order(term)));
    }
    let of = |name: &str| estimates.iter().find(|(known, _)| *known == name).map(|(_, estimate)| estimate);
    check_expected(&case, |key| {
        if let Some(names) = key.strip_prefix("r_") {
            let (a, b) = names.split_once('_')?;
            let (a, b) = (of(a)?, of(b)?);
            return Some(a.covariance(b) / (a.u() * b.u()));
        }
        key.strip_prefix("u_").map_or_else(|| of(key).map(|x| x.value.si()), |name| of(name).map(|x| x.u()))
    });
    // All three rest on the same five sets: their uncertainty has four degrees of freedom, whatever the equation.
    for (name, estimate) in &estimates {
        close(name, Some(estimate.effective_dof()), 4.0, 1e-9);
    }
}

/// GUM H.3, Table H.6, equations (H.13) to (H.15): a thermometer's calibration line and a predicted correction. The line is
/// written as sums of the readings, each with the residual standard deviation, estimated once.
#[test]
fn gum_h_3_thermometer_line_from_its_readings() {
    let case = case("uncertainty/gum-h3-thermometer-line.toml");
    let data = table(&case, "data");
    let (t, b) = (numbers(data, "x"), numbers(data, "y"));
    let model = Model::new();
    let line = Line::of(&model, &t, &b);
    let at = |t: f64| line.mean + line.slope * model.exact(Factor::from_si(t - line.x_bar));
    let intercept = model.first_order(at(number(data, "x0")));
    let slope = model.first_order(line.slope);
    let prediction = model.first_order(at(number(data, "predict_at")));
    check_expected(&case, |key| match key {
        "intercept" => Some(intercept.value.si()),
        "u_intercept" => Some(intercept.u()),
        "slope" => Some(slope.value.si()),
        "u_slope" => Some(slope.u()),
        "r" => Some(intercept.covariance(&slope) / (intercept.u() * slope.u())),
        "s" => Some(line.residual_sd),
        "prediction" => Some(prediction.value.si()),
        "u_prediction" => Some(prediction.u()),
        "dof" => Some(prediction.effective_dof()),
        _ => None,
    });
    assert_eq!(as_number(&table(&case, "expected")["dof"]), t.len() as f64 - 2.0);
}

/// A straight line by least squares, written out in terms of the readings.
pub struct Line<'m> {
    pub mean: Term<'m, Factor>,
    pub slope: Term<'m, Factor>,
    pub x_bar: f64,
    pub s_xx: f64,
    pub residual_sd: f64,
}

/// The pool of every reading that varies as the residuals do.
pub fn residuals() -> PoolId {
    PoolId::new("residuals")
}

impl<'m> Line<'m> {
    pub fn of(model: &'m Model, x: &[f64], y: &[f64]) -> Self {
        let x_bar = summary::mean(x).expect("readings");
        let s_xx = summary::sum_of_squares(x).expect("readings");
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
        Self { mean, slope, x_bar, s_xx, residual_sd }
    }
}
