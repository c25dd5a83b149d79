//! First order held against Monte Carlo on demand: for every result of an order, whatever its method asks for.

use darkline_metrology::model::Model;
use darkline_record::decision::Decision;
use darkline_record::identity::{Element, SampleId};
use darkline_record::method::UncertaintyPlan;
use darkline_record::package::DataPackage;

use crate::covering;
use crate::evaluating::{UnknownEdition, Worked, procedure_of};
use crate::live::Memory;
use crate::outcome::MonteCarloOutcome;

/// A result held against Monte Carlo.
#[derive(Clone, Debug, PartialEq)]
pub struct Validated {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// The unit of the figures.
    pub unit: String,
    /// What came of it; `None` where the trials give no interval.
    pub found: Option<MonteCarloOutcome>,
}

/// Holds the results of a package against Monte Carlo, in the order of the report; those not yet measured are left out.
///
/// # Arguments
/// * `trials`: how often; as many as the method says where `None`.
///
/// # Errors
/// [`UnknownEdition`].
///
/// # Source
/// JCGM 101:2008, 8.
pub fn validate(
    package: &DataPackage,
    decisions: &[Decision],
    trials: Option<u32>,
) -> Result<Vec<Validated>, UnknownEdition> {
    let procedure = procedure_of(package)?;
    let model = Model::new();
    let worked = Worked::new(&model, procedure, package, decisions, &Memory::default());
    let of = |(requested, sample, method, worked): &(
        &darkline_record::order::Requested,
        &SampleId,
        &darkline_record::method::ResolvedMethod,
        crate::stating::SampleWorked<'_>,
    )| {
        let term = worked.term?;
        let unit = method.result.unit.as_str();
        let estimate = term.estimate(&model, unit).filter(|found| found.value.is_finite() && found.u.is_finite())?;
        let plan = method.uncertainty.clone().unwrap_or(UncertaintyPlan::SILENT);
        let plan = UncertaintyPlan { trials: trials.unwrap_or(plan.trials), ..plan };
        let (factor, _) = covering::coverage(&method.result.coverage_factor, &estimate);
        Some(Validated {
            sample: (*sample).clone(),
            element: requested.element.clone(),
            unit: unit.into(),
            found: covering::validate(&model, &plan, unit, term, &estimate, factor, None),
        })
    };
    Ok(worked.samples.iter().filter_map(of).collect())
}
