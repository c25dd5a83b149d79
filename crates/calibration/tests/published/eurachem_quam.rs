//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: Eurachem/CITAC Guide CG 4, Quantifying Uncertainty in Analytical Measurement, 3rd ed., 2012 (QUAM:2012).

pub const CASES: &[&str] = &["line-quam-a5-cadmium"];

/// QUAM:2012, Appendix A, Example A5, Tables A5.2 and A5.3, text of A5.4: cadmium released from ceramic ware, fifteen readings
/// of five standards, an amount from two readings.
#[test]
fn cadmium_by_the_line_of_example_a5() {
    crate::hold("line-quam-a5-cadmium");
}
