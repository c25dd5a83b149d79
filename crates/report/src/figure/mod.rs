//! Figures as SVG, the same for a page and for paper.
//!
//! [`pulse`] draws one reading over time, [`two_ranges`] both ranges of one firing, [`dipped`] a pulse beyond the roll-over with
//! its restoration, [`calibration`] the points, the fitted line and its residuals, [`control_chart`] controls with their limits, [`budget`] the shares
//! of an uncertainty. All take plain
//! numbers and labels and give a [`Figure`]: the drawing, its title, and a description that says what is to be seen.
//!
//! Invariant: equal input gives equal bytes. Meaning never hangs on colour: every line differs by style, every mark by shape.

mod axis;
mod budget;
mod calibration;
mod canvas;
mod control_chart;
mod dipped;
mod key;
mod label;
mod palette;
mod pulse;
mod time_panel;
mod two_ranges;

pub use budget::{Budget, Share, budget};
pub use calibration::{Calibration, CalibrationPoint, ReadBack, calibration};
pub use control_chart::{ControlChart, ControlPoint, control_chart};
pub use dipped::{Dipped, dipped};
pub use pulse::{Baseline, Pulse, pulse};
pub use two_ranges::{TwoRanges, two_ranges};

/// A finished drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// The whole SVG document, from `<svg` to `</svg>`; it carries title and description in itself.
    pub svg: String,
    /// One line, for a caption.
    pub title: String,
    /// What is to be seen, in sentences: the text alternative.
    pub description: String,
}

/// Where a figure is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// Inside a page: letters come from the page's style sheet.
    Page,
    /// On paper: letters are those of the test report.
    Paper,
}

/// What an axis counts: the kind of quantity and its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale<'a> {
    /// Kind of quantity, like `mass concentration`.
    pub kind: &'a str,
    /// Its unit as the glossary writes it, like `µg/L`; empty for a quantity of unit one.
    pub unit: &'a str,
}

impl Scale<'_> {
    /// The label of an axis whose numbers are counted in powers of ten of the unit.
    fn label(&self, power: i32) -> String {
        match (self.unit.is_empty(), power) {
            (true, 0) => self.kind.to_owned(),
            (false, 0) => format!("{}, in {}", self.kind, self.unit),
            (true, _) => format!("{}, in 10{}", self.kind, axis::superscript(power)),
            (false, _) => format!("{}, in 10{} {}", self.kind, axis::superscript(power), self.unit),
        }
    }

    /// A number followed by the unit, if there is one.
    fn with_unit(&self, number: &str) -> String {
        if self.unit.is_empty() { number.to_owned() } else { format!("{number} {}", self.unit) }
    }
}

/// Whether a number can be drawn: finite, and not so large that the arithmetic of an axis overflows.
fn drawable(value: f64) -> bool {
    value.is_finite() && value.abs() < 1e100
}
