//! over-correction
//!
//! What it sees: a pulse whose net absorbance dips below zero by more than the method allows.
//! Why it matters: the background channel read more than lies under the analyte's line: a structured background, or one that
//! moves faster than it is sampled; the area is too low by what the dip takes, and by what hides under the pulse.
//! What to do: skip the remaining replicates, dilute or change the modifier, and fire a spiked cup; another line if it stays.
//! Source: the method document, `deepest_dip`; where it is silent, nothing is flagged. A negative lobe as the sign of it: B. Welz,
//! M. Sperling, Atomic Absorption Spectrometry, 3rd ed. (1999), ch. 5 (from memory).

use darkline_metrology::kind::{Kind, Wavelength};
use darkline_record::decision::{NextStep, Subject};
use darkline_record::figure::Written;
use darkline_record::method::CorrectedBy;
use darkline_signal::spectral_neighbours::{self, Correction, Disturbs, Neighbour};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {
    name: "over-correction",
    source: "the method document, deepest_dip; B. Welz, M. Sperling (1999), ch. 5 (from memory)",
    see,
    say,
};

/// Least depth in baseline standard deviations of a smoothed value: noise alone does not get there (our choice).
const CLEARLY: f64 = 6.0;

/// Temperature at which the levels of neighbouring lines are filled, in K (our choice: between the atomisation of volatile and
/// of refractory elements).
const TEMPERATURE_K: f64 = 2500.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(deepest) = view.method.limits.deepest_dip.as_ref().map(|dip| dip.value().si()) else { return Vec::new() };
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {
        let dips: Vec<(f64, f64, f64)> = view
            .counted(solution)
            .filter_map(|reading| {
                let pulse = reading.pulse.as_ref()?;
                let lobe = pulse.shape.lobe?;
                let is_deep = -lobe.lowest > deepest && pulse.lobe_in_sd() > CLEARLY;
                is_deep.then_some((lobe.lowest, lobe.time_s, pulse.reduced.background_max))
            })
            .collect();
        let Some(&(lowest, time, background)) = dips.iter().min_by(|a, b| a.0.total_cmp(&b.0)) else { continue };
        let again = NextStep::MeasureAgain { replicates: view.method.replicates.n };
        #[expect(clippy::cast_precision_loss, reason = "replicates are few")]
        let count = dips.len() as f64;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: with_neighbours(
                view,
                Evidence::default()
                    .figure("dip", lowest, "1")
                    .figure("time", time, "s")
                    .figure("background", background, "1")
                    .figure("allowed", -deepest, "1")
                    .figure("count", count, "1")
                    .figure("of", f64::from(solution.planned), "1")
                    .fact("cup", solution.name),
            ),
            holds: view.what_stands_on(solution),
            next: match view.portion(solution) {
                Some(_) => vec![NextStep::Dilute { factor: 5 }, again, NextStep::StandardAdditions],
                None => vec![again],
            },
        });
    }
    flags
}

fn with_neighbours(view: &RunView<'_>, evidence: Evidence) -> Evidence {
    match neighbours(view).as_str() {
        "" => evidence,
        lines => evidence.fact("neighbours", lines),
    }
}

/// Lines of the method's table that absorb in the background phase alone; at most three, the likeliest first.
fn neighbours(view: &RunView<'_>) -> String {
    let Some(background) = &view.method.background else { return String::new() };
    let pm = |width: &Written<Wavelength>| 1e12 * width.value().si();
    let correction = match &background.by {
        CorrectedBy::MagneticField { shift } => Correction::Field { shift_pm: pm(shift) },
        CorrectedBy::Continuum { bandpass } => Correction::Continuum { bandpass_pm: pm(bandpass) },
    };
    let table: Vec<Neighbour> = background
        .neighbours
        .iter()
        .map(|line| Neighbour {
            element: line.element.to_string(),
            wavelength_nm: 1e9 * line.line.value().si(),
            delta_pm: pm(&line.away),
            lower_level_per_cm: line.lower_level_per_cm.as_ref().map(|level| level.value().si()),
        })
        .collect();
    let found = spectral_neighbours::suspects(&table, correction, TEMPERATURE_K);
    let lines: Vec<String> = found
        .iter()
        .filter(|suspect| suspect.disturbs == Disturbs::OverCorrects)
        .take(3)
        .map(|suspect| format!("{} at {:.2} nm", suspect.neighbour.element, suspect.neighbour.wavelength_nm))
        .collect();
    lines.join(", ")
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{}: the net dips to {} at {} in {} of {} firings ({} allowed; background up to {}){}: the result would read low; skip \
         what is left of them, dilute, and fire a spiked cup",
        evidence.words("cup"),
        evidence.told("dip"),
        evidence.told("time"),
        evidence.value("count"),
        evidence.value("of"),
        evidence.told("allowed"),
        evidence.told("background"),
        match evidence.words("neighbours") {
            "" => String::new(),
            lines => format!(", could come of {lines}"),
        }
    )
}
