//! Published figures, held against the library. Each test names the place; each case file what was seen of it.
//!
//! Source: DIN 32645:2008-11 (and 1994); A. Hubaux, G. Vos, Anal. Chem. 42 (1970) 849-855.

pub const CASES: &[&str] = &["limits-din32645-carbon", "limits-din32645-alpha05"];

/// Example of the standard: carbon in water, limits by line and by blanks.
///
/// DIFFERENCE: the documented 0.2121 for x_Q is one step of its iteration, `quantitation_one_step`; iterated to the end it
/// is 0.21195, `quantitation`. Both are held.
#[test]
fn carbon_in_water_by_line_and_by_blanks() {
    crate::hold("limits-din32645-carbon");
}

/// The same line with 5 % risks: the detection limit from the prediction band.
///
/// DIFFERENCE: the reference digits come from a minimiser that stops at 5e-5; the intersection itself is 0.086563.
#[test]
fn the_prediction_band_gives_the_detection_limit() {
    crate::hold("limits-din32645-alpha05");
}
