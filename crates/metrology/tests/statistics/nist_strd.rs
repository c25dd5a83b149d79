//! NIST Statistical Reference Datasets: univariate summaries and one-way analysis of variance.
//!
//! Certified values, copied digit for digit; tolerances are the relative ones of each case.

use crate::held::hold;

/// NIST StRD, univariate summary statistics: Lew, Michelso, NumAcc1, NumAcc2 and NumAcc4, where one-pass formulas fail.
#[test]
fn nist_univariate_summaries() {
    for name in ["lew", "michelso", "numacc1", "numacc2", "numacc4"] {
        hold(&format!("calibration/nist-univariate-{name}.toml"));
    }
}

/// NIST StRD, analysis of variance: AtmWtAg, SmLs01, SmLs04 with 7 and SmLs07 with 13 constant leading digits.
#[test]
fn nist_analysis_of_variance() {
    for name in ["atmwtag", "smls01", "smls04", "smls07"] {
        hold(&format!("calibration/nist-anova-{name}.toml"));
    }
}
