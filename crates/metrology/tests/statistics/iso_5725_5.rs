//! ISO 5725-5 and ISO 13528: Algorithm A for means, Algorithm S for ranges and standard deviations.

use crate::held::hold;

/// ISO 5725-5, creosote, level 5: cell means of nine laboratories.
#[test]
fn iso_5725_5_creosote_algorithm_a() {
    hold("quality/cases/robust-iso5725-algorithm-a.toml");
}

/// ASTM E2489, one-sample programme of 30 laboratories, by Algorithm A.
#[test]
fn astm_e2489_thirty_laboratories_algorithm_a() {
    hold("quality/cases/robust-e2489.toml");
}

/// ISO 5725-5, creosote, level 5: ranges of duplicates.
#[test]
fn iso_5725_5_creosote_algorithm_s() {
    hold("quality/cases/robust-iso5725-algorithm-s.toml");
}

/// ISO 5725-5 and ISO 13528, Algorithm S on standard deviations of triplicates (constructed).
#[test]
fn iso_13528_algorithm_s_on_standard_deviations() {
    hold("quality/cases/robust-algorithm-s-sd.toml");
}
