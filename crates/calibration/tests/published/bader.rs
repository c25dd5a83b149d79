//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: M. Bader, J. Chem. Educ. 57 (1980) 703-706.

pub const CASES: &[&str] = &["stdadd-bader-constant-volume", "stdadd-bader-successive"];

/// Equal final volumes; constructed data.
#[test]
fn additions_made_up_to_one_volume() {
    crate::hold("stdadd-bader-constant-volume");
}

/// Successive additions to one solution; constructed data.
#[test]
fn additions_to_one_solution() {
    crate::hold("stdadd-bader-successive");
}
