//! Checks against literature: every case of the physics pack, and the tables of the handbook.

mod handbook;

use darkline_qualification::{Outcome, Verdict, shipped};

/// Runs every case of a file through this crate; gives the number of values compared.
fn check_file(file: &str) -> usize {
    let found = shipped::run(&format!("physics/{file}"), &|_, _| {});
    let mut n_compared = 0;
    for case in found.cases {
        let Outcome::Compared(comparisons) = case.outcome else { panic!("{}: {:?}", case.case, case.outcome) };
        for comparison in comparisons {
            assert_eq!(comparison.verdict, Verdict::Agrees, "{} ({}): {comparison:?}", case.case, case.source);
            n_compared += match &comparison.expected {
                darkline_qualification::Answer::List(values) => values.len(),
                _ => 1,
            };
        }
    }
    n_compared
}

#[test]
fn channels_sampled_in_turn_are_aligned_with_the_errors_the_theory_gives() {
    assert_eq!(check_file("alignment.toml"), 71);
}

#[test]
fn shapes_of_pulses_are_read_as_their_formulas_have_them() {
    assert_eq!(check_file("diagnostics.toml"), 41);
}

#[test]
fn dipped_pulses_are_restored_from_two_parameters() {
    assert_eq!(check_file("dip.toml"), 62);
}

#[test]
fn flame_readings_wait_average_and_drift_as_their_formulas_have_it() {
    assert_eq!(check_file("flame.toml"), 12);
}

#[test]
fn noise_of_areas_and_heights_is_that_of_the_closed_forms() {
    assert_eq!(check_file("noise.toml"), 90);
}

#[test]
fn pulses_have_the_values_areas_and_shapes_of_their_formulas() {
    assert_eq!(check_file("pulses.toml"), 75);
}

#[test]
fn two_ranges_of_one_firing_are_compared_and_joined() {
    assert_eq!(check_file("ranges.toml"), 31);
}

#[test]
fn absorbance_bends_by_stray_light_and_line_width_as_the_formulas_have_it() {
    assert_eq!(check_file("stray_light.toml"), 238);
}

#[test]
fn furnace_temperatures_are_read_set_and_searched_as_the_formulas_have_it() {
    assert_eq!(check_file("temperature.toml"), 72);
}
