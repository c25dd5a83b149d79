//! NIST Statistical Reference Datasets: nonlinear least squares.
//!
//! Source: NIST Statistical Reference Datasets (StRD), National Institute of Standards and Technology; public domain.

pub const CASES: &[&str] = &[
    "nist-nonlinear-misra1a",
    "nist-nonlinear-misra1b",
    "nist-nonlinear-misra1d",
    "nist-nonlinear-chwirut2",
    "nist-nonlinear-kirby2",
    "nist-nonlinear-hahn1",
    "nist-nonlinear-rat42",
];

/// NIST StRD, nonlinear regression, each from both of its starts: Misra1a, Misra1b, Misra1d, Chwirut2, Kirby2, Hahn1, Rat42.
///
/// Prints the digits in agreement with each certified value; NIST certifies eleven.
#[test]
fn curves_are_as_certified_from_either_start() {
    for id in CASES {
        for held in crate::hold(id) {
            println!("{id:<24} {:<8} {:>24} {:5.1}", held.key, held.written, held.digits.unwrap());
        }
    }
}
