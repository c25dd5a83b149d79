//! Naming: one term, one word. The words that the glossary avoids stand in no document, message or identifier.
//!
//! The list is read from `reference/handbook/glossary.toml`: `avoid` of each term, and `spelling` of `[meta]` ("vapour
//! not vapor"). A word that the glossary itself takes for another term is left alone. Some avoided words are ordinary
//! words too; those are looked for in identifiers only. Reference files quote their sources and are not looked at, nor
//! are tests and comments, which quote them too.

use toml::{Table, Value};

use crate::finding::Finding;
use crate::house::House;
use crate::phrase::Phrase;
use crate::rust_text::RustText;

const GLOSSARY: &str = "reference/handbook/glossary.toml";

/// Avoided as identifiers, ordinary words in a sentence.
const ORDINARY_WORDS: &[(&str, &str)] = &[
    ("slit", "the slit itself, a part of the monochromator"),
    ("ash", "the ash of a food or a coal, a property of the sample"),
];

/// Avoided words that are taken otherwise in Rust.
const WORDS_OF_RUST: &[&str] = &["char"];

/// Keys of published cases, which are data and keep their spelling where the crate that reads them names them.
const KEYS_OF_CASES: &[&str] = &["max_LOD_mg_kg", "LOD_ug_kg"];

/// Where they are read.
const READS_CASES: &str = "crates/qualification/src/";

/// Tells avoided words.
pub fn check(house: &House) -> Vec<Finding> {
    let Some(text) = house.text(GLOSSARY) else {
        return vec![Finding::at(GLOSSARY, "is missing; the glossary is the authority for names")];
    };
    let avoided = match text.parse::<Table>() {
        Ok(glossary) => avoided(&glossary),
        Err(fault) => {
            return vec![Finding::at(GLOSSARY, format!("cannot be read as TOML: {}", fault.message()))];
        }
    };
    let mut findings = Vec::new();
    for (path, text) in house.texts().filter(|(path, _)| path.ends_with(".md") && !path.starts_with("reference/")) {
        for word in avoided.iter().filter(|word| !word.only_as_identifier) {
            findings.extend(word.phrase.lines_in(text).map(|line| word.finding(path, line)));
        }
    }
    for (path, text) in house.texts_in("crates/", ".rs").filter(|(path, _)| path.contains("/src/")) {
        let read = RustText::read(text);
        for piece in read.spoken() {
            let words = avoided.iter().filter(|word| !word.only_as_identifier);
            if path.starts_with(READS_CASES) && KEYS_OF_CASES.contains(&piece.text.as_str()) {
                continue;
            }
            let spoken = words.filter(|word| word.phrase.stands_in(&piece.text));
            findings.extend(spoken.map(|word| word.finding(path, piece.line)));
        }
        for (line, code) in read.code_lines() {
            let names = names(code);
            let named = avoided.iter().filter(|word| word.is_in_one_of(&names));
            findings.extend(named.map(|word| word.finding(path, line)));
        }
    }
    findings
}

struct Avoided {
    phrase: Phrase,
    identifier: String,
    instead: String,
    only_as_identifier: bool,
}

impl Avoided {
    fn finding(&self, path: &str, line: usize) -> Finding {
        Finding::on(path, line, format!("\"{}\": the glossary says {}", self.phrase.words(), self.instead))
    }

    /// Whether one of the names holds the word: `slit_width` holds `slit`.
    fn is_in_one_of(&self, names: &[String]) -> bool {
        !WORDS_OF_RUST.contains(&self.identifier.as_str())
            && names.iter().any(|name| name.contains(&format!("_{}_", self.identifier)))
    }
}

/// The names in a line of code in one form: `SlitWidth` and `SLIT_WIDTH` are `_slit_width_`.
fn names(code: &str) -> Vec<String> {
    code.split(|character: char| !character.is_alphanumeric() && character != '_')
        .filter(|name| !name.is_empty())
        .map(|name| format!("_{}_", snake_case(name)))
        .collect()
}

fn avoided(glossary: &Table) -> Vec<Avoided> {
    let terms: Vec<&Table> =
        glossary.get("term").and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_table).collect();
    let text_of = |term: &Table, key: &str| term.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
    let is_a_term =
        |word: &str| terms.iter().any(|term| text_of(term, "term") == word || text_of(term, "identifier") == word);
    let mut pairs: Vec<(String, String)> = Vec::new();
    for term in &terms {
        for word in term.get("avoid").and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_str) {
            pairs.push((word.to_owned(), text_of(term, "term")));
        }
    }
    let spelling = glossary.get("meta").and_then(|meta| meta.get("spelling")?.as_array());
    for line in spelling.into_iter().flatten().filter_map(Value::as_str) {
        if let Some((right, wrong)) = line.split_once(" not ") {
            pairs.push((wrong.to_owned(), right.to_owned()));
        }
    }
    pairs.dedup();
    pairs
        .into_iter()
        .filter(|(word, _)| !is_a_term(word))
        .map(|(word, instead)| Avoided {
            // An abbreviation is avoided as such; "lod" in small letters may be a column of a file.
            phrase: if word.chars().all(char::is_uppercase) {
                Phrase::as_written(&word)
            } else {
                Phrase::any_case(&word)
            },
            identifier: word.to_lowercase().replace(' ', "_"),
            only_as_identifier: WORDS_OF_RUST.contains(&word.as_str())
                || ORDINARY_WORDS.iter().any(|(known, _)| *known == word),
            instead,
        })
        .collect()
}

/// Small letters, words joined by underscores.
fn snake_case(name: &str) -> String {
    let mut out = String::new();
    let mut before = '_';
    for character in name.chars() {
        if character.is_uppercase() && before.is_lowercase() {
            out.push('_');
        }
        out.extend(character.to_lowercase());
        before = character;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: [usize; 0] = [];

    const WORDS: &str = "[meta]\nspelling = [\"vapour not vapor\"]\n\
        [[term]]\nterm = \"atomiser\"\nidentifier = \"atomiser\"\navoid = [\"atomizer\"]\n\
        [[term]]\nterm = \"spectral bandpass\"\nidentifier = \"spectral_bandpass\"\navoid = [\"slit\"]\n\
        [[term]]\nterm = \"pyrolysis\"\nidentifier = \"pyrolysis\"\navoid = [\"char\"]\n\
        [[term]]\nterm = \"detection limit\"\nidentifier = \"detection_limit\"\navoid = [\"LOD\"]\n\
        [[term]]\nterm = \"characteristic mass\"\nidentifier = \"characteristic_mass\"\navoid = [\"sensitivity\"]\n\
        [[term]]\nterm = \"sensitivity\"\nidentifier = \"sensitivity\"\n";

    fn told(path: &str, text: &str) -> Vec<usize> {
        check(&House::made_up(&[(GLOSSARY, WORDS), (path, text)]))
            .into_iter()
            .filter_map(|finding| finding.line)
            .collect()
    }

    #[test]
    fn an_avoided_word_in_a_document_is_told() {
        assert_eq!(told("docs/a.md", "The atomizer.\nThe vapor.\nThe LOD.\nThe atomiser; lod.\n"), [1, 3, 2]);
    }

    #[test]
    fn ordinary_words_and_other_terms_are_left_alone_in_sentences() {
        assert_eq!(told("docs/a.md", "Through the slit. To char. The sensitivity.\n"), NONE);
    }

    #[test]
    fn names_and_messages_are_looked_at_but_tests_and_comments_are_not() {
        let path = "crates/signal/src/a.rs";
        assert_eq!(told(path, "let slit_width = 1;\nstruct SlitWidth;\nlet character: char = b;\n"), [1, 2]);
        assert_eq!(told(path, "let a = \"the atomizer\";\n// the atomizer\nlet sensitivity = 1;\n"), [1]);
        assert_eq!(told(path, "#[cfg(test)]\nmod tests { let atomizer = \"atomizer\"; }\n"), NONE);
        assert_eq!(told("crates/signal/tests/a/main.rs", "let atomizer = 1;\n"), NONE);
    }

    #[test]
    fn the_glossary_must_be_there() {
        assert_eq!(check(&House::made_up(&[])).len(), 1);
    }
}
