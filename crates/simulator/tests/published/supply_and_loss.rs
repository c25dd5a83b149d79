//! Supply and loss: a noise-free pulse has the values of the published form.
//!
//! Case: `supply_loss_values` of `reference/physics/pulses.toml`; form of W. M. G. T. van den Broek, L. de Galan, Anal.
//! Chem. 49 (1977) 2176 (from memory).

use darkline_metrology::kind::{Kind, Mass, Volume};
use darkline_simulator::{Spectrometer, simulate_on};
use toml::Value;

use crate::millrace;

#[test]
fn a_noise_free_pulse_has_the_values_of_the_form() {
    let pack = millrace::published("physics/pulses.toml");
    let cases = pack["case"].as_array().unwrap();
    let is_case = |case: &&Value| case["name"].as_str() == Some("supply_loss_values");
    let case = cases.iter().find(is_case).unwrap();
    let given = |key: &str| case["given"][key].as_float().unwrap();
    let numbers = |value: &Value| -> Vec<f64> {
        let array = value.as_array().unwrap();
        array.iter().map(|number| number.as_float().unwrap()).collect()
    };
    let times = numbers(&case["given"]["t_s"]);
    let expected = numbers(&case["expected"]["A"]);

    // The top standard of the demonstration holds 50 µg/L; this characteristic mass gives it the area of the case.
    let volume_ul = 20.0;
    let m0_pg = 0.0044 * 50.0 * volume_ul / given("Q_As");
    let furnace = Spectrometer::furnace(Mass::unit("pg").unwrap().of(m0_pg), Volume::unit("µL").unwrap().of(volume_ul));
    let bench = Spectrometer {
        k_supply_per_s: given("k_supply_per_s"),
        k_loss_per_s: given("k_loss_per_s"),
        start_s: given("t0_s"),
        ..furnace.without_noise()
    };
    let mut package = millrace::package();
    package.methods[0].calibration.u_stock = None;
    let (run, truth) = (package.runs[0].id.clone(), millrace::truth());
    let started = "2026-03-05T08:30:00Z";
    let readings = simulate_on(&bench, &package, &run, &[6], &truth, 1, started).unwrap();
    let pulse = readings[0].pulse().unwrap();
    assert_eq!((times.len(), expected.len()), (9, 9));
    for (t_s, expected) in times.iter().zip(expected) {
        let place = pulse.t_s().iter().position(|t| (t - t_s).abs() < 1e-9).unwrap();
        let net = f64::from(pulse.total()[place]) - f64::from(pulse.background()[place]);
        // Two values in single precision below 0.25.
        assert!((net - expected).abs() < 2e-8, "{t_s}: {net} {expected}");
    }
}
