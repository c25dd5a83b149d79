//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: L. Kirkup, M. Mulholland, J. Chromatogr. A 1029 (2004) 1-11.

pub const CASES: &[&str] = &["lof-kirkup-nitrate"];

/// Sodium nitrate, duplicates at seven levels; recomputed.
#[test]
fn nitrate_shows_no_lack_of_fit() {
    crate::hold("lof-kirkup-nitrate");
}
