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
pub mod part_above_whole;
pub mod portion_outlier;
pub mod portion_too_small;
pub mod portions_differ;
pub mod printed_response_differs;
pub mod pulse_beyond_roll_over;
pub mod pulse_doubled;
pub mod pulse_late;
pub mod ranges_disagree;
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

use darkline_record::limits::Limits;
use darkline_record::method::Technique;

use crate::rule::Rule;

/// The rules of the first procedure.
pub const FIRST: &[Rule] = &[
    reading_unusable::RULE,
    trace_incomplete::RULE,
    printed_response_differs::RULE,
    reading_unsteady::RULE,
    reading_noisy::RULE,
    pulse_late::RULE,
    pulse_doubled::RULE,
    pulse_beyond_roll_over::RULE,
    ranges_disagree::RULE,
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
    part_above_whole::RULE,
    holding_time_exceeded::RULE,
];

/// The rules that keep silent because the method states no limit for them, each with the keys it would need.
///
/// # Example
/// ```
/// use darkline_record::limits::Limits;
/// use darkline_record::method::Technique;
/// let silent = darkline_quality::rules::silent_without(&Limits::default(), Technique::Furnace);
/// assert!(silent.contains(&("background-too-high", "highest_background")));
/// ```
pub fn silent_without(limits: &Limits, technique: Technique) -> Vec<(&'static str, &'static str)> {
    let (of_furnace, of_flame) = (technique == Technique::Furnace, technique == Technique::Flame);
    let missing = [
        (limits.sensitivity_window.is_none(), sensitivity_off::RULE.name, "sensitivity_window"),
        (limits.least_levels.is_none(), levels_too_few::RULE.name, "least_levels"),
        (limits.back_calculated.is_none(), standard_off_curve::RULE.name, "back_calculated"),
        (limits.lack_of_fit.is_none(), calibration_lacks_fit::RULE.name, "lack_of_fit"),
        (of_furnace && limits.highest_background.is_none(), background_too_high::RULE.name, "highest_background"),
        (of_furnace && limits.deepest_dip.is_none(), over_correction::RULE.name, "deepest_dip"),
        (of_furnace && limits.highest_peak_shift.is_none(), pulse_late::RULE.name, "highest_peak_shift"),
        (of_furnace && limits.highest_second_hump.is_none(), pulse_doubled::RULE.name, "highest_second_hump"),
        (of_flame && limits.highest_reading_slope.is_none(), reading_unsteady::RULE.name, "highest_reading_slope"),
        (limits.highest_noise.is_none(), reading_noisy::RULE.name, "highest_noise"),
        (limits.highest_drift.is_none(), sensitivity_drifts::RULE.name, "highest_drift"),
        (limits.batch_controls.is_empty(), batch_control_missing::RULE.name, "batch_controls"),
        (limits.highest_duplicate_difference.is_none(), duplicates_differ::RULE.name, "highest_duplicate_difference"),
        (limits.spike_lowest.is_none(), spike_outside_limits::RULE.name, "spike_lowest, spike_highest"),
        (limits.highest_dilution_difference.is_none(), dilution_disagrees::RULE.name, "highest_dilution_difference"),
        (limits.history.is_empty(), control_out_of_chart::RULE.name, "history"),
        (limits.least_portion.is_none(), portion_too_small::RULE.name, "least_portion"),
        (
            limits.highest_inhomogeneity.is_none() && limits.highest_mass_ratio.is_none(),
            portions_differ::RULE.name,
            "highest_inhomogeneity, highest_mass_ratio",
        ),
        (limits.longest_holding.is_none(), holding_time_exceeded::RULE.name, "longest_holding"),
    ];
    missing.into_iter().filter(|(is_missing, ..)| *is_missing).map(|(_, rule, keys)| (rule, keys)).collect()
}

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
