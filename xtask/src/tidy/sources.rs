//! Sources: every file that computes names where its formulas come from, or says why it needs no source.
//!
//! The rule is about files, because a file is what can be checked honestly: each `.rs` file below `src` of the crates in
//! [`FORMULA_CRATES`] that multiplies, divides or calls a function of `libm` has a `# Source` section with a text, or a
//! line `Source: …`. A file whose arithmetic is no formula says `Source: none needed, ` and the reason, or is in
//! [`NO_FORMULA`] with it. What follows
//! `#[cfg(test)]` does not count. Whether each single formula has its source is for the reader of a change to ask.

use crate::finding::Finding;
use crate::house::House;
use crate::rust_text::RustText;

/// Crates whose files hold formulas.
const FORMULA_CRATES: &[&str] = &["metrology", "signal", "calibration", "quality", "preparation"];

/// Files whose arithmetic is no formula of anybody: (path, why). A file may as well say so itself.
const NO_FORMULA: &[(&str, &str)] = &[
    ("crates/calibration/src/least_squares/curve.rs", "one product of a factor with its transpose"),
    ("crates/metrology/src/model/explain.rs", "prints formulas, has none of its own"),
    ("crates/metrology/src/model/term.rs", "the operations between kinds, stated and not derived"),
    ("crates/signal/src/trace.rs", "counts samples to times and back"),
    ("crates/signal/src/window.rs", "counts times to samples"),
];

/// Marks of arithmetic that is more than counting; the formatter puts spaces around an operator of two sides.
const MARKS: &[&str] = &[" * ", " / ", " *= ", " /= ", "libm::", ".sqrt()"];

/// Tells files without a source.
pub fn check(house: &House) -> Vec<Finding> {
    let mut findings: Vec<Finding> = NO_FORMULA
        .iter()
        .filter(|(path, _)| house.crates().iter().any(|name| path.starts_with(&format!("crates/{name}/"))))
        .filter(|(path, _)| house.text(path).is_none())
        .map(|(path, _)| Finding::at(*path, "is excused from naming a source, but is not there; take it off the list"))
        .collect();
    for name in FORMULA_CRATES {
        let folder = format!("crates/{name}/src/");
        for (path, text) in house.texts_in(&folder, ".rs") {
            let read = RustText::read(text);
            let is_excused = NO_FORMULA.iter().any(|(known, _)| *known == path);
            if is_excused || !computes(&read) || names_a_source(&read) {
                continue;
            }
            findings.push(Finding::at(
                path,
                "names no source; add a `# Source` section to its formulas, or say `//! Source: none needed, ` and why",
            ));
        }
    }
    findings
}

/// Whether code outside tests holds arithmetic.
fn computes(read: &RustText) -> bool {
    read.code_lines().any(|(_, code)| MARKS.iter().any(|mark| format!("{code} ").contains(mark)))
}

/// Whether documentation outside tests names a source.
fn names_a_source(read: &RustText) -> bool {
    let lines: Vec<&str> = read
        .comments
        .iter()
        .filter(|piece| !read.is_test(piece.line))
        .map(|piece| piece.text.trim_start_matches(['/', '!']).trim())
        .collect();
    lines.iter().enumerate().any(|(index, line)| {
        if *line == "# Source" {
            return lines[index + 1..].iter().find(|next| !next.is_empty()).is_some_and(|next| !next.starts_with('#'));
        }
        let Some(source) = line.strip_prefix("Source:") else {
            return false;
        };
        match source.trim().strip_prefix("none needed") {
            Some(reason) => reason.strip_prefix(',').is_some_and(|reason| reason.split_whitespace().count() >= 2),
            None => !source.trim().is_empty(),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names_a_source_in(text: &str) -> bool {
        names_a_source(&RustText::read(text))
    }

    #[test]
    fn a_section_a_line_or_a_reason_will_do() {
        assert!(names_a_source_in("//! A.\n/// B.\n///\n/// # Source\n/// GUM, 5.1.2.\nfn b() {}\n"));
        assert!(names_a_source_in("//! A.\n//!\n//! Source: the method document.\n"));
        assert!(names_a_source_in("//! A.\n//!\n//! Source: none needed, types only.\n"));
    }

    #[test]
    fn an_empty_section_or_a_bare_excuse_will_not() {
        assert!(!names_a_source_in("//! A.\n/// # Source\n///\n/// # Example\nfn b() {}\n"));
        assert!(!names_a_source_in("//! Source: none needed\n"));
        assert!(!names_a_source_in("//! Source: none needed, no\n"));
        assert!(!names_a_source_in("//! Source:\n"));
        assert!(!names_a_source_in("let a = \"Source: GUM\"; use crate::source::Source;\n"));
        let only_in_tests = "//! A.\n#[cfg(test)]\nmod tests {\n    /// # Source\n    /// GUM.\n    fn a() {}\n}\n";
        assert!(!names_a_source_in(only_in_tests));
    }

    #[test]
    fn a_file_computes_when_it_multiplies_divides_or_calls_libm() {
        let computes_in = |text: &str| computes(&RustText::read(text));
        assert!(computes_in("let a = b * c;"));
        assert!(computes_in("let a = b\n    / c;"));
        assert!(computes_in("let a = long\n    *\n c;"));
        assert!(computes_in("libm::exp(a)"));
        assert!(!computes_in("let a = *b + &*c; // d * e\nlet f = \"g / h\";"));
        assert!(!computes_in("#[cfg(test)]\nmod tests { const A: f64 = 2.0 * 3.0; }"));
    }

    #[test]
    fn only_formula_crates_are_asked() {
        let computing = "//! A.\nfn a() { b * c }\n";
        let house = House::made_up(&[
            ("crates/signal/src/lib.rs", "//! A.\n"),
            ("crates/signal/src/model/line.rs", computing),
            ("crates/signal/tests/published/main.rs", computing),
            ("crates/exchange/src/csv.rs", computing),
        ]);
        let found: Vec<String> = check(&house).into_iter().map(|finding| finding.place).collect();
        assert_eq!(found, ["crates/signal/src/model/line.rs"]);
    }
}
