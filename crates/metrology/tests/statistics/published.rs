//! Reads the reference cases that the checks compare with.

use std::fs;
use std::path::PathBuf;

use toml::{Table, Value};

/// Reads a file of the reference folder.
pub fn read(path: &str) -> String {
    let place = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference").join(path);
    fs::read_to_string(&place).unwrap_or_else(|e| panic!("{}: {e}", place.display()))
}

/// Reads a case of the reference folder, such as `uncertainty/gum-4-4-3-type-a.toml`.
pub fn case(path: &str) -> Table {
    read(path).parse().unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// The number under a key, integer or not.
pub fn number(table: &Table, key: &str) -> f64 {
    optional(table, key).unwrap_or_else(|| panic!("no number under {key} in {table}"))
}

/// The number under a key that may be missing.
pub fn optional(table: &Table, key: &str) -> Option<f64> {
    table.get(key).map(as_number)
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

/// The yes or no under a key.
pub fn truth(table: &Table, key: &str) -> bool {
    table.get(key).and_then(Value::as_bool).unwrap_or_else(|| panic!("no yes or no under {key} in {table}"))
}

/// The numbers under a key.
pub fn numbers(table: &Table, key: &str) -> Vec<f64> {
    list(table, key).iter().map(as_number).collect()
}

/// The list under a key.
pub fn list<'a>(table: &'a Table, key: &str) -> &'a [Value] {
    table.get(key).and_then(Value::as_array).unwrap_or_else(|| panic!("no list under {key} in {table}"))
}

/// The table under a key.
pub fn table<'a>(table: &'a Table, key: &str) -> &'a Table {
    table.get(key).and_then(Value::as_table).unwrap_or_else(|| panic!("no table under {key} in {table}"))
}

/// One `[[item]]` of a case, with its figures as they are written.
pub struct Item {
    pub table: Table,
    written: String,
}

/// The items of a case.
pub fn items(path: &str) -> Vec<Item> {
    let written = read(path);
    let blocks: Vec<&str> = written.split("[[item]]").skip(1).collect();
    let case = case(path);
    let tables = list(&case, "item");
    assert_eq!(tables.len(), blocks.len(), "{path}");
    assert!(!tables.is_empty(), "{path}");
    tables
        .iter()
        .zip(blocks)
        .map(|(table, block)| Item {
            table: table.as_table().expect("an item is a table").clone(),
            written: block.to_owned(),
        })
        .collect()
}

impl Item {
    /// The figure under a key, digit for digit.
    pub fn written(&self, key: &str) -> &str {
        self.written
            .lines()
            .filter_map(|line| line.split_once(" = "))
            .find(|(name, _)| *name == key)
            .map_or_else(|| panic!("no line for {key}"), |(_, figure)| figure.trim())
    }

    /// Compares the number under a key within the item's `tol` or half a unit of its last written digit.
    #[track_caller]
    pub fn close(&self, key: &str, found: Option<f64>) {
        let tolerance = optional(&self.table, "tol").unwrap_or_else(|| half_of_last_digit(self.written(key)));
        close(key, found, number(&self.table, key), tolerance);
    }
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

/// Half a unit of the last digit of a written figure.
pub fn half_of_last_digit(written: &str) -> f64 {
    let (mantissa, exponent) = written.split_once('e').unwrap_or((written, "0"));
    let decimals = mantissa.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32);
    let place = exponent.parse::<i32>().expect("an exponent is a whole number") - decimals;
    format!("5e{}", place - 1).parse().expect("a power of ten")
}

/// Compares every key of `[expected]` with what `found` gives, within `[tolerance]`.
///
/// A key that `found` does not know is a fault: no expectation is passed over.
#[track_caller]
pub fn check_expected(case: &Table, found: impl Fn(&str) -> Option<f64>) {
    let tolerance = table(case, "tolerance");
    for (key, expected) in table(case, "expected") {
        close(key, found(key), as_number(expected), number(tolerance, key));
    }
}

#[test]
fn the_last_digit_is_read_from_the_text() {
    assert_eq!(half_of_last_digit("2000.0"), 0.05);
    assert_eq!(half_of_last_digit("27.50"), 0.005);
    assert_eq!(half_of_last_digit("9.9e-10"), 5.0e-12);
    assert_eq!(half_of_last_digit("12"), 0.5);
}
