//! The colours of Okabe and Ito, each with its one use.
//!
//! # Source
//! M. Okabe, K. Ito, Color Universal Design (2008); contrast on white after WCAG 2.2: marks need 3, fills below 3 get a black outline.

/// Text, axes, and the total absorbance as a thin line.
pub(crate) const BLACK: &str = "#000000";
/// The analyte pulse and the fitted line, thick.
pub(crate) const BLUE: &str = "#0072B2";
/// The mark of what is rejected, always a cross.
pub(crate) const REDDISH_PURPLE: &str = "#CC79A7";
/// Fill of the background pulse and of what was read back, always inside a black outline.
pub(crate) const ORANGE: &str = "#E69F00";
/// Fill of an interval band, inside a black outline: sky blue at a quarter of its strength.
pub(crate) const PALE_SKY: &str = "#D5EDFA";
/// Fill of the integrated area: blue at an eighth of its strength, bounded by the analyte pulse.
pub(crate) const PALE_BLUE: &str = "#E0EEF6";
/// Lines that only guide the eye.
pub(crate) const GUIDE: &str = "#D9D9D9";
