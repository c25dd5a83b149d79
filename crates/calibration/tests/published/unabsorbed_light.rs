//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: relation of photometry; L. de Galan, G. F. Samaey, Spectrochim. Acta B 24 (1969) 679 (from memory).

pub const CASES: &[&str] = &["straylight-curve"];

/// Constructed values of the relation.
#[test]
fn unabsorbed_light_bends_the_curve() {
    crate::hold("straylight-curve");
}
