//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: J. Vogelgesang, J. Hädrich, Accred. Qual. Assur. 3 (1998) 242-255.

pub const CASES: &[&str] = &["limits-vogelgesang-table6"];

/// Table 6: critical concentration from a replicated line.
#[test]
fn a_replicated_line_gives_the_critical_concentration() {
    crate::hold("limits-vogelgesang-table6");
}
