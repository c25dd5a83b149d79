//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: K. Linnet, Stat. Med. 9 (1990) 1463-1473 (method); synthetic series.

pub const CASES: &[&str] = &["deming-closed-form"];

/// Constant ratio of variances, closed form; recomputed.
#[test]
fn a_line_of_constant_variance_ratio() {
    crate::hold("deming-closed-form");
}
