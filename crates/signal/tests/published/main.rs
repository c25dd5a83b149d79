//! Checks against literature: every case of the physics pack, and the tables of the handbook.

mod handbook;
mod physics;

use physics::case::check_file;

#[test]
fn channels_sampled_in_turn_are_aligned_with_the_errors_the_theory_gives() {
    assert_eq!(check_file("alignment.toml", physics::alignment::compute), 71);
}

#[test]
fn shapes_of_pulses_are_read_as_their_formulas_have_them() {
    assert_eq!(check_file("diagnostics.toml", physics::diagnostics::compute), 41);
}

#[test]
fn dipped_pulses_are_restored_from_two_parameters() {
    assert_eq!(check_file("dip.toml", physics::dip::compute), 62);
}

#[test]
fn flame_readings_wait_average_and_drift_as_their_formulas_have_it() {
    assert_eq!(check_file("flame.toml", physics::flame::compute), 12);
}

#[test]
fn noise_of_areas_and_heights_is_that_of_the_closed_forms() {
    assert_eq!(check_file("noise.toml", physics::noise::compute), 90);
}

#[test]
fn pulses_have_the_values_areas_and_shapes_of_their_formulas() {
    assert_eq!(check_file("pulses.toml", physics::pulses::compute), 75);
}

#[test]
fn two_ranges_of_one_firing_are_compared_and_joined() {
    assert_eq!(check_file("ranges.toml", physics::ranges::compute), 31);
}

#[test]
fn absorbance_bends_by_stray_light_and_line_width_as_the_formulas_have_it() {
    assert_eq!(check_file("stray_light.toml", physics::stray_light::compute), 238);
}

#[test]
fn furnace_temperatures_are_read_set_and_searched_as_the_formulas_have_it() {
    assert_eq!(check_file("temperature.toml", physics::temperature::compute), 72);
}
