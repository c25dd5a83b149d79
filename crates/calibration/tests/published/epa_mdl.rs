//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: 40 CFR Part 136, Appendix B, Revision 2 (82 FR 40836, 2017) and Revision 1.11 (49 FR 43430, 1984).

pub const CASES: &[&str] =
    &["factors-t-epa", "factors-mdl-interval", "mdl-ranked-blanks", "mdl-seven-spikes", "mdl-some-nondetects"];

/// Revision 2, Table 1: one-sided 99 % factors.
#[test]
fn factors_of_students_t() {
    crate::hold("factors-t-epa");
}

/// Revision 1.11, sections 6 and 7: limits of a detection limit.
///
/// DIFFERENCE: a reprint of the procedure gives 0.69 and 1.92 as 95 % limits for seven aliquots; those are 90 % limits. Here
/// stand 0.64 and 2.20.
#[test]
fn a_detection_limit_has_limits_itself() {
    crate::hold("factors-mdl-interval");
}

/// Revision 2, step (2)(d)(iii)(B): 164 blanks (from memory).
#[test]
fn many_blanks_are_ranked() {
    crate::hold("mdl-ranked-blanks");
}

/// Revision 2, step (2)(d) and (e); constructed data.
#[test]
fn seven_spikes_and_seven_blanks() {
    crate::hold("mdl-seven-spikes");
}

/// Revision 2, step (2)(d)(iii)(B); constructed data.
#[test]
fn some_blanks_without_a_number() {
    crate::hold("mdl-some-nondetects");
}
