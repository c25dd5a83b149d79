//! A file of published cases, of which nothing may be left unread.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use toml::{Table, Value};

/// Keys that explain a case and expect nothing.
const ABOUT: [&str; 4] = ["id", "note", "provenance", "source"];

/// A file of `reference/records/` and what was claimed of it.
pub struct Pack {
    name: &'static str,
    table: Table,
    /// The keys claimed, by `array` and number of the case, or by the name of a table.
    claimed: RefCell<BTreeMap<String, BTreeSet<String>>>,
}

/// One case: a table of which every key has to be claimed.
pub struct Case<'a> {
    pack: &'a Pack,
    /// Where it stands, for messages and for claiming.
    place: String,
    table: &'a Table,
}

impl Pack {
    /// Reads a file of `reference/records/`.
    pub fn read(name: &'static str) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/records");
        Self::of(name, &std::fs::read_to_string(root.join(name)).unwrap())
    }

    fn of(name: &'static str, text: &str) -> Self {
        Self { name, table: text.parse().unwrap(), claimed: RefCell::default() }
    }

    /// All cases of an array, in the order of the file.
    pub fn cases(&self, array: &str) -> Vec<Case<'_>> {
        let cases = self.table[array].as_array().unwrap().iter().enumerate();
        let cases: Vec<_> = cases
            .map(|(place, case)| Case {
                pack: self,
                place: format!("{array} {place}"),
                table: case.as_table().unwrap(),
            })
            .collect();
        assert!(!cases.is_empty(), "{}: no {array}", self.name);
        cases
    }

    /// The case of an array with this `id`.
    pub fn case(&self, array: &str, id: &str) -> Case<'_> {
        let found = self.cases(array).into_iter().find(|case| case.table["id"].as_str() == Some(id));
        found.unwrap_or_else(|| panic!("{}: no {array} {id}", self.name))
    }

    /// A table that is a case by itself.
    pub fn table(&self, name: &str) -> Case<'_> {
        Case { pack: self, place: name.to_owned(), table: self.table[name].as_table().unwrap() }
    }

    /// Fails if a case of these arrays and tables, or a key of one, was not claimed.
    pub fn all_claimed(&self, names: &[&str]) {
        let mut left = Vec::new();
        for name in names {
            let cases = match &self.table[*name] {
                Value::Array(_) => self.cases(name),
                _ => vec![self.table(name)],
            };
            left.extend(cases.iter().flat_map(Case::left));
        }
        assert!(left.is_empty(), "{}: not claimed: {left:#?}", self.name);
    }

    /// Fails if the file has a part that is not named here.
    pub fn has_only(&self, names: &[&str]) {
        let parts: BTreeSet<&str> = self.table.keys().map(String::as_str).collect();
        assert_eq!(parts, names.iter().copied().collect(), "{}", self.name);
    }
}

impl<'a> Case<'a> {
    /// The `id`, or the `text` of a case that has none.
    pub fn id(&self) -> &'a str {
        let id = self.table.get("id").or_else(|| self.table.get("text"));
        id.and_then(Value::as_str).unwrap_or("")
    }

    /// The keys that were not claimed, each with its place.
    fn left(&self) -> Vec<String> {
        let claimed = self.pack.claimed.borrow();
        let claimed = claimed.get(&self.place);
        let expecting = self.table.keys().filter(|key| !ABOUT.contains(&key.as_str()));
        expecting
            .filter(|key| claimed.is_none_or(|claimed| !claimed.contains(*key)))
            .map(|key| format!("{} ({}): {key}", self.place, self.id()))
            .collect()
    }

    /// Fails if a key of this case was not claimed.
    pub fn claimed(&self) {
        assert_eq!(self.left(), [""; 0]);
    }

    /// A value, if the case has one under this key; it counts as claimed.
    pub fn get(&self, key: &str) -> Option<&'a Value> {
        let value = self.table.get(key)?;
        let mut claimed = self.pack.claimed.borrow_mut();
        claimed.entry(self.place.clone()).or_default().insert(key.to_owned());
        Some(value)
    }

    fn value(&self, key: &str) -> &'a Value {
        self.get(key).unwrap_or_else(|| panic!("{} {}: no {key}", self.place, self.id()))
    }

    /// A text.
    pub fn text(&self, key: &str) -> &'a str {
        self.value(key).as_str().unwrap()
    }

    /// A whole number that is not negative.
    pub fn number(&self, key: &str) -> u64 {
        self.value(key).as_integer().unwrap().try_into().unwrap()
    }

    /// An array of texts.
    pub fn texts(&self, key: &str) -> Vec<&'a str> {
        self.value(key).as_array().unwrap().iter().map(|text| text.as_str().unwrap()).collect()
    }

    /// Bytes in hexadecimal digits.
    pub fn bytes(&self, key: &str) -> Vec<u8> {
        bytes_of(self.text(key))
    }

    /// Whether `expect` is `accept`; fails on any word but `accept` and `refuse`.
    pub fn expects_acceptance(&self) -> bool {
        match self.text("expect") {
            "accept" => true,
            "refuse" => false,
            other => panic!("{} {}: expect {other}", self.place, self.id()),
        }
    }
}

/// Reads hexadecimal digits without the help of what is tested.
pub fn bytes_of(digits: &str) -> Vec<u8> {
    assert!(digits.len().is_multiple_of(2), "{digits}");
    (0..digits.len()).step_by(2).map(|at| u8::from_str_radix(&digits[at..at + 2], 16).unwrap()).collect()
}

#[test]
fn a_case_or_a_key_that_no_test_looked_at_is_found() {
    let text = "[[case]]\nid = 'a'\nroot = '00'\n[[case]]\nid = 'b'\nroot = '01'\nnewest = 7\nnote = 'x'";
    let pack = Pack::of("made.toml", text);
    for case in pack.cases("case") {
        case.text("root");
    }
    let left: Vec<_> = pack.cases("case").iter().flat_map(Case::left).collect();
    assert_eq!(left, ["case 1 (b): newest"]);
    assert!(std::panic::catch_unwind(|| Pack::of("made.toml", text).all_claimed(&["case"])).is_err());
    pack.case("case", "b").number("newest");
    pack.all_claimed(&["case"]);
    assert!(std::panic::catch_unwind(|| Pack::of("made.toml", text).has_only(&["meta"])).is_err());
}
