//! Claimed references: every reference file is read by something, a test or the program.
//!
//! A TOML file counts as read when a string in the Rust files names it (`"calibration/eiv-iso28037.toml"`,
//! `"eiv-iso28037"`), or when its folder is in [`READ_WHOLE`]. A table of numbers (`.csv`) counts when a TOML file of
//! the same pack names it. Whether each case of a file is claimed is for its runner to count.

use std::collections::BTreeSet;

use crate::finding::Finding;
use crate::house::House;
use crate::rust_text::RustText;

/// Folders whose files are read by going through the folder: (folder, the file that does it).
const READ_WHOLE: &[(&str, &str)] = &[
    ("reference/calibration", "crates/qualification/build.rs"),
    ("reference/limits", "crates/qualification/build.rs"),
    ("reference/physics", "crates/qualification/build.rs"),
    ("reference/quality/cases", "crates/qualification/build.rs"),
    ("reference/records", "crates/qualification/build.rs"),
    ("reference/uncertainty", "crates/qualification/build.rs"),
];

/// Tells reference files that nothing reads.
pub fn check(house: &House) -> Vec<Finding> {
    check_with(house, READ_WHOLE)
}

fn check_with(house: &House, read_whole: &[(&str, &str)]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let in_crates = house.texts_in("crates/", ".rs").flat_map(|(_, text)| RustText::read(text).literals);
    // Tests of xtask name files that do not exist.
    let in_xtask = house
        .texts_in("xtask/", ".rs")
        .flat_map(|(_, text)| RustText::read(text).spoken().cloned().collect::<Vec<_>>());
    let literals: BTreeSet<String> = in_crates.chain(in_xtask).map(|piece| piece.text).collect();
    for (folder, reader) in read_whole {
        if house.text(reader).is_none() {
            findings.push(Finding::at(*reader, format!("is said to read {folder}, but is not there")));
        }
    }
    for (path, _) in house.texts_in("reference/", "") {
        let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
        let is_claimed = match name.rsplit_once('.') {
            Some((stem, "toml")) => {
                read_whole.iter().any(|(whole, _)| *whole == folder)
                    || literals.iter().any(|text| names(text, stem, name))
            }
            Some((_, "csv")) => is_named_by_its_pack(house, path, name),
            _ => true,
        };
        if !is_claimed {
            findings.push(Finding::at(path, "is read by no test; write one that names it, or leave the file out"));
        }
    }
    findings
}

/// Whether a string names a file: by its stem alone, by a path that ends so, or by its full name anywhere.
fn names(text: &str, stem: &str, name: &str) -> bool {
    let last = text.rsplit('/').next().unwrap_or(text);
    last == stem || last == name || text.split(['/', ' ', '"', '\\', ',', ';', '(', ')']).any(|part| part == name)
}

fn is_named_by_its_pack(house: &House, path: &str, name: &str) -> bool {
    let pack: String = path.split_inclusive('/').take(2).collect();
    house.texts_in(&pack, ".toml").any(|(_, text)| text.contains(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unclaimed(code: &str, read_whole: &[(&str, &str)]) -> Vec<String> {
        let house = House::made_up(&[
            ("reference/README.md", ""),
            ("reference/calibration/line.toml", "file = \"data/line.csv\""),
            ("reference/calibration/data/line.csv", "x,y"),
            ("reference/calibration/data/lost.csv", "x,y"),
            ("crates/calibration/tests/published/main.rs", code),
        ]);
        check_with(&house, read_whole).into_iter().map(|finding| finding.place).collect()
    }

    #[test]
    fn a_file_is_claimed_by_its_name_or_its_stem() {
        for code in [
            "published(\"calibration/line.toml\")",
            "published(\"calibration\", \"line\")",
            "include_str!(\"../../../../reference/calibration/line.toml\")",
            "const SOURCE: &str = \"reference/calibration/line.toml, case 3\";",
        ] {
            assert_eq!(unclaimed(code, &[]), ["reference/calibration/data/lost.csv"], "{code}");
        }
    }

    #[test]
    fn a_comment_or_a_longer_name_claims_nothing() {
        for code in ["// line.toml", "published(\"outline\")", "published(\"outline.toml\")", "let line = 1;"] {
            assert!(unclaimed(code, &[]).contains(&"reference/calibration/line.toml".to_owned()), "{code}");
        }
    }

    #[test]
    fn a_folder_read_whole_claims_its_files_while_its_reader_is_there() {
        let reader = "crates/calibration/tests/published/main.rs";
        assert_eq!(unclaimed("", &[("reference/calibration", reader)]), ["reference/calibration/data/lost.csv"]);
        assert_eq!(unclaimed("", &[("reference/calibration", "gone.rs")])[0], "gone.rs");
    }
}
