//! All rules, one a file, in the order a run meets them.

pub mod amount_not_read;
pub mod background_too_high;
pub mod batch_control_missing;
pub mod blank_above_limit;
pub mod blank_drifts;
pub mod bracket_open;
pub mod calibration_bends;
pub mod calibration_lacks_fit;
pub mod calibration_unusable;
pub mod carry_over;
pub mod check_outside_limits;
pub mod control_out_of_chart;
pub mod dilution_disagrees;
pub mod duplicates_differ;
pub mod holding_time_exceeded;
pub mod levels_too_few;
pub mod method_blank_missing;
pub mod over_correction;
pub mod over_range;
pub mod portion_outlier;
pub mod portion_too_small;
pub mod portions_differ;
pub mod pulse_doubled;
pub mod pulse_late;
pub mod reading_noisy;
pub mod reading_unsteady;
pub mod reading_unusable;
pub mod replicate_missing;
pub mod replicate_outlier;
pub mod sensitivity_drifts;
pub mod sensitivity_off;
pub mod spike_outside_limits;
pub mod standard_off_curve;
pub mod trace_incomplete;

use crate::rule::Rule;

/// The rules of the first procedure.
pub const FIRST: &[Rule] = &[
    reading_unusable::RULE,
    trace_incomplete::RULE,
    reading_unsteady::RULE,
    reading_noisy::RULE,
    pulse_late::RULE,
    pulse_doubled::RULE,
    background_too_high::RULE,
    over_correction::RULE,
    replicate_outlier::RULE,
    portion_outlier::RULE,
    replicate_missing::RULE,
    carry_over::RULE,
    calibration_unusable::RULE,
    sensitivity_off::RULE,
    levels_too_few::RULE,
    standard_off_curve::RULE,
    calibration_lacks_fit::RULE,
    calibration_bends::RULE,
    amount_not_read::RULE,
    over_range::RULE,
    method_blank_missing::RULE,
    batch_control_missing::RULE,
    blank_above_limit::RULE,
    check_outside_limits::RULE,
    bracket_open::RULE,
    sensitivity_drifts::RULE,
    blank_drifts::RULE,
    duplicates_differ::RULE,
    spike_outside_limits::RULE,
    dilution_disagrees::RULE,
    control_out_of_chart::RULE,
    portion_too_small::RULE,
    portions_differ::RULE,
    holding_time_exceeded::RULE,
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
