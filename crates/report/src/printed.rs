//! A result as it is printed: value and expanded uncertainty rounded once, to the same place.

use darkline_evaluation::outcome::ValueOutcome;
use darkline_metrology::rounding::{Digits, ReportRule, Rounding, report};

/// How results are rounded: the uncertainty to two significant digits, the value to the same place, halves to even.
///
/// # Source
/// JCGM 100:2008 (GUM), 7.2.6.
pub const RULE: ReportRule =
    ReportRule { digits: Digits::Two, uncertainty: Rounding::HalfEven, value: Rounding::HalfEven };

/// A value and its expanded uncertainty as text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Printed {
    /// The value.
    pub value: String,
    /// The expanded uncertainty.
    pub expanded_u: String,
}

/// Rounds a result for print.
pub fn printed(found: &ValueOutcome) -> Printed {
    match report(found.value, found.expanded_u, RULE) {
        Some(rounded) => Printed { value: rounded.value.to_string(), expanded_u: rounded.u.to_string() },
        // Outcomes hold finite figures; a damaged one prints as it is.
        None => Printed { value: found.value.to_string(), expanded_u: found.expanded_u.to_string() },
    }
}

/// The coverage factor as it is printed: as the method writes it, or to two decimals where it follows from a probability.
pub fn coverage_factor(found: &ValueOutcome) -> String {
    match found.coverage_probability {
        None => found.coverage_factor.to_string(),
        Some(_) => format!("{:.2}", found.coverage_factor),
    }
}

/// A figure to a number of significant digits, without an exponent where that reads well.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".into();
    }
    let precision = digits.saturating_sub(1);
    let scientific = format!("{value:.precision$e}");
    let exponent: i32 = scientific.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0);
    if !(-5..7).contains(&exponent) {
        return scientific;
    }
    let decimals = usize::try_from(i32::try_from(precision).unwrap_or(0) - exponent).unwrap_or(0);
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_and_uncertainty_end_at_the_same_place() {
        let found = ValueOutcome {
            value: 0.015_074_1,
            u: 0.001_46,
            expanded_u: 0.002_92,
            coverage_factor: 2.0,
            dof: None,
            budget: Vec::new(),
            contributions: Vec::new(),
            coverage_probability: None,
            monte_carlo: None,
            top_down: None,
        };
        assert_eq!(printed(&found), Printed { value: "0.0151".into(), expanded_u: "0.0029".into() });
    }

    #[test]
    fn significant_digits_keep_their_zeros() {
        for (value, digits, text) in
            [(0.05, 2, "0.050"), (123.4, 2, "123"), (1e-9, 2, "1.0e-9"), (0.0, 3, "0"), (-2.345, 3, "-2.35")]
        {
            assert_eq!(significant(value, digits), text);
        }
    }
}
