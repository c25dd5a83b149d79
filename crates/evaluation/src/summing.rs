//! After the sixth stage: sums of results, as lower and upper bound, each against the limit of the sum.
//!
//! What lies below its quantification limit counts as nothing in the lower bound and as that limit in the upper one. Both are
//! terms of the model that made the results, so what these share, a stock, a balance, a method blank, counts with its sign.

use darkline_metrology::conformity::Statement;
use darkline_metrology::model::Model;
use darkline_record::identity::SampleId;
use darkline_record::method::ResolvedMethod;
use darkline_record::order::Sum;

use crate::combining::ResultTerm;
use crate::covering;
use crate::judging;
use crate::outcome::{BoundOutcome, Reported, ResultOutcome, SumOutcome, SummandOutcome};
use crate::stating::{CoverageOf, SampleWorked, value_outcome};

/// One result of a sum, with the term it was read from.
#[derive(Clone, Copy, Debug)]
pub struct SummandWorked<'w, 'm> {
    /// The method.
    pub method: &'w ResolvedMethod,
    /// What the result rests on.
    pub worked: &'w SampleWorked<'m>,
    /// The result as it is reported.
    pub result: &'w ResultOutcome,
}

/// Adds the results of one sum.
///
/// Both bounds are in the unit and with the coverage of the first summand's method. Where a result is awaited or held, there is
/// no sum yet.
///
/// # Arguments
/// * `samples`: whose results are added.
/// * `summands`: in the order of the samples and, within one, of the sum's elements.
///
/// # Source
/// As [`darkline_metrology::conformity::sum_bounds`].
pub fn sum<'m>(
    model: &'m Model,
    of: &Sum,
    samples: &[SampleId],
    summands: &[SummandWorked<'_, 'm>],
    controls_passed: bool,
) -> Option<SumOutcome> {
    sum_with(model, of, samples, summands, controls_passed, covering::coverage)
}

/// The same with a coverage factor of the caller's.
pub(crate) fn sum_with<'m>(
    model: &'m Model,
    of: &Sum,
    samples: &[SampleId],
    summands: &[SummandWorked<'_, 'm>],
    controls_passed: bool,
    coverage: CoverageOf,
) -> Option<SumOutcome> {
    let method = summands.first()?.method;
    let unit = method.result.unit.as_str();
    let bounds = terms(summands).and_then(|terms| ResultTerm::sum_bounds(model, &terms, unit, &name(of, samples)));
    let bound = |term: ResultTerm<'m>| {
        let worked = SampleWorked {
            term: Some(term),
            rows: Vec::new(),
            batches: Vec::new(),
            awaited: None,
            limits: None,
            u_curves: summands.iter().filter_map(|summand| summand.worked.u_curves).reduce(f64::max),
        };
        let estimate = term.estimate(model, unit)?;
        if !(estimate.value.is_finite() && estimate.u.is_finite()) {
            return None;
        }
        // Control data are those of one method, not of a sum.
        let value = crate::outcome::ValueOutcome {
            top_down: None,
            ..value_outcome(model, method, &worked, &estimate, coverage)
        };
        let reported = Reported::Value { result: value.clone() };
        let statement = of
            .limit
            .as_ref()
            .filter(|_| controls_passed)
            .and_then(|limit| judging::statement(limit, method, &reported, Some(&estimate)))
            // Readings of several solutions make up the sum; how many of which would decide is not one number.
            .map(|statement| crate::outcome::StatementOutcome { replicates: None, ..statement });
        Some(BoundOutcome { value, statement })
    };
    let (lower, upper) = bounds.and_then(|(lower, upper)| Some((bound(lower)?, bound(upper)?))).unzip();
    let statement = both(&lower, &upper);
    Some(SumOutcome {
        name: of.name.clone(),
        samples: samples.to_vec(),
        elements: of.elements.clone(),
        kind: method.result.kind.words().into(),
        unit: unit.into(),
        summands: summands
            .iter()
            .map(|summand| SummandOutcome {
                sample: summand.result.sample.clone(),
                element: summand.result.element.clone(),
                is_below_loq: matches!(summand.result.reported, Reported::BelowLoq { .. }),
                is_missing: matches!(summand.result.reported, Reported::Awaiting { .. } | Reported::Withheld { .. }),
            })
            .collect(),
        lower,
        upper,
        statement,
    })
}

/// What both bounds say together: what one says and the other does not is inconclusive.
fn both(lower: &Option<BoundOutcome>, upper: &Option<BoundOutcome>) -> Option<Statement> {
    let of = |bound: &Option<BoundOutcome>| Some(bound.as_ref()?.statement.as_ref()?.statement);
    let (lower, upper) = (of(lower)?, of(upper)?);
    Some(if lower == upper { lower } else { Statement::Inconclusive })
}

/// The term of each summand, and its quantification limit in SI where it lies below; `None` where one is not there.
fn terms<'m>(summands: &[SummandWorked<'_, 'm>]) -> Option<Vec<(ResultTerm<'m>, Option<f64>)>> {
    let term = |summand: &SummandWorked<'_, 'm>| {
        let term = summand.worked.term?;
        match &summand.result.reported {
            Reported::Value { .. } => Some((term, None)),
            Reported::BelowLoq { limit, .. } => Some((term, Some(term.si_of(*limit, &summand.result.unit)?))),
            Reported::Awaiting { .. } | Reported::Withheld { .. } => None,
        }
    };
    summands.iter().map(term).collect()
}

/// The name of a sum in a derivation.
fn name(of: &Sum, samples: &[SampleId]) -> String {
    let samples: Vec<&str> = samples.iter().map(SampleId::as_str).collect();
    format!("{}({})", of.name, samples.join(" + "))
}
