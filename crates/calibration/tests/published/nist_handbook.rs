//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, National Institute of Standards and Technology; public domain.

pub const CASES: &[&str] = &["quadratic-loadcell-inverse", "lof-loadcell"];

/// Section 4.6.1.10: load cell, an amount from the second order with its limits (limits from memory).
#[test]
fn a_load_cell_is_read_back_from_the_second_order() {
    crate::hold("quadratic-loadcell-inverse");
}

/// Section 4.6.1.5: load cell, the straight line rejected against replicates, the second order accepted.
///
/// DIFFERENCE: the printed residual standard deviation and F carry the rounding of the program used for the handbook.
#[test]
fn a_load_cell_is_no_straight_line() {
    crate::hold("lof-loadcell");
}
