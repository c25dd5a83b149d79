//! Volumetric ware, temperature, density, buoyancy, dilutions.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind, MassConcentration, Volume};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Shape, Source, SourceId};
use darkline_metrology::type_b::Stated;
use darkline_preparation::ware::{Pipette, PipetteKind};
use darkline_preparation::weighing::{self, DENSITY_OF_WEIGHTS};

use super::Computed;
use crate::answer::Found;
use crate::case_file::{CaseFile, Node};
use crate::expression::Expression;
use crate::shipped;
use crate::stop::{Stop, no_value, refused};

/// u of a half-width read as a law of this shape.
fn u_of(shape: Shape, half_width: f64) -> Result<f64, Stop> {
    shape.u_of_half_width(half_width).ok_or_else(|| no_value("u of a half-width"))
}

/// Expansion of water per °C, QUAM:2012, A1.4; it is taken where a case states none.
const WATER: f64 = 2.1e-4;

/// What a temperature range does to a volume.
pub(super) fn expansion(_: Node<'_>, item: Node<'_>) -> Computed {
    let (volume, alpha, range) = (item.number_of("V")?, item.number_or("alpha", WATER)?, item.number_of("dT")?);
    let word = item.get("distribution");
    let source = match word.map_or(Ok("rectangular"), |word| word.text())? {
        "rectangular" => {
            Source::shaped(SourceId::new("temperature"), u_of(Shape::Rectangular, range)?, Shape::Rectangular)
        }
        "triangular" => {
            Source::shaped(SourceId::new("temperature"), u_of(Shape::Triangular, range)?, Shape::Triangular)
        }
        "normal_95" => {
            let stated = Stated::NormalInterval { half_width: range, level: 0.95 };
            Source::normal(SourceId::new("temperature"), stated.u().ok_or_else(|| no_value("u of the range"))?)
        }
        other => return Err(item.fault(format!("{other} is no distribution known here")).into()),
    };
    let model = Model::new();
    let exact = |value: f64| model.exact(Factor::from_si(value));
    let change = model.input(Factor::from_si(0.0), &[source]);
    let expanded = exact(volume) * (exact(1.0) + exact(alpha) * change);
    let mut found = Found::new();
    found.put("half_width", volume * alpha * range);
    found.put("u", model.first_order(expanded).u());
    Ok(found)
}

/// Systematic limit as a rectangle, random one as a standard deviation.
pub(super) fn piston_pipette(_: Node<'_>, item: Node<'_>) -> Computed {
    let microlitres = |key: &str| item.number_of(key).map(|figure| figure / 1e9);
    let nominal = microlitres("nominal_uL")?;
    let kind = PipetteKind::Piston {
        from: nominal / 10.0,
        to: nominal,
        increment: nominal / 1000.0,
        systematic: microlitres("systematic_uL")?,
        random: microlitres("random_uL")?,
    };
    let pipette = Pipette { id: String::new(), kind, due: None };
    let u = pipette.step(nominal).ok_or_else(|| no_value("u of the volume"))?;
    let mut found = Found::new();
    found.put("u_uL", u * 1e9);
    Ok(found)
}

/// u of one volume by both ways of reading its tolerance.
pub(super) fn tolerances(_: Node<'_>, item: Node<'_>) -> Computed {
    let millilitre = Volume::unit("mL").ok_or_else(|| refused("mL is no unit here"))?;
    let tolerance = millilitre.of(item.number_of("tolerance_mL")?).si();
    let nominal = millilitre.of(item.number_of("nominal_mL")?);
    let mut found = Found::new();
    for (shape, key) in [(Shape::Rectangular, "u_rectangular_mL"), (Shape::Triangular, "u_triangular_mL")] {
        let model = Model::new();
        let source = Source::shaped(SourceId::new("tolerance"), u_of(shape, tolerance)?, shape);
        let volume = model.input(nominal, &[source]);
        found.put(key, millilitre.read_si(model.first_order(volume).u()));
    }
    Ok(found)
}

/// The right-hand side of an equation of a case, worked out with figures; units and remarks behind it are left out.
fn worked_out(equation: &Node<'_>, figures: &BTreeMap<&str, f64>) -> Result<f64, Stop> {
    let text = equation.text()?;
    let right = text.split_once(" = ").map_or(text, |(_, right)| right);
    let right = right.split_once(" kg/m3").map_or(right, |(right, _)| right);
    let right = right.split_once([';', ',']).map_or(right, |(right, _)| right);
    let value = Expression::read(right).and_then(|read| read.with_figures(&|symbol| figures.get(symbol).copied()));
    Ok(value.map_err(|why| equation.fault(why))?)
}

/// The numbers of a table by their keys.
fn figures<'a>(table: &Node<'a>) -> Result<BTreeMap<&'a str, f64>, Stop> {
    let numbers = table.entries()?.into_iter().filter_map(|entry| {
        let is_number = !matches!(entry.content(), crate::value::Content::Text(_));
        is_number.then(|| entry.number().ok().map(|number| (entry.name(), number))).flatten()
    });
    Ok(numbers.collect())
}

/// The density of water at a temperature by the equation and the coefficients of a case.
fn density(case: &Node<'_>, temperature: f64) -> Result<f64, Stop> {
    let equation = case.need("model")?;
    let mut figures = figures(&equation)?;
    figures.insert("t", temperature);
    worked_out(&equation.need("equation")?, &figures)
}

pub(super) fn water_density(_: Node<'_>, item: Node<'_>) -> Computed {
    let mut found = Found::new();
    found.put("rho", weighing::density_of_water(item.number_of("t_degC")?));
    Ok(found)
}

/// A file of the shipped pack that holds figures other cases rest on.
fn shipped_file(name: &str) -> Result<CaseFile, Stop> {
    let source = shipped::sources().into_iter().find(|source| source.name == name);
    let source = source.ok_or_else(|| refused(format!("{name} does not ship with the program")))?;
    Ok(CaseFile::read(source.name, source.text)?)
}

/// Volume of water for its mass; mL/g from densities in kg/m³.
pub(super) fn z_factor(case: Node<'_>, item: Node<'_>) -> Computed {
    let equation = case.need("model")?;
    let temperature = item.number_of("t_degC")?;
    let humidity = item.number_or("h_percent", equation.number_or("h_percent", 50.0)?)?;
    // The functions of the bench hold for half the humidity; another one is worked out by the equation of the case.
    if humidity == 50.0 {
        let mut found = Found::new();
        found.put("Z", 1000.0 * weighing::z_factor(temperature, 1000.0 * item.number_of("p_kPa")?));
        return Ok(found);
    }
    let air = BTreeMap::from([("t", temperature), ("p_hPa", 10.0 * item.number_of("p_kPa")?), ("h", humidity)]);
    let water = shipped_file("uncertainty/density-of-water.toml")?;
    let mut figures = figures(&equation)?;
    figures.insert("rho_a", worked_out(&equation.need("air_density")?, &air)?);
    figures.insert("rho_w", density(&water.root(), temperature)?);
    let mut found = Found::new();
    found.put("Z", 1000.0 * worked_out(&equation.need("equation")?, &figures)?);
    Ok(found)
}

pub(super) fn buoyancy(case: Node<'_>, item: Node<'_>) -> Computed {
    let mut figures = figures(&item)?;
    figures.remove("m");
    let mut found = Found::new();
    let figure = |symbol: &str| figures.get(symbol).copied();
    if let (Some(shown), Some(density), Some(air), Some(DENSITY_OF_WEIGHTS)) =
        (figure("W"), figure("rho_s"), figure("rho_a"), figure("rho_b"))
    {
        found.put("m", weighing::true_mass(shown, density, air));
        return Ok(found);
    }
    found.put("m", worked_out(&case.need("model")?.need("equation")?, &figures)?);
    Ok(found)
}

/// A chain of aliquots and final volumes.
pub(super) fn dilution(_: Node<'_>, item: Node<'_>) -> Computed {
    let unit_node = item.need("unit")?;
    let Some(unit) = MassConcentration::unit(unit_node.text()?) else {
        // Of any other unit, such as mol/L, a dilution takes the same part.
        let mut concentration = item.number_of("start")?;
        for (aliquot, made_up_to) in steps(&item)? {
            concentration *= aliquot / made_up_to;
        }
        let mut found = Found::new();
        found.put("expected", concentration);
        return Ok(found);
    };
    let millilitre = Volume::unit("mL").ok_or_else(|| refused("mL is no unit here"))?;
    let model = Model::new();
    let mut concentration = model.exact(unit.of(item.number_of("start")?));
    for (aliquot, made_up_to) in steps(&item)? {
        let volume = |figure| model.exact(millilitre.of(figure));
        concentration = concentration * (volume(aliquot) / volume(made_up_to));
    }
    let mut found = Found::new();
    found.put("expected", unit.read(concentration.value()));
    Ok(found)
}

/// The aliquot and the final volume of each step.
fn steps(item: &Node<'_>) -> Result<Vec<(f64, f64)>, Stop> {
    let mut found = Vec::new();
    for step in item.list_of("steps")? {
        let [aliquot, made_up_to] = step.numbers()?[..] else {
            return Err(step.fault("a step is an aliquot and a final volume").into());
        };
        found.push((aliquot, made_up_to));
    }
    Ok(found)
}
