//! Eurachem/CITAC Guide CG 4 (QUAM:2012.P1): the examples A1, A2, A4 and A5, and the spreadsheet of appendix E.2.

use darkline_metrology::kind::{Area, Factor, Kind, MassConcentration, ReleasePerArea, Volume};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Source, SourceId};

use crate::held::{asking, figure, hold, hold_text};

/// QUAM:2012 A1, Tables A1.1 to A1.3: a cadmium standard of 1000 mg/L from the metal.
#[test]
fn quam_a1_cadmium_standard() {
    hold("uncertainty/quam-a1-cadmium-standard.toml");
}

/// QUAM:2012 A1, Table A1.3: the cells of the spreadsheet, one input raised by its u; appendix E.2 has the same figures.
#[test]
fn quam_e_2_spreadsheet_against_first_order() {
    let held = hold("uncertainty/quam-relative-rss-vs-spreadsheet.toml");
    // The same inputs as a budget: differences and derivatives differ by terms of second order only.
    let budget = hold_text(
        "id = \"made\"\nkind = \"lpu\"\n[model]\nexpression = \"1000*m*P/V\"\n\
         [[input]]\nsymbol = \"m\"\nvalue = 100.28\nu = 0.05\n[[input]]\nsymbol = \"P\"\nvalue = 0.9999\nu = 5.8e-05\n\
         [[input]]\nsymbol = \"V\"\nvalue = 100.0\nu = 0.07\n\
         [expected]\ny = 1002.69972\nu = 0.8637\ncontribution_m = 0.49995\ncontribution_P = 0.05816\ncontribution_V = 0.7019\n\
         [tolerance]\ny = 1e-4\nu = 1e-4\ncontribution_m = 1e-4\ncontribution_P = 1e-4\ncontribution_V = 1e-3\n",
    );
    for symbol in ["m", "P", "V"] {
        let difference = (figure(&held, &format!("{symbol}_plus")) - figure(&held, "base")).abs();
        let contribution = figure(&budget, &format!("contribution_{symbol}"));
        assert!((difference / contribution - 1.0).abs() < 1e-3, "{symbol}: {difference} {contribution}");
    }
}

/// QUAM:2012 A2, Tables A2.1 to A2.4: a sodium hydroxide solution against potassium hydrogen phthalate. The atoms of one
/// element add linearly, as 8·A(C) does.
#[test]
fn quam_a2_standardising_sodium_hydroxide() {
    hold("uncertainty/quam-a2-naoh-standardisation.toml");
}

/// QUAM:2012 A2.4: the molar mass of potassium hydrogen phthalate, 204.2212 g/mol with u = 0.0038 g/mol.
#[test]
fn quam_a2_molar_mass() {
    let case = asking("uncertainty/quam-a2-naoh-standardisation.toml", &[]);
    let whole: toml::Table = case.parse().expect("a case is TOML");
    let printed = whole["printed"]["M"].as_str().expect("the printed molar mass");
    let expression = whole["model"]["expression"].as_str().expect("the expression");
    let (before, _) = case.split_once("[expected]").expect("the expected figures");
    let text = before.replace(expression, "8*A_C + 5*A_H + 4*A_O + A_K")
        + "[expected]\ny = 204.2212\nu = 0.0038\n[tolerance]\ny = 5e-5\nu = 5e-5\n";
    let held = hold_text(&text);
    let found = format!("{:.4} g/mol, u {:.4}", figure(&held, "y"), figure(&held, "u"));
    assert_eq!(found.replace('.', ","), printed);
}

/// QUAM:2012 A4, Tables A4.1 and A4.5: precision, recovery and inhomogeneity combined as relative uncertainties.
#[test]
fn quam_a4_in_house_validation() {
    hold("uncertainty/quam-a4-inhouse-validation.toml");
}

/// QUAM:2012 A5, Tables A5.1 to A5.4: cadmium released from ceramic ware, the full budget with the printed u(a_V).
#[test]
fn quam_a5_cadmium_released_from_ceramic_ware() {
    hold("uncertainty/quam-a5-2012-cadmium-release.toml");
}

/// QUAM:2012 A5: the same budget written in kinds instead of bare numbers gives the same figures.
#[test]
fn quam_a5_in_kinds_of_quantity() {
    let path = "uncertainty/quam-a5-2012-cadmium-release.toml";
    let plain = hold(path);
    let case: toml::Table = asking(path, &[]).parse().expect("a case is TOML");
    let model = Model::new();
    let input = |symbol: &str, si: f64| {
        let inputs = case["input"].as_array().expect("inputs").iter();
        let found = inputs.clone().find(|input| input["symbol"].as_str() == Some(symbol)).expect("an input");
        let number = |key: &str| found[key].as_float().expect("a figure");
        (number("value") * si, Source::normal(SourceId::new(symbol), number("u") * si))
    };
    let (c_0, u_c_0) = input("c0", 1e-3);
    let (v_l, u_v_l) = input("V_L", 1e-3);
    let (a_v, u_a_v) = input("a_V", 1e-2);
    let mass = model.input(MassConcentration::from_si(c_0), &[u_c_0]) * model.input(Volume::from_si(v_l), &[u_v_l]);
    let factors = ["d", "f_acid", "f_time", "f_temp"].map(|symbol| {
        let (value, source) = input(symbol, 1.0);
        model.input(Factor::from_si(value), &[source])
    });
    let released = factors.into_iter().fold(mass / model.input(Area::from_si(a_v), &[u_a_v]), |r, f| r * f);
    let found = model.first_order(released);
    let mg_per_dm2 = ReleasePerArea::unit("mg/dm²").expect("a unit of the kind");
    let relative = |a: f64, b: f64| (a / b - 1.0).abs();
    assert!(relative(mg_per_dm2.read(found.value), figure(&plain, "y")) < 1e-15);
    assert!(relative(mg_per_dm2.read_si(found.u()), figure(&plain, "u")) < 1e-14);
}

/// QUAM:2012 A5.4, Tables A5.2 and A5.3, appendix E.4: the calibration line of A5 and an interpolated concentration, as a
/// model of the readings.
#[test]
fn quam_a5_calibration_line_and_interpolation() {
    let path = "uncertainty/quam-a5-calibration-line.toml";
    hold(path);
    // One residual standard deviation lies behind everything.
    assert!((figure(&hold_text(&asking(path, &["dof"])), "dof") - 13.0).abs() < 1e-9);
}

/// QUAM:2012 A1.4: the volume of a 100 mL flask.
#[test]
fn quam_a1_volume_of_a_flask() {
    hold("uncertainty/volume-flask-100mL-quam.toml");
}

/// QUAM:2012 A1.4, A2.4 and A5.4: what a temperature range does to a volume.
#[test]
fn quam_expansion_of_a_volume() {
    hold("uncertainty/volume-thermal-expansion.toml");
}
