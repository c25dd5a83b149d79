//! `[uncertainty]` of a method, and the coverage of its results.

use darkline_metrology::kind::{Factor, Kind};
use darkline_record::figure::Written;
use darkline_record::method::{Coverage, CoverageInterval, TopDown, UncertaintyPlan};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::Section;

/// Reads `coverage_factor` or `coverage_probability` of `[result]`.
pub(crate) fn coverage(section: &Section<'_>) -> Option<Coverage> {
    let Some(entry) = section.optional("coverage_probability") else {
        let entry = section.required("coverage_factor", "\"2\"")?;
        return entry.figure(Wanted::Positive).map(Coverage::Factor);
    };
    if let Some(factor) = section.optional("coverage_factor") {
        factor.fault("\"coverage_factor\" and \"coverage_probability\" both stand here", "state one of them");
        return None;
    }
    let probability: Written<Factor> = entry.figure(Wanted::Positive)?;
    if probability.value().si() >= 1.0 {
        entry.fault(format!("{probability} is not below 100 %"), "write coverage_probability = \"95 %\"");
        return None;
    }
    Some(Coverage::Probability { probability })
}

/// Reads the part of a method.
pub(crate) fn read(section: &Section<'_>) -> Option<UncertaintyPlan> {
    let above = section.optional("monte_carlo_above").map(|entry| entry.figure(Wanted::NotNegative));
    let trials = match section.optional("trials") {
        Some(entry) => entry.whole(10_000..=10_000_000),
        None => Some(UncertaintyPlan::SILENT.trials),
    };
    let digits = match section.optional("digits") {
        Some(entry) => entry.whole(1..=2),
        None => Some(u32::from(UncertaintyPlan::SILENT.digits)),
    };
    let intervals = [CoverageInterval::Symmetric, CoverageInterval::Shortest];
    let interval = match section.optional("interval") {
        Some(entry) => entry.one_of("coverage interval", &intervals, CoverageInterval::word),
        None => Some(UncertaintyPlan::SILENT.interval),
    };
    let top_down = section.optional_section("top_down", "[uncertainty.top_down]").map(|section| top_down(&section));
    section.close();
    Some(UncertaintyPlan {
        monte_carlo_above: transposed(above)?,
        trials: trials?,
        digits: u8::try_from(digits?).ok()?,
        interval: interval?,
        top_down: transposed(top_down)?,
    })
}

fn top_down(section: &Section<'_>) -> Option<TopDown> {
    let u_rw = section.required("u_rw", "\"2.5 %\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    let entry = section.required("biases", "[\"1.2 %\", \"-0.8 %\"]");
    let biases = entry.as_ref().and_then(|entry| {
        let items = entry.list("[\"1.2 %\", \"-0.8 %\"]")?;
        let biases: Vec<Written<Factor>> = all(items.iter().map(|item| item.figure(Wanted::Any)).collect())?;
        if biases.is_empty() {
            entry.fault("no bias stands here", "write one for each reference material or proficiency test");
            return None;
        }
        Some(biases)
    });
    let u_reference = section.required("u_reference", "\"1 %\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    section.close();
    Some(TopDown { u_rw: u_rw?, biases: biases?, u_reference: u_reference? })
}
