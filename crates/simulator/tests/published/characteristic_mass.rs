//! Characteristic mass: a bench with the m0 of the case gives the area of the case.
//!
//! Case: `reference/quality/cases/charmass-lead.toml`, from the definition (the mass that gives 0.0044 s).

use darkline_metrology::kind::{Kind, Mass, MassConcentration, Volume};
use darkline_simulator::{Spectrometer, simulate_on};

use crate::demo_order::area;
use crate::millrace;

#[test]
fn an_area_and_its_characteristic_mass_belong_together() {
    let case = millrace::published("quality/cases/charmass-lead.toml");
    let given = |key: &str| case["data"][key].as_float().unwrap();
    let all = case["expect"].as_array().unwrap();
    let expected = all.iter().find(|expect| expect["name"].as_str() == Some("m0_pg")).unwrap();
    let m0_pg = expected["value"].as_float().unwrap();
    let bench =
        Spectrometer::furnace(Mass::unit("pg").unwrap().of(m0_pg), Volume::unit("µL").unwrap().of(given("volume_ul")));
    let amount = MassConcentration::usual_unit().of(given("conc_ug_per_l"));
    // m0 is given within 1e-5 pg, so the area follows within 0.218 · 1e-5/12.1.
    let area_s = given("integrated_absorbance");
    assert!((bench.expected_area(amount).si() - area_s).abs() < 2e-7);

    // The same from a pulse: the check standard of the demonstration, 25 µg/L, its stock taken as exact.
    let mut package = millrace::package();
    package.methods[0].calibration.u_stock = None;
    let (run, truth) = (package.runs[0].id.clone(), millrace::truth());
    let (bench, started) = (bench.without_noise(), "2026-03-05T08:30:00Z");
    let readings = simulate_on(&bench, &package, &run, &[7], &truth, 1, started).unwrap();
    let mass_pg = 25.0 * given("volume_ul");
    let found_pg = 0.0044 * mass_pg / area(&readings[0]);
    // The window ends at 4 s, where 5e-5 of the pulse is missing, and samples cut the corner of its start.
    assert!((found_pg / m0_pg - 1.0).abs() < 5e-4, "{found_pg}");
}
