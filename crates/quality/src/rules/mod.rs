//! All rules, one a file, in the order a run meets them.

pub mod blank_above_limit;
pub mod calibration_unusable;
pub mod check_outside_limits;
pub mod method_blank_missing;
pub mod over_range;
pub mod reading_unusable;
pub mod replicate_missing;
pub mod replicate_outlier;

use crate::rule::Rule;

/// The rules of the first procedure.
pub const FIRST: &[Rule] = &[
    reading_unusable::RULE,
    replicate_outlier::RULE,
    replicate_missing::RULE,
    calibration_unusable::RULE,
    over_range::RULE,
    method_blank_missing::RULE,
    blank_above_limit::RULE,
    check_outside_limits::RULE,
];

/// The rule with this name, for saying what a flag means.
pub fn named(name: &str) -> Option<&'static Rule> {
    FIRST.iter().find(|rule| rule.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_rule_has_a_name_of_its_own_and_a_source() {
        let names: BTreeSet<_> = FIRST.iter().map(|rule| rule.name).collect();
        assert_eq!(names.len(), FIRST.len());
        for rule in FIRST {
            assert!(rule.name.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", rule.name);
            assert!(!rule.source.is_empty(), "{}", rule.name);
        }
    }
}
