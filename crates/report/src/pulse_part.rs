//! The pulse behind a result: as it was read, restored beyond its roll-over, or in two ranges.

use darkline_evaluation::outcome::{Outcome, ReadingOutcome, ResultOutcome, RunOutcome};
use darkline_metrology::kind::Kind;
use darkline_record::identity::ReadingId;
use darkline_record::method::{ResolvedMethod, RollOverCurve};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse as Recorded;
use darkline_record::run::{Run, Signal};
use darkline_signal::restored_area::{MeasuredCurve, restored_area_of};
use darkline_signal::{Times, Trace, Window, reduce};

use crate::calibration_part::response_unit;
use crate::figure::{self, Baseline, Dipped, Figure, Medium, Pulse, TwoRanges};
use crate::printed::significant;
use crate::test_report::FigureLine;

/// The trace of a reading; `None` where it has no pulse, or one that cannot be reduced.
pub(crate) fn figure(package: &DataPackage, outcome: &Outcome, of: &ReadingId, medium: Medium) -> Option<Figure> {
    let run = package.runs.iter().find(|run| run.id == of.run)?;
    let method = package.method(&run.method)?;
    let of_run = outcome.runs.iter().find(|candidate| candidate.run == run.id)?;
    let reading = of_run.readings.iter().find(|reading| reading.reading == *of)?;
    let signal = run.readings.iter().find(|candidate| candidate.number == of.number)?;
    let Signal::Pulse(digest) = &signal.signal else {
        return None;
    };
    let pulse = package.pulses.get(digest)?;
    let name = run.row(reading.row).map_or("", |row| row.name.as_str());
    let response = match (reading.response, medium) {
        (Some(response), _) => format!("{} {}", significant(response, 4), response_unit(of_run)),
        (None, Medium::Paper) => return None,
        (None, Medium::Page) => String::new(),
    };
    let shown = Shown {
        id: format!("reading-{}-{}", run.id, of.number),
        title: format!("{name}, reading {of}"),
        response,
        window: window(method, of_run)?,
        pulse,
    };
    let curve = method.background.as_ref().and_then(|background| background.roll_over.as_ref());
    let drawn = match (reading.restored, curve) {
        (Some(restored), Some(curve)) if restored.ranges.is_some() => shown.two_ranges(reading, curve, medium),
        (Some(restored), Some(curve)) if restored.dip_s.is_some() => shown.dipped(reading, curve, medium),
        _ => None,
    };
    drawn.or_else(|| shown.plain(medium))
}

/// The pulse of the first reading that counts of a result, on paper.
pub(crate) fn of_result(package: &DataPackage, outcome: &Outcome, result: &ResultOutcome) -> Option<FigureLine> {
    let (.., reading) = deciding_reading(package, outcome, result)?;
    figure(package, outcome, &reading.reading, Medium::Paper).map(FigureLine::of)
}

/// Whether the first reading that counts of a result went beyond the roll-over.
pub(crate) fn went_beyond(package: &DataPackage, outcome: &Outcome, result: &ResultOutcome) -> bool {
    deciding_reading(package, outcome, result)
        .is_some_and(|(.., reading)| reading.restored.is_some_and(|restored| restored.dip_s.is_some()))
}

fn deciding_reading<'a>(
    package: &'a DataPackage,
    outcome: &'a Outcome,
    result: &ResultOutcome,
) -> Option<(&'a Run, &'a RunOutcome, &'a ReadingOutcome)> {
    let row = result.rows.first()?;
    let run = package.runs.iter().find(|run| run.id == row.run)?;
    let of_run = outcome.runs.iter().find(|candidate| candidate.run == run.id)?;
    let reading = of_run.readings.iter().find(|reading| reading.counts && run.home(reading.row) == row.number)?;
    Some((run, of_run, reading))
}

/// Baseline and limits of a run: those that its standards drew, or those of the method.
fn window(method: &ResolvedMethod, run: &RunOutcome) -> Option<Window> {
    let plan = method.response.window.as_ref()?;
    let (from_s, to_s) = match run.integration_limits {
        Some(limits) => (limits.from_s, limits.to_s),
        None => (plan.from.value().si(), plan.to.value().si()),
    };
    Some(Window {
        baseline_from_s: plan.baseline_from.value().si(),
        baseline_to_s: plan.baseline_to.value().si(),
        from_s,
        to_s,
    })
}

struct Shown<'a> {
    id: String,
    title: String,
    response: String,
    window: Window,
    pulse: &'a Recorded,
}

fn wide(samples: &[f32]) -> Vec<f64> {
    samples.iter().map(|sample| f64::from(*sample)).collect()
}

impl Shown<'_> {
    /// Total less background less the offset of the baseline.
    fn net_of(&self, total: &[f32]) -> Option<Vec<f64>> {
        let background = self.pulse.background();
        let trace = Trace::new(Times::At(self.pulse.t_s()), total, background).ok()?;
        let offset = reduce(&trace, &self.window).ok()?.offset;
        Some(total.iter().zip(background).map(|(total, back)| f64::from(*total) - f64::from(*back) - offset).collect())
    }

    fn plain(&self, medium: Medium) -> Option<Figure> {
        let analyte = self.net_of(self.pulse.total())?;
        Some(figure::pulse(
            &Pulse {
                id: &self.id,
                title: &self.title,
                time_s: self.pulse.t_s(),
                total: &wide(self.pulse.total()),
                background: &wide(self.pulse.background()),
                analyte: &analyte,
                baseline: Some(Baseline { at_lower_limit: 0.0, at_upper_limit: 0.0 }),
                limits_s: Some((self.window.from_s, self.window.to_s)),
                response: &self.response,
            },
            medium,
        ))
    }

    /// The pulse beside its restoration, which is drawn on the scale of the net absorbance below the roll-over.
    fn dipped(&self, reading: &ReadingOutcome, curve: &RollOverCurve, medium: Medium) -> Option<Figure> {
        let measured = MeasuredCurve {
            net_at_roll_over: curve.net_absorbance.value().si(),
            u_net_at_roll_over: 0.0,
            sensitivity_ratio: curve.sensitivity_ratio.value().si(),
            u_sensitivity_ratio: 0.0,
        };
        let (t_s, total, background) = (self.pulse.t_s(), self.pulse.total(), self.pulse.background());
        let found = restored_area_of(t_s, total, background, &self.window, &measured).ok()??;
        let slope = measured.curve().initial_slope();
        // The restored values stand inside the limits; the figure wants one for each moment.
        let mut restored = vec![f64::NAN; t_s.len()];
        let first = t_s.iter().position(|t| found.t_s.first().is_some_and(|from| t >= from))?;
        for (place, value) in restored.iter_mut().skip(first).zip(&found.true_absorbance) {
            *place = slope * value;
        }
        let net = self.net_of(total)?;
        Some(figure::dipped(
            &Dipped {
                id: &self.id,
                title: &self.title,
                time_s: t_s,
                total: &wide(total),
                net: &net,
                restored: &restored,
                roll_over: measured.net_at_roll_over,
                dip_s: reading.restored?.dip_s,
                response: &self.response,
            },
            medium,
        ))
    }

    fn two_ranges(&self, reading: &ReadingOutcome, curve: &RollOverCurve, medium: Medium) -> Option<Figure> {
        let ranges = reading.restored?.ranges?;
        let sensitive = self.net_of(self.pulse.total())?;
        let reduced = self.net_of(self.pulse.middle()?)?;
        Some(figure::two_ranges(
            &TwoRanges {
                id: &self.id,
                title: &self.title,
                time_s: self.pulse.t_s(),
                sensitive: &sensitive,
                reduced: &reduced,
                roll_over: Some(curve.net_absorbance.value().si()),
                limits_s: Some((self.window.from_s, self.window.to_s)),
                response: &self.response,
                weight_sensitive: Some(ranges.weight_sensitive),
            },
            medium,
        ))
    }
}
