//! The calibration pack: what each kind of case asks of the library, and how its figures are held.

mod additions;
mod case;
mod curve;
mod diagnosis;
mod formula;
mod limits;
mod line;
mod nist;
mod regression;

pub use nist::{CertifiedDigits, certified_digits, certified_table};

use crate::answer::{Answer, Found};
use crate::case_file::Node;
use crate::comparison::{self, Comparing, FULL_PRECISION, Tolerance};
use crate::pack;
use crate::qualification::{Beside, Ran};
use crate::stop::Stop;

/// The figures of a case, or why there are none.
type Computed = Result<Found, Stop>;

/// What computes a kind; `None` for kinds of other packs.
fn computation(kind: &str) -> Option<fn(&case::Case<'_>) -> Computed> {
    Some(match kind {
        "univariate" => regression::univariate,
        "anova" => regression::anova,
        "poly-certified" => regression::polynomial,
        "nonlinear" => regression::nonlinear,
        "line" => line::line,
        "fieller" => line::fieller,
        "wls-relative" => line::relative_weights,
        "wls-known-u" => line::known_uncertainties,
        "weight-compare" => line::compared_weights,
        "eiv" => line::errors_in_both,
        "odr-explicit" => line::explicit_distance_regression,
        "deming-const" => line::deming,
        "poly-inverse" => curve::quadratic_inverse,
        "nls-inverse" => curve::nonlinear_inverse,
        "rational3" => curve::rational,
        "stray-light" => curve::unabsorbed_light,
        "linearity" => diagnosis::linearity,
        "lack-of-fit" => diagnosis::lack_of_fit_of,
        "variance" => diagnosis::variances,
        "two-component" => diagnosis::two_component,
        "limits-calibration" => limits::of_line,
        "factors" => limits::factors,
        "mdl" => limits::method_detection_limit,
        "standard-additions" => additions::standard_additions,
        "bracketing" => additions::brackets,
        "drift-bracketing" => additions::drifting_brackets,
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    computation(kind).is_some()
}

/// Runs a case: printed figures within their stated tolerance, recomputed ones to 1e-9 or what the case states.
pub(crate) fn run(name: &str, kind: &str, node: Node<'_>, beside: &Beside<'_>) -> Ran {
    let Some(compute) = computation(kind) else { return Ok(None) };
    let found = pack::settled(compute(&case::Case { node, beside }))?;
    let found = |key: &str| found(key);
    let mut comparing = Comparing::new(name, &found);
    let tolerances = node.get("tolerance");
    for printed in node.entries_of("expected")? {
        let stated = tolerances.and_then(|tolerances| tolerances.get(printed.name()));
        let tolerance = match stated {
            None => comparison::of_printed(printed.written()),
            Some(stated) => match (stated.number_if("abs")?, stated.number_if("rel")?) {
                (Some(absolute), None) => Tolerance::Absolute(absolute),
                (None, Some(relative)) => Tolerance::Relative(relative),
                _ => return Err(stated.fault("a tolerance is { abs = … } or { rel = … }")),
            },
        };
        comparing.figure(&printed, tolerance)?;
    }
    if let Some(tolerances) = tolerances {
        for stated in tolerances.entries()? {
            if !node.get("expected").is_some_and(|expected| expected.has(stated.name())) {
                return Err(stated.fault(format!("a tolerance without its figure, {}", stated.name())));
            }
        }
    }
    let relative = node.number_or("recomputed_rel", FULL_PRECISION)?;
    for recomputed in node.entries_of("recomputed")? {
        let number = recomputed.number()?;
        // A figure that is exactly zero has no relative tolerance; sums of figures near 1 reach 1e-12.
        let tolerance = if number == 0.0 { Tolerance::Absolute(1e-12) } else { Tolerance::Relative(relative) };
        comparing.answer(recomputed.name(), Answer::Number(number), recomputed.written(), tolerance);
    }
    Ok(Some(comparing.comparisons))
}
