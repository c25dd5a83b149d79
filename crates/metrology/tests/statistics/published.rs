//! Reads the reference tables that the checks compare with.

use std::fs;
use std::path::PathBuf;

use toml::{Table, Value};

/// Reads a table of the reference folder, such as `quality/tables/quantiles.toml`.
pub fn case(path: &str) -> Table {
    let place = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference").join(path);
    let text = fs::read_to_string(&place).unwrap_or_else(|e| panic!("{}: {e}", place.display()));
    text.parse().unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A TOML number, integer or not, or one written as text to keep its digits.
pub fn as_number(value: &Value) -> f64 {
    match value {
        Value::Float(x) => *x,
        Value::Integer(i) => *i as f64,
        Value::String(digits) => digits.parse().unwrap_or_else(|_| panic!("{digits} is not a number")),
        other => panic!("{other} is not a number"),
    }
}

/// The text under a key.
pub fn text<'a>(table: &'a Table, key: &str) -> &'a str {
    table.get(key).and_then(Value::as_str).unwrap_or_else(|| panic!("no text under {key} in {table}"))
}

/// The list under a key.
pub fn list<'a>(table: &'a Table, key: &str) -> &'a [Value] {
    table.get(key).and_then(Value::as_array).unwrap_or_else(|| panic!("no list under {key} in {table}"))
}

/// The table under a key.
pub fn table<'a>(table: &'a Table, key: &str) -> &'a Table {
    table.get(key).and_then(Value::as_table).unwrap_or_else(|| panic!("no table under {key} in {table}"))
}

/// Compares a value within an absolute tolerance.
#[track_caller]
pub fn close(name: &str, found: Option<f64>, expected: f64, tolerance: f64) {
    let found = found.unwrap_or_else(|| panic!("{name}: nothing found, expected {expected}"));
    assert!(
        (found - expected).abs() <= tolerance || found == expected,
        "{name}: found {found:e}, expected {expected:e} within {tolerance:e}"
    );
}
