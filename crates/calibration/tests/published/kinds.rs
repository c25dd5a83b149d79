//! What each kind of case asks of the library.

mod additions;
mod curve;
mod diagnosis;
mod limits;
mod line;
mod regression;

use crate::case::{Case, Found};

/// The figures of a case, by its keys.
pub fn compute(case: &Case) -> Found {
    match case.kind.as_str() {
        "univariate" => regression::univariate(case),
        "anova" => regression::anova(case),
        "poly-certified" => regression::polynomial(case),
        "nonlinear" => regression::nonlinear(case),
        "line" => line::line(case),
        "fieller" => line::fieller(case),
        "wls-relative" => line::relative_weights(case),
        "wls-known-u" => line::known_uncertainties(case),
        "weight-compare" => line::compared_weights(case),
        "eiv" => line::errors_in_both(case),
        "odr-explicit" => line::explicit_distance_regression(case),
        "deming-const" => line::deming(case),
        "poly-inverse" => curve::quadratic_inverse(case),
        "nls-inverse" => curve::nonlinear_inverse(case),
        "rational3" => curve::rational(case),
        "stray-light" => curve::unabsorbed_light(case),
        "linearity" => diagnosis::linearity(case),
        "lack-of-fit" => diagnosis::lack_of_fit_of(case),
        "variance" => diagnosis::variances(case),
        "two-component" => diagnosis::two_component(case),
        "limits-calibration" => limits::of_line(case),
        "factors" => limits::factors(case),
        "mdl" => limits::method_detection_limit(case),
        "standard-additions" => additions::standard_additions(case),
        "bracketing" => additions::brackets(case),
        "drift-bracketing" => additions::drifting_brackets(case),
        other => panic!("{}: nothing computes cases of kind {other}", case.id),
    }
}
