//! First stage: a reading becomes a response, and decisions say which responses count.

use std::collections::{BTreeMap, BTreeSet};

use darkline_metrology::kind::Kind;
use darkline_record::decision::Decision;
use darkline_record::identity::ReadingId;
use darkline_record::method::{PulseWindow, ResolvedMethod, ResponseKind, RollOverCurve};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, RowHolds, Run, Signal};
use darkline_signal::joined_area::{MeasuredFields, joined_area};
use darkline_signal::restored_area::{MeasuredCurve, Ranges, RestoredPulse, restored_area_of};
use darkline_signal::{
    InTurn, PulseFigures, Steady, Times, Trace, TraceFault, Window, examine, integration_limits, reduce_steady,
};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::live::Memory;
use crate::procedure::Procedure;

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
#[derive(Clone, Debug, PartialEq)]
pub struct Responded {
    /// The response, in the unit of the method's response.
    pub response: f64,
    /// Its standard uncertainty from the noise of its own pulse; `None` for a bare response.
    pub u_noise: Option<f64>,
    /// What else a pulse tells: its figures, its shape, its background.
    pub pulse: Option<PulseFigures>,
    /// What else a steady reading tells.
    pub steady: Option<Steady>,
    /// How a pulse was read along the curve of its roll-over; its area is the response then.
    pub restored: Option<RestoredPulse>,
    /// The integration limits that the standards drew; `None` for those of the method.
    pub limits: Option<Limits>,
}

/// Integration limits in s since the start of atomisation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Their start.
    pub from_s: f64,
    /// Their end.
    pub to_s: f64,
}

/// Turns the readings of a run into responses, in the order of row, replicate and attempt.
///
/// The last attempt at a replicate counts, unless it was rejected or brought nothing.
///
/// # Arguments
/// * `procedure`: reduces each reading that `memory` does not hold.
/// * `decisions`: rejections and reinstatements in the order they were made; the last one about a reading stands.
pub fn respond(
    procedure: &Procedure,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    decisions: &[Decision],
    memory: &Memory,
) -> Vec<Measured> {
    let rejected = rejected(decisions);
    let limits = limits(package, run, method, &rejected);
    let mut readings: Vec<&Reading> = run.readings.iter().collect();
    readings.sort_by_key(|reading| (reading.row, reading.replicate, reading.attempt, reading.number));
    let mut last_attempt: BTreeMap<(u32, u8), u32> = BTreeMap::new();
    for reading in &readings {
        last_attempt.insert((reading.row, reading.replicate), reading.number);
    }
    readings
        .into_par_iter()
        .map(|reading| {
            let remembered = match &reading.signal {
                // What was remembered had the limits of an earlier moment.
                Signal::Pulse(digest) if limits.is_none() => memory.recall(digest, &method.id).cloned(),
                _ => None,
            };
            let response = remembered.unwrap_or_else(|| (procedure.reduce)(package, method, reading, limits)).and_then(
                |responded| {
                    if lacks_mass(package, run, method, reading) {
                        Err("no mass was noted of the portion that was weighed in".to_owned())
                    } else {
                        Ok(responded)
                    }
                },
            );
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

/// Whether a reading of a weighed portion came without its mass.
fn lacks_mass(package: &DataPackage, run: &Run, method: &ResolvedMethod, reading: &Reading) -> bool {
    if method.solid.is_none() || reading.mass.is_some() {
        return false;
    }
    match run.row(reading.row).map(|row| &row.holds) {
        Some(RowHolds::Portion { batch, portion, .. }) => {
            package.portion(batch, portion).is_some_and(|portion| !matches!(portion.role, PortionRole::MethodBlank))
        }
        _ => false,
    }
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
            Decision::Justify { .. } | Decision::TakeUp { .. } | Decision::ChooseModel { .. } => {}
        }
    }
    rejected
}

/// The limits that the standards of a run draw together; `None` where the method gives them, or nothing has been read that could.
///
/// # Source
/// [`integration_limits::found`].
pub fn limits(
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    rejected: &BTreeSet<ReadingId>,
) -> Option<Limits> {
    let plan = method.response.window.as_ref().filter(|plan| plan.by_standards)?;
    let within = window(plan);
    let samples: Vec<Samples> = run
        .rows()
        .filter(|row| matches!(row.holds, RowHolds::Standard { .. }) && !run.is_replaced(row.number))
        .flat_map(|row| run.readings.iter().filter(move |reading| reading.row == row.number))
        .filter(|reading| !rejected.contains(&run.reading_id(reading.number)))
        .filter_map(|reading| match &reading.signal {
            Signal::Pulse(digest) => Some(Samples::of(package.pulses.get(digest)?)),
            _ => None,
        })
        .collect();
    let traces: Vec<Trace<'_>> = samples.iter().filter_map(|samples| samples.trace().ok()).collect();
    let (from_s, to_s) = integration_limits::found(&traces, &within)?;
    Some(Limits { from_s, to_s })
}

/// The samples of a pulse with both channels at every moment.
enum Samples<'a> {
    Together(&'a Pulse),
    InTurn(InTurn),
}

impl<'a> Samples<'a> {
    fn of(pulse: &'a Pulse) -> Self {
        let aligned = InTurn::is(pulse.total(), pulse.background())
            .then(|| InTurn::align(pulse.t_s(), pulse.total(), pulse.background()).ok())
            .flatten();
        aligned.map_or(Samples::Together(pulse), Samples::InTurn)
    }
    fn trace(&self) -> Result<Trace<'_>, TraceFault> {
        match self {
            Samples::Together(pulse) => Trace::new(Times::of(pulse.t_s()), pulse.total(), pulse.background()),
            Samples::InTurn(aligned) => aligned.trace(),
        }
    }
}

/// The response of a pulse by a method within its own limits, in the unit of the method's response; `None` where it says
/// nothing.
pub fn response_of(pulse: &Pulse, method: &ResolvedMethod) -> Option<f64> {
    respond_to_pulse(pulse, method, None).ok().map(|responded| responded.response)
}

/// What one reading says.
///
/// # Arguments
/// * `limits`: in place of those of the method.
///
/// # Errors
/// Why it says nothing, in words.
pub fn reduce_one(
    package: &DataPackage,
    method: &ResolvedMethod,
    reading: &Reading,
    limits: Option<Limits>,
) -> Result<Responded, String> {
    match &reading.signal {
        Signal::Failed { why } => Err(why.to_string()),
        Signal::Bare(response) => Ok(Responded {
            response: response.value().si(),
            u_noise: None,
            pulse: None,
            steady: None,
            restored: None,
            limits: None,
        }),
        Signal::Pulse(digest) => {
            let pulse = package.pulses.get(digest).ok_or("its pulse is not in the package")?;
            respond_to_pulse(pulse, method, limits)
        }
    }
}

fn window(plan: &PulseWindow) -> Window {
    Window {
        baseline_from_s: plan.baseline_from.value().si(),
        baseline_to_s: plan.baseline_to.value().si(),
        from_s: plan.from.value().si(),
        to_s: plan.to.value().si(),
    }
}

fn respond_to_pulse(pulse: &Pulse, method: &ResolvedMethod, limits: Option<Limits>) -> Result<Responded, String> {
    let plan = method.response.window.as_ref().ok_or("the method names no window for pulses")?;
    let (from_s, to_s) = (plan.from.value().si(), plan.to.value().si());
    if method.response.kind == ResponseKind::Absorbance {
        let steady = steady(pulse, from_s, to_s).map_err(|fault| fault.to_string())?;
        let (response, u_noise) = (steady.mean_absorbance, Some(steady.u_mean));
        return Ok(Responded { response, u_noise, pulse: None, steady: Some(steady), restored: None, limits: None });
    }
    let mut window = window(plan);
    if let Some(limits) = limits {
        (window.from_s, window.to_s) = (limits.from_s, limits.to_s);
    }
    let figures =
        examine(pulse.t_s(), pulse.total(), pulse.background(), &window).map_err(|fault| fault.to_string())?;
    let reduced = &figures.reduced;
    let (response, u_noise) = match method.response.kind {
        ResponseKind::PeakAbsorbance => (reduced.peak_absorbance, reduced.u_peak),
        ResponseKind::IntegratedAbsorbance | ResponseKind::Absorbance => {
            (reduced.integrated_absorbance, reduced.u_integrated)
        }
    };
    let curve = method.background.as_ref().and_then(|background| background.roll_over.as_ref());
    if let Some(curve) = curve.filter(|_| method.response.kind == ResponseKind::IntegratedAbsorbance) {
        return restore(pulse, &window, curve, figures, limits);
    }
    Ok(Responded { response, u_noise: Some(u_noise), pulse: Some(figures), steady: None, restored: None, limits })
}

/// The area along both branches of the curve in place of the area as measured.
fn restore(
    pulse: &Pulse,
    window: &Window,
    curve: &RollOverCurve,
    figures: PulseFigures,
    limits: Option<Limits>,
) -> Result<Responded, String> {
    let measured = MeasuredCurve {
        net_at_roll_over: curve.net_absorbance.value().si(),
        u_net_at_roll_over: curve.u_net_absorbance.value().si(),
        sensitivity_ratio: curve.sensitivity_ratio.value().si(),
        u_sensitivity_ratio: curve.u_sensitivity_ratio.value().si(),
    };
    if let (Some(middle), Some(samples)) = (&curve.middle_field, pulse.middle()) {
        return join(
            pulse,
            samples,
            window,
            MeasuredFields {
                curve: measured,
                left_at_middle: middle.leaves.value().si(),
                u_left_at_middle: middle.u_leaves.value().si(),
            },
            figures,
            limits,
        );
    }
    let found = restored_area_of(pulse.t_s(), pulse.total(), pulse.background(), window, &measured)
        .map_err(|fault| fault.to_string())?
        .ok_or("it cannot be read along the roll-over that the method gives")?;
    let restored = RestoredPulse {
        measured: figures.reduced.integrated_absorbance,
        by_roll_over: found.by_roll_over,
        by_sensitivity_ratio: found.by_sensitivity_ratio,
        by_left_at_middle: 0.0,
        dip_s: found.dip_s,
        ranges: None,
    };
    Ok(Responded {
        response: found.area,
        u_noise: Some(found.u_noise),
        pulse: Some(figures),
        steady: None,
        restored: Some(restored),
        limits,
    })
}

/// Both ranges of a pulse with three channels as one response.
fn join(
    pulse: &Pulse,
    middle: &[f32],
    window: &Window,
    fields: MeasuredFields,
    figures: PulseFigures,
    limits: Option<Limits>,
) -> Result<Responded, String> {
    let found = joined_area(pulse.t_s(), pulse.total(), middle, pulse.background(), window, &fields)
        .map_err(|fault| fault.to_string())?
        .ok_or("its two ranges cannot be read along the curve that the method gives")?;
    let restored = RestoredPulse {
        measured: figures.reduced.integrated_absorbance,
        by_roll_over: found.by_roll_over,
        by_sensitivity_ratio: found.by_sensitivity_ratio,
        by_left_at_middle: found.by_left_at_middle,
        dip_s: found.dip_s,
        ranges: Some(Ranges {
            sensitive: found.sensitive,
            reduced: found.reduced,
            weight_sensitive: found.weight_sensitive,
            zeta: found.zeta,
        }),
    };
    Ok(Responded {
        response: found.area,
        u_noise: Some(found.u_noise),
        pulse: Some(figures),
        steady: None,
        restored: Some(restored),
        limits,
    })
}

fn steady(pulse: &Pulse, from_s: f64, to_s: f64) -> Result<Steady, TraceFault> {
    let (t_s, total, background) = (pulse.t_s(), pulse.total(), pulse.background());
    if InTurn::is(total, background) {
        return reduce_steady(&InTurn::align(t_s, total, background)?.trace()?, from_s, to_s);
    }
    reduce_steady(&Trace::new(Times::of(t_s), total, background)?, from_s, to_s)
}
