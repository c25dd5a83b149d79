//! Licences: each package we build on may be used under one of a short list of permissive licences.
//!
//! An expression with OR needs one licence of the list, one with AND needs each. Packages that only our tests use may
//! be under MPL-2.0 as well: nothing of them is handed on. What the build really holds lies within the list; licences
//! beyond it (LGPL, MIT-0) stand there only behind an OR. The fonts inside `typst-assets` have licences of their own
//! (SIL OFL 1.1 and the Bitstream Vera terms), which allow to hand them on; no manifest names them.

use crate::finding::Finding;
use crate::packages::Packages;

/// Licences that may be handed on.
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Licences allowed besides for what only tests use.
const ALLOWED_FOR_TESTS: &[&str] = &["MPL-2.0"];

/// Exceptions after WITH; each gives permissions and takes none.
const EXCEPTIONS: &[&str] = &["LLVM-exception"];

/// Tells packages whose licence does not allow what we do with them.
pub fn check(packages: &Packages) -> Vec<Finding> {
    let mut findings = Vec::new();
    for package in &packages.0 {
        let place = format!("{} {}", package.name, package.version);
        let Some(licence) = &package.licence else {
            findings.push(Finding::at(place, "names no licence in its manifest; use another package"));
            continue;
        };
        match is_allowed(licence, package.shipped) {
            Some(true) => {}
            Some(false) => findings.push(Finding::at(
                place,
                format!("is under {licence}; allowed are {}. Use another package", ALLOWED.join(", ")),
            )),
            None => findings.push(Finding::at(place, format!("has a licence that cannot be read: {licence}"))),
        }
    }
    findings
}

/// Whether an expression is met; `None` where it cannot be read.
fn is_allowed(expression: &str, shipped: bool) -> Option<bool> {
    // Older manifests write "MIT/Apache-2.0" for OR.
    let spaced = expression.replace('(', " ( ").replace(')', " ) ").replace('/', " OR ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut words = words.as_slice();
    let met = either(&mut words, shipped)?;
    words.is_empty().then_some(met)
}

fn either(words: &mut &[&str], shipped: bool) -> Option<bool> {
    let mut met = both(words, shipped)?;
    while let [word, rest @ ..] = *words
        && *word == "OR"
    {
        *words = rest;
        met |= both(words, shipped)?;
    }
    Some(met)
}

fn both(words: &mut &[&str], shipped: bool) -> Option<bool> {
    let mut met = one(words, shipped)?;
    while let [word, rest @ ..] = *words
        && *word == "AND"
    {
        *words = rest;
        met &= one(words, shipped)?;
    }
    Some(met)
}

fn one(words: &mut &[&str], shipped: bool) -> Option<bool> {
    let [word, rest @ ..] = *words else {
        return None;
    };
    *words = rest;
    if *word == "(" {
        let met = either(words, shipped)?;
        let [")", rest @ ..] = *words else {
            return None;
        };
        *words = rest;
        return Some(met);
    }
    if matches!(*word, ")" | "AND" | "OR" | "WITH") {
        return None;
    }
    let mut met = ALLOWED.contains(word) || (!shipped && ALLOWED_FOR_TESTS.contains(word));
    if let ["WITH", exception, rest @ ..] = *words {
        met &= EXCEPTIONS.contains(exception);
        *words = rest;
    }
    Some(met)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::packages::Package;

    #[test]
    fn the_expressions_that_occur_are_read() {
        for good in [
            "MIT",
            "MIT OR Apache-2.0",
            "MIT/Apache-2.0",
            "Apache-2.0 / MIT",
            "Apache-2.0 WITH LLVM-exception",
            "Apache-2.0 WITH LLVM-exception OR Apache-2.0 OR MIT",
            "(MIT OR Apache-2.0) AND Unicode-3.0",
            "BSD-3-Clause AND BSD-2-Clause",
            "MIT OR Apache-2.0 OR LGPL-2.1-or-later",
            "CC0-1.0 OR MIT-0 OR Apache-2.0",
        ] {
            assert_eq!(is_allowed(good, true), Some(true), "{good}");
        }
        for bad in ["GPL-3.0", "MIT AND GPL-3.0", "Apache-2.0 WITH Other-exception", "(LGPL-3.0 OR GPL-2.0) AND MIT"] {
            assert_eq!(is_allowed(bad, true), Some(false), "{bad}");
        }
        for unreadable in ["", "MIT OR", "(MIT", "MIT Apache-2.0", "AND MIT", "MIT)"] {
            assert_eq!(is_allowed(unreadable, true), None, "{unreadable}");
        }
    }

    #[test]
    fn what_only_tests_use_may_be_under_mpl() {
        assert_eq!(is_allowed("MPL-2.0", false), Some(true));
        assert_eq!(is_allowed("MPL-2.0", true), Some(false));
    }

    #[test]
    fn a_package_without_a_licence_is_told() {
        let packages = Packages(vec![Package { name: "a".into(), version: "1.0.0".into(), ..Package::default() }]);
        assert_eq!(check(&packages)[0].to_string(), "a 1.0.0: names no licence in its manifest; use another package");
    }
}
