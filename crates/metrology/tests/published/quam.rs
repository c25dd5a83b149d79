//! Eurachem/CITAC Guide CG 4 (QUAM:2012.P1): the examples A1, A2, A4 and A5, and the spreadsheet of appendix E.2.

use darkline_metrology::kind::{Area, Factor, Kind, MassConcentration, ReleasePerArea, Volume};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Shape, Source, SourceId};
use darkline_metrology::type_b::Stated;
use toml::Table;

use crate::budget::{self, Budget};
use crate::expression::{self, Symbols};
use crate::gum::{self, Line};
use crate::published::{case, check_expected, close, items, list, number, numbers, table, text};

/// QUAM:2012 A1, Tables A1.1 to A1.3: a cadmium standard of 1000 mg/L from the metal.
#[test]
fn quam_a1_cadmium_standard() {
    budget::check("uncertainty/quam-a1-cadmium-standard.toml");
}

/// QUAM:2012 A1, Table A1.3: the cells of the spreadsheet, one input raised by its u.
#[test]
fn quam_a1_cells_of_the_spreadsheet() {
    let case = case("uncertainty/quam-a1-cadmium-standard.toml");
    let cells = table(&case, "spreadsheet");
    let value = |symbol: &str| {
        let input =
            list(&case, "input").iter().filter_map(|input| input.as_table()).find(|x| text(x, "symbol") == symbol);
        number(input.expect("an input of this symbol"), "value")
    };
    let base = [("m", value("m")), ("P", value("P")), ("V", value("V_flask"))];
    let u = |symbol: &str| number(cells, &format!("u_{symbol}"));
    for key in ["base", "P_plus", "m_plus", "V_plus"] {
        close(key, Some(standard_with(&base, u, key)), number(cells, key), 1.5e-5);
    }
}

/// QUAM:2012 appendix E.2 and Table A1.3: differences instead of derivatives. They differ from first order by terms of
/// second order only.
#[test]
fn quam_e_2_spreadsheet_against_first_order() {
    let case = case("uncertainty/quam-relative-rss-vs-spreadsheet.toml");
    let data = table(&case, "data");
    let base = ["m", "P", "V"].map(|symbol| (symbol, number(data, symbol)));
    let u = |symbol: &str| number(data, &format!("u_{symbol}"));
    let cell = |key: &str| standard_with(&base, u, key);
    let difference = |symbol: &str| cell(&format!("{symbol}_plus")) - cell("base");
    let sum_of_squares: f64 = base.iter().map(|(symbol, _)| difference(symbol) * difference(symbol)).sum();
    check_expected(&case, |key| match key {
        "sum_of_squares" => Some(sum_of_squares),
        "u" => Some(sum_of_squares.sqrt()),
        cell_name => Some(cell(cell_name)),
    });

    let model = Model::new();
    let symbols: Symbols<'_> = base
        .iter()
        .map(|&(symbol, value)| {
            let source = Source::normal(SourceId::new(symbol), u(symbol));
            (symbol.to_owned(), model.input(Factor::from_si(value), &[source]))
        })
        .collect();
    let found = model.first_order(expression::build(&model, "1000*m*P/V", &symbols));
    for contribution in &found.contributions {
        let symbol = contribution.source.as_str();
        let relative = u(symbol) / base.iter().find(|(name, _)| *name == symbol).expect("an input").1;
        let expected = difference(symbol);
        close(symbol, Some(contribution.u), expected, expected.abs() * relative + 1e-9);
    }
}

/// The concentration of A1 with one input raised by its u: the cell `NAME_plus`, or `base`.
fn standard_with(base: &[(&str, f64)], u: impl Fn(&str) -> f64, cell: &str) -> f64 {
    let raised = cell.strip_suffix("_plus");
    let model = Model::new();
    let symbols: Symbols<'_> = base
        .iter()
        .map(|&(symbol, value)| {
            let value = if raised == Some(symbol) { value + u(symbol) } else { value };
            (symbol.to_owned(), model.exact(Factor::from_si(value)))
        })
        .collect();
    expression::build(&model, "1000*m*P/V", &symbols).value().si()
}

/// QUAM:2012 A2, Tables A2.1 to A2.4: a sodium hydroxide solution against potassium hydrogen phthalate. The atoms of one
/// element add linearly, as 8·A(C) does.
#[test]
fn quam_a2_standardising_sodium_hydroxide() {
    budget::check("uncertainty/quam-a2-naoh-standardisation.toml");
}

/// QUAM:2012 A2.4: the molar mass of potassium hydrogen phthalate, 204.2212 g/mol with u = 0.0038 g/mol.
#[test]
fn quam_a2_molar_mass() {
    let case = case("uncertainty/quam-a2-naoh-standardisation.toml");
    let model = Model::new();
    let symbols = budget::inputs(&model, &case);
    let molar_mass = model.first_order(expression::build(&model, "8*A_C + 5*A_H + 4*A_O + A_K", &symbols));
    let printed = format!("{:.4} g/mol, u {:.4}", molar_mass.value.si(), molar_mass.u());
    assert_eq!(printed.replace('.', ","), text(table(&case, "printed"), "M"));
}

/// QUAM:2012 A4, Tables A4.1 and A4.5: precision, recovery and inhomogeneity combined as relative uncertainties.
#[test]
fn quam_a4_in_house_validation() {
    let case = case("uncertainty/quam-a4-inhouse-validation.toml");
    let model = Model::new();
    let factor = |symbol: &str| {
        let input = list(&case, "input").iter().filter_map(|x| x.as_table()).find(|x| text(x, "symbol") == symbol);
        let input = input.expect("an input of this symbol");
        let source = Source::normal(SourceId::new(symbol), number(input, "u"));
        model.input(Factor::from_si(number(input, "value")), &[source])
    };
    let result = table(&case, "result");
    // The recovery is in the result already; dividing by its value takes it out of the product again.
    let (rep, rec, hom) = (factor("rep"), factor("Rec"), factor("hom"));
    let corrected = model.exact(Factor::from_si(number(result, "value") * rec.value().si()));
    let found = model.first_order(corrected * rep * hom / rec);
    check_expected(&case, |key| match key {
        "u_rel" => Some(found.u() / found.value.si()),
        "u" => Some(found.u()),
        "U" => Some(found.expand(number(result, "k")).expanded_u.si()),
        _ => None,
    });
}

/// QUAM:2012 A5, Tables A5.1 to A5.4: cadmium released from ceramic ware, the full budget with the printed u(a_V).
#[test]
fn quam_a5_cadmium_released_from_ceramic_ware() {
    budget::check("uncertainty/quam-a5-2012-cadmium-release.toml");
}

/// QUAM:2012 A5: the same budget written in kinds instead of bare numbers gives the same figures.
#[test]
fn quam_a5_in_kinds_of_quantity() {
    let case = case("uncertainty/quam-a5-2012-cadmium-release.toml");
    let plain = Model::new();
    let plain = Budget::of(&plain, &case).estimate;

    let model = Model::new();
    let input = |symbol: &str| {
        let found = list(&case, "input").iter().filter_map(|x| x.as_table()).find(|x| text(x, "symbol") == symbol);
        let found: &Table = found.expect("an input of this symbol");
        (number(found, "value"), Source::normal(SourceId::new(symbol), number(found, "u")))
    };
    let in_unit = |symbol: &str, si: f64| {
        let (value, source) = input(symbol);
        (value * si, Source { u: source.u * si, ..source })
    };
    let (c_0, u_c_0) = in_unit("c0", 1e-3);
    let (v_l, u_v_l) = in_unit("V_L", 1e-3);
    let (a_v, u_a_v) = in_unit("a_V", 1e-2);
    let mass = model.input(MassConcentration::from_si(c_0), &[u_c_0]) * model.input(Volume::from_si(v_l), &[u_v_l]);
    let factors = ["d", "f_acid", "f_time", "f_temp"].map(|symbol| {
        let (value, source) = input(symbol);
        model.input(Factor::from_si(value), &[source])
    });
    let released = factors.into_iter().fold(mass / model.input(Area::from_si(a_v), &[u_a_v]), |r, f| r * f);
    let found = model.first_order(released);

    let mg_per_dm2 = ReleasePerArea::unit("mg/dm²").expect("a unit of the kind");
    let relative = |a: f64, b: f64| (a / b - 1.0).abs();
    assert!(relative(mg_per_dm2.read(found.value), plain.value.si()) < 1e-15);
    assert!(relative(mg_per_dm2.read_si(found.u()), plain.u()) < 1e-14);
    assert_eq!(found.contributions.len(), plain.contributions.len());
}

/// QUAM:2012 A5.4, Tables A5.2 and A5.3, appendix E.4: the calibration line of A5 and an interpolated concentration, as a
/// model of the readings.
#[test]
fn quam_a5_calibration_line_and_interpolation() {
    let case = case("uncertainty/quam-a5-calibration-line.toml");
    let data = table(&case, "data");
    let (x, y, sample) = (numbers(data, "x"), numbers(data, "y"), numbers(data, "sample"));
    let model = Model::new();
    let line = Line::of(&model, &x, &y);
    let exact = |value: f64| model.exact(Factor::from_si(value));
    let intercept = line.mean - line.slope * exact(line.x_bar);
    let readings: Vec<_> = sample
        .iter()
        .enumerate()
        .map(|(i, &reading)| {
            let id = SourceId::new(format!("sample {i}"));
            let source = Source::pooled(id, line.residual_sd, x.len() as f64 - 2.0, gum::residuals());
            model.input(Factor::from_si(reading), &[source])
        })
        .collect();
    let c_0 = model.first_order((model.mean(&readings) - intercept) / line.slope);
    let (b_0, b_1) = (model.first_order(intercept), model.first_order(line.slope));

    let s_yy = darkline_metrology::summary::sum_of_squares(&y).expect("readings");
    check_expected(&case, |key| match key {
        "B0" => Some(b_0.value.si()),
        "u_B0" => Some(b_0.u()),
        "B1" => Some(b_1.value.si()),
        "u_B1" => Some(b_1.u()),
        "S" => Some(line.residual_sd),
        "r_B0_B1" => Some(b_0.covariance(&b_1) / (b_0.u() * b_1.u())),
        "correlation_coefficient" => Some(b_1.value.si() * (line.s_xx / s_yy).sqrt()),
        "c0" => Some(c_0.value.si()),
        "u_c0" => Some(c_0.u()),
        "n" => Some(x.len() as f64),
        "p" => Some(sample.len() as f64),
        "S_xx" => Some(line.s_xx),
        "c_bar" => Some(line.x_bar),
        _ => None,
    });
    // One residual standard deviation lies behind everything.
    close("dof", Some(c_0.effective_dof()), x.len() as f64 - 2.0, 1e-9);
}

/// QUAM:2012 A1.4: the volume of a 100 mL flask.
#[test]
fn quam_a1_volume_of_a_flask() {
    budget::check("uncertainty/volume-flask-100mL-quam.toml");
}

/// QUAM:2012 A1.4, A2.4 and A5.4: what a temperature range does to a volume.
#[test]
fn quam_expansion_of_a_volume() {
    for item in items("uncertainty/volume-thermal-expansion.toml") {
        let get = |key| number(&item.table, key);
        let model = Model::new();
        let half_width = get("V") * get("alpha") * get("dT");
        item.close("half_width", Some(half_width));
        let source = match text(&item.table, "distribution") {
            "rectangular" => {
                let u = Shape::Rectangular.u_of_half_width(get("dT")).expect("a shape with limits");
                Source::shaped(SourceId::new("temperature"), u, Shape::Rectangular)
            }
            "normal_95" => {
                let stated = Stated::NormalInterval { half_width: get("dT"), level: 0.95 };
                Source::normal(SourceId::new("temperature"), stated.u().expect("an interval"))
            }
            other => panic!("what is {other}?"),
        };
        let exact = |value: f64| model.exact(Factor::from_si(value));
        let change = model.input(Factor::from_si(0.0), &[source]);
        let volume = exact(get("V")) * (exact(1.0) + exact(get("alpha")) * change);
        item.close("u", Some(model.first_order(volume).u()));
    }
}
