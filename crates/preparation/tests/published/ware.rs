//! Ware, density, buoyancy and dilutions: ISO 8655, ISO 648, ISO 1042, Metrologia 38 (2001) 301, published recipes.

use darkline_preparation::dilution::Dilution;
use darkline_preparation::ware::{Flask, Pipette, PipetteKind, permitted};
use darkline_preparation::weighing::{density_of_water, true_mass, z_factor};

use crate::{case, figure, items};

#[test]
fn water_has_the_density_of_the_metrologia_formula() {
    for item in items(&case("density-of-water.toml")) {
        let found = density_of_water(figure(&item, "t_degC"));
        assert!((found - figure(&item, "rho")).abs() <= figure(&item, "tol"), "{item}: {found}");
    }
}

#[test]
fn the_factor_from_mass_to_volume_is_that_of_iso_8655_6() {
    for item in items(&case("buoyancy-z-factor-25C.toml")) {
        // The table has µL/mg; m³/kg is a thousandth of it.
        let found = 1000.0 * z_factor(figure(&item, "t_degC"), 1000.0 * figure(&item, "p_kPa"));
        assert!((found - figure(&item, "Z")).abs() <= figure(&item, "tol"), "{item}: {found}");
    }
}

#[test]
fn a_weighing_is_corrected_for_buoyancy() {
    for item in items(&case("buoyancy-weighing-correction.toml")) {
        let found = true_mass(figure(&item, "W"), figure(&item, "rho_s"), figure(&item, "rho_a"));
        assert!((found - figure(&item, "m")).abs() <= figure(&item, "tol"), "{item}: {found}");
    }
}

#[test]
fn the_limits_of_iso_8655_2_give_the_uncertainty_of_a_piston_pipette() {
    for item in items(&case("volume-iso8655-mpe.toml")) {
        let nominal = figure(&item, "nominal_uL") / 1e9;
        let (systematic, random) = permitted(nominal).unwrap();
        assert!((systematic * 1e9 - figure(&item, "systematic_uL")).abs() < 1e-9, "{item}");
        assert!((random * 1e9 - figure(&item, "random_uL")).abs() < 1e-9, "{item}");
        let kind =
            PipetteKind::Piston { from: nominal / 10.0, to: nominal, increment: nominal / 1000.0, systematic, random };
        let u = Pipette { id: String::new(), kind, due: None }.step(nominal).unwrap();
        assert!((u * 1e9 - figure(&item, "u_uL")).abs() <= figure(&item, "tol"), "{item}: {u}");
    }
}

#[test]
fn one_mark_ware_has_the_uncertainty_of_its_limits() {
    for item in items(&case("volume-class-a-pipettes.toml")) {
        let (volume, tolerance) = (figure(&item, "nominal_mL") / 1e6, figure(&item, "tolerance_mL") / 1e6);
        let pipette = Pipette { id: String::new(), kind: PipetteKind::OneMark { volume, tolerance }, due: None };
        let u = pipette.step(volume).unwrap() * 1e6;
        assert!((u - figure(&item, "u_rectangular_mL")).abs() <= 5e-6, "{item}: {u}");
    }
    for item in items(&case("volume-class-a-flasks.toml")) {
        let (volume, tolerance) = (figure(&item, "nominal_mL") / 1e6, figure(&item, "tolerance_mL") / 1e6);
        let u = Flask { id: String::new(), volume, tolerance, due: None }.u() * 1e6;
        assert!((u - figure(&item, "u_triangular_mL")).abs() <= 5e-6, "{item}: {u}");
    }
}

#[test]
fn published_dilutions_give_their_amounts() {
    for name in
        ["dilution-copper-feedingstuffs.toml", "dilution-usp-lead-furnace.toml", "dilution-preconcentration-lead.toml"]
    {
        for item in items(&case(name)) {
            let mut amount = figure(&item, "start");
            for step in item["steps"].as_array().unwrap() {
                let volume = |place: usize| step.as_array().unwrap()[place].as_float().unwrap() / 1e6;
                let step = Dilution { taken: volume(0), u_taken: 0.0, made_up_to: volume(1), u_made_up_to: 0.0 };
                amount = step.of(amount);
            }
            assert!((amount - figure(&item, "expected")).abs() <= 1e-9, "{name}: {item}: {amount}");
        }
    }
}

#[test]
fn one_step_of_one_to_ten_has_its_published_uncertainty() {
    let case = case("dilution-uncertainty-one-step.toml");
    let inputs = case["input"].as_array().unwrap();
    let input = |place: usize| {
        let input = inputs[place].as_table().unwrap();
        (figure(input, "value"), figure(input, "u"))
    };
    let ((stock, u_stock), (taken, u_taken), (made_up_to, u_made_up_to)) = (input(0), input(1), input(2));
    let step = Dilution { taken, u_taken, made_up_to, u_made_up_to };
    let expected = case["expected"].as_table().unwrap();
    let tolerance = case["tolerance"].as_table().unwrap();
    let amount = step.of(stock);
    let u = amount * (step.relative_variance() + (u_stock / stock) * (u_stock / stock)).sqrt();
    assert!((amount - figure(expected, "y")).abs() <= figure(tolerance, "y"));
    assert!((u - figure(expected, "u")).abs() <= figure(tolerance, "u"), "{u}");
}
