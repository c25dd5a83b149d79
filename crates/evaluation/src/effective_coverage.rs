//! The sixth stage of the second trial edition: the coverage factor follows from the effective degrees of freedom.
//!
//! Where a method states a factor, 2 for instance, the first trial edition multiplies the standard uncertainty by it, however
//! few replicates it rests on. Here that factor only says which coverage is wanted under the normal law, 2 for 95.45 %, and the
//! factor used is that of Student's law with the effective degrees of freedom of the result, so that an uncertainty from few
//! readings grows. Where the degrees of freedom are infinite, both agree.

use darkline_metrology::distribution::{normal, student_t};
use darkline_metrology::kind::Kind;
use darkline_metrology::model::Model;
use darkline_record::identity::SampleId;
use darkline_record::method::{Coverage, ResolvedMethod};
use darkline_record::order::{Requested, Sum};

use crate::combining::ResultEstimate;
use crate::covering;
use crate::outcome::{FlagOutcome, ResultOutcome, SumOutcome};
use crate::stating::{SampleWorked, state_with};
use crate::summing::{SummandWorked, sum_with};

/// States the result of one sample, with the coverage factor of its effective degrees of freedom.
///
/// # Source
/// JCGM 100:2008 (GUM), G.4.1 and G.6.4; the quantiles are checked in `crates/metrology/tests/published`.
pub fn state(
    model: &Model,
    requested: &Requested,
    sample: &SampleId,
    method: &ResolvedMethod,
    worked: &SampleWorked<'_>,
    flags: &[FlagOutcome],
    controls_passed: bool,
) -> ResultOutcome {
    state_with(model, requested, sample, method, worked, flags, controls_passed, coverage)
}

/// Adds the results of one sum, likewise.
pub fn sum<'m>(
    model: &'m Model,
    of: &Sum,
    samples: &[SampleId],
    summands: &[SummandWorked<'_, 'm>],
    controls_passed: bool,
) -> Option<SumOutcome> {
    sum_with(model, of, samples, summands, controls_passed, coverage)
}

/// The factor of Student's law that covers as much as the stated one covers under the normal law.
fn coverage(stated: &Coverage, estimate: &ResultEstimate) -> (f64, Option<f64>) {
    let Coverage::Factor(factor) = stated else { return covering::coverage(stated, estimate) };
    let factor = factor.value().si();
    let level = normal::upper_tail(factor).map(|beyond| 1.0 - 2.0 * beyond);
    let of_student = level.and_then(|level| student_t::coverage_factor(level, estimate.dof));
    (of_student.unwrap_or(factor), None)
}
