//! JCGM 100:2008 (GUM): common causes, effective degrees of freedom, and the examples H.1, H.2 and H.3.

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};

use crate::held::{asking, figure, hold, hold_text};

/// GUM 5.2.2, example, from memory: ten resistors of 1000 Ω compared with one standard, joined in series.
#[test]
fn gum_5_2_2_ten_resistors_share_one_standard() {
    hold("uncertainty/gum-5-2-2-common-standard.toml");
}

/// GUM G.4.1, example with equation (G.2b), from memory: a product of three inputs, n = 10, 5 and 15; the effective
/// degrees of freedom of 18.9987 count as 19.
#[test]
fn gum_g_4_welch_satterthwaite_of_a_product() {
    let held = hold("uncertainty/gum-g4-welch-satterthwaite.toml");
    // With 19 degrees of freedom the factor is 2.093, with 18 it would be 2.101.
    assert_eq!(format!("{:.3}", figure(&held, "k")), "2.093");
}

/// GUM H.1, Table H.1, H.1.6 and H.1.7: calibration of an end gauge, 99 % coverage.
#[test]
fn gum_h_1_end_gauge_with_its_effective_degrees_of_freedom() {
    hold("uncertainty/gum-h1-end-gauge.toml");
}

/// GUM H.1.3.2 and H.1.6: the measured difference of H.1 put together from its three parts, 5.8 nm, 3.9 nm and 6.7 nm with
/// 24, 5 and 8 degrees of freedom; `parts_of_d` in `uncertainty/gum-h1-end-gauge.toml`.
#[test]
fn gum_h_1_difference_from_its_parts() {
    let text = asking("uncertainty/gum-h1-end-gauge.toml", &[]);
    let case: toml::Table = text.parse().expect("a case is TOML");
    let parts = case["parts_of_d"].as_table().expect("the parts of d");
    let numbers = |key: &str| -> Vec<f64> {
        parts[key].as_array().expect("a list").iter().map(|number| number.as_float().expect("a figure")).collect()
    };
    let number = |key: &str| parts[key].as_float().expect("a figure");
    let model = Model::new();
    let terms: Vec<Term<'_, Factor>> = numbers("u_nm")
        .into_iter()
        .zip(numbers("dof"))
        .enumerate()
        .map(|(place, (u, dof))| {
            let source = SourceId::new(format!("part {place}"));
            model.input(Factor::from_si(0.0), &[Source::estimated(source, u, dof)])
        })
        .collect();
    let found = model.first_order(model.sum(&terms));
    assert!((found.u() - number("combined_u_nm")).abs() < 0.05);
    // DIFFERENCE: the guide puts the rounded 9.7 nm into its formula and prints 25.6; unrounded it is 25.4.
    let rounded = number("combined_u_nm") / found.u();
    let fourth_power = rounded * rounded * rounded * rounded;
    assert!((found.effective_dof() * fourth_power - number("combined_dof")).abs() < 0.05);
    assert!((found.effective_dof() - 25.447).abs() < 5e-4);
}

/// GUM H.2, Tables H.2 to H.4: resistance, reactance and impedance from five simultaneous sets of readings; correlations
/// in and out.
#[test]
fn gum_h_2_resistance_reactance_and_impedance() {
    hold("uncertainty/gum-h2-resistance-reactance.toml");
    // All three rest on the same five sets: their uncertainty has four degrees of freedom, whatever the equation.
    let names = ["V", "I", "phi", "R", "X", "Z"].map(|name| format!("nu_eff_{name}"));
    let keys: Vec<&str> = names.iter().map(String::as_str).collect();
    let held = hold_text(&asking("uncertainty/gum-h2-resistance-reactance.toml", &keys));
    for key in keys {
        assert!((figure(&held, key) - 4.0).abs() < 1e-9, "{key}");
    }
}

/// GUM H.3, Table H.6, equations (H.13) to (H.15): a thermometer's calibration line and a predicted correction. The line is
/// written as sums of the readings, each with the residual standard deviation, estimated once.
#[test]
fn gum_h_3_thermometer_line_from_its_readings() {
    hold("uncertainty/gum-h3-thermometer-line.toml");
}
