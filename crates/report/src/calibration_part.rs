//! The calibration in the annex: its coefficients, what decided between functions, and its figure.

use darkline_evaluation::outcome::{CalibrationOutcome, CandidateOutcome, ChoiceOutcome, LimitsOutcome, RunOutcome};
use darkline_record::method::{Additions, OfSamples, ResolvedMethod};

use crate::drawn;
use crate::figure::Medium;
use crate::printed::{RULE, significant};
use crate::test_report::{CalibrationLine, Coefficient, FigureLine};

/// The unit of the responses of a run; empty for a pure number.
pub(crate) fn response_unit(run: &RunOutcome) -> &str {
    if run.response_unit == "1" { "" } else { &run.response_unit }
}

/// How a calibration is called: method line and run.
pub(crate) fn title(run: &RunOutcome, method: &ResolvedMethod) -> String {
    let line = method.line.as_ref().map_or_else(String::new, |line| format!(" at {line}"));
    format!("{}{line}, run {}", method.element, run.run)
}

/// The lines of a calibration.
pub(crate) fn line(run: &RunOutcome, method: &ResolvedMethod, calibration: &CalibrationOutcome) -> CalibrationLine {
    let mut coefficients = Vec::new();
    let mut facts = vec![("readings of standards".to_owned(), calibration.n_points.to_string())];
    if let Some(sd) = calibration.residual_sd {
        // Under weights by 1/u² it is a ratio, without the unit of the responses.
        let of_weight_one = if calibration.weights == "equal" { "" } else { " of weight one" };
        facts.push((format!("residual standard deviation{of_weight_one}"), significant(sd, 3)));
    }
    facts.push(("degrees of freedom".into(), calibration.dof.to_string()));
    if let Some(line) = &calibration.line {
        coefficients.push(coefficient("intercept a", line.intercept, Some(line.u_intercept), response_unit(run)));
        coefficients.push(coefficient("slope b", line.slope, Some(line.u_slope), &calibration.slope_unit));
        facts.push(("correlation of a and b".into(), format!("{:.3}", line.correlation)));
    }
    for parameter in &calibration.parameters {
        coefficients.push(coefficient(&parameter.name, parameter.value, parameter.u, &parameter.unit));
    }
    if let Some(choice) = &calibration.choice {
        facts.extend(choice_facts(choice));
    }
    if let Some(limits) = &run.limits {
        facts.extend(limit_facts(run, limits));
    }
    let amounts = if calibration.amounts.are_exact() { "" } else { ", amounts uncertain" };
    let samples = match method.calibration.of_samples {
        OfSamples::Bracket => "; samples between two standards measured before and after them",
        OfSamples::OneStandard => "; samples by proportion to a standard measured before and after them",
        OfSamples::StandardAdditions => match method.calibration.additions {
            Additions::ConstantVolume => "; samples by standard additions at constant volume",
            Additions::Plain => "; samples by standard additions",
            Additions::Successive => "; samples by successive standard additions",
            Additions::Single => "; samples by a single standard addition",
        },
        OfSamples::CalibrationFunction => "",
    };
    CalibrationLine {
        title: title(run, method),
        model: format!("{}, weights: {}{amounts}{samples}", calibration.model, calibration.weights),
        coefficients,
        facts,
    }
}

fn coefficient(name: &str, value: f64, standard_error: Option<f64>, unit: &str) -> Coefficient {
    // The estimate ends where its standard error ends, like every figure with an uncertainty.
    let rounded = standard_error.and_then(|u| darkline_metrology::rounding::report(value, u, RULE));
    let (value, standard_error) = rounded.map_or_else(
        || (significant(value, 4), standard_error.map_or_else(String::new, |u| significant(u, 2))),
        |rounded| (rounded.value.to_string(), rounded.u.to_string()),
    );
    Coefficient { name: name.into(), value, standard_error, unit: unit.into() }
}

/// The choice in a sentence for each function that was tried.
fn choice_facts(choice: &ChoiceOutcome) -> Vec<(String, String)> {
    let mut facts = vec![("chosen".to_owned(), because(choice))];
    if let Some(test) = &choice.mandel {
        facts.push(("Mandel's test of the straight line".into(), f_words(test.f, test.p)));
    }
    facts.extend(choice.candidates.iter().map(|candidate| (candidate.model.clone(), candidate_words(candidate))));
    facts
}

/// Why a function was taken, in words.
pub fn because(choice: &ChoiceOutcome) -> String {
    let by_evidence = match (&choice.by_evidence, choice.because.as_deref()) {
        (Some(model), Some("only-one")) => format!("{model}: the only one that can be a calibration"),
        (Some(model), Some("simpler-and-as-good")) => {
            format!("{model}: within 2 of the least corrected information, with fewer parameters")
        }
        (Some(model), _) => format!("{model}: least corrected information"),
        (None, _) => "none by the evidence".into(),
    };
    let passed_over = if choice.passed_over_for_lack_of_fit { ", those that lack fit passed over" } else { "" };
    match &choice.overruled {
        Some(overruled) => {
            format!("{} by a person: {}; by the evidence {by_evidence}{passed_over}", overruled.model, overruled.reason)
        }
        None => format!("by the evidence {by_evidence}{passed_over}"),
    }
}

/// The limits with every input they were worked out from.
fn limit_facts(run: &RunOutcome, limits: &LimitsOutcome) -> Vec<(String, String)> {
    let mut facts = Vec::new();
    let found = [
        ("decision limit", limits.decision),
        ("detection limit", limits.detection),
        ("quantification limit", limits.quantification),
    ];
    for (name, limit) in found {
        if let Some(limit) = limit {
            let words = format!("{} {}", significant(limit, 3), run.amount_unit);
            facts.push((format!("{name} by {}", limits.procedure), words));
        }
    }
    if let Some(why_not) = &limits.why_not {
        facts.push((format!("limits by {}", limits.procedure), format!("none: {why_not}")));
    }
    facts.extend(limits.existing_words().map(|words| ("verification".to_owned(), words.to_owned())));
    facts.extend(limits.inputs.iter().map(|input| {
        let unit = if input.unit == "1" { String::new() } else { format!(" {}", input.unit) };
        (input.name.clone(), format!("{}{unit}", significant(input.value, 4)))
    }));
    facts
}

fn f_words(f: f64, p: f64) -> String {
    format!("F = {}, p = {}", significant(f, 3), significant(p, 2))
}

/// The figures of one function that was tried, in words.
pub fn candidate_words(candidate: &CandidateOutcome) -> String {
    let mut words = Vec::new();
    if let Some(why_not) = &candidate.why_not {
        words.push(format!("not taken: {why_not}"));
    }
    if let Some(information) = candidate.corrected_information {
        words.push(format!("corrected information {information:.2}"));
    }
    if let Some(test) = &candidate.lack_of_fit {
        words.push(format!("lack of fit {}", f_words(test.f, test.p)));
    }
    if let Some(runs) = &candidate.residual_runs {
        words.push(format!(
            "{} runs of residuals over {} levels, p = {}",
            runs.runs,
            runs.n_above + runs.n_below,
            significant(runs.p, 2)
        ));
    }
    if let Some(worst) = &candidate.worst_read_back {
        let kept = match candidate.within_tolerance {
            Some(true) => ", within the tolerance",
            Some(false) => ", outside the tolerance",
            None => "",
        };
        words.push(format!("worst standard read back {:+.1} %{kept}", 100.0 * worst.error));
    }
    words.join(", ")
}

/// The figure of a calibration.
pub(crate) fn figure(run: &RunOutcome, method: &ResolvedMethod, calibration: &CalibrationOutcome) -> FigureLine {
    FigureLine::of(drawn::calibration(run, method, calibration, Medium::Paper))
}
