//! The choice of a calibration function by the evidence of the standards, among those the method allows.
//!
//! [`choose`] weighs every candidate by what its standards show: lack of fit, the pattern of the residuals, standards read
//! back, corrected information. A person may overrule what it chooses, with a reason, within what the method allows.

use darkline_calibration::calibration_function::{CalibrationFunction, CalibrationModel as Function};
use darkline_calibration::choice::{self, Because, Candidate, Choice};
use darkline_calibration::level::levels;
use darkline_calibration::mandel::Mandel;
use darkline_calibration::point::{Dispersion, Point};
use darkline_calibration::residual_runs::ResidualRuns;
use darkline_metrology::kind::Kind;
use darkline_record::decision::Decision;
use darkline_record::identity::RunId;
use darkline_record::method::{CalibrationModel, ResolvedMethod};

use crate::outcome::{CandidateOutcome, ChoiceOutcome, OverruledOutcome, ReadBackOutcome, RunsOutcome, TestOutcome};

/// The function of the calibration crate that a method's words name.
pub fn function_of(model: CalibrationModel) -> Function {
    match model {
        CalibrationModel::StraightLine => Function::Line,
        CalibrationModel::ThroughOrigin => Function::Proportional,
        CalibrationModel::Quadratic => Function::Quadratic,
        CalibrationModel::QuadraticThroughOrigin => Function::QuadraticThroughOrigin,
        CalibrationModel::Hyperbola => Function::Hyperbola,
        CalibrationModel::HyperbolaWithOffset => Function::HyperbolaWithOffset,
        CalibrationModel::Rational => Function::Rational,
        CalibrationModel::UnabsorbedLight => Function::UnabsorbedLight,
    }
}

/// The words of a method for a function of the calibration crate.
pub fn model_of(function: Function) -> CalibrationModel {
    CalibrationModel::ALL
        .into_iter()
        .find(|model| function_of(*model) == function)
        .expect("every function has its words in methods")
}

/// The function that a person wants for a run: the last decision about it stands.
pub fn overruled<'d>(decisions: &'d [Decision], run: &RunId) -> Option<(CalibrationModel, &'d str)> {
    decisions.iter().rev().find_map(|decision| match decision {
        Decision::ChooseModel { run: of, model, reason } if of == run => Some((*model, reason.as_str())),
        _ => None,
    })
}

/// Chooses among the functions a method allows; a person's choice stands above the evidence.
///
/// Candidates that read a standard back outside the tolerance are passed over where another keeps within it.
///
/// # Arguments
/// * `unit`: turns an amount in SI into the unit of the standards.
///
/// # Errors
/// Why nothing can be chosen.
///
/// # Source
/// [`darkline_calibration::choice::choose`] for what decides; the tolerance is `back_calculated` of the method's
/// limits.
pub fn choose(
    method: &ResolvedMethod,
    points: &[Point],
    dispersion: Dispersion,
    by_hand: Option<(CalibrationModel, &str)>,
    unit: impl Fn(f64) -> f64,
) -> Result<(CalibrationModel, ChoiceOutcome), String> {
    let allowed: Vec<Function> = method.calibration.model.allowed().iter().copied().map(function_of).collect();
    let tolerance = method.limits.back_calculated.as_ref().map(|tolerance| tolerance.value().si());
    let (all, chosen) = match choice::choose(&allowed, points, dispersion) {
        Ok(choice) => within_tolerance(choice, points, dispersion, tolerance),
        Err(none) => {
            let why = none.to_string();
            (none.candidates, Err(why))
        }
    };
    let by_hand = by_hand.filter(|(model, _)| allowed.contains(&function_of(*model)));
    let (by_evidence, because, passed_over) = match &chosen {
        Ok(chosen) => (Some(chosen.model), Some(chosen.because), chosen.passed_over_for_lack_of_fit),
        Err(_) => (None, None, false),
    };
    let taken = match (by_hand, chosen) {
        (Some((model, _)), _) => model,
        (None, Ok(chosen)) => model_of(chosen.model),
        (None, Err(why)) => return Err(why),
    };
    let squares = |wanted: Function| {
        let candidate = all.iter().find(|candidate| candidate.model == wanted)?;
        candidate.function.as_ref().ok().map(|function| function.sum_of_squares())
    };
    let mandel = squares(Function::Line)
        .zip(squares(Function::Quadratic))
        .and_then(|(line, quadratic)| Mandel::of(line, quadratic, points.len()))
        .map(|test| TestOutcome { f: test.f, dof_1: 1.0, dof_2: test.dof, p: test.p });
    let candidates = all.iter().map(|candidate| candidate_outcome(candidate, points, tolerance, &unit)).collect();
    let outcome = ChoiceOutcome {
        candidates,
        by_evidence: by_evidence.map(|function| model_of(function).words().into()),
        because: because.map(|because| {
            match because {
                Because::OnlyOne => "only-one",
                Because::LeastInformation => "least-information",
                Because::SimplerAndAsGood => "simpler-and-as-good",
            }
            .into()
        }),
        passed_over_for_lack_of_fit: passed_over,
        tolerance,
        mandel,
        overruled: by_hand
            .map(|(model, reason)| OverruledOutcome { model: model.words().into(), reason: reason.into() }),
    };
    Ok((taken, outcome))
}

struct Chosen {
    model: Function,
    because: Because,
    passed_over_for_lack_of_fit: bool,
}

/// Chooses again among those that keep within the tolerance, where some do and some do not.
fn within_tolerance(
    choice: Choice,
    points: &[Point],
    dispersion: Dispersion,
    tolerance: Option<f64>,
) -> (Vec<Candidate>, Result<Chosen, String>) {
    let of = |choice: &Choice| Chosen {
        model: choice.candidate().model,
        because: choice.because,
        passed_over_for_lack_of_fit: choice.passed_over_for_lack_of_fit,
    };
    let mut chosen = of(&choice);
    if let Some(tolerance) = tolerance {
        let keeps = |candidate: &&Candidate| {
            candidate.is_eligible()
                && candidate.function.as_ref().is_ok_and(|function| {
                    worst_read_back(function.as_ref(), points).is_some_and(|(_, error)| error.abs() <= tolerance)
                })
        };
        let kept: Vec<Function> = choice.candidates.iter().filter(keeps).map(|candidate| candidate.model).collect();
        if !kept.is_empty()
            && !kept.contains(&chosen.model)
            && let Ok(again) = choice::choose(&kept, points, dispersion)
        {
            chosen = of(&again);
        }
    }
    (choice.candidates, Ok(chosen))
}

/// The standard that is read back farthest from its amount, relative, by the mean of its readings; one without analyte has
/// no relative error.
fn worst_read_back(function: &dyn CalibrationFunction, points: &[Point]) -> Option<(f64, f64)> {
    let mut worst: Option<(f64, f64)> = None;
    for level in levels(points).iter().filter(|level| level.amount.si() > 0.0) {
        let amount = level.amount.si();
        let error = match function.amount(level.mean()?) {
            Ok(found) => found.si() / amount - 1.0,
            // Not to be read back at all is farther off than any figure; the candidate keeps to no tolerance.
            Err(_) => return None,
        };
        if worst.is_none_or(|(_, so_far)| error.abs() > so_far.abs()) {
            worst = Some((amount, error));
        }
    }
    worst
}

fn candidate_outcome(
    candidate: &Candidate,
    points: &[Point],
    tolerance: Option<f64>,
    unit: &impl Fn(f64) -> f64,
) -> CandidateOutcome {
    let function = candidate.function.as_ref().ok();
    let why_not = match (&candidate.function, &candidate.rises) {
        (Err(why), _) => Some(why.to_string()),
        (_, Err(why)) => Some(why.to_string()),
        _ if candidate.corrected_information.is_none() => Some("too few points, or none left over".into()),
        _ => None,
    };
    let worst = function.and_then(|function| worst_read_back(function.as_ref(), points));
    CandidateOutcome {
        model: model_of(candidate.model).words().into(),
        n_parameters: candidate.model.n_parameters(),
        why_not,
        corrected_information: candidate.corrected_information,
        lack_of_fit: candidate.lack_of_fit.as_ref().ok().map(|test| TestOutcome {
            f: test.f,
            dof_1: test.dof_lack,
            dof_2: test.dof_pure_error,
            p: test.p,
        }),
        residual_runs: function
            .and_then(|function| ResidualRuns::of(function.as_ref(), points))
            .map(|found| RunsOutcome { runs: found.runs, n_above: found.n_above, n_below: found.n_below, p: found.p }),
        within_tolerance: tolerance.zip(worst).map(|(tolerance, (_, error))| error.abs() <= tolerance),
        worst_read_back: worst.map(|(amount, error)| ReadBackOutcome { amount: unit(amount), error }),
    }
}
