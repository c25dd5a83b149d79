//! Tables of critical values and factors, cell by cell, within half of the last digit printed.

use darkline_quality::chart::constants::{c4, d2};
use darkline_quality::homogeneity::allowance_factors;
use darkline_quality::outlier::cochran::Cochran;
use darkline_quality::solid_sampling::tolerance_factor;

/// The rows of a table, and the place of each column by its name.
fn table(text: &str) -> (Vec<Vec<f64>>, impl Fn(&str) -> usize) {
    let table: toml::Table = text.parse().unwrap();
    let columns: Vec<String> =
        table["columns"].as_array().unwrap().iter().map(|name| name.as_str().unwrap().to_owned()).collect();
    let number = |cell: &toml::Value| cell.as_float().or_else(|| cell.as_integer().map(|whole| whole as f64)).unwrap();
    let rows = table["rows"].as_array().unwrap().iter();
    let rows = rows.map(|row| row.as_array().unwrap().iter().map(number).collect()).collect();
    (rows, move |name: &str| columns.iter().position(|column| column == name).unwrap())
}

/// ISO 5725-2, Table 4; the table says where its formula lies at most 0.00013 above the exact value.
#[test]
fn cochran_critical_values() {
    let (rows, column) = table(include_str!("../../../../reference/quality/tables/cochran.toml"));
    for row in &rows {
        for n in 2..=6 {
            for (percent, significance) in [(1, 0.01), (5, 0.05)] {
                let printed = row[column(&format!("n{n}_{percent}"))];
                let test = Cochran { statistic: 1.0, largest: 0, n_groups: row[0] as usize, n };
                let found = test.critical(significance).unwrap();
                assert!((found - printed).abs() <= 0.000_5 + 0.000_13, "p {} n {n} {percent} %: {found}", row[0]);
            }
        }
    }
}

/// ISO 7870-2, Table 2, recomputed by integration.
#[test]
fn factors_of_shewhart_charts() {
    let (rows, column) = table(include_str!("../../../../reference/quality/tables/control_chart_constants.toml"));
    for row in &rows {
        let n = row[0] as usize;
        for (name, found) in [("c4", c4(n).unwrap()), ("d2", d2(n).unwrap())] {
            assert!((found - row[column(name)]).abs() <= 0.000_051, "{name}({n}): {found}");
        }
        // What charts are drawn with follows from them: A2 = 3/(d2·√n), A3 = 3/(c4·√n).
        let root = (n as f64).sqrt();
        for (name, found) in [("A2", 3.0 / (d2(n).unwrap() * root)), ("A3", 3.0 / (c4(n).unwrap() * root))] {
            assert!((found - row[column(name)]).abs() <= 0.000_051, "{name}({n}): {found}");
        }
    }
}

/// ISO 13528:2015, Annex B: F1 and F2 of the homogeneity test, printed with two decimals.
#[test]
fn factors_of_the_homogeneity_test() {
    let (rows, column) = table(include_str!("../../../../reference/quality/tables/homogeneity_f1_f2.toml"));
    for row in &rows {
        let (f1, f2) = allowance_factors(row[0] as usize).unwrap();
        assert!((f1 - row[column("F1")]).abs() <= 0.005_1, "F1({}): {f1}", row[0]);
        assert!((f2 - row[column("F2")]).abs() <= 0.005_1, "F2({}): {f2}", row[0]);
    }
}

/// ISO 16269-6: two-sided tolerance factors with 95 % confidence.
#[test]
fn tolerance_factors() {
    let (rows, column) = table(include_str!("../../../../reference/quality/tables/tolerance_factors.toml"));
    for row in &rows {
        for (name, part) in [("k2_90_95", 0.90), ("k2_95_95", 0.95), ("k2_99_95", 0.99)] {
            let found = tolerance_factor(row[0] as u32, part, 0.95).unwrap();
            assert!((found - row[column(name)]).abs() <= 0.000_06, "{name}({}): {found}", row[0]);
        }
    }
}
