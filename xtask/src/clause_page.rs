//! The page of what the clauses ask: requirement, what the program does, the test that shows it, what stays with the laboratory.
//!
//! The clauses come from the packs in `reference/records/`, what shows them from `docs/clauses.toml`. A clause without a row, a
//! row without a clause and a test that does not exist are findings.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use toml::{Table, Value};

use crate::finding::Finding;
use crate::house::House;

/// Where the page lies.
pub const PAGE: &str = "docs/reference/what-the-clauses-ask.md";

/// What shows the clauses.
pub const ROWS: &str = "docs/clauses.toml";

/// The packs: name, file, heading, the arrays that hold clauses.
const PACKS: [(&str, &str, &str, &[&str]); 4] = [
    ("part11", "reference/records/part11.toml", "21 CFR Part 11", &["clause"]),
    ("annex11", "reference/records/annex11.toml", "EU GMP Annex 11", &["clause"]),
    ("iso17025", "reference/records/iso17025.toml", "ISO/IEC 17025:2017", &["clause"]),
    ("integrity", "reference/records/integrity.toml", "Data integrity", &["attribute", "guidance"]),
];

/// What a row may say of a clause.
const STATES: [&str; 4] = ["shown", "in part", "not yet", "laboratory"];

/// A clause of a pack with its row.
struct Clause {
    pack: &'static str,
    id: String,
    asks: String,
    laboratory: String,
    row: Option<Row>,
}

struct Row {
    state: String,
    tests: Vec<String>,
    note: String,
}

/// Whether the repository has the rows.
pub fn is_offered(house: &House) -> bool {
    house.text(ROWS).is_some()
}

/// The page, and what does not fit together.
pub fn make(house: &House) -> (String, Vec<Finding>) {
    let mut findings = Vec::new();
    let mut rows = rows(house, &mut findings);
    let clauses = clauses(house, &mut rows, &mut findings);
    for (pack, id) in rows.keys() {
        findings.push(Finding::at(ROWS, format!("{pack} has no clause {id}")));
    }
    (text(&clauses), findings)
}

/// What does not fit together, for the tidy checks.
pub fn check(house: &House) -> Vec<Finding> {
    if is_offered(house) { make(house).1 } else { Vec::new() }
}

fn rows(house: &House, findings: &mut Vec<Finding>) -> BTreeMap<(String, String), Row> {
    let mut found = BTreeMap::new();
    let table: Table = match house.text(ROWS).unwrap_or_default().parse() {
        Ok(table) => table,
        Err(error) => {
            findings.push(Finding::at(ROWS, format!("is no TOML: {error}")));
            return found;
        }
    };
    for row in table.get("clause").and_then(Value::as_array).into_iter().flatten() {
        let word = |key: &str| row.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
        let tests: Vec<String> = row
            .get("tests")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(|test| test.as_str().map(str::to_owned))
            .collect();
        let (pack, id, state, note) = (word("pack"), word("id"), word("state"), word("note"));
        let place = format!("{pack} {id}");
        if !STATES.contains(&state.as_str()) {
            findings.push(Finding::at(ROWS, format!("{place}: \"{state}\" is none of {}", STATES.join(", "))));
        }
        if state == "shown" && tests.is_empty() {
            findings.push(Finding::at(ROWS, format!("{place}: names no test that shows it")));
        }
        if state != "shown" && note.is_empty() {
            findings.push(Finding::at(ROWS, format!("{place}: does not say what is missing")));
        }
        for test in &tests {
            if !is_there(house, test) {
                findings.push(Finding::at(ROWS, format!("{place}: there is no test {test}")));
            }
        }
        if found.insert((pack, id), Row { state, tests, note }).is_some() {
            findings.push(Finding::at(ROWS, format!("{place}: stands there twice")));
        }
    }
    found
}

/// Whether a test of this name stands in its file.
fn is_there(house: &House, test: &str) -> bool {
    let Some((path, name)) = test.split_once("::") else { return false };
    let Some(text) = house.text(path) else { return false };
    let head = format!("fn {name}(");
    text.match_indices(&head).any(|(place, _)| {
        // Attributes and comments stand between the mark and the function.
        text[..place].rfind("#[test]").is_some_and(|mark| !text[mark..place].contains("fn "))
    })
}

fn clauses(house: &House, rows: &mut BTreeMap<(String, String), Row>, findings: &mut Vec<Finding>) -> Vec<Clause> {
    let mut found = Vec::new();
    for (pack, path, _, arrays) in PACKS {
        let table: Table = match house.text(path).unwrap_or_default().parse() {
            Ok(table) => table,
            Err(error) => {
                findings.push(Finding::at(path, format!("is no TOML: {error}")));
                continue;
            }
        };
        for clause in arrays.iter().filter_map(|array| table.get(*array).and_then(Value::as_array)).flatten() {
            let word = |keys: &[&str]| {
                keys.iter().find_map(|key| clause.get(*key).and_then(Value::as_str)).unwrap_or_default().to_owned()
            };
            let id = word(&["id"]);
            let row = rows.remove(&(pack.to_owned(), id.clone()));
            if row.is_none() {
                findings.push(Finding::at(ROWS, format!("has no row for {pack} {id}")));
            }
            let asks = word(&["requirement", "meaning", "adds"]);
            found.push(Clause { pack, id, asks, laboratory: word(&["laboratory"]), row });
        }
    }
    found
}

fn text(clauses: &[Clause]) -> String {
    let mut text = String::from(
        "# What the clauses ask\n\n\
         Written by `cargo xtask docs` from `docs/clauses.toml` and the packs in `reference/records/`; change it there.\n\n\
         No program makes a laboratory compliant, and this one does not claim to be certified. The page says which clauses\n\
         Darkline serves, which test shows it, what is missing, and what stays with the laboratory whatever program it uses.\n\
         The clauses stand here in our own words; read the documents themselves before you quote them.\n\n\
         *Shown*: the test does what the pack asks a program to do. *In part*: it does some of it. *Not yet*: it does not.\n\
         *Laboratory*: no program can.\n\n\
         | pack | shown | in part | not yet | laboratory |\n|---|---|---|---|---|\n",
    );
    for (pack, _, title, _) in PACKS {
        let n = |state: &str| {
            let is_so =
                |clause: &&Clause| clause.pack == pack && clause.row.as_ref().is_some_and(|row| row.state == state);
            clauses.iter().filter(is_so).count()
        };
        let _ = writeln!(text, "| {title} | {} |", STATES.map(|state| n(state).to_string()).join(" | "));
    }
    for (pack, _, title, _) in PACKS {
        let _ = writeln!(text, "\n## {title}");
        for clause in clauses.iter().filter(|clause| clause.pack == pack) {
            let _ = writeln!(text, "\n### {}\n\n{}\n", clause.id, clause.asks);
            if let Some(Row { state, tests, note }) = &clause.row {
                let note = if note.is_empty() { String::new() } else { format!(" {note}") };
                let _ = writeln!(text, "*{}.*{note}", capital(state));
                for test in tests {
                    if let Some((path, name)) = test.split_once("::") {
                        let _ = writeln!(text, "* `{name}` in [`{path}`](../../{path})");
                    }
                }
            }
            if !clause.laboratory.is_empty() {
                let _ = writeln!(text, "\nWith the laboratory: {}", lower(&clause.laboratory));
            }
        }
    }
    text
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn lower(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACK: &str = "[[clause]]\nid = \"1\"\nrequirement = \"Do it.\"\nlaboratory = \"Does it.\"\n";

    fn house(rows: &str) -> House {
        House::made_up(&[
            (ROWS, rows),
            ("reference/records/part11.toml", PACK),
            ("reference/records/annex11.toml", ""),
            ("reference/records/iso17025.toml", ""),
            ("reference/records/integrity.toml", ""),
            ("tests/a.rs", "#[test]\nfn it_is_done() {}\nfn helper() {}\n"),
        ])
    }

    fn findings(rows: &str) -> String {
        make(&house(rows)).1.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn every_clause_of_the_packs_has_its_row() {
        let good =
            "[[clause]]\npack = \"part11\"\nid = \"1\"\nstate = \"shown\"\ntests = [\"tests/a.rs::it_is_done\"]\n";
        let (page, found) = make(&house(good));
        assert!(found.is_empty());
        assert!(
            page.contains("### 1\n\nDo it.\n\n*Shown.*\n* `it_is_done` in [`tests/a.rs`](../../tests/a.rs)\n"),
            "{page}"
        );
        assert!(page.contains("With the laboratory: does it."), "{page}");
        assert!(findings("").contains("has no row for part11 1"));
        assert!(findings(&good.replace("\"1\"", "\"2\"")).contains("part11 has no clause 2"));
        assert!(findings(&good.replace("it_is_done", "helper")).contains("there is no test tests/a.rs::helper"));
        assert!(findings(&good.replace("a.rs", "b.rs")).contains("there is no test tests/b.rs::it_is_done"));
        assert!(findings(&good.replace("shown", "in part")).contains("does not say what is missing"));
        assert!(findings(&good.replace("shown", "done")).contains("\"done\" is none of"));
        assert!(findings(&format!("{good}{good}")).contains("stands there twice"));
    }
}
