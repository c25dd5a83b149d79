//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: US EPA SW-846, Methods 7000B and 7010, Revision 2007/0 (formula from memory).

pub const CASES: &[&str] = &["stdadd-epa-single"];

/// Single addition; constructed numbers.
#[test]
fn one_addition_to_one_of_two_portions() {
    crate::hold("stdadd-epa-single");
}
