//! A case of the pack `reference/calibration`: reading it, and holding found figures against it.

use std::collections::BTreeMap;
use std::path::PathBuf;

use toml::Value;

/// Figures that the library found, by the keys of the case.
pub type Found = BTreeMap<String, f64>;

/// The folder of the pack.
pub fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference/calibration")
}

/// One case file.
pub struct Case {
    pub id: String,
    pub kind: String,
    table: Value,
}

impl Case {
    pub fn read(id: &str) -> Case {
        let path = folder().join(format!("{id}.toml"));
        let text = std::fs::read_to_string(&path).unwrap_or_else(|fault| panic!("{}: {fault}", path.display()));
        let table: Value = toml::from_str(&text).unwrap_or_else(|fault| panic!("{id}: {fault}"));
        let kind = table["kind"].as_str().expect("a case has a kind").to_owned();
        assert_eq!(table["id"].as_str(), Some(id), "a case is named by its file");
        Case { id: id.to_owned(), kind, table }
    }

    fn entry(&self, section: &str, key: &str) -> Option<&Value> {
        self.table.get(section)?.get(key)
    }

    fn needed(&self, section: &str, key: &str) -> &Value {
        self.entry(section, key).unwrap_or_else(|| panic!("{} has no {key} in [{section}]", self.id))
    }

    /// A column of the data, from the case itself or from its csv file.
    pub fn column(&self, name: &str) -> Vec<f64> {
        if let Some(values) = self.entry("data", name) {
            return numbers(values);
        }
        let file = self.needed("data", "file").as_str().expect("a file is named by text");
        let text = std::fs::read_to_string(folder().join(file)).expect("the pack is complete");
        let mut lines = text.lines();
        let head = lines.next().expect("a csv file has a head");
        let place = head.split(',').position(|column| column == name).unwrap_or_else(|| panic!("{file} has no {name}"));
        let column: Vec<f64> =
            lines.map(|line| line.split(',').nth(place).expect("every row is complete").parse().unwrap()).collect();
        assert_eq!(column.len(), usize::try_from(self.needed("data", "n").as_integer().unwrap()).unwrap(), "{file}");
        column
    }

    pub fn has(&self, section: &str, key: &str) -> bool {
        self.entry(section, key).is_some()
    }

    pub fn number(&self, section: &str, key: &str) -> f64 {
        number(self.needed(section, key))
    }

    pub fn number_or(&self, section: &str, key: &str, otherwise: f64) -> f64 {
        self.entry(section, key).map_or(otherwise, number)
    }

    pub fn numbers(&self, section: &str, key: &str) -> Vec<f64> {
        numbers(self.needed(section, key))
    }

    pub fn word(&self, section: &str, key: &str) -> &str {
        self.needed(section, key).as_str().unwrap_or_else(|| panic!("{} {key} is no text", self.id))
    }

    pub fn words(&self, section: &str, key: &str) -> Vec<&str> {
        self.needed(section, key)
            .as_array()
            .expect("a list")
            .iter()
            .map(|word| word.as_str().expect("a text"))
            .collect()
    }

    pub fn flag(&self, section: &str, key: &str) -> bool {
        self.entry(section, key).and_then(Value::as_bool).unwrap_or(false)
    }

    pub fn rows(&self, section: &str, key: &str) -> Vec<Row<'_>> {
        let rows = self.entry(section, key).and_then(Value::as_array).map_or(&[][..], Vec::as_slice);
        rows.iter().map(Row).collect()
    }

    /// Holds the figures found against all that the case asks for.
    ///
    /// A printed figure within its stated tolerance, a recomputed one to 1e-9 of itself or what the case states; a figure
    /// that is exactly zero to 1e-12. Returns how many digits agree with each printed figure.
    pub fn check(&self, found: &Found) -> Vec<(String, String, f64)> {
        let mut misses = Vec::new();
        let mut digits = Vec::new();
        let section = |name: &str| self.table.get(name).and_then(Value::as_table).cloned().unwrap_or_default();
        let (expected, recomputed, tolerance) = (section("expected"), section("recomputed"), section("tolerance"));
        for (key, printed) in &expected {
            let text = printed.as_str().unwrap_or_else(|| panic!("{} {key}: printed figures are texts", self.id));
            let wanted: f64 = text.parse().unwrap_or_else(|_| panic!("{} {key}: {text} is no number", self.id));
            let allowed = tolerance.get(key).unwrap_or_else(|| panic!("{} {key} has no tolerance", self.id));
            let allowed = match (allowed.get("abs"), allowed.get("rel")) {
                (Some(abs), None) => number(abs),
                (None, Some(rel)) => number(rel) * wanted.abs(),
                _ => panic!("{} {key}: a tolerance is absolute or relative", self.id),
            };
            match found.get(key) {
                None => misses.push(format!("{key}: not computed")),
                Some(value) => {
                    if value.is_nan() || (value - wanted).abs() > allowed {
                        misses.push(format!("{key}: printed {text}, found {value:e}, allowed {allowed:e}"));
                    }
                    digits.push((key.clone(), text.to_owned(), log_relative_error(*value, wanted)));
                }
            }
        }
        let relative = self.table.get("recomputed_rel").map_or(1e-9, number);
        for (key, wanted) in &recomputed {
            let wanted = number(wanted);
            let allowed = if wanted == 0.0 { 1e-12 } else { relative * wanted.abs() };
            match found.get(key) {
                None => misses.push(format!("{key}: not computed")),
                Some(value) if (value - wanted).abs() <= allowed => {}
                Some(value) => {
                    misses.push(format!("{key}: recomputed {wanted:e}, found {value:e}, allowed {allowed:e}"))
                }
            }
        }
        for key in tolerance.keys() {
            assert!(expected.contains_key(key), "{}: a tolerance without its figure, {key}", self.id);
        }
        assert!(misses.is_empty(), "{}:\n{}", self.id, misses.join("\n"));
        digits
    }
}

/// A row of a table in a list.
pub struct Row<'a>(&'a Value);

impl Row<'_> {
    pub fn number(&self, key: &str) -> f64 {
        number(self.0.get(key).unwrap_or_else(|| panic!("a row has no {key}: {}", self.0)))
    }
    pub fn number_or(&self, key: &str, otherwise: f64) -> f64 {
        self.0.get(key).map_or(otherwise, number)
    }
    /// One reading or several.
    pub fn readings(&self, key: &str) -> Vec<f64> {
        match self.0.get(key).expect("readings") {
            list @ Value::Array(_) => numbers(list),
            one => vec![number(one)],
        }
    }
    pub fn flag(&self, key: &str) -> bool {
        self.0.get(key).and_then(Value::as_bool).unwrap_or(false)
    }
}

/// How many digits agree; 15 at most, as in the tables of NIST.
pub fn log_relative_error(found: f64, certified: f64) -> f64 {
    if found == certified {
        return 15.0;
    }
    let error = if certified == 0.0 { found.abs() } else { ((found - certified) / certified).abs() };
    (-libm::log10(error)).clamp(0.0, 15.0)
}

fn number(value: &Value) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "whole numbers in the pack are short")]
    match value {
        Value::Float(number) => *number,
        Value::Integer(number) => *number as f64,
        other => panic!("{other} is no number"),
    }
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("{value} is no list")).iter().map(number).collect()
}
