//! What people read: the text of the report, and the drawings.

use crate::{order, outside_reader};
use darkline_report::figure::Medium;
use darkline_report::render;

#[test]
fn the_text_of_the_report_is_as_reviewed() {
    let pdf = render(&order::report(), order::RECORD).unwrap();
    insta::assert_snapshot!("report_text", outside_reader::lines(&pdf));
}

#[test]
fn the_drawing_of_a_pulse_is_as_reviewed() {
    insta::assert_snapshot!("pulse", order::well_04(Medium::Page).svg);
}

#[test]
fn the_drawing_of_a_calibration_is_as_reviewed() {
    insta::assert_snapshot!("calibration", order::run_17(Medium::Paper).svg);
}
