//! NIST Statistical Reference Datasets: univariate summary statistics.
//!
//! Source: NIST Statistical Reference Datasets (StRD), National Institute of Standards and Technology; public domain.

pub const CASES: &[&str] = &[
    "nist-univariate-numacc1",
    "nist-univariate-numacc2",
    "nist-univariate-numacc4",
    "nist-univariate-lew",
    "nist-univariate-michelso",
];

/// NIST StRD, univariate: NumAcc1, NumAcc2, NumAcc4 (constructed, up to nine digits), Lew, Michelso.
#[test]
fn mean_standard_deviation_and_autocorrelation_are_as_certified() {
    for id in CASES {
        crate::hold(id);
    }
}
