//! Fifth stage: the rules look at each run, and decisions settle what they saw.

use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::model::Model;
use darkline_metrology::summary;
use darkline_quality::rule::Rule;
use darkline_quality::view::{
    RunView, SeenCalibration, SeenControl, SeenControlKind, SeenLevel, SeenReading, SeenResult, SeenSolution,
};
use darkline_record::decision::Decision;
use darkline_record::method::{OfSamples, ResolvedMethod};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{RowHolds, Run};
use darkline_signal::shape_of_standards::ShapeOfStandards;

use crate::calibrating::{Calibrated, standards_unit};
use crate::combining::PortionResult;
use crate::outcome::{ControlKind, ControlOutcome, FlagOutcome, FlagState, LimitsOutcome};
use crate::quantifying::Solution;
use crate::responses::Measured;

/// What the stages before have worked out of one run.
#[derive(Debug)]
pub struct RunWorked<'p, 'm> {
    /// The run.
    pub run: &'p Run,
    /// Its method.
    pub method: &'p ResolvedMethod,
    /// Its readings.
    pub measured: Vec<Measured>,
    /// Its calibration.
    pub calibrated: Calibrated<'m>,
    /// Its limits, where the method has them worked out.
    pub limits: Option<LimitsOutcome>,
    /// Its solutions.
    pub solutions: Vec<Solution<'m>>,
    /// The results of its portions.
    pub portions: Vec<PortionResult<'m>>,
}

/// Lets the rules look at a run.
pub fn look(
    model: &Model,
    package: &DataPackage,
    worked: &RunWorked<'_, '_>,
    rules: &[Rule],
) -> Vec<darkline_quality::flag::Flag> {
    let readings: Vec<SeenReading> = {
        let mut readings: Vec<SeenReading> = worked
            .measured
            .iter()
            .map(|measured| SeenReading {
                number: measured.number,
                home: measured.home,
                row: measured.row,
                replicate: measured.replicate,
                response: measured.response.as_ref().ok().map(|responded| responded.response),
                // An attempt that was repeated is superseded; what it failed of no longer matters.
                fault: measured.response.as_ref().err().filter(|_| is_last_attempt(worked, measured)).cloned(),
                counts: measured.counts,
                rejected: measured.rejected,
                u_noise: measured.response.as_ref().ok().and_then(|responded| responded.u_noise),
                pulse: measured.response.as_ref().ok().and_then(|responded| responded.pulse.clone()),
                steady: measured.response.as_ref().ok().and_then(|responded| responded.steady),
                restored: measured.response.as_ref().ok().and_then(|responded| responded.restored),
            })
            .collect();
        readings.sort_by_key(|reading| reading.number);
        readings
    };
    let solutions: Vec<SeenSolution<'_>> = worked
        .solutions
        .iter()
        .filter_map(|solution| {
            let row = worked.run.row(solution.row)?;
            let role = match &row.holds {
                RowHolds::Portion { batch, portion, .. } => {
                    package.portion(batch, portion).map(|portion| &portion.role)
                }
                _ => None,
            };
            let estimate = solution.amount.map(|amount| model.first_order(amount));
            Some(SeenSolution {
                row: solution.row,
                name: &row.name,
                holds: &row.holds,
                role,
                replaced: solution.replaced,
                planned: solution.planned,
                wanted: solution.wanted,
                counted: solution.counted.clone(),
                mean_response: solution.mean_response,
                amount: estimate.as_ref().map(|estimate| estimate.value.si()),
                u_amount: estimate.as_ref().map(darkline_metrology::estimate::Estimate::u),
                unread: solution.unread.as_deref(),
            })
        })
        .collect();
    let controls: Vec<SeenControl> =
        controls(model, package, worked).into_iter().filter_map(|control| seen_control(package, control)).collect();
    let results: Vec<SeenResult> = worked
        .portions
        .iter()
        .map(|result| SeenResult {
            row: result.row,
            batch: result.batch.clone(),
            portion: result.portion.clone(),
            solution: result.solution.value().si(),
            value: result
                .result
                .and_then(|term| term.value(&worked.method.result.unit))
                .filter(|value| value.is_finite()),
        })
        .collect();
    let calibration = seen_calibration(worked);
    let shape_of_standards = ShapeOfStandards::of(
        worked
            .measured
            .iter()
            .filter(|measured| measured.counts && is_standard(worked.run, measured.home))
            .filter_map(|measured| measured.response.as_ref().ok())
            .filter(|responded| responded.restored.is_none_or(|restored| restored.dip_s.is_none()))
            .filter_map(|responded| responded.pulse.as_ref()),
    );
    let view = RunView {
        package,
        run: worked.run,
        method: worked.method,
        readings: &readings,
        solutions: &solutions,
        controls: &controls,
        results: &results,
        calibration: &calibration,
        shape_of_standards: shape_of_standards.as_ref(),
    };
    rules.iter().flat_map(|rule| (rule.see)(&view)).collect()
}

fn seen_control(package: &DataPackage, control: ControlOutcome) -> Option<SeenControl> {
    let (batch, portion) = control.portion?;
    let (kind, assigned, unit) = match control.control {
        ControlKind::ControlSample => {
            let PortionRole::Control { assigned, .. } = &package.portion(&batch, &portion)?.role else { return None };
            (SeenControlKind::Sample, control.should_be?, assigned.unit_symbol())
        }
        ControlKind::SpikeRecovery => (SeenControlKind::Spike, 100.0, "%"),
        ControlKind::Duplicates => (SeenControlKind::Duplicates, 0.0, "%"),
        ControlKind::CheckStandard | ControlKind::CheckBlank | ControlKind::MethodBlank => return None,
    };
    Some(SeenControl { kind, row: control.row, batch, portion, assigned, found: control.found, unit })
}

fn seen_calibration(worked: &RunWorked<'_, '_>) -> SeenCalibration {
    let curve = match &worked.calibrated {
        Calibrated::NotYet => return SeenCalibration::NotYet,
        Calibrated::Unusable { why } => return SeenCalibration::Unusable { why: why.clone() },
        Calibrated::Fitted(curve) => curve,
    };
    let mut levels: Vec<SeenLevel> = Vec::new();
    for point in &curve.points {
        match levels.iter_mut().find(|level| level.row == point.row) {
            Some(level) => level.responses.push(point.response.si()),
            None => levels.push(SeenLevel {
                row: point.row,
                amount: point.amount.si(),
                responses: vec![point.response.si()],
                weight: point.weight,
                fitted: curve.function.response(point.amount).si(),
                read_back: None,
            }),
        }
    }
    for level in &mut levels {
        level.read_back = summary::mean(&level.responses)
            .and_then(|mean| curve.function.amount(Response::from_si(mean)).ok())
            .map(Kind::si)
            .filter(|amount| amount.is_finite());
    }
    SeenCalibration::Fitted {
        top_amount: curve.top_amount.si(),
        slope: curve.function.sensitivity(MassConcentration::from_si(0.0)).si(),
        n_parameters: curve.function.model().n_parameters(),
        levels,
    }
}

fn is_standard(run: &Run, row: u32) -> bool {
    matches!(run.row(row).map(|row| &row.holds), Some(RowHolds::Standard { .. }))
}

fn is_last_attempt(worked: &RunWorked<'_, '_>, measured: &Measured) -> bool {
    !worked.measured.iter().any(|other| {
        other.row == measured.row && other.replicate == measured.replicate && other.attempt > measured.attempt
    })
}

/// Settles flags by what people decided; the last decision about a flag stands.
pub fn settle(flags: Vec<darkline_quality::flag::Flag>, decisions: &[Decision]) -> Vec<FlagOutcome> {
    flags
        .into_iter()
        .map(|flag| {
            let mut state = FlagState::Open;
            for decision in decisions {
                match decision {
                    Decision::Justify { flag: about, seen, reason } if *about == flag.id => {
                        state = if *seen == flag.evidence.digest() {
                            FlagState::Justified { reason: reason.to_string() }
                        } else {
                            FlagState::Reopened
                        };
                    }
                    Decision::TakeUp { flag: about, step, .. } if *about == flag.id => {
                        state = FlagState::TakenUp { step: step.clone() };
                    }
                    _ => {}
                }
            }
            FlagOutcome { flag, state, costs: Vec::new() }
        })
        .collect()
}

/// How the controls of a run came out, in the order measured.
///
/// # Source
/// Spike recovery and relative difference of duplicates: SW-846 Method 7010, 9 (from memory).
pub fn controls(model: &Model, package: &DataPackage, worked: &RunWorked<'_, '_>) -> Vec<ControlOutcome> {
    let unit = standards_unit(worked.run);
    let result_unit = worked.method.result.unit.as_str();
    let mut outcomes = Vec::new();
    for solution in worked.solutions.iter().filter(|solution| !solution.replaced) {
        let (Some(row), Some(amount)) = (worked.run.row(solution.row), solution.amount) else { continue };
        let found = unit.read(amount.value());
        let mut add = |control, portion, found: f64, should_be: Option<f64>, unit: &str| {
            if found.is_finite() && should_be.is_none_or(f64::is_finite) {
                let (row, name, unit) = (row.number, row.name.clone(), unit.to_owned());
                outcomes.push(ControlOutcome { control, row, name, portion, found, should_be, unit });
            }
        };
        match &row.holds {
            RowHolds::Check { amount } => {
                add(ControlKind::CheckStandard, None, found, Some(unit.read(amount.value.value())), unit.symbol());
            }
            RowHolds::CheckBlank => add(ControlKind::CheckBlank, None, found, None, unit.symbol()),
            RowHolds::Portion { batch, portion, .. } => {
                let place = Some((batch.clone(), portion.clone()));
                let Some(described) = package.portion(batch, portion) else { continue };
                let Some(own) = worked.portions.iter().find(|result| result.row == row.number) else { continue };
                let value = |result: &PortionResult<'_>| Some(result.result?.estimate(model, result_unit)?.value);
                let original = |of: &darkline_record::identity::PortionId| {
                    worked.portions.iter().find(|result| result.batch == *batch && result.portion == *of)
                };
                match &described.role {
                    PortionRole::Sample { .. } => {}
                    PortionRole::MethodBlank => {
                        add(ControlKind::MethodBlank, place, unit.read(own.solution.value()), None, unit.symbol());
                    }
                    PortionRole::Control { assigned, .. } => {
                        let Some(estimate) =
                            own.result.and_then(|result| result.estimate(model, assigned.unit_symbol()))
                        else {
                            continue;
                        };
                        let should_be = assigned.digits().parse().ok();
                        add(ControlKind::ControlSample, place, estimate.value, should_be, assigned.unit_symbol());
                    }
                    PortionRole::Duplicate { of } => {
                        let (Some(first), Some(second)) = (original(of).and_then(value), value(own)) else { continue };
                        let mean = f64::midpoint(first, second);
                        add(ControlKind::Duplicates, place, 100.0 * (first - second).abs() / mean.abs(), None, "%");
                    }
                    // Spikes that a sample is read by are its calibration; what they recover is in the slope.
                    PortionRole::Spike { .. }
                        if worked.method.calibration.of_samples == OfSamples::StandardAdditions => {}
                    PortionRole::Spike { of, added, .. } => {
                        let Some(recovery) =
                            spike_recovery(package, own, original(of), batch, of, added.value.value().si())
                        else {
                            continue;
                        };
                        add(ControlKind::SpikeRecovery, place, 100.0 * recovery, Some(100.0), "%");
                    }
                }
            }
            RowHolds::CalibrationBlank | RowHolds::Standard { .. } => {}
        }
    }
    outcomes
}

/// The part of the added mass that was found again: mass in the spiked digest, minus what the portion brought itself.
fn spike_recovery(
    package: &DataPackage,
    spiked: &PortionResult<'_>,
    original: Option<&PortionResult<'_>>,
    batch: &darkline_record::identity::BatchId,
    of: &darkline_record::identity::PortionId,
    added: f64,
) -> Option<f64> {
    let original = original?;
    let (with, without) = (package.portion(batch, &spiked.portion)?, package.portion(batch, of)?);
    let mass_found = |result: &PortionResult<'_>, portion: &darkline_record::preparation::Portion| {
        let concentration: MassConcentration = result.solution.value();
        Some(concentration.si() * portion.volume.as_ref()?.value.value().si())
    };
    let native = mass_found(original, without)?;
    let scale = match (&with.mass, &without.mass) {
        (Some(with), Some(without)) => with.value.value().si() / without.value.value().si(),
        _ => 1.0,
    };
    Some((mass_found(spiked, with)? - native * scale) / added)
}
