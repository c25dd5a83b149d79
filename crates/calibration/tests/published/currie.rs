//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: L. A. Currie, Pure Appl. Chem. 67 (1995) 1699-1723 (numbers from memory).

pub const CASES: &[&str] = &["factors-currie"];

/// Factors of L_C and L_D: normal, Student, noncentral t.
#[test]
fn factors_of_the_detection_concept() {
    crate::hold("factors-currie");
}
