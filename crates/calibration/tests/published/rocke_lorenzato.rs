//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: D. M. Rocke, S. Lorenzato, Technometrics 37 (1995) 176-184.

pub const CASES: &[&str] = &["two-component-cadmium"];

/// Table 1: cadmium by atomic absorption, 24 readings; estimates recomputed.
#[test]
fn cadmium_has_two_components_of_error() {
    crate::hold("two-component-cadmium");
}
