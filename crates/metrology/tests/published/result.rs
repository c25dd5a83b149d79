//! Results: from the concentration in a solution to the mass fraction in a material, moist or dry.

use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, MassFraction, Volume};
use darkline_metrology::model::Model;

use crate::published::{case, check_expected, items, number, table, text};

/// US EPA Method 200.9 rev. 2.2, clause 12, and SW-846 7010, clause 12, from memory: w = (c − c_blank)·V·f/m. A net
/// concentration below zero stays below zero.
#[test]
fn mass_fraction_from_a_concentration() {
    let microgram_per_litre = MassConcentration::unit("µg/L").expect("a unit of the kind");
    let millilitre = Volume::unit("mL").expect("a unit of the kind");
    let gram = Mass::unit("g").expect("a unit of the kind");
    let milligram_per_kilogram = MassFraction::unit("mg/kg").expect("a unit of the kind");
    for item in items("uncertainty/result-mass-fraction.toml") {
        let get = |key| number(&item.table, key);
        let model = Model::new();
        let concentration = |key| model.exact(microgram_per_litre.of(get(key)));
        let net = concentration("c_ug_L") - concentration("c_blank_ug_L");
        let found = net * model.exact(millilitre.of(get("V_mL"))) * model.exact(Factor::from_si(get("f")))
            / model.exact(gram.of(get("m_g")));
        item.close("w_mg_kg", Some(milligram_per_kilogram.read(found.value())));
    }
}

/// ISO 11465:1993, ASPAC method 2A1, EN 15934:2012: a result as received, on dry mass, by either statement of moisture.
#[test]
fn result_on_dry_mass_by_either_moisture() {
    let milligram_per_kilogram = MassFraction::unit("mg/kg").expect("a unit of the kind");
    for item in items("uncertainty/dry-mass-conversion.toml") {
        let get = |key| number(&item.table, key);
        let model = Model::new();
        let percent = |figure: f64| model.exact(Factor::unit("%").expect("a unit of the kind").of(figure));
        let received = model.exact(milligram_per_kilogram.of(get("w")));
        let dry = match text(&item.table, "basis") {
            "dry" => received * (percent(100.0) + percent(get("moisture_percent"))),
            "wet" => received / (percent(100.0) - percent(get("moisture_percent"))),
            "dry_matter" => received / percent(get("dry_matter_percent")),
            other => panic!("what is moisture on {other}?"),
        };
        item.close("w_dry", Some(milligram_per_kilogram.read(dry.value())));
    }
}

/// A soil laboratory's worksheet (2010), definition as in ISO 11465:1993: moisture by drying, on dry and on moist mass.
#[test]
fn moisture_of_a_soil_by_drying() {
    let case = case("uncertainty/dry-mass-worksheet.toml");
    let data = table(&case, "data");
    let gram = Mass::unit("g").expect("a unit of the kind");
    let percent = MassFraction::unit("%").expect("a unit of the kind");
    let model = Model::new();
    let mass = |key| model.exact(gram.of(number(data, key)));
    let (water, dry) = (mass("pan_wet") - mass("pan_dry"), mass("pan_dry") - mass("pan"));
    let moist = mass("pan_wet") - mass("pan");
    let (on_dry, on_moist) = (water / dry, water / moist);
    check_expected(&case, |key| match key {
        "moisture_dry_basis_percent" => Some(percent.read(on_dry.value())),
        "moisture_wet_basis_percent" => Some(percent.read(on_moist.value())),
        "dry_matter_fraction" => Some((dry / moist).value().si()),
        "oven_dry_mass" => Some(gram.read((mass("sample_wet") - on_moist * mass("sample_wet")).value())),
        _ => None,
    });
}
