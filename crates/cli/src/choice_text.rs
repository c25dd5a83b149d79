//! The choice between calibration functions as text: the evidence for each that was tried, and what decided.

use darkline_evaluation::outcome::{ChoiceOutcome, TestOutcome};
use darkline_report::calibration_part::because;
use darkline_report::printed::significant;

use crate::paragraph::indented;
use crate::table::Table;

/// What decided between the functions that the method allows: the figures of each, and why one was taken.
pub fn choice_text(choice: &ChoiceOutcome, unit: &str) -> String {
    let mut table = Table::new()
        .words("function")
        .figures("parameters", "")
        .figures("AICc", "")
        .words("lack of fit")
        .words("residual runs")
        .words("worst standard read back");
    for candidate in &choice.candidates {
        let test = |test: &TestOutcome| format!("F = {}, p = {}", significant(test.f, 3), significant(test.p, 2));
        table.row(vec![
            candidate.model.clone(),
            candidate.n_parameters.to_string(),
            candidate.corrected_information.map_or_else(|| "–".into(), |information| format!("{information:.2}")),
            candidate.lack_of_fit.as_ref().map_or_else(|| "–".into(), test),
            candidate.residual_runs.as_ref().map_or_else(
                || "–".into(),
                |runs| {
                    format!("{} of {} levels, p = {}", runs.runs, runs.n_above + runs.n_below, significant(runs.p, 2))
                },
            ),
            candidate.worst_read_back.as_ref().map_or_else(
                || "–".into(),
                |worst| format!("{:+.1} % at {} {unit}", 100.0 * worst.error, significant(worst.amount, 3)),
            ),
        ]);
    }
    let mut text = format!("{}\n", table.text());
    for candidate in &choice.candidates {
        if let Some(why_not) = &candidate.why_not {
            text.push_str(&indented(&format!("{}: {why_not}", candidate.model), 2));
        }
    }
    if let Some(test) = &choice.mandel {
        let words = format!(
            "Mandel's test of the straight line: F = {}, p = {}",
            significant(test.f, 3),
            significant(test.p, 2)
        );
        text.push_str(&indented(&words, 2));
    }
    if let Some(tolerance) = choice.tolerance {
        text.push_str(&indented(
            &format!("tolerance of standards read back: {} %", significant(100.0 * tolerance, 3)),
            2,
        ));
    }
    text.push_str(&indented(&format!("chosen: {}", because(choice)), 2));
    text.push('\n');
    text
}
