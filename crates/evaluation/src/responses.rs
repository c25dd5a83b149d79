//! First stage: a reading becomes a response, and decisions say which responses count.

use std::collections::{BTreeMap, BTreeSet};

use darkline_metrology::kind::Kind;
use darkline_record::decision::Decision;
use darkline_record::identity::ReadingId;
use darkline_record::method::{ResolvedMethod, ResponseKind};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, Run, Signal};
use darkline_signal::{Reduced, Times, Trace, Window, reduce, reduce_steady};
use rayon::prelude::*;

/// A reading with its response.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Its number in the run.
    pub number: u32,
    /// The row it was measured at.
    pub row: u32,
    /// The row of its solution.
    pub home: u32,
    /// Which replicate of the row.
    pub replicate: u8,
    /// Which attempt at it.
    pub attempt: u8,
    /// Its response, or why it brought none.
    pub response: Result<Responded, String>,
    /// Whether a person rejected it.
    pub rejected: bool,
    /// Whether it enters the results.
    pub counts: bool,
}

/// What a reading says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Responded {
    /// The response, in the unit of the method's response.
    pub response: f64,
    /// Its standard uncertainty from the noise of its own pulse; `None` for a bare response.
    pub u_noise: Option<f64>,
    /// What else the pulse tells.
    pub pulse: Option<PulseFigures>,
}

/// Figures of a pulse that people and rules look at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PulseFigures {
    /// Highest net absorbance.
    pub peak_absorbance: f64,
    /// When, in s.
    pub peak_time_s: f64,
    /// Highest background absorbance.
    pub background_max: f64,
}

/// Turns the readings of a run into responses, in the order of row, replicate and attempt.
///
/// The last attempt at a replicate counts, unless it was rejected or brought nothing.
///
/// # Arguments
/// * `decisions`: rejections and reinstatements in the order they were made; the last one about a reading stands.
pub fn respond(package: &DataPackage, run: &Run, method: &ResolvedMethod, decisions: &[Decision]) -> Vec<Measured> {
    let rejected = rejected(decisions);
    let mut readings: Vec<&Reading> = run.readings.iter().collect();
    readings.sort_by_key(|reading| (reading.row, reading.replicate, reading.attempt, reading.number));
    let mut last_attempt: BTreeMap<(u32, u8), u32> = BTreeMap::new();
    for reading in &readings {
        last_attempt.insert((reading.row, reading.replicate), reading.number);
    }
    readings
        .into_par_iter()
        .map(|reading| {
            let response = respond_one(package, method, reading);
            let rejected = rejected.contains(&run.reading_id(reading.number));
            let is_last = last_attempt.get(&(reading.row, reading.replicate)) == Some(&reading.number);
            Measured {
                number: reading.number,
                row: reading.row,
                home: run.home(reading.row),
                replicate: reading.replicate,
                attempt: reading.attempt,
                counts: response.is_ok() && !rejected && is_last,
                rejected,
                response,
            }
        })
        .collect()
}

fn rejected(decisions: &[Decision]) -> BTreeSet<ReadingId> {
    let mut rejected = BTreeSet::new();
    for decision in decisions {
        match decision {
            Decision::Reject { reading, .. } => {
                rejected.insert(reading.clone());
            }
            Decision::Reinstate { reading, .. } => {
                rejected.remove(reading);
            }
            Decision::Justify { .. } | Decision::TakeUp { .. } => {}
        }
    }
    rejected
}

fn respond_one(package: &DataPackage, method: &ResolvedMethod, reading: &Reading) -> Result<Responded, String> {
    match &reading.signal {
        Signal::Failed { why } => Err(why.to_string()),
        Signal::Bare(response) => Ok(Responded { response: response.value().si(), u_noise: None, pulse: None }),
        Signal::Pulse(digest) => {
            let pulse = package.pulses.get(digest).ok_or("its pulse is not in the package")?;
            respond_to_pulse(pulse, method)
        }
    }
}

fn respond_to_pulse(pulse: &Pulse, method: &ResolvedMethod) -> Result<Responded, String> {
    let plan = method.response.window.as_ref().ok_or("the method names no window for pulses")?;
    let times = times(pulse.t_s());
    let trace = Trace::new(times, pulse.total(), pulse.background()).map_err(|fault| fault.to_string())?;
    if method.response.kind == ResponseKind::Absorbance {
        let steady =
            reduce_steady(&trace, plan.from.value().si(), plan.to.value().si()).map_err(|fault| fault.to_string())?;
        return Ok(Responded { response: steady.mean_absorbance, u_noise: Some(steady.u_mean), pulse: None });
    }
    let window = Window {
        baseline_from_s: plan.baseline_from.value().si(),
        baseline_to_s: plan.baseline_to.value().si(),
        from_s: plan.from.value().si(),
        to_s: plan.to.value().si(),
    };
    let reduced: Reduced = reduce(&trace, &window).map_err(|fault| fault.to_string())?;
    let (response, u_noise) = match method.response.kind {
        ResponseKind::PeakAbsorbance => (reduced.peak_absorbance, reduced.u_peak),
        ResponseKind::IntegratedAbsorbance | ResponseKind::Absorbance => {
            (reduced.integrated_absorbance, reduced.u_integrated)
        }
    };
    Ok(Responded {
        response,
        u_noise: Some(u_noise),
        pulse: Some(PulseFigures {
            peak_absorbance: reduced.peak_absorbance,
            peak_time_s: reduced.peak_time_s,
            background_max: reduced.background_max,
        }),
    })
}

/// Moments as an even sequence where they are one to a microsecond, else as they are.
///
/// An even sequence is reduced faster and without the rounding of single moments.
fn times(t_s: &[f64]) -> Times<'_> {
    let (Some(&first), Some(&last)) = (t_s.first(), t_s.last()) else { return Times::At(t_s) };
    #[expect(clippy::cast_precision_loss, reason = "samples of a pulse are below 2^53")]
    let step = (last - first) / (t_s.len().max(2) - 1) as f64;
    #[expect(clippy::cast_precision_loss, reason = "samples of a pulse are below 2^53")]
    let is_even = step > 0.0 && t_s.iter().enumerate().all(|(i, t)| (t - (first + step * i as f64)).abs() < 1e-6);
    if !is_even {
        return Times::At(t_s);
    }
    // A rate that is a whole number of hertz to within the microsecond is taken as such.
    let rate_hz = 1.0 / step;
    let whole = rate_hz.round();
    let rate_hz = if (rate_hz - whole).abs() < 1e-6 * whole { whole } else { rate_hz };
    Times::Even { start_s: first, rate_hz }
}
