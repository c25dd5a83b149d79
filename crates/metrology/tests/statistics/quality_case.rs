//! Reads a case of the quality pack and compares every output that it lists.

use toml::Table;

use crate::published::{case, close, list, number, table, text};

/// Computes each listed output by name from the case's data and compares it within its tolerance.
#[track_caller]
pub fn check(id: &str, kind: &str, found: impl Fn(&Table, &str) -> Option<f64>) {
    let case = case(&format!("quality/cases/{id}.toml"));
    assert_eq!((text(&case, "id"), text(&case, "kind")), (id, kind));
    let data = table(&case, "data");
    for expectation in list(&case, "expect") {
        let expectation = expectation.as_table().expect("an expectation is a table");
        let name = text(expectation, "name");
        close(name, found(data, name), number(expectation, "value"), number(expectation, "abs_tol"));
    }
}
