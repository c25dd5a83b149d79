//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: ISO 8466-1:1990, Water quality, statistical evaluation of the linear calibration function.

pub const CASES: &[&str] = &["linearity-iso8466-nitrite"];

/// Clause 5, example (data and figures from memory): nitrite, ten standards.
#[test]
fn nitrite_over_ten_standards_is_straight() {
    crate::hold("linearity-iso8466-nitrite");
}
