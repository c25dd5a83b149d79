//! First stage: a reading becomes a response, and decisions say which responses count.

use std::collections::{BTreeMap, BTreeSet};

use darkline_metrology::kind::Kind;
use darkline_record::decision::Decision;
use darkline_record::identity::ReadingId;
use darkline_record::method::{ResolvedMethod, ResponseKind};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, RowHolds, Run, Signal};
use darkline_signal::{InTurn, PulseFigures, Steady, Times, Trace, TraceFault, Window, examine, reduce_steady};
use rayon::prelude::*;

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
                Signal::Pulse(digest) => memory.recall(digest, &method.id).cloned(),
                _ => None,
            };
            let response =
                remembered.unwrap_or_else(|| (procedure.reduce)(package, method, reading)).and_then(|responded| {
                    if lacks_mass(package, run, method, reading) {
                        Err("no mass was noted of the portion that was weighed in".to_owned())
                    } else {
                        Ok(responded)
                    }
                });
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

/// What one reading says.
///
/// # Errors
/// Why it says nothing, in words.
pub fn reduce_one(package: &DataPackage, method: &ResolvedMethod, reading: &Reading) -> Result<Responded, String> {
    match &reading.signal {
        Signal::Failed { why } => Err(why.to_string()),
        Signal::Bare(response) => {
            Ok(Responded { response: response.value().si(), u_noise: None, pulse: None, steady: None })
        }
        Signal::Pulse(digest) => {
            let pulse = package.pulses.get(digest).ok_or("its pulse is not in the package")?;
            respond_to_pulse(pulse, method)
        }
    }
}

/// The response of a pulse by a method, in the unit of the method's response; `None` where it says nothing.
pub fn response_of(pulse: &Pulse, method: &ResolvedMethod) -> Option<f64> {
    respond_to_pulse(pulse, method).ok().map(|responded| responded.response)
}

fn respond_to_pulse(pulse: &Pulse, method: &ResolvedMethod) -> Result<Responded, String> {
    let plan = method.response.window.as_ref().ok_or("the method names no window for pulses")?;
    let (from_s, to_s) = (plan.from.value().si(), plan.to.value().si());
    if method.response.kind == ResponseKind::Absorbance {
        let steady = steady(pulse, from_s, to_s).map_err(|fault| fault.to_string())?;
        let (response, u_noise) = (steady.mean_absorbance, Some(steady.u_mean));
        return Ok(Responded { response, u_noise, pulse: None, steady: Some(steady) });
    }
    let (baseline_from_s, baseline_to_s) = (plan.baseline_from.value().si(), plan.baseline_to.value().si());
    let window = Window { baseline_from_s, baseline_to_s, from_s, to_s };
    let figures =
        examine(pulse.t_s(), pulse.total(), pulse.background(), &window).map_err(|fault| fault.to_string())?;
    let reduced = &figures.reduced;
    let (response, u_noise) = match method.response.kind {
        ResponseKind::PeakAbsorbance => (reduced.peak_absorbance, reduced.u_peak),
        ResponseKind::IntegratedAbsorbance | ResponseKind::Absorbance => {
            (reduced.integrated_absorbance, reduced.u_integrated)
        }
    };
    Ok(Responded { response, u_noise: Some(u_noise), pulse: Some(figures), steady: None })
}

fn steady(pulse: &Pulse, from_s: f64, to_s: f64) -> Result<Steady, TraceFault> {
    let (t_s, total, background) = (pulse.t_s(), pulse.total(), pulse.background());
    if InTurn::is(total, background) {
        return reduce_steady(&InTurn::align(t_s, total, background)?.trace()?, from_s, to_s);
    }
    reduce_steady(&Trace::new(Times::of(t_s), total, background)?, from_s, to_s)
}
