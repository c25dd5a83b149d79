//! NIST Statistical Reference Datasets: analysis of variance.
//!
//! Source: NIST Statistical Reference Datasets (StRD), National Institute of Standards and Technology; public domain.

pub const CASES: &[&str] = &["nist-anova-atmwtag", "nist-anova-smls01", "nist-anova-smls04", "nist-anova-smls07"];

/// NIST StRD, one-way analysis of variance: AtmWtAg, SmLs01, SmLs04, SmLs07 (13 equal leading digits).
#[test]
fn one_way_tables_are_as_certified() {
    for id in CASES {
        crate::hold(id);
    }
}
