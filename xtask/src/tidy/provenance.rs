//! Provenance: every reference file says where its figures come from, in the five words of reference/README.md.
//!
//! A claim is the text under `provenance`, `provenance_data`, `atomic_weight_provenance` and the like, and under
//! `data` and `expected` of a `[provenance]` table; notes (`…_note`, `seen_in`, `recomputed`) are prose. A claim begins
//! with one of the five words. Where entries of one list differ, those without a claim rest on that of `[meta]`, and
//! without one there are told. Each file also names a source, under a key of its own or as title and edition of `[meta]`.

use toml::{Table, Value};

use crate::finding::Finding;
use crate::house::House;

/// The five words.
const WORDS: &[&str] = &["verified", "recomputed", "memory", "constructed", "common practice"];

/// Keys of a `[provenance]` table that are claims; its other keys explain them.
const CLAIMS_OF_A_TABLE: &[&str] = &["data", "expected"];

/// Keys under which a source is named.
const SOURCE_KEYS: &[&str] = &["source", "sources", "citation", "defined_by"];

/// Tells reference files without source or provenance, and claims in other words.
pub fn check(house: &House) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (path, text) in house.texts_in("reference/", ".toml") {
        match text.parse::<Table>() {
            Ok(table) => check_file(path, &table, &mut findings),
            Err(fault) => findings.push(Finding::at(path, format!("cannot be read as TOML: {}", fault.message()))),
        }
    }
    findings
}

fn check_file(path: &str, table: &Table, findings: &mut Vec<Finding>) {
    let pack = path.split('/').nth(1).unwrap_or_default();
    let mut claims = Vec::new();
    collect_claims(table, &mut claims);
    if claims.is_empty() {
        findings.push(Finding::at(path, format!("has no provenance; write one of: {}", WORDS.join(", "))));
    }
    for (key, claim) in claims {
        if !is_claim(pack, path, claim) {
            findings.push(Finding::at(
                path,
                format!("{key} = \"{claim}\" begins with none of the words {}", WORDS.join(", ")),
            ));
        }
    }
    if !names_a_source(&Value::Table(table.clone())) && !restates_one_publication(table) {
        findings.push(Finding::at(path, format!("names no source; write it under `{}`", SOURCE_KEYS[0])));
    }
    let rests_on_meta = table.get("meta").and_then(Value::as_table).is_some_and(has_claim);
    if !rests_on_meta {
        for (key, value) in table {
            let Some(entries) = value.as_array() else {
                continue;
            };
            let entries: Vec<&Table> = entries.iter().filter_map(Value::as_table).collect();
            if entries.iter().any(|entry| has_claim(entry)) {
                for (index, _) in entries.iter().enumerate().filter(|(_, entry)| !has_claim(entry)) {
                    let entry = index + 1;
                    findings.push(Finding::at(
                        path,
                        format!("[[{key}]] number {entry} has no provenance, and [meta] has none"),
                    ));
                }
            }
        }
    }
}

/// Whether a key holds a claim rather than a note about one.
fn is_claim_key(key: &str) -> bool {
    (key == "provenance" || key.starts_with("provenance_") || key.ends_with("_provenance")) && !key.ends_with("_note")
}

fn has_claim(table: &Table) -> bool {
    table.keys().any(|key| is_claim_key(key))
}

fn collect_claims<'a>(table: &'a Table, claims: &mut Vec<(&'a str, &'a str)>) {
    for (key, value) in table {
        match value {
            Value::String(text) if is_claim_key(key) => claims.push((key, text)),
            Value::Array(words) if is_claim_key(key) => {
                claims.extend(words.iter().filter_map(Value::as_str).map(|word| (key.as_str(), word)));
            }
            Value::Table(parts) if key == "provenance" => {
                for part in CLAIMS_OF_A_TABLE {
                    claims.extend(parts.get(*part).and_then(Value::as_str).map(|text| (*part, text)));
                }
            }
            Value::Table(inner) => collect_claims(inner, claims),
            Value::Array(entries) => {
                for entry in entries.iter().filter_map(Value::as_table) {
                    collect_claims(entry, claims);
                }
            }
            _ => {}
        }
    }
}

/// Whether a claim is in the five words, or in what a pack's README says stands for them.
fn is_claim(pack: &str, path: &str, claim: &str) -> bool {
    let claim = claim.trim();
    if WORDS.iter().any(|word| claim.starts_with(word)) {
        return true;
    }
    let names_a_word = WORDS.iter().any(|word| claim.contains(word));
    match pack {
        // `none`: the case has no data of its own.
        "calibration" => claim == "none",
        // From the definition in `source`; or digits as printed, followed by how they are known.
        "quality" => claim.starts_with("derived from definition") || (claim.contains("printed") && names_a_word),
        "handbook" => path.ends_with("/glossary.toml") && claim == "own words",
        _ => false,
    }
}

/// Whether title and edition of `[meta]` name the one publication whose clauses the file restates.
fn restates_one_publication(table: &Table) -> bool {
    let says = |key: &str| table.get("meta").and_then(|meta| meta.get(key)).is_some_and(says_something);
    says("title") && says("edition")
}

fn names_a_source(value: &Value) -> bool {
    match value {
        Value::Table(table) => table.iter().any(|(key, inner)| {
            (SOURCE_KEYS.contains(&key.as_str()) && says_something(inner)) || names_a_source(inner)
        }),
        Value::Array(entries) => entries.iter().any(names_a_source),
        _ => false,
    }
}

fn says_something(value: &Value) -> bool {
    match value {
        // What `new-published` leaves open.
        Value::String(text) => !text.trim().is_empty() && !text.contains('…'),
        Value::Array(entries) => !entries.is_empty(),
        Value::Table(table) => !table.is_empty(),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(path: &str, text: &str) -> Vec<String> {
        check(&House::made_up(&[(path, text)])).into_iter().map(|finding| finding.said).collect()
    }

    #[test]
    fn the_forms_of_the_packs_are_in_order() {
        for (path, text) in [
            (
                "reference/calibration/a.toml",
                "[source]\ncitation = \"ISO/TS 28037\"\n[provenance]\ndata = \"none\"\nexpected = \"memory\"\nseen_in = \"a copy\"\n",
            ),
            (
                "reference/uncertainty/a.toml",
                "[source]\ntext = \"GUM\"\nprovenance = [\"verified\", \"recomputed\"]\n[case]\nsource = \"GUM\"\n",
            ),
            (
                "reference/quality/cases/a.toml",
                "source = \"E 178\"\nprovenance_data = \"constructed\"\nprovenance_expected = \"printed (memory) and recomputed\"\n",
            ),
            (
                "reference/quality/cases/b.toml",
                "source = \"E 178\"\nprovenance_expected = \"derived from definition\"\n",
            ),
            (
                "reference/handbook/glossary.toml",
                "[[term]]\ndefined_by = \"VIM\"\ndefinition_provenance = \"own words\"\n",
            ),
            (
                "reference/physics/a.toml",
                "[meta]\nprovenance = \"constructed\"\n[[case]]\nsource = \"B\"\nprovenance = \"common practice\"\n[[case]]\nsource = \"C\"\n",
            ),
        ] {
            assert_eq!(told(path, text), Vec::<String>::new(), "{path}");
        }
    }

    #[test]
    fn other_words_are_told() {
        let said = told("reference/physics/a.toml", "source = \"A\"\nprovenance = \"from a book\"\n");
        assert_eq!(said.len(), 1);
        assert!(said[0].starts_with("provenance = \"from a book\" begins with none of the words"));
        assert_eq!(told("reference/physics/a.toml", "source = \"A\"\nprovenance = \"own words\"\n").len(), 1);
        assert_eq!(told("reference/physics/a.toml", "source = \"A\"\nprovenance = \"none\"\n").len(), 1);
    }

    #[test]
    fn a_file_without_source_or_provenance_is_told() {
        assert_eq!(told("reference/physics/a.toml", "a = 1\n").len(), 2);
        let clauses = "[meta]\ntitle = \"ISO 1\"\nedition = \"2017\"\nprovenance = \"verified\"\n";
        assert_eq!(told("reference/records/a.toml", clauses).len(), 0);
        assert_eq!(told("reference/records/a.toml", &clauses.replace("edition", "other")).len(), 1);
        assert_eq!(told("reference/physics/a.toml", "source = \" \"\nprovenance = \"memory\"\n").len(), 1);
    }

    #[test]
    fn an_entry_without_a_claim_needs_one_in_meta() {
        let text = "[[case]]\nsource = \"B\"\nprovenance = \"memory\"\n[[case]]\nsource = \"C\"\n";
        assert_eq!(
            told("reference/physics/a.toml", text),
            ["[[case]] number 2 has no provenance, and [meta] has none"]
        );
    }

    #[test]
    fn a_file_that_is_no_toml_is_told() {
        assert!(told("reference/physics/a.toml", "a = ")[0].starts_with("cannot be read as TOML"));
    }
}
