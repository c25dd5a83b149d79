//! How a result came about: its derivation and budget, from the same model that made the number.

use darkline_metrology::model::{Derivation, Model};
use darkline_record::decision::Decision;
use darkline_record::identity::{Element, RunId, SampleId};
use darkline_record::package::DataPackage;
use serde::Serialize;

use crate::evaluating::{UnknownEdition, Worked, evaluate, procedure_of};
use crate::live::Memory;
use crate::outcome::{CalibrationOutcome, ResultOutcome, RunOutcome};

/// A result with its derivation.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// The result as it is reported.
    pub result: ResultOutcome,
    /// The steps that lead to it; none where it has not been measured.
    pub derivation: Option<Derivation>,
    /// The calibrations of the runs it was measured in.
    pub calibrations: Vec<UsedCalibration>,
}

/// A calibration that a result was read from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UsedCalibration {
    /// The run.
    pub run: RunId,
    /// The unit of its amounts.
    pub amount_unit: String,
    /// The calibration, with what decided between functions where the method lets it choose.
    pub calibration: CalibrationOutcome,
}

/// A result that an order does not have.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoSuchResult {
    /// The edition is not known.
    #[error(transparent)]
    UnknownEdition(#[from] UnknownEdition),
    /// The order has no such sample.
    #[error("the order has no sample \"{sample}\"; it has {known}")]
    Sample {
        /// The sample asked for.
        sample: SampleId,
        /// The samples there are.
        known: String,
    },
    /// The element is not determined in this order.
    #[error("{element} is not determined in this order; {known} is")]
    Element {
        /// The element asked for.
        element: Element,
        /// Those that are.
        known: String,
    },
}

/// Explains the result of a sample.
///
/// # Arguments
/// * `element`: which determination; the first of the order where it is `None`.
///
/// # Errors
/// [`NoSuchResult`].
pub fn explain(
    package: &DataPackage,
    decisions: &[Decision],
    sample: &SampleId,
    element: Option<&Element>,
) -> Result<Explanation, NoSuchResult> {
    let procedure = procedure_of(package)?;
    let model = Model::new();
    let worked = Worked::new(&model, procedure, package, decisions, &Memory::default());
    let join = |names: Vec<String>| names.join(", ");
    if !package.order.samples.iter().any(|known| known.id == *sample) {
        let known = join(package.order.samples.iter().map(|sample| sample.id.to_string()).collect());
        return Err(NoSuchResult::Sample { sample: sample.clone(), known });
    }
    let found = worked
        .samples
        .iter()
        .find(|(requested, of, ..)| *of == sample && element.is_none_or(|element| *element == requested.element));
    let Some((requested, _, _, sample_worked)) = found else {
        let known = join(package.order.analytes.iter().map(|requested| requested.element.to_string()).collect());
        let element = element.cloned().unwrap_or_else(|| requested_fallback(package));
        return Err(NoSuchResult::Element { element, known });
    };
    let derivation = sample_worked.term.map(|term| term.explain(&model));
    let element = &requested.element;
    let outcome = evaluate(package, decisions)?;
    let runs = outcome.runs;
    let result = outcome.results.into_iter().find(|result| result.sample == *sample && result.element == *element);
    let result = result.expect("every sample that was worked out has a result");
    let calibrations = runs
        .into_iter()
        .filter(|run| result.rows.iter().any(|row| row.run == run.run))
        .filter_map(|run| {
            let RunOutcome { run, amount_unit, calibration, .. } = run;
            Some(UsedCalibration { run, amount_unit, calibration: calibration? })
        })
        .collect();
    Ok(Explanation { result, derivation, calibrations })
}

/// The element to name where none was asked for and the order determines none by a known method.
fn requested_fallback(package: &DataPackage) -> Element {
    let first = package.order.analytes.first().map(|requested| requested.element.clone());
    first.unwrap_or_else(|| "none".parse().expect("four letters"))
}
