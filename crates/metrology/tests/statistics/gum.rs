//! JCGM 100:2008 (GUM): Type A and Type B evaluation, analysis of variance, rounding.

use crate::held::hold;

/// GUM 4.4.3 and Table 1, from memory: twenty temperature readings.
#[test]
fn gum_4_4_3_type_a_of_twenty_readings() {
    hold("uncertainty/gum-4-4-3-type-a.toml");
}

/// GUM 4.3.3 to 4.4.6 and H.1.3.4, from memory: what certificates state.
#[test]
fn gum_4_3_type_b_from_stated_limits() {
    hold("uncertainty/gum-4-3-type-b.toml");
}

/// GUM 7.2.6, from memory: the estimate to the place of its uncertainty, 10.47 up and 28.05 down.
#[test]
fn gum_7_2_6_rounding_of_uncertainty_and_estimate() {
    hold("uncertainty/gum-7-2-6-rounding.toml");
}

/// GUM H.5.2 and Table H.9, from memory: ten days of five readings, given as daily means and standard deviations.
#[test]
fn gum_h_5_between_and_within_days() {
    hold("uncertainty/gum-h5-anova.toml");
}
