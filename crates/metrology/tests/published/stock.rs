//! Stock solutions: what a printed mass of metal, oxide or salt gives, by the atomic weights of 2021.
//!
//! Each atomic weight is one source, so that the analyte in the numerator and in the molar mass below it move together.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, Volume};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Shape, Source, SourceId};
use darkline_metrology::type_b::Stated;

use crate::published::{as_number, case, check_expected, close, half_of_last_digit, items, number, table, text};

/// Atomic weights as inputs of a model, g/mol.
pub struct Chemistry<'m> {
    model: &'m Model,
    weights: BTreeMap<String, Term<'m, Factor>>,
}

impl<'m> Chemistry<'m> {
    /// The standard atomic weights of the pack, each rectangular within its interval or decisional uncertainty.
    pub fn of(model: &'m Model) -> Self {
        let weights = items("uncertainty/atomic-weights-2021.toml")
            .iter()
            .map(|item| {
                let symbol = text(&item.table, "symbol");
                let u = spread(text(&item.table, "spread")).u().expect("a width");
                let source = Source::shaped(SourceId::new(format!("atomic weight/{symbol}")), u, Shape::Rectangular);
                let value = Factor::from_si(number(&item.table, "value"));
                (symbol.to_owned(), model.input(value, &[source]))
            })
            .collect();
        Self { model, weights }
    }

    fn exact(&self, value: f64) -> Term<'m, Factor> {
        self.model.exact(Factor::from_si(value))
    }

    /// The molar mass of a formula, g/mol.
    pub fn molar_mass(&self, formula: &str) -> Term<'m, Factor> {
        let parts: Vec<Term<'m, Factor>> =
            atoms(formula).iter().map(|(symbol, n)| self.exact(*n) * self.weights[symbol]).collect();
        self.model.sum(&parts)
    }

    /// The gravimetric factor: mass of analyte in a mass of the compound.
    pub fn factor(&self, analyte: &str, formula: &str) -> Term<'m, Factor> {
        let n = atoms(formula)[analyte];
        self.exact(n) * self.weights[analyte] / self.molar_mass(formula)
    }
}

/// A spread such as `[206.14, 207.94]` or `0.004`.
fn spread(written: &str) -> Stated {
    let number = |text: &str| text.trim().parse().expect("a number");
    match written.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
        Some(interval) => {
            let (lower, upper) = interval.split_once(',').expect("two limits");
            Stated::RectangularLimits { lower: number(lower), upper: number(upper) }
        }
        None => Stated::Rectangular { half_width: number(written) },
    }
}

/// How many atoms of each element a formula has: brackets, and hydrate parts with their number after a dot.
fn atoms(formula: &str) -> BTreeMap<String, f64> {
    let mut found = BTreeMap::new();
    let mut rest = formula;
    loop {
        let (number, after) = leading_number(rest);
        let length = part_length(after);
        add_part(&after[..length], number.unwrap_or(1.0), &mut found);
        match after[length..].strip_prefix('.') {
            Some(more) => rest = more,
            None => return found,
        }
    }
}

/// How far the part of a formula before the next dot reaches.
fn part_length(text: &str) -> usize {
    text.find('.').unwrap_or(text.len())
}

/// A number at the start, such as the `0.5` of `0.5H2O`, and what follows.
fn leading_number(text: &str) -> (Option<f64>, &str) {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    (text[..end].parse().ok(), &text[end..])
}

fn add_part(part: &str, times: f64, found: &mut BTreeMap<String, f64>) {
    let mut rest = part;
    while let Some(first) = rest.chars().next() {
        let (inside, after) = if first == '(' {
            let end = rest.find(')').unwrap_or_else(|| panic!("{part}: a bracket stays open"));
            (Some(&rest[1..end]), &rest[end + 1..])
        } else {
            assert!(first.is_ascii_uppercase(), "{part}: what is {rest}?");
            let end = rest[1..].find(|c: char| !c.is_ascii_lowercase()).map_or(rest.len(), |end| end + 1);
            (None, &rest[end..])
        };
        let (n, next) = leading_number(after);
        let n = times * n.unwrap_or(1.0);
        match inside {
            Some(inside) => add_part(inside, n, found),
            None => *found.entry(rest[..rest.len() - after.len()].to_owned()).or_insert(0.0) += n,
        }
        rest = next;
    }
}

/// T. Prohaska and others, Pure Appl. Chem. 94 (2022) 573-600, Tables 1 to 3: every value lies in its interval, to its own
/// last digit, and its spread gives an uncertainty.
#[test]
fn atomic_weights_lie_within_their_spread() {
    for item in items("uncertainty/atomic-weights-2021.toml") {
        let (symbol, value) = (text(&item.table, "symbol"), number(&item.table, "value"));
        let spread = spread(text(&item.table, "spread"));
        let u = spread.u().expect("a width");
        assert!(u > 0.0 && u / value < 0.005, "{symbol}");
        if let Stated::RectangularLimits { lower, upper } = spread {
            // A conventional value is rounded: that of thallium lies beside its interval, within half a digit.
            let digit = half_of_last_digit(item.written("value")) * (1.0 + 1e-9);
            assert!(value >= lower - digit && value <= upper + digit, "{symbol}");
        }
    }
}

/// Computed from the atomic weights of 2021: molar mass, gravimetric factor, and the mass for 1 L of 1000 mg/L. The case
/// allows two units of the last digit.
#[test]
fn masses_for_a_litre_of_one_gram() {
    let model = Model::new();
    let chemistry = Chemistry::of(&model);
    let gram = Mass::unit("g").expect("a unit of the kind");
    for item in items("uncertainty/stock-gravimetric-factors.toml") {
        let (analyte, formula) = (text(&item.table, "analyte"), text(&item.table, "formula"));
        let factor = chemistry.factor(analyte, formula);
        let mass = model.exact(gram.of(1.0)) / factor;
        if formula == "CuSO4.5H2O" {
            // DIFFERENCE: the case prints 249.677043, which no sum of its own atomic weights gives; the last two digits are
            // those of manganese. 63.546 + 32.06 + 9 · 15.999 + 10 · 1.008 = 249.677.
            close("CuSO4.5H2O M", Some(chemistry.molar_mass(formula).value().si()), 249.677, 1e-12);
            close("CuSO4.5H2O M as printed", Some(number(&item.table, "M")), 249.677043, 0.0);
        }
        for (key, found) in [
            ("M", chemistry.molar_mass(formula).value().si()),
            ("factor", factor.value().si()),
            ("mass_g", gram.read(mass.value())),
        ] {
            if (formula, key) == ("CuSO4.5H2O", "M") {
                continue;
            }
            let tolerance = 4.0 * half_of_last_digit(item.written(key));
            close(&format!("{formula} {key}"), Some(found), number(&item.table, key), tolerance);
        }
    }
}

/// Holds what a printed mass gives against the concentration stated with it.
fn check_stocks(path: &str) {
    let gram = Mass::unit("g").expect("a unit of the kind");
    let millilitre = Volume::unit("mL").expect("a unit of the kind");
    let milligram_per_litre = MassConcentration::unit("mg/L").expect("a unit of the kind");
    let model = Model::new();
    let chemistry = Chemistry::of(&model);
    let volume = |figure: f64| model.exact(millilitre.of(figure));
    for item in items(path) {
        let get = |key| number(&item.table, key);
        let (analyte, formula) = (text(&item.table, "analyte"), text(&item.table, "formula"));
        let weighed = model.exact(gram.of(get("mass_g")));
        let mut concentration = weighed * chemistry.factor(analyte, formula) / volume(get("volume_mL"));
        let steps = item.table.get("dilution").and_then(toml::Value::as_array);
        for step in steps.into_iter().flatten() {
            let step = step.as_array().expect("two volumes");
            concentration = concentration * (volume(as_number(&step[0])) / volume(as_number(&step[1])));
        }
        let found = milligram_per_litre.read(concentration.value());
        let deviation = found / get("nominal_mg_L") - 1.0;
        assert!(deviation.abs() <= get("max_relative_deviation"), "{formula}: {found} mg/L");
        // The purity of the formula is known far better than its mass is printed.
        let u = model.first_order(concentration).u() / concentration.value().si();
        assert!(u < 0.001, "{formula}: {u}");
    }
}

/// US EPA-600/4-79-020 and SW-846 7000 series, Method 200.9, from memory: masses printed for 1 mL = 1 mg.
#[test]
fn stocks_of_the_epa_methods() {
    check_stocks("uncertainty/stock-epa-salts.toml");
}

/// Lange's Handbook of Chemistry, 15th edition (1999), Table 11.48.
#[test]
fn stocks_of_a_handbook_table() {
    check_stocks("uncertainty/stock-lange.toml");
}

/// European Pharmacopoeia 5.0, 4.1.2, and the lists that follow it.
#[test]
fn stocks_of_the_pharmacopoeias() {
    check_stocks("uncertainty/stock-pharmacopoeia.toml");
}

/// T. Prohaska and others (2022), interval for lead; A. Possolo and others, Pure Appl. Chem. 90 (2018) 395-424, rectangular
/// within it: numerator and denominator of the factor move together.
#[test]
fn lead_nitrate_when_the_atomic_weight_is_an_interval() {
    let case = case("uncertainty/stock-lead-nitrate-interval.toml");
    let data = table(&case, "data");
    let (low, high) = (number(data, "A_low"), number(data, "A_high"));
    let u_a = Stated::RectangularLimits { lower: low, upper: high }.u().expect("a width");
    let factor = |a: f64| {
        let model = Model::new();
        let lead = Source::shaped(SourceId::new("atomic weight/Pb"), u_a, Shape::Rectangular);
        let mut chemistry = Chemistry::of(&model);
        // Nitrogen and oxygen count as exact here.
        for weight in chemistry.weights.values_mut() {
            *weight = model.exact(weight.value());
        }
        chemistry.weights.insert("Pb".to_owned(), model.input(Factor::from_si(a), &[lead]));
        model.first_order(chemistry.factor("Pb", "Pb(NO3)2"))
    };
    let conventional = factor(number(data, "A_conventional"));
    let (f_low, f_high) = (factor(low).value.si(), factor(high).value.si());
    check_expected(&case, |key| match key {
        "F_low" => Some(f_low),
        "F_high" => Some(f_high),
        "F_conventional" => Some(conventional.value.si()),
        "u_A" => Some(u_a),
        "u_rel_F" => Some(conventional.u() / conventional.value.si()),
        "mass_g_low" => Some(1.0 / f_high),
        "mass_g_high" => Some(1.0 / f_low),
        _ => None,
    });
}

#[test]
fn formulas_are_read_with_brackets_and_hydrate_parts() {
    let found = atoms("K(SbO)C4H4O6.0.5H2O");
    let expected = [("C", 4.0), ("H", 5.0), ("K", 1.0), ("O", 7.5), ("Sb", 1.0)];
    assert_eq!(found, expected.map(|(symbol, n)| (symbol.to_owned(), n)).into());
    assert_eq!(atoms("(CdSO4)3.8H2O")["O"], 20.0);
    assert_eq!(atoms("FeNH4(SO4)2.12H2O")["H"], 28.0);
}
