//! Coverage: how often the 95 % interval of an amount read back holds the true amount, over simulated calibrations.

mod curves;
mod others;
mod simulated;

use std::path::Path;

use super::Section;
use simulated::{Coverage, N_CALIBRATIONS, N_UNKNOWNS, PLACES, Study};

/// The section of the page.
pub const SECTION: Section = Section { name: "coverage", title: "Coverage of the interval of an amount", write };

fn write(_: &Path) -> Result<String, String> {
    let rows: Vec<(Study, Coverage)> = curves::studies()
        .into_iter()
        .chain(others::studies())
        .map(|study| {
            let coverage = study.run();
            (study, coverage)
        })
        .collect();
    Ok(table(&rows))
}

/// The rows that are not within, and why.
fn short_of_it(rows: &[(Study, Coverage)]) -> String {
    let short: Vec<&(Study, Coverage)> = rows.iter().filter(|(_, coverage)| !coverage.holds()).collect();
    if short.is_empty() {
        return String::new();
    }
    let mut text = String::from("Short of it:\n\n");
    for (study, coverage) in short {
        text.push_str(&format!("* {}, {}: {:.1} %\n", study.model, study.scatter, coverage.overall));
    }
    text.push_str(
        "\nWeights that are estimated from the readings themselves are the cause. The scatter of the unknown is then known \
         from a few\nreadings, which the limits take into account; that the fitted function is less certain than weights \
         that count as known make\nit, they do not, and that shows the more parameters there are. With ten replicates a \
         level, or with weights by a stated\nfunction, nothing of it is left.\n\n",
    );
    text
}

fn table(rows: &[(Study, Coverage)]) -> String {
    let n_held = rows.iter().filter(|(_, coverage)| coverage.holds()).count();
    let mut text = format!(
        "{N_CALIBRATIONS} calibrations a row, each with {} unknowns: {N_UNKNOWNS} at each of 10, 50 and 90 % of the range. \
         Each figure is the part of\nthe 95 % intervals that hold the true amount, in per cent; 94.0 to 96.0 over all is \
         wanted. *se* is the standard error of that\nfigure, between calibrations; *none* the part of unknowns that were \
         refused an interval. Seeds: the words of the row.\n\n{n_held} of {} rows are within.\n\n",
        N_UNKNOWNS * PLACES.len(),
        rows.len(),
    );
    text.push_str(&short_of_it(rows));
    text.push_str("| model | scatter and weights | interval | 10 % | 50 % | 90 % | all | se | none | within |\n");
    text.push_str("|---|---|---|---|---|---|---|---|---|---|\n");
    for (study, coverage) in rows {
        let [low, middle, high] = coverage.at_places;
        text.push_str(&format!(
            "| {} | {} | {} | {low:.1} | {middle:.1} | {high:.1} | {:.1} | {:.2} | {:.1} | {} |\n",
            study.model,
            study.scatter,
            study.interval,
            coverage.overall,
            coverage.u_overall,
            coverage.refused,
            if coverage.holds() { "yes" } else { "**no**" }
        ));
    }
    text
}
