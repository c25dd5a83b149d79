//! Figures drawn from an outcome: the trace of a reading, a calibration, controls over time, a budget.
//!
//! The figures are those of the outcome; here they only get their places, the same for a page and for paper.

use darkline_evaluation::outcome::{CalibrationOutcome, Outcome, RunOutcome, ValueOutcome};
use darkline_record::identity::ReadingId;
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;

use crate::calibration_part::{response_unit, title};
use crate::figure::{self, Calibration, CalibrationPoint, Figure, Medium, ReadBack, Scale};
use crate::printed::significant;
use crate::pulse_part;

/// Points at which the interval band of a straight line is drawn.
const BAND_POINTS: u32 = 40;

/// The figure of a calibration; on a page with the interval band of a straight line.
///
/// # Arguments
/// * `method`: that of the run.
pub fn calibration(
    run: &RunOutcome,
    method: &ResolvedMethod,
    calibration: &CalibrationOutcome,
    medium: Medium,
) -> Figure {
    let points: Vec<CalibrationPoint> = calibration
        .points
        .iter()
        .map(|point| CalibrationPoint {
            amount: point.amount,
            response: point.response,
            residual: Some(point.residual),
            rejected: false,
        })
        .collect();
    let top = calibration.points.iter().map(|point| point.amount).fold(0.0, f64::max);
    let lowest = calibration.points.iter().map(|point| point.amount).fold(f64::INFINITY, f64::min).min(top);
    let (fitted, band) = match &calibration.line {
        Some(line) => {
            let on_line = |amount: f64| line.intercept + line.slope * amount;
            let at = |place: u32| lowest + (top - lowest) * f64::from(place) / f64::from(BAND_POINTS);
            let around = |amount: f64| {
                let half = 2.0 * line.u_of_response(amount);
                (amount, on_line(amount) - half, on_line(amount) + half)
            };
            let band = match medium {
                Medium::Page => (0..=BAND_POINTS).map(|place| around(at(place))).collect(),
                Medium::Paper => Vec::new(),
            };
            ([lowest, top].iter().map(|&amount| (amount, on_line(amount))).collect(), band)
        }
        None => (calibration.drawn.clone(), Vec::new()),
    };
    let read_back: Vec<ReadBack<'_>> = run
        .solutions
        .iter()
        .filter(|solution| !solution.replaced && matches!(solution.holds.as_str(), "sample" | "duplicate" | "spike"))
        .filter_map(|solution| {
            Some(ReadBack { name: &solution.name, amount: solution.amount?, response: solution.mean_response? })
        })
        .collect();
    figure::calibration(
        &Calibration {
            id: &format!("calibration-{}", run.run),
            title: &title(run, method),
            amount: Scale { kind: "mass concentration", unit: &run.amount_unit },
            response: Scale { kind: method.response.kind.words(), unit: response_unit(run) },
            points: &points,
            fitted: &fitted,
            band: &band,
            band_name: "line ± 2 u",
            read_back: &read_back,
        },
        medium,
    )
}

/// The trace of a reading with baseline and limits, restored beyond its roll-over, or in two ranges; `None` where it has no pulse, or one that cannot be reduced.
pub fn trace(package: &DataPackage, outcome: &Outcome, of: &ReadingId, medium: Medium) -> Option<Figure> {
    pulse_part::figure(package, outcome, of, medium)
}

/// The budget of a result by stage, largest share first.
///
/// # Arguments
/// * `id`: tells the figure from others of a page; `title`: what the result is; `unit`: its unit.
pub fn budget(found: &ValueOutcome, id: &str, title: &str, unit: &str, medium: Medium) -> Figure {
    let stages = found.by_stage();
    let shares: Vec<figure::Share<'_>> = stages
        .iter()
        .map(|line| figure::Share { source: &line.source, share: line.share, u: significant(line.u, 2) })
        .collect();
    figure::budget(&figure::Budget { id, title, unit, shares: &shares }, medium)
}
