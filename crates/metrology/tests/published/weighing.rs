//! Weighing: air buoyancy, the density of water, and a volume from its mass.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use toml::Table;

use crate::expression::{self, Symbols};
use crate::published::{as_number, case, items, number, table, text};

/// Works the right-hand side of an equation out with exact figures.
fn worked_out(equation: &str, figures: &BTreeMap<&str, f64>) -> f64 {
    let (_, right) = equation.split_once(" = ").expect("an equation");
    let right = right.split_once(" kg/m3").map_or(right, |(right, _)| right);
    let right = right.split_once(';').map_or(right, |(right, _)| right);
    let model = Model::new();
    let symbols: Symbols<'_> = figures
        .iter()
        .map(|(symbol, &value)| ((*symbol).to_owned(), model.exact(Factor::from_si(value))))
        .collect::<BTreeMap<String, Term<'_, Factor>>>();
    expression::build(&model, right, &symbols).value().si()
}

/// The numbers of a table by their keys.
fn figures(table: &Table) -> BTreeMap<&str, f64> {
    table.iter().filter(|(_, value)| value.is_float()).map(|(key, value)| (key.as_str(), as_number(value))).collect()
}

/// Density of air-free water in kg/m³ at a temperature in °C: the equation and coefficients of the case.
fn density_of_water(t: f64) -> f64 {
    let case = case("uncertainty/density-of-water.toml");
    let equation = table(&case, "model");
    let mut figures = figures(equation);
    figures.insert("t", t);
    worked_out(text(equation, "equation"), &figures)
}

/// M. Tanaka and others, Metrologia 38 (2001) 301-309, equation (1) at 101 325 Pa, from memory.
#[test]
fn density_of_air_free_water() {
    for item in items("uncertainty/density-of-water.toml") {
        // The tolerance of 0.6 g/m³ is half a unit of the usual table's fourth digit and what recalled coefficients allow.
        let found = density_of_water(number(&item.table, "t_degC"));
        item.close("rho", Some(found));
    }
}

/// OIML D 28 and JCGM 101:2008, 9.3.1, constructed figures: a weighing in air, put right for buoyancy.
#[test]
fn buoyancy_of_a_weighing() {
    let case = case("uncertainty/buoyancy-weighing-correction.toml");
    for item in items("uncertainty/buoyancy-weighing-correction.toml") {
        let mut figures = figures(&item.table);
        figures.retain(|symbol, _| !matches!(*symbol, "m" | "tol"));
        item.close("m", Some(worked_out(text(table(&case, "model"), "equation"), &figures)));
    }
}

/// ISO 8655-6:2002, Table A.1, the row of 25 °C: volume of water for its mass, mL/g.
#[test]
fn volume_from_the_mass_of_water() {
    let case = case("uncertainty/buoyancy-z-factor-25C.toml");
    let equation = table(&case, "model");
    for item in items("uncertainty/buoyancy-z-factor-25C.toml") {
        let t = number(&item.table, "t_degC");
        let air = BTreeMap::from([("t", t), ("p_hPa", 10.0 * number(&item.table, "p_kPa")), ("h", 50.0)]);
        let figures = BTreeMap::from([
            ("rho_a", worked_out(text(equation, "air_density"), &air)),
            ("rho_b", number(equation, "rho_b")),
            ("rho_w", density_of_water(t)),
        ]);
        // m³/kg to mL/g.
        item.close("Z", Some(1000.0 * worked_out(text(equation, "equation"), &figures)));
    }
}
