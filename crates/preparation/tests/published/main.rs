//! Checks of ware, dilutions and levels against the literature, from `reference/uncertainty`.
#![allow(clippy::unwrap_used)] // A test that cannot read its pack has failed.

mod levels;
mod ware;

/// A file of the pack.
fn case(name: &str) -> toml::Table {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/uncertainty").join(name);
    toml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// A figure of a table, written as a number or a whole number.
#[track_caller]
fn figure(table: &toml::Table, name: &str) -> f64 {
    match &table[name] {
        toml::Value::Float(figure) => *figure,
        toml::Value::Integer(figure) => *figure as f64,
        other => panic!("{name} is {other}"),
    }
}

/// The items of a case.
fn items(case: &toml::Table) -> Vec<toml::Table> {
    case["item"].as_array().unwrap().iter().map(|item| item.as_table().unwrap().clone()).collect()
}
