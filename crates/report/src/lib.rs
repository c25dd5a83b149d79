//! The test report as PDF/A with its record attached, and figures as SVG for pages and paper.
//!
//! [`render`] turns a [`TestReport`] and the bytes of its record into one file that a person can read, a program can take
//! apart, and anybody can check; [`render_protocol`] does so for a [`QualificationProtocol`],
//! [`render_bench_sheet`] and [`render_labels`] for what goes to the bench. [`figure`] draws readings and calibrations, the same for a page and for the report.
//!
//! Nothing is worked out here. Figures arrive as text with their unit, because rounding is done once, where the result is made;
//! times arrive as text, because there is no clock in this crate. Where things are stored is not known here either.
//!
//! Invariant: equal input gives equal bytes, in debug and release, in every process. Text is shown as text, never interpreted.

mod barcode;
pub mod bench_sheet;
pub mod qualification_protocol;
pub mod test_report;

pub mod calibration_part;
pub mod composing;
mod conformity_part;
mod portions_part;
pub mod printed;
mod pulse_part;
pub mod result_words;

mod completeness;

pub mod drawn;
pub mod figure;

mod printable;
mod typesetting;

pub use completeness::{MissingItem, REPORT_ITEMS, ReportItem};
pub use qualification_protocol::QualificationProtocol;
pub use test_report::TestReport;
pub use typesetting::{ATTACHMENT, ReportError, evict, render, render_bench_sheet, render_labels, render_protocol};

/// What decides which bytes a report gets, as digits: builds of one version that set other bytes have other digits.
pub const SETTING: &str = env!("DARKLINE_SETTING");
