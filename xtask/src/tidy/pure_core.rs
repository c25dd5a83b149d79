//! The pure core: floors 0 to 3 have no clock, no files, no surroundings and no map without an order.
//!
//! Clippy keeps std's transcendentals out; what it does not see is looked for here, in code outside tests.

use super::floors::{FLOORS, HIGHEST_PURE_FLOOR};
use crate::finding::Finding;
use crate::house::House;
use crate::phrase::Phrase;
use crate::rust_text::RustText;

/// What is looked for, and what to take instead.
const KEPT_OUT: &[(&str, &str)] = &[
    ("HashMap", "its order changes from run to run; take a BTreeMap"),
    ("HashSet", "its order changes from run to run; take a BTreeSet"),
    ("SystemTime", "the core has no clock; take the time as an argument"),
    ("Instant", "the core has no clock; measure in a benchmark"),
    ("::now(", "the core has no clock; take the time as an argument"),
    ("std::fs", "the core has no files; take the content as an argument"),
    ("std::env", "the core has no surroundings; take the value as an argument"),
    ("std::net", "the core has no network"),
    ("getrandom", "draws of the core are keyed by source and counted"),
];

/// Tells what the pure floors may not use.
pub fn check(house: &House) -> Vec<Finding> {
    let kept_out: Vec<(Phrase, &str)> =
        KEPT_OUT.iter().map(|(word, instead)| (Phrase::as_written(*word), *instead)).collect();
    let mut findings = Vec::new();
    for (name, _) in FLOORS.iter().filter(|(_, floor)| *floor <= HIGHEST_PURE_FLOOR) {
        let folder = format!("crates/{name}/src/");
        for (path, text) in house.texts_in(&folder, ".rs") {
            for (line, code) in RustText::read(text).code_lines() {
                for (phrase, instead) in &kept_out {
                    if phrase.stands_in(code) {
                        findings.push(Finding::on(path, line, format!("{}: {instead}", phrase.words())));
                    }
                }
            }
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_or_a_hash_map_in_the_core_is_told_but_not_in_its_tests_or_above() {
        let bad =
            "//! A.\n// HashMap is not used.\nlet a = Instant::now();\n#[cfg(test)]\nmod tests { use HashMap; }\n";
        let house = House::made_up(&[("crates/signal/src/a.rs", bad), ("crates/exchange/src/a.rs", bad)]);
        let found: Vec<String> = check(&house).iter().map(Finding::to_string).collect();
        assert_eq!(
            found,
            [
                "crates/signal/src/a.rs:3: Instant: the core has no clock; measure in a benchmark",
                "crates/signal/src/a.rs:3: ::now(: the core has no clock; take the time as an argument",
            ]
        );
    }
}
