//! Error words: what the program says blames nobody and begs nobody.
//!
//! Looked for in the string literals of the crates outside tests.

use crate::finding::Finding;
use crate::house::House;
use crate::phrase::Phrase;
use crate::rust_text::RustText;

/// Words that a message may not hold.
const WORDS: &[&str] = &["illegal", "invalid", "oops", "please"];

/// Files that hold such words because somebody else said them, and put them into ours: (file, what for).
const REWORDING: &[(&str, &str)] = &[
    ("crates/exchange/src/document/syntax.rs", "the beginnings of the TOML parser's messages"),
    ("crates/qualification/src/records.rs", "what a published case expects of a bag"),
];

/// Tells literals that hold one of the words.
pub fn check(house: &House) -> Vec<Finding> {
    let words: Vec<Phrase> = WORDS.iter().map(|word| Phrase::any_case(*word)).collect();
    let mut findings = Vec::new();
    let is_asked = |path: &str| path.contains("/src/") && !REWORDING.iter().any(|(known, _)| *known == path);
    for (path, text) in house.texts_in("crates/", ".rs").filter(|(path, _)| is_asked(path)) {
        for piece in RustText::read(text).spoken() {
            for word in words.iter().filter(|word| word.stands_in(&piece.text)) {
                let said = format!("\"{}\": say what is the matter and what to write instead", word.words());
                findings.push(Finding::on(path, piece.line, said));
            }
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(path: &str, text: &str) -> Vec<Option<usize>> {
        check(&House::made_up(&[(path, text)])).into_iter().map(|finding| finding.line).collect()
    }

    #[test]
    fn a_message_that_blames_is_told() {
        let text = "//! A.\n#[error(\"Invalid volume\")]\n// invalid in a comment\nlet a = \"invalidated\";\n";
        assert_eq!(told("crates/exchange/src/a.rs", text), [Some(2)]);
    }

    #[test]
    fn tests_may_quote_and_others_may_be_reworded() {
        let text = "let a = b.replace(\"invalid \", \"\");\n#[cfg(test)]\nmod tests { const A: &str = \"please\"; }\n";
        assert_eq!(told("crates/exchange/src/a.rs", text), [Some(1)]);
        assert_eq!(told(REWORDING[0].0, text), []);
        assert_eq!(told("crates/exchange/tests/a/main.rs", text), []);
    }
}
