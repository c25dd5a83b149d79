//! The distributions against the multiple-precision tables of `reference/distribution`.
//!
//! Source of the values: recomputed from the definitions by `reference/distribution/make.py`. The relative
//! error allowed is 10⁻¹² everywhere.

use darkline_metrology::distribution::{
    beta, chi_squared, fisher_f, gamma, noncentral_t, normal, student_t, studentised_range,
};

use crate::published::{as_number, case, list, text};

/// Holds one function of a table against `found`, which maps the arguments to the values, in the table's order.
fn check(file: &str, function: &str, n_arguments: usize, found: impl Fn(&[f64]) -> Vec<Option<f64>>) {
    let case = case(&format!("distribution/{file}.toml"));
    let table = list(&case, "table")
        .iter()
        .map(|t| t.as_table().expect("a table"))
        .find(|t| text(t, "function") == function)
        .unwrap_or_else(|| panic!("no table {function} in {file}"));
    let rows = list(table, "rows");
    assert!(rows.len() >= 14, "{file} {function} has only {} rows", rows.len());
    let mut faults = Vec::new();
    for row in rows {
        let row: Vec<f64> = row.as_array().expect("a row is a list").iter().map(as_number).collect();
        let (arguments, expected) = row.split_at(n_arguments);
        let values = found(arguments);
        assert_eq!(values.len(), expected.len());
        for (i, (value, expected)) in values.iter().zip(expected).enumerate() {
            let error = value.map(|v| if v == *expected { 0.0 } else { (v - expected).abs() / expected.abs() });
            if !error.is_some_and(|e| e < 1.0e-12) {
                faults.push(format!("{arguments:?} value {i}: {value:?}, expected {expected:e}, error {error:?}"));
            }
        }
    }
    assert!(faults.is_empty(), "{file} {function}, {} faults:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn normal_density_and_both_tails() {
    check("normal", "tails", 1, |a| vec![normal::density(a[0]), normal::cdf(a[0]), normal::upper_tail(a[0])]);
}

/// Wichura promises about 10⁻¹⁶; with rounding the routine stays below 10⁻¹⁵ wherever the argument holds it.
#[test]
fn normal_quantile() {
    check("normal", "quantile", 1, |a| vec![normal::quantile(a[0])]);
    let case = case("distribution/normal.toml");
    for row in list(list(&case, "table")[1].as_table().expect("a table"), "rows") {
        let row: Vec<f64> = row.as_array().expect("a row is a list").iter().map(as_number).collect();
        let found = normal::quantile(row[0]).expect("inside");
        assert!((found - row[1]).abs() <= 1.0e-15 * row[1].abs(), "{row:?}: found {found:e}");
    }
}

#[test]
fn logarithm_of_the_gamma_function() {
    check("gamma", "log_gamma", 1, |a| vec![gamma::log_gamma(a[0])]);
}

#[test]
fn incomplete_gamma_functions() {
    check("gamma", "tails", 2, |a| vec![gamma::regularised_p(a[0], a[1]), gamma::regularised_q(a[0], a[1])]);
}

#[test]
fn inverses_of_the_incomplete_gamma_functions() {
    check("gamma", "quantile", 2, |a| vec![gamma::inverse_p(a[0], a[1])]);
    check("gamma", "upper_quantile", 2, |a| vec![gamma::inverse_q(a[0], a[1])]);
}

#[test]
fn chi_squared_tails_and_quantiles() {
    check("chi_squared", "tails", 2, |a| vec![chi_squared::cdf(a[1], a[0]), chi_squared::upper_tail(a[1], a[0])]);
    check("chi_squared", "quantile", 2, |a| vec![chi_squared::quantile(a[1], a[0])]);
}

#[test]
fn incomplete_beta_function() {
    check("beta", "tails", 3, |a| vec![beta::regularised(a[0], a[1], a[2]), beta::regularised_upper(a[0], a[1], a[2])]);
}

#[test]
fn inverse_of_the_incomplete_beta_function() {
    check("beta", "quantile", 3, |a| vec![beta::inverse(a[0], a[1], a[2])]);
}

#[test]
fn student_t_tails_and_quantiles() {
    check("student_t", "tails", 2, |a| vec![student_t::cdf(a[1], a[0]), student_t::upper_tail(a[1], a[0])]);
    check("student_t", "upper_quantile", 2, |a| vec![student_t::upper_quantile(a[1], a[0])]);
}

#[test]
fn fisher_f_tails_and_quantiles() {
    check("fisher_f", "tails", 3, |a| vec![fisher_f::cdf(a[2], a[0], a[1]), fisher_f::upper_tail(a[2], a[0], a[1])]);
    check("fisher_f", "quantile", 3, |a| vec![fisher_f::quantile(a[2], a[0], a[1])]);
}

#[test]
fn noncentral_t_tails_and_quantiles() {
    check("noncentral_t", "tails", 3, |a| {
        vec![noncentral_t::cdf(a[2], a[0], a[1]), noncentral_t::upper_tail(a[2], a[0], a[1])]
    });
    check("noncentral_t", "quantile", 3, |a| vec![noncentral_t::quantile(a[2], a[0], a[1])]);
}

#[test]
fn studentised_range_tails() {
    check("studentised_range", "tails", 3, |a| {
        vec![studentised_range::cdf(a[2], a[0] as u32, a[1]), studentised_range::upper_tail(a[2], a[0] as u32, a[1])]
    });
}
