//! NIST Statistical Reference Datasets: linear least squares.
//!
//! Source: NIST Statistical Reference Datasets (StRD), National Institute of Standards and Technology; public domain.

pub const CASES: &[&str] = &[
    "nist-linear-norris",
    "nist-linear-noint1",
    "nist-linear-noint2",
    "nist-linear-pontius",
    "nist-linear-wampler1",
    "nist-linear-wampler2",
    "nist-linear-wampler3",
];

/// NIST StRD, linear regression: Norris, NoInt1, NoInt2, Pontius, Wampler1 to Wampler3.
///
/// Prints the digits in agreement with each certified value.
#[test]
fn lines_and_polynomials_are_as_certified() {
    for id in CASES {
        for held in crate::hold(id) {
            println!("{id:<24} {:<8} {:>24} {:5.1}", held.key, held.written, held.digits.unwrap());
        }
    }
}
