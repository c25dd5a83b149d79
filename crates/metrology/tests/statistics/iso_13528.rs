//! ISO 13528:2015 and ISO/IEC 17043:2010: scores of proficiency tests.

use darkline_metrology::proficiency::assigned_value_is_certain_enough;

use crate::held::hold;

/// ISO 13528:2015, 9.4 to 9.7; ISO/IEC 17043:2010, B.3.1.3: one result by every score (constructed).
#[test]
fn iso_13528_one_result_by_every_score() {
    hold("uncertainty/score-all-kinds.toml");
    assert!(assigned_value_is_certain_enough(0.6, 2.6));
}

/// ISO 13528:2015, 9.4, on the published scores of the gear data (NIST/SEMATECH).
#[test]
fn iso_13528_z_scores_of_gear_diameters() {
    hold("uncertainty/score-z-nist.toml");
}
