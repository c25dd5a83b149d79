//! Dilutions: concentrations along a chain of aliquots and final volumes, and what they add to the uncertainty.

use darkline_metrology::kind::{Kind, Mass, MassConcentration, Volume};
use darkline_metrology::model::Model;

use crate::budget;
use crate::published::{Item, as_number, case, items, list, number, table, text};
use crate::stock;

/// Works a chain of dilutions out in kinds of quantity.
fn check(item: &Item) {
    let unit = MassConcentration::unit(text(&item.table, "unit")).expect("a unit of the kind");
    let millilitre = Volume::unit("mL").expect("a unit of the kind");
    let model = Model::new();
    let mut concentration = model.exact(unit.of(number(&item.table, "start")));
    for step in list(&item.table, "steps") {
        let volumes: Vec<f64> = step.as_array().expect("two volumes").iter().map(as_number).collect();
        let [aliquot, made_up_to] = volumes[..] else { panic!("two volumes, not {volumes:?}") };
        let volume = |figure| model.exact(millilitre.of(figure));
        concentration = concentration * (volume(aliquot) / volume(made_up_to));
    }
    item.close("expected", Some(unit.read(concentration.value())));
}

/// The Feeding Stuffs (Sampling and Analysis) Regulations (Northern Ireland) 1996, Schedule 2, Part I, method 14g, 3.6.
#[test]
fn copper_in_feeding_stuffs_from_stock_to_working_solution() {
    items("uncertainty/dilution-copper-feedingstuffs.toml").iter().for_each(check);
}

/// A published procedure for lead in water (2019): evaporation twenty times, and a series of standards.
#[test]
fn lead_in_water_by_evaporation() {
    items("uncertainty/dilution-preconcentration-lead.toml").iter().for_each(check);
}

/// USP 28-NF 23, monograph Copper Gluconate, test for lead: two steps, then standard additions.
#[test]
fn usp_standard_additions_of_lead_by_furnace() {
    items("uncertainty/dilution-usp-lead-furnace.toml").iter().for_each(check);
}

/// USP 28-NF 23, chapter 231, from memory: the lead nitrate of the stock solution gives its stated 0.1 mg/mL, to the digits
/// of the weighing.
#[test]
fn usp_lead_nitrate_stock_is_what_it_says() {
    let case = case("uncertainty/dilution-usp-lead-furnace.toml");
    let salt = table(&case, "source_salt");
    let gram = Mass::unit("g").expect("a unit of the kind");
    let millilitre = Volume::unit("mL").expect("a unit of the kind");
    let milligram_per_litre = MassConcentration::unit("mg/L").expect("a unit of the kind");
    let model = Model::new();
    let weighed = model.exact(gram.of(number(salt, "mass_g")));
    let content = stock::Chemistry::of(&model).factor("Pb", text(salt, "formula"));
    let stock = weighed * content / model.exact(millilitre.of(number(salt, "volume_mL")));
    let found = milligram_per_litre.read(stock.value());
    // A unit of the last digit weighed, 0.1 mg of 159.8 mg.
    assert!((found / number(salt, "nominal_mg_L") - 1.0).abs() < 0.1 / 159.8, "{found}");
}

/// QUAM:2012 A1 joined with the University of Tartu's 10 mL pipette, constructed: a dilution from 10 mL to 100 mL.
#[test]
fn one_step_with_pipette_and_flask() {
    budget::check("uncertainty/dilution-uncertainty-one-step.toml");
}
