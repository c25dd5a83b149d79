//! A case of `reference/physics`, and the door every check goes through.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;
use toml::Value;

/// Met where a case names no tolerance, relative (README of the pack).
const DEFAULT_RELATIVE: f64 = 2e-9;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    case: Vec<Case>,
}

/// One published or recomputed case.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    name: String,
    #[serde(rename = "note")]
    _note: String,
    source: String,
    provenance: String,
    given: BTreeMap<String, Value>,
    expected: BTreeMap<String, Value>,
    #[serde(default)]
    tolerance: BTreeMap<String, f64>,
}

impl Case {
    /// A number given.
    pub fn number(&self, key: &str) -> f64 {
        number(&self.given[key])
    }

    /// Numbers given.
    pub fn numbers(&self, key: &str) -> Vec<f64> {
        numbers(&self.given[key])
    }

    /// The tolerance under a key, where a case gives it a name of its own.
    pub fn tolerance(&self, key: &str) -> f64 {
        self.tolerance[key]
    }
}

fn number(value: &Value) -> f64 {
    match value {
        Value::Float(float) => *float,
        Value::Integer(integer) => *integer as f64,
        other => panic!("a number is wanted, not {other}"),
    }
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("an array of numbers").iter().map(number).collect()
}

/// A figure found: one number, several in the order given, a whole numbers, yes and no, or texts.
pub enum Found {
    One(f64),
    Many(Vec<f64>),
    Count(i64),
    Counts(Vec<i64>),
    Yes(bool),
    Texts(Vec<&'static str>),
}

impl From<f64> for Found {
    fn from(value: f64) -> Self {
        Found::One(value)
    }
}

impl From<Vec<f64>> for Found {
    fn from(values: Vec<f64>) -> Self {
        Found::Many(values)
    }
}

impl From<usize> for Found {
    fn from(count: usize) -> Self {
        Found::Count(count as i64)
    }
}

impl From<bool> for Found {
    fn from(yes: bool) -> Self {
        Found::Yes(yes)
    }
}

/// Figures by the name the case gives them.
pub type Figures = Vec<(&'static str, Found)>;

/// Runs every case of a file; gives the number of values compared.
///
/// `compute` maps the name of a case to its figures; `None` is a case nobody computes, which fails.
pub fn check_file(file: &str, compute: impl Fn(&Case) -> Option<Figures>) -> usize {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/physics").join(file);
    let text = std::fs::read_to_string(&path).expect("the reference file is part of the repository");
    let cases = toml::from_str::<File>(&text).expect("cases in the form of the pack").case;
    assert!(!cases.is_empty());
    let mut n_compared = 0;
    for case in &cases {
        let figures = compute(case).unwrap_or_else(|| panic!("{file}: nobody computes {}", case.name));
        n_compared += check(file, case, figures);
    }
    n_compared
}

fn check(file: &str, case: &Case, figures: Figures) -> usize {
    let place = format!("{file}, {} ({}; {})", case.name, case.source, case.provenance);
    let mut open: Vec<&str> = case.expected.keys().map(String::as_str).collect();
    let mut n_compared = 0;
    for (key, found) in figures {
        n_compared += case.expected[key].as_array().map_or(1, Vec::len);
        let at = open.iter().position(|name| *name == key);
        open.remove(at.unwrap_or_else(|| panic!("{place}: {key} is not expected")));
        let within = |expected: f64| match (case.tolerance.get(key), case.tolerance.get(&format!("{key}_rel"))) {
            (Some(absolute), _) => *absolute,
            (None, Some(relative)) => relative * expected.abs(),
            (None, None) => DEFAULT_RELATIVE * expected.abs(),
        };
        let compare = |found: f64, expected: f64| {
            let difference = (found - expected).abs();
            assert!(
                difference <= within(expected),
                "{place}: {key} is {found}, expected {expected} within {}",
                within(expected)
            );
        };
        match (found, &case.expected[key]) {
            (Found::One(found), expected) => compare(found, number(expected)),
            (Found::Many(found), expected) => {
                let expected = numbers(expected);
                assert_eq!(found.len(), expected.len(), "{place}: {key}");
                for (found, expected) in found.iter().zip(expected) {
                    compare(*found, expected);
                }
            }
            (Found::Count(found), expected) => {
                assert_eq!(Some(found), expected.as_integer(), "{place}: {key}");
            }
            (Found::Counts(found), expected) => {
                let expected: Option<Vec<i64>> =
                    expected.as_array().and_then(|values| values.iter().map(Value::as_integer).collect());
                assert_eq!(Some(found), expected, "{place}: {key}");
            }
            (Found::Texts(found), expected) => {
                let expected: Option<Vec<&str>> =
                    expected.as_array().and_then(|values| values.iter().map(Value::as_str).collect());
                assert_eq!(Some(found), expected, "{place}: {key}");
            }
            (Found::Yes(found), expected) => {
                assert_eq!(Some(found), expected.as_bool(), "{place}: {key}");
            }
        }
    }
    assert!(open.is_empty(), "{place}: nobody compared {open:?}");
    n_compared
}

impl Case {
    /// The name up to the first parameter of a family of cases, or whole.
    pub fn family<'a>(&'a self, families: &[&'a str]) -> &'a str {
        families.iter().find(|family| self.name.starts_with(**family)).copied().unwrap_or(&self.name)
    }
}
