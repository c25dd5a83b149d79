//! sensitivity-off
//!
//! What it sees: a characteristic mass (furnace) or characteristic concentration (flame) that lies farther from the method's
//! figure, or from the mean of five or more earlier runs, than the method allows; from the first standard on, and from the
//! whole calibration once it is read.
//! Why it matters: sensitivity that is lost or gained has a cause, and what it does to standards it need not do to samples.
//! What to do: do not start the samples; check capillary depth and tube, or nebuliser and burner, then measure the
//! standard again.
//! Source: IUPAC definition of the characteristic mass (absorption of 1 %); the method document, `sensitivity_window`; where
//! it is silent, nothing is flagged.

use darkline_metrology::kind::{Kind, Mass, MassConcentration};
use darkline_metrology::summary;
use darkline_record::decision::{NextStep, Subject};
use darkline_record::method::Technique;
use darkline_record::run::RowHolds;

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration, SeenSolution};

/// The rule.
pub const RULE: Rule = Rule {
    name: "sensitivity-off",
    source: "IUPAC definition of the characteristic mass; the method document, sensitivity_window",
    see,
    say,
};

/// Response of one characteristic mass or concentration.
///
/// # Source
/// Absorption of 1 %: −lg 0.99 = 0.00436, for which the trade uses 0.0044 (common practice, no source).
pub const CHARACTERISTIC_RESPONSE: f64 = 0.0044;

/// Earlier runs from which a history is one (our choice).
const ENOUGH_RUNS: usize = 5;

/// A standard tells the sensitivity once its response is this many standard deviations at zero (our choice): 5 %.
const CLEAR: f64 = 20.0;

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let limits = &view.method.limits;
    let (Some(window), Some(reference)) = (&limits.sensitivity_window, reference(view)) else { return Vec::new() };
    let Some(standard) = telling_standard(view, reference) else { return Vec::new() };
    let slope = match view.calibration {
        SeenCalibration::Fitted { slope, .. } if view.standard_awaited().is_none() => Some(*slope),
        _ => from_standard(view, standard),
    };
    let Some(found) = slope.filter(|slope| *slope > 0.0).map(|slope| figure(view, slope)) else { return Vec::new() };
    let past = limits.history("sensitivity");
    let is_own = past.len() >= ENOUGH_RUNS;
    let usual = if is_own { reference * summary::mean(&past).unwrap_or(1.0) } else { reference };
    let deviation = found / usual - 1.0;
    if deviation.abs() <= window.value().si() {
        return Vec::new();
    }
    let (what, symbol, scale) = match view.method.technique {
        Technique::Furnace => {
            let unit = limits.characteristic_mass.as_ref().map_or_else(Mass::usual_unit, |mass| mass.unit());
            ("characteristic mass", unit.symbol(), unit.read_si(1.0))
        }
        Technique::Flame => {
            let unit = limits
                .characteristic_concentration
                .as_ref()
                .map_or_else(MassConcentration::usual_unit, |amount| amount.unit());
            ("characteristic concentration", unit.symbol(), unit.read_si(1.0))
        }
    };
    vec![Flag {
        id: flag_id(RULE.name, Subject::Row(view.run.row_id(standard.row))),
        severity: Severity::Stops,
        settled: view.standard_awaited().map_or(Settled::Now, |row| Settled::Until(view.run.row_id(row))),
        evidence: Evidence::default()
            .figure("found", found * scale, symbol)
            .figure("usual", usual * scale, symbol)
            .figure("deviation", 100.0 * deviation, "%")
            .figure("allowed", 100.0 * window.value().si(), "%")
            .fact("what", what)
            .fact("whose", if is_own { "your usual" } else { "the method's" })
            .fact("element", view.method.element.as_str())
            .fact("cup", standard.name),
        holds: Holds::Run(view.run.id.clone()),
        next: vec![NextStep::MeasureAgain { replicates: view.method.replicates.n }, NextStep::Stop],
    }]
}

/// The figure the method names, in SI: a mass for the furnace, a mass concentration for the flame.
fn reference(view: &RunView<'_>) -> Option<f64> {
    let limits = &view.method.limits;
    match view.method.technique {
        Technique::Furnace => {
            limits.injected_volume.as_ref()?;
            limits.characteristic_mass.as_ref().map(|mass| mass.value().si())
        }
        Technique::Flame => limits.characteristic_concentration.as_ref().map(|amount| amount.value().si()),
    }
}

/// Characteristic mass or concentration of a slope.
///
/// # Source
/// IUPAC: `m0 = 0.0044·V·c/A`; the pack's case `charmass-lead` and `charconc-copper`.
fn figure(view: &RunView<'_>, slope: f64) -> f64 {
    CHARACTERISTIC_RESPONSE * volume(view) / slope
}

/// The injected volume of a furnace; 1 for a flame, whose figure is a concentration.
fn volume(view: &RunView<'_>) -> f64 {
    match view.method.technique {
        Technique::Furnace => view.method.limits.injected_volume.as_ref().map_or(1.0, |volume| volume.value().si()),
        Technique::Flame => 1.0,
    }
}

/// The first standard whose usual response is clear of the noise.
fn telling_standard<'v, 'a>(view: &'v RunView<'a>, reference: f64) -> Option<&'v SeenSolution<'a>> {
    let sd_at_zero = view.method.replicates.sd_at_zero.value().si();
    view.solutions.iter().filter(|solution| !solution.replaced).find(|solution| match solution.holds {
        RowHolds::Standard { amount } => {
            let expected = CHARACTERISTIC_RESPONSE * amount.value.value().si() * volume(view) / reference;
            expected >= CLEAR * sd_at_zero && solution.mean_response.is_some()
        }
        _ => false,
    })
}

/// The slope that one standard tells, above the calibration blank where that has been read.
fn from_standard(view: &RunView<'_>, standard: &SeenSolution<'_>) -> Option<f64> {
    let RowHolds::Standard { amount } = standard.holds else { return None };
    let blank = view
        .solutions
        .iter()
        .find(|solution| matches!(solution.holds, RowHolds::CalibrationBlank) && !solution.replaced)
        .and_then(|solution| solution.mean_response);
    Some((standard.mean_response? - blank.unwrap_or(0.0)) / amount.value.value().si())
}

fn say(evidence: &Evidence) -> String {
    let deviation = evidence.value("deviation");
    let check = if evidence.words("what") == "characteristic mass" {
        "check capillary depth and tube"
    } else {
        "check nebuliser, burner and lamp"
    };
    format!(
        "{} {} {}, {} {} ({:.0} % {}, {} allowed): do not start the samples; {check}, then measure {} again",
        evidence.words("element"),
        evidence.words("what"),
        evidence.told("found"),
        evidence.words("whose"),
        evidence.told("usual"),
        deviation.abs(),
        if deviation > 0.0 { "above" } else { "below" },
        evidence.told("allowed"),
        evidence.words("cup"),
    )
}
