//! The stages strung together: from a data package and its decisions to the outcome.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::line::Line;
use darkline_metrology::kind::{Kind, MassConcentration, Sensitivity, Unit};
use darkline_metrology::model::Model;
use darkline_quality::cost::{Cost, cost};
use darkline_quality::flag::Flag;
use darkline_record::decision::{Decision, Subject};
use darkline_record::identity::{Edition, SampleId};
use darkline_record::method::{Amounts, CalibrationModel, ResolvedMethod};
use darkline_record::order::Requested;
use darkline_record::package::DataPackage;
use darkline_record::run::RowHolds;

use crate::calibrating::{Calibrated, parameter_shown, slope_unit, standards_unit};
use crate::flagging::{RunWorked, controls};
use crate::live::Memory;
use crate::outcome::{
    CalibrationOutcome, FlagOutcome, LineOutcome, Outcome, ParameterOutcome, PointOutcome, ReadingOutcome,
    ResultOutcome, RunOutcome, SolutionOutcome, SumOutcome,
};
use crate::procedure::{EDITIONS, Procedure, of_edition};
use crate::stating::SampleWorked;
use crate::summing::SummandWorked;

/// A package names an edition that this program does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "this package was evaluated with edition {edition}; this program has the editions {known}: a program that has it is needed"
)]
pub struct UnknownEdition {
    /// The edition named.
    pub edition: Edition,
    /// The editions this program has.
    pub known: String,
}

/// Works out what follows from a data package and the decisions about it, in the order they were made.
///
/// # Errors
/// [`UnknownEdition`]. Poor data is no error: it becomes flags.
pub fn evaluate(package: &DataPackage, decisions: &[Decision]) -> Result<Outcome, UnknownEdition> {
    Ok(evaluate_by(procedure_of(package)?, package, decisions))
}

/// The same by a procedure of the caller's: for trying a new edition beside the one a package names.
pub fn evaluate_by(procedure: &Procedure, package: &DataPackage, decisions: &[Decision]) -> Outcome {
    let model = Model::new();
    let worked = Worked::new(&model, procedure, package, decisions, &Memory::default());
    worked.outcome(&model, procedure, package)
}

pub(crate) fn procedure_of(package: &DataPackage) -> Result<&'static Procedure, UnknownEdition> {
    of_edition(package.edition).ok_or_else(|| UnknownEdition {
        edition: package.edition,
        known: EDITIONS.iter().map(|procedure| procedure.edition.to_string()).collect::<Vec<_>>().join(", "),
    })
}

/// Everything the stages worked out, with the terms still on the tape.
pub(crate) struct Worked<'p, 'm> {
    pub runs: Vec<RunWorked<'p, 'm>>,
    pub samples: Vec<(&'p Requested, &'p SampleId, &'p ResolvedMethod, SampleWorked<'m>)>,
    pub flags: Vec<FlagOutcome>,
}

impl<'p, 'm> Worked<'p, 'm> {
    pub fn new(
        model: &'m Model,
        procedure: &Procedure,
        package: &'p DataPackage,
        decisions: &[Decision],
        memory: &Memory,
    ) -> Self {
        let mut runs = Vec::new();
        for run in &package.runs {
            // The door lets no run in whose method is missing.
            let Some(method) = package.method(&run.method) else { continue };
            let measured = (procedure.respond)(procedure, package, run, method, decisions, memory);
            let calibrated = (procedure.calibrate)(model, run, method, &measured, decisions);
            let limits = (procedure.detect)(package, run, method, &measured, &calibrated);
            let solutions = (procedure.quantify)(model, package, run, method, &measured, &calibrated);
            let portions = (procedure.combine)(model, package, run, method, &solutions);
            runs.push(RunWorked { run, method, measured, calibrated, limits, solutions, portions });
        }
        let flags: Vec<Flag> =
            runs.iter().flat_map(|worked| (procedure.look)(model, package, worked, procedure.rules)).collect();
        let mut flags = (procedure.settle)(flags, decisions);
        for outcome in &mut flags {
            outcome.costs = costs(&runs, &outcome.flag);
        }
        let mut samples = Vec::new();
        for requested in &package.order.analytes {
            let Some(method) = package.method(&requested.method) else { continue };
            for sample in &package.order.samples {
                let worked = (procedure.gather)(model, package, &runs, &sample.id, method);
                samples.push((requested, &sample.id, method, worked));
            }
        }
        Self { runs, samples, flags }
    }

    pub fn outcome(self, model: &'m Model, procedure: &Procedure, package: &DataPackage) -> Outcome {
        let all_controls_read = self.runs.iter().all(|worked| controls_are_read(package, worked));
        let controls_passed = all_controls_read && !self.flags.iter().any(FlagOutcome::stops);
        let results: Vec<ResultOutcome> = self
            .samples
            .iter()
            .map(|(requested, sample, method, worked)| {
                (procedure.state)(model, requested, sample, method, worked, &self.flags, controls_passed)
            })
            .collect();
        let sums = self.sums(model, procedure, package, &results, controls_passed);
        Outcome {
            edition: procedure.edition,
            package: package.digest(),
            order: package.order.id.clone(),
            results,
            sums,
            runs: self.runs.iter().map(|worked| run_outcome(model, package, worked)).collect(),
            flags: self.flags,
            controls_passed,
        }
    }
}

impl<'m> Worked<'_, 'm> {
    /// The sums of the order: one of the parts it names, or one a sample.
    fn sums(
        &self,
        model: &'m Model,
        procedure: &Procedure,
        package: &DataPackage,
        results: &[ResultOutcome],
        controls_passed: bool,
    ) -> Vec<SumOutcome> {
        let mut sums = Vec::new();
        for of in &package.order.sums {
            let each: Vec<Vec<SampleId>> = match of.parts.as_slice() {
                [] => package.order.samples.iter().map(|sample| vec![sample.id.clone()]).collect(),
                parts => vec![parts.to_vec()],
            };
            for samples in each {
                let wanted = samples.iter().flat_map(|sample| of.elements.iter().map(move |element| (sample, element)));
                let summands: Vec<SummandWorked<'_, 'm>> = wanted
                    .filter_map(|(sample, element)| {
                        let place =
                            results.iter().position(|result| result.sample == *sample && result.element == *element)?;
                        let (_, _, method, worked) = &self.samples[place];
                        Some(SummandWorked { method, worked, result: &results[place] })
                    })
                    .collect();
                sums.extend((procedure.sum)(model, of, &samples, &summands, controls_passed));
            }
        }
        sums
    }
}

/// What each next step of a flag costs; nothing for what is not measured in a run.
fn costs(runs: &[RunWorked<'_, '_>], flag: &Flag) -> Vec<Option<Cost>> {
    let of = match &flag.id.subject {
        Subject::Reading(reading) => &reading.run,
        Subject::Row(row) => &row.run,
        Subject::Run(run) => run,
        Subject::Batch(_) => return vec![None; flag.next.len()],
    };
    let Some(worked) = runs.iter().find(|worked| worked.run.id == *of) else { return vec![None; flag.next.len()] };
    flag.next.iter().map(|step| cost(worked.run, worked.method, &flag.id.subject, step)).collect()
}

/// Whether every check, blank and control that the run order plans has brought an amount.
fn controls_are_read(package: &DataPackage, worked: &RunWorked<'_, '_>) -> bool {
    use darkline_record::preparation::PortionRole;
    worked.solutions.iter().filter(|solution| !solution.replaced).all(|solution| {
        let is_control = match worked.run.row(solution.row).map(|row| &row.holds) {
            Some(RowHolds::Check { .. } | RowHolds::CheckBlank) => true,
            Some(RowHolds::Portion { batch, portion, .. }) => package
                .portion(batch, portion)
                .is_some_and(|portion| !matches!(portion.role, PortionRole::Sample { .. })),
            _ => false,
        };
        !is_control || solution.amount.is_some()
    })
}

fn run_outcome(model: &Model, package: &DataPackage, worked: &RunWorked<'_, '_>) -> RunOutcome {
    let unit = standards_unit(worked.run);
    let readings = worked
        .measured
        .iter()
        .map(|measured| {
            let responded = measured.response.as_ref().ok();
            ReadingOutcome {
                reading: worked.run.reading_id(measured.number),
                row: measured.row,
                replicate: measured.replicate,
                attempt: measured.attempt,
                response: responded.map(|responded| responded.response),
                u_noise: responded.and_then(|responded| responded.u_noise),
                background_max: responded.and_then(|responded| {
                    let of_pulse = responded.pulse.as_ref().map(|pulse| pulse.reduced.background_max);
                    of_pulse.or(responded.steady.map(|steady| steady.background_max))
                }),
                pulse: responded.and_then(|responded| responded.pulse.clone()),
                steady: responded.and_then(|responded| responded.steady),
                restored: responded.and_then(|responded| responded.restored),
                fault: measured.response.as_ref().err().cloned(),
                rejected: measured.rejected,
                counts: measured.counts,
            }
        })
        .collect();
    let solutions = worked
        .solutions
        .iter()
        .filter_map(|solution| {
            let row = worked.run.row(solution.row)?;
            let estimate = solution.amount.map(|amount| model.first_order(amount));
            Some(SolutionOutcome {
                row: solution.row,
                name: row.name.clone(),
                holds: role_words(package, &row.holds).into(),
                n_counted: solution.counted.len(),
                n_planned: solution.planned,
                mean_response: solution.mean_response,
                amount: estimate.as_ref().map(|estimate| unit.read(estimate.value)).filter(|amount| amount.is_finite()),
                u_amount: estimate.as_ref().map(|estimate| unit.read_si(estimate.u())).filter(|u| u.is_finite()),
                replaced: solution.replaced,
            })
        })
        .collect();
    RunOutcome {
        run: worked.run.id.clone(),
        method: worked.method.id.clone(),
        response_unit: worked.method.response.kind.unit_symbol().into(),
        amount_unit: unit.symbol().into(),
        integration_limits: worked
            .measured
            .iter()
            .find_map(|measured| measured.response.as_ref().ok().and_then(|responded| responded.limits)),
        readings,
        calibration: calibration_outcome(worked),
        limits: worked.limits.clone(),
        solutions,
        controls: controls(model, package, worked),
        solids: crate::solids::outcomes(model, package, worked),
    }
}

/// What a row holds, in the word of its portion's role where it holds a portion.
fn role_words(package: &DataPackage, holds: &RowHolds) -> &'static str {
    match holds {
        RowHolds::Portion { batch, portion, .. } => {
            package.portion(batch, portion).map_or("portion", |portion| portion.role.word())
        }
        other => other.word(),
    }
}

fn calibration_outcome(worked: &RunWorked<'_, '_>) -> Option<CalibrationOutcome> {
    let Calibrated::Fitted(curve) = &worked.calibrated else { return None };
    let amounts = standards_unit(worked.run);
    let slopes = slope_unit(worked.method.response.kind, amounts);
    let function = curve.function.as_ref();
    let points = curve
        .points
        .iter()
        .map(|point| PointOutcome {
            reading: worked.run.reading_id(point.number),
            row: point.row,
            amount: amounts.read(point.amount),
            response: point.response.si(),
            weight: point.weight,
            residual: point.response.si() - function.response(point.amount).si(),
        })
        .collect();
    let responses = worked.method.response.kind.unit_symbol();
    let is_line = curve.model == CalibrationModel::StraightLine;
    let parameters = if is_line { Vec::new() } else { function.parameters() };
    Some(CalibrationOutcome {
        model: curve.model.words().into(),
        weights: worked.method.calibration.weights.described(),
        amounts: worked.method.calibration.amounts,
        slope_unit: slopes.symbol().into(),
        n_points: function.n_points(),
        line: curve.line.as_ref().map(|line| match worked.method.calibration.amounts {
            Amounts::Exact => line_outcome(line, slopes),
            Amounts::Uncertain => line_in_both(line, function, slopes),
        }),
        parameters: parameters
            .iter()
            .map(|parameter| {
                let (value, u, unit) = parameter_shown(parameter, curve.model, responses, amounts);
                ParameterOutcome { name: parameter.name.into(), value, u, unit }
            })
            .collect(),
        residual_sd: function.residual_sd().map(Kind::si),
        dof: function.dof(),
        points,
        drawn: if is_line { Vec::new() } else { drawn(function, amounts) },
        choice: curve.choice.clone(),
    })
}

fn line_outcome(line: &Line, slopes: Unit<Sensitivity>) -> LineOutcome {
    LineOutcome {
        intercept: line.intercept.si(),
        u_intercept: line.u_intercept.si(),
        slope: slopes.read(line.slope),
        u_slope: slopes.read(line.u_slope),
        correlation: line.correlation,
        r: line.r,
    }
}

/// The coefficients of the line of least distances; r is that of the points, which know no line.
fn line_in_both(line: &Line, function: &dyn CalibrationFunction, slopes: Unit<Sensitivity>) -> LineOutcome {
    let (parameters, covariance) = (function.parameters(), function.covariance());
    let ([intercept, slope], Some([_, both, ..])) = (parameters.as_slice(), covariance.as_deref()) else {
        return line_outcome(line, slopes);
    };
    let (u_intercept, u_slope) = (intercept.u.unwrap_or(0.0), slope.u.unwrap_or(0.0));
    LineOutcome {
        intercept: intercept.value,
        u_intercept,
        slope: slopes.read_si(slope.value),
        u_slope: slopes.read_si(u_slope),
        correlation: if u_intercept * u_slope > 0.0 { both / (u_intercept * u_slope) } else { 0.0 },
        r: line.r,
    }
}

/// A curve in so many steps that its bend is seen on paper.
fn drawn(function: &dyn CalibrationFunction, amounts: Unit<MassConcentration>) -> Vec<(f64, f64)> {
    const STEPS: i32 = 40;
    let range = function.range();
    let low = range.low.si().min(0.0);
    (0..=STEPS)
        .map(|step| {
            let amount = low + (range.high.si() - low) * f64::from(step) / f64::from(STEPS);
            let response = function.response(MassConcentration::from_si(amount)).si();
            (amounts.read_si(amount), response)
        })
        .filter(|(_, response)| response.is_finite())
        .collect()
}
