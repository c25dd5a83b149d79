//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: constructed for the pack: A = 0.12 c/(1 + 0.03 c), absorbances to six decimals.

pub const CASES: &[&str] = &["hyperbola-exact"];

/// Constructed: coefficients and amounts come back.
#[test]
fn a_hyperbola_without_noise_comes_back() {
    crate::hold("hyperbola-exact");
}
