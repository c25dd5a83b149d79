//! The usual printed quantile tables of t, chi-squared and F.

use darkline_metrology::distribution::{chi_squared, fisher_f, student_t};
use toml::{Table, Value};

use crate::published::{as_number, case, close, list, table};

/// Every cell of a table whose rows begin with the degrees of freedom; rounded to `half` a last digit.
fn check_rows(table: &Table, half: f64, found: impl Fn(&str, f64) -> Option<f64>) {
    let columns = list(table, "columns");
    for row in list(table, "rows") {
        let row: Vec<f64> = row.as_array().expect("a row is a list").iter().map(as_number).collect();
        assert_eq!(row.len(), columns.len());
        for (column, expected) in columns.iter().zip(&row).skip(1) {
            let column = column.as_str().expect("a column has a name");
            close(&format!("{column} at {}", row[0]), found(column, row[0]), *expected, half);
        }
    }
}

fn probability(column: &str) -> Option<f64> {
    column.parse().ok()
}

/// Definition of the distributions; recomputed.
#[test]
fn student_t_at_the_usual_levels() {
    let tables = case("quality/tables/quantiles.toml");
    check_rows(table(&tables, "t_two_sided"), 5.0e-5, |column, dof| {
        student_t::upper_quantile(0.5 * probability(column)?, dof)
    });
    check_rows(table(&tables, "t_one_sided_99"), 5.0e-5, |_, dof| student_t::quantile(0.99, dof));
}

/// Definition of the distributions; recomputed.
#[test]
fn chi_squared_at_the_usual_levels() {
    let tables = case("quality/tables/quantiles.toml");
    check_rows(table(&tables, "chi2"), 5.0e-5, |column, dof| chi_squared::quantile(probability(column)?, dof));
}

/// Definition of the distributions; recomputed.
#[test]
fn fisher_f_at_the_upper_five_per_cent() {
    let tables = case("quality/tables/quantiles.toml");
    let f = table(&tables, "f_upper_5_percent");
    let under: Vec<f64> = list(f, "columns").iter().map(as_number).collect();
    for (i, row) in list(f, "rows").iter().enumerate() {
        let over = (i + 1) as f64;
        let row = row.as_array().map(Vec::as_slice).unwrap_or(&[] as &[Value]);
        assert_eq!(row.len(), under.len());
        for (under, expected) in under.iter().zip(row) {
            let found = fisher_f::quantile(0.95, over, *under);
            close(&format!("{over} over {under}"), found, as_number(expected), 5.0e-4);
        }
    }
}
