//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: A. M. Almeida, M. M. Castel-Branco, A. C. Falcao, J. Chromatogr. B 774 (2002) 215-222.

pub const CASES: &[&str] = &["weights-compare-din32645"];

/// Sum of relative back-calculation errors, seven weightings, data of DIN 32645.
#[test]
fn weightings_are_compared_by_the_standards_read_back() {
    crate::hold("weights-compare-din32645");
}
