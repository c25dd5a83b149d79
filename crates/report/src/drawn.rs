//! Figures drawn from an outcome: the trace of a reading, a calibration, controls over time, a budget.
//!
//! The figures are those of the outcome; here they only get their places, the same for a page and for paper.

use darkline_evaluation::outcome::{CalibrationOutcome, Outcome, RunOutcome, ValueOutcome};
use darkline_metrology::kind::Kind;
use darkline_record::identity::ReadingId;
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;
use darkline_signal::{Times, Trace, Window, reduce};

use crate::calibration_part::{response_unit, title};
use crate::figure::{self, Baseline, Calibration, CalibrationPoint, Figure, Medium, Pulse, ReadBack, Scale};
use crate::printed::significant;

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

/// The trace of a reading with baseline and limits; `None` where it has no pulse, or one that cannot be reduced.
pub fn trace(package: &DataPackage, outcome: &Outcome, of: &ReadingId, medium: Medium) -> Option<Figure> {
    let run = package.runs.iter().find(|run| run.id == of.run)?;
    let method = package.method(&run.method)?;
    let of_run = outcome.runs.iter().find(|candidate| candidate.run == run.id)?;
    let reading = of_run.readings.iter().find(|reading| reading.reading == *of)?;
    let signal = run.readings.iter().find(|candidate| candidate.number == of.number)?;
    let Signal::Pulse(digest) = &signal.signal else {
        return None;
    };
    let pulse = package.pulses.get(digest)?;
    let window = method.response.window.as_ref()?;
    let trace = Trace::new(Times::At(pulse.t_s()), pulse.total(), pulse.background()).ok()?;
    let (from_s, to_s) = (window.from.value().si(), window.to.value().si());
    let reduced = reduce(
        &trace,
        &Window {
            baseline_from_s: window.baseline_from.value().si(),
            baseline_to_s: window.baseline_to.value().si(),
            from_s,
            to_s,
        },
    )
    .ok()?;
    let wide = |samples: &[f32]| samples.iter().map(|sample| f64::from(*sample)).collect::<Vec<f64>>();
    let (total, background) = (wide(pulse.total()), wide(pulse.background()));
    let analyte: Vec<f64> =
        total.iter().zip(&background).map(|(total, background)| total - background - reduced.offset).collect();
    let name = run.row(reading.row).map_or("", |row| row.name.as_str());
    let unit = response_unit(of_run);
    let response = match (reading.response, medium) {
        (Some(response), _) => format!("{} {unit}", significant(response, 4)),
        (None, Medium::Paper) => return None,
        (None, Medium::Page) => String::new(),
    };
    Some(figure::pulse(
        &Pulse {
            id: &format!("reading-{}-{}", run.id, of.number),
            title: &format!("{name}, reading {of}"),
            time_s: pulse.t_s(),
            total: &total,
            background: &background,
            analyte: &analyte,
            baseline: Some(Baseline { at_lower_limit: 0.0, at_upper_limit: 0.0 }),
            limits_s: Some((from_s, to_s)),
            response: &response,
        },
        medium,
    ))
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
