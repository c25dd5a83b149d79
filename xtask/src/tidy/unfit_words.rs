//! Unfit words: what may stand nowhere in the repository.
//!
//! Unfinished work, tests switched off, paths of somebody's machine, hosts that packages are fetched from, and talk
//! about how a text came about instead of what it says. Each word is written in two parts here, so that this list does
//! not find itself. `Cargo.lock` names its registry by its nature and is checked by `lock_file`.

use crate::finding::Finding;
use crate::house::House;
use crate::phrase::Phrase;

/// Words found as written, and what to do instead.
const AS_WRITTEN: &[(&str, &str)] = &[
    (concat!("to", "do!"), "finish it, or leave it out and say so"),
    (concat!("unimple", "mented!"), "finish it, or leave it out and say so"),
    (concat!("db", "g!"), "take it out"),
    (concat!("FIX", "ME"), "mend it now"),
    (concat!("TO", "DO"), "do it now, or leave it out and say so"),
    (concat!("X", "XX"), "do it now, or leave it out and say so"),
    (concat!("#[ign", "ore"), "a test is run or it is not there"),
    (concat!("A", "I"), "say what the text says, not how it came about"),
    (concat!("LL", "M"), "say what the text says, not how it came about"),
];

/// Words found in any mix of capitals and small letters; written in small ones.
const ANY_CASE: &[(&str, &str)] = &[
    (concat!("assis", "tant"), "say what the text says, not how it came about"),
    (concat!("chat", "bot"), "say what the text says, not how it came about"),
    (concat!("chat", "gpt"), "say what the text says, not how it came about"),
    (concat!("clau", "de"), "say what the text says, not how it came about"),
    (concat!("anth", "ropic"), "say what the text says, not how it came about"),
    (concat!("open", "ai"), "say what the text says, not how it came about"),
    (concat!("co", "pilot"), "say what the text says, not how it came about"),
    (concat!("language ", "model"), "say what the text says, not how it came about"),
    (concat!("sub", "agent"), "say what the text says, not how it came about"),
    (concat!("sub-", "agent"), "say what the text says, not how it came about"),
    (concat!("this ", "session"), "say what the text says, not how it came about"),
    (concat!("previous ", "session"), "say what the text says, not how it came about"),
    (concat!("earlier ", "session"), "say what the text says, not how it came about"),
    (concat!("next ", "session"), "say what the text says, not how it came about"),
    (concat!("seed ", "document"), "name the document a reader can open"),
    (concat!("co-authored", "-by"), "a change has one author"),
    (concat!("crates", ".io"), "name the package; where it is fetched is the reader's setting"),
    (concat!("pypi", ".org"), "name the package; where it is fetched is the reader's setting"),
    (concat!("python", "hosted.org"), "name the package; where it is fetched is the reader's setting"),
    (concat!("npm", "js.org"), "name the package; where it is fetched is the reader's setting"),
    (concat!("npm", "js.com"), "name the package; where it is fetched is the reader's setting"),
    (concat!("deb.", "debian.org"), "name the package; where it is fetched is the reader's setting"),
    (concat!("proxy.", "golang.org"), "name the package; where it is fetched is the reader's setting"),
];

/// Folders of a machine, looked for where a path begins.
const FOLDERS_OF_A_MACHINE: &[&str] =
    &[concat!("/wo", "rk"), concat!("/ro", "ot"), concat!("/ho", "me"), concat!("/Us", "ers"), concat!("/tm", "p")];

/// Tells each line that holds one of the words.
pub fn check(house: &House) -> Vec<Finding> {
    let as_phrases = |words: &[(&str, &'static str)]| -> Vec<(Phrase, &'static str)> {
        words.iter().map(|(words, instead)| (Phrase::as_written(*words), *instead)).collect()
    };
    let (as_written, any_case) = (as_phrases(AS_WRITTEN), as_phrases(ANY_CASE));
    let mut findings = Vec::new();
    for (path, text) in house.texts().filter(|(path, _)| *path != "Cargo.lock") {
        // Lowered once for all words, and looked through whole before line by line: most files hold none of them.
        let lowered = text.to_lowercase();
        let looked_for =
            as_written.iter().map(|word| (word, text)).chain(any_case.iter().map(|word| (word, lowered.as_str())));
        for ((phrase, instead), text) in looked_for {
            if phrase.stands_in(text) {
                let said = format!("\"{}\": {instead}", phrase.words());
                findings.extend(phrase.lines_in(text).map(|line| Finding::on(path, line, &said)));
            }
        }
        for folder in FOLDERS_OF_A_MACHINE.iter().filter(|folder| text.contains(**folder)) {
            for (index, _) in text.lines().enumerate().filter(|(_, line)| begins_a_path(line, folder)) {
                let said = format!("\"{folder}\": name a place every reader has, or make a folder for the purpose");
                findings.push(Finding::on(path, index + 1, said));
            }
        }
    }
    findings
}

/// Whether a line holds an absolute path in a folder of a machine; `host/work` and `/worklist` are none.
fn begins_a_path(line: &str, folder: &str) -> bool {
    line.match_indices(folder).any(|(place, _)| {
        let before = line[..place].chars().next_back();
        let after = line[place + folder.len()..].chars().next();
        let is_inside = |character: char| character.is_alphanumeric() || "._-/~)}]>*".contains(character);
        !before.is_some_and(is_inside)
            && !after.is_some_and(|character| character.is_alphanumeric() || "_-".contains(character))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> usize {
        check(&House::made_up(&[("docs/a.md", text)])).len()
    }

    #[test]
    fn every_word_of_the_list_is_found_with_its_line() {
        for (word, _) in AS_WRITTEN.iter().chain(ANY_CASE) {
            let text = format!("first\nsecond {word} here\n");
            let findings = check(&House::made_up(&[("docs/a.md", &text)]));
            assert!(!findings.is_empty(), "{word}");
            assert_eq!(findings[0].line, Some(2), "{word}");
        }
    }

    #[test]
    fn ordinary_words_are_left_alone() {
        for good in [
            "the session token is renewed at sign-in",
            "the user is asked for a password by prompt",
            "Apache-2.0 WITH LLVM-exception",
            "a releasing agent",
            "AISI 316",
            "the methods of a document",
        ] {
            assert_eq!(told(good), 0, "{good}");
        }
    }

    #[test]
    fn a_path_of_a_machine_is_told_only_where_a_path_begins() {
        let work = FOLDERS_OF_A_MACHINE[0];
        for bad in [format!("{work}/main"), format!("see {work}"), format!("\"{work}/a\""), format!("({work})")] {
            assert_eq!(told(&bad), 1, "{bad}");
        }
        for good in [
            format!("{work}list.csv"),
            format!("https://example.org{work}/a"),
            format!("orders{work}/a"),
            format!("..{work}"),
        ] {
            assert_eq!(told(&good), 0, "{good}");
        }
    }

    #[test]
    fn the_lock_file_may_name_its_registry() {
        let text = ANY_CASE.iter().find(|(word, _)| word.starts_with("crates")).unwrap().0;
        assert_eq!(check(&House::made_up(&[("Cargo.lock", text)])), []);
    }
}
