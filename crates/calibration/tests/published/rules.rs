//! The rules of the pack that are constants of the library: each stands here as it stands there.
//!
//! Source: `reference/calibration/rules-calibration.toml`, where each rule names its own.

use darkline_calibration::limits::method_detection_limit::{self as mdl, existing_stands};
use darkline_calibration::limits::{Asked, currie};
use darkline_calibration::variance_homogeneity::ratio;
use darkline_calibration::{choice, fieller, point_to_point, standard_additions};
use darkline_metrology::kind::{Kind, MassConcentration, Response};

use crate::folder;

/// A figure of a rule.
fn figure(rule: &str, key: &str) -> f64 {
    let text = std::fs::read_to_string(folder().join("rules-calibration.toml")).unwrap();
    let table: toml::Table = text.parse().unwrap();
    let rules = table["rules"].as_array().unwrap();
    let rule = rules.iter().find(|found| found["name"].as_str() == Some(rule)).unwrap_or_else(|| panic!("{rule}"));
    let value = &rule[key];
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap_or_else(|| panic!("{key}"))
}

#[test]
fn constants_of_the_library_are_those_of_the_rules() {
    assert_eq!(point_to_point::TOLERANCE, figure("mandel-test-weakness", "tolerance_fraction_of_median"));
    assert_eq!(fieller::SYMMETRIC_UP_TO, figure("symmetric-limits-valid-if-g-small", "g_limit"));
    assert_eq!(Asked::DIN_32645.alpha, figure("din32645-defaults", "alpha"));
    assert_eq!(Asked::DIN_32645.k, figure("din32645-defaults", "k"));
    assert_eq!(currie::K_Q, figure("currie-defaults", "k_Q"));
    assert_eq!(mdl::LEAST_NUMBER as f64, figure("epa-mdl-design", "minimum_spikes"));
    assert_eq!(mdl::LEAST_NUMBER as f64, figure("epa-mdl-design", "minimum_blanks"));
    assert_eq!(
        100.0 * standard_additions::SLOPE_DIFFERENCE,
        figure("epa-msa-acceptance", "max_slope_difference_percent")
    );
    assert_eq!(choice::LACK_OF_FIT_LEVEL, 0.95);
}

/// 40 CFR Part 136, Appendix B, Revision 2, step (4) (from memory).
#[test]
fn an_existing_limit_stands_between_the_ratios_of_the_rule() {
    let rule = |key| figure("epa-mdl-verification", key);
    let limit = MassConcentration::from_si;
    let blanks = rule("max_fraction_blanks_above");
    for (ratio, stands) in [(rule("ratio_low"), true), (rule("ratio_high"), true), (0.99 * rule("ratio_low"), false)] {
        assert_eq!(existing_stands(limit(1.0), limit(ratio), 0.9 * blanks), stands);
    }
    assert!(!existing_stands(limit(1.0), limit(1.0), blanks));
}

/// ISO 8466-1:1990, clause 4 (from memory): F(9, 9) at 99 % is 5.35.
#[test]
fn ten_replicates_each_are_held_against_the_critical_value_of_the_rule() {
    let n = figure("variance-homogeneity", "replicates") as u32;
    let readings: Vec<Response> = (0..n).map(|i| Response::from_si(f64::from(i))).collect();
    let critical = ratio(&readings, &readings).unwrap().critical(0.99).unwrap();
    assert!((critical - figure("variance-homogeneity", "critical_value")).abs() < 5e-3);
}
