//! Rounding a result for the report: the uncertainty to its digits, the value to the same place.

use super::decimal::{Decimal, Rounding};
use serde::{Deserialize, Serialize};

/// How many significant digits an uncertainty keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Digits {
    /// One.
    One,
    /// Two: the most that the GUM finds useful.
    Two,
    /// Two where the first digit is 1 or 2, otherwise one (common practice, no source).
    TwoAfterOneOrTwo,
}

/// How a result is rounded for the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct ReportRule {
    /// The digits of the uncertainty.
    pub digits: Digits,
    /// How the uncertainty loses its further digits.
    pub uncertainty: Rounding,
    /// How the value loses its further digits.
    pub value: Rounding,
}

impl ReportRule {
    /// The rule in words for a report.
    #[must_use]
    pub fn words(&self) -> String {
        let digits = match self.digits {
            Digits::One => "one significant digit",
            Digits::Two => "two significant digits",
            Digits::TwoAfterOneOrTwo => "one significant digit, two where the first is 1 or 2",
        };
        format!(
            "uncertainty to {digits}, {}; value to the same place, {} (GUM 7.2.6)",
            self.uncertainty.words(),
            self.value.words()
        )
    }
}

/// A result as it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reported {
    /// The value, to the place of the uncertainty.
    pub value: Decimal,
    /// The uncertainty.
    pub u: Decimal,
}

/// Rounds a value and its uncertainty for the report.
///
/// # Arguments
/// * `value`: the value, unrounded.
/// * `u`: its standard or expanded uncertainty, unrounded, 0 or above; with 0 the value keeps its digits.
/// * `rule`: how many digits and which way.
///
/// `None` where one of the two is not finite or the uncertainty is negative.
///
/// # Source
/// JCGM 100:2008 (GUM), 7.2.6. Checked by `tests/statistics/gum.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::rounding::{Digits, ReportRule, Rounding, report};
/// let rule = ReportRule { digits: Digits::Two, uncertainty: Rounding::Up, value: Rounding::HalfEven };
/// let printed = report(10.057_62, 0.027, rule).expect("both are finite");
/// assert_eq!((printed.value.to_string(), printed.u.to_string()), ("10.058".into(), "0.027".into()));
/// ```
#[must_use]
pub fn report(value: f64, u: f64, rule: ReportRule) -> Option<Reported> {
    let (value, u) = (Decimal::from_f64(value)?, Decimal::from_f64(u)?);
    if u.is_negative() {
        return None;
    }
    if u.is_zero() {
        return Some(Reported { value, u });
    }
    let u = match rule.digits {
        Digits::One => u.rounded_to_digits(1, rule.uncertainty),
        Digits::Two => u.rounded_to_digits(2, rule.uncertainty),
        Digits::TwoAfterOneOrTwo => {
            // Asked of the rounded figure: 0.0297 is 0.030 on two digits and 0.03 on one.
            let two = u.rounded_to_digits(2, rule.uncertainty);
            let leading = two.leading_place().expect("an uncertainty above 0 has a first digit");
            let first = two.rounded_to_place(leading, Rounding::Down);
            let three = &Decimal::from_f64(3.0).expect("finite") * &unit(leading);
            // By place, not by count: 0.97 carries to 1.0, whose first digit is 1 again.
            if first < three { two } else { u.rounded_to_place(leading, rule.uncertainty) }
        }
    };
    let value = value.rounded_to_place(u.place(), rule.value);
    Some(Reported { value, u })
}

/// 10 to a power, as a figure.
fn unit(place: i32) -> Decimal {
    format!("1e{place}").parse().expect("a place of an f64 is within the digits read")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(value: f64, u: f64, digits: Digits) -> (String, String) {
        let rule = ReportRule { digits, uncertainty: Rounding::HalfEven, value: Rounding::HalfEven };
        let reported = report(value, u, rule).unwrap();
        (reported.value.to_string(), reported.u.to_string())
    }

    #[test]
    fn the_value_follows_the_place_of_the_uncertainty() {
        assert_eq!(printed(0.412_34, 0.0413, Digits::Two), ("0.412".into(), "0.041".into()));
        assert_eq!(printed(0.412_34, 0.0413, Digits::One), ("0.41".into(), "0.04".into()));
        assert_eq!(printed(1234.5, 213.0, Digits::Two), ("1.23e3".into(), "2.1e2".into()));
        assert_eq!(printed(0.0004, 0.02, Digits::Two), ("0.000".into(), "0.020".into()));
        assert_eq!(printed(-0.0004, 0.02, Digits::Two), ("0.000".into(), "0.020".into()));
    }

    #[test]
    fn two_digits_after_one_or_two() {
        assert_eq!(printed(5.0, 0.114, Digits::TwoAfterOneOrTwo), ("5.00".into(), "0.11".into()));
        assert_eq!(printed(5.0, 0.294, Digits::TwoAfterOneOrTwo), ("5.00".into(), "0.29".into()));
        assert_eq!(printed(5.0, 0.297, Digits::TwoAfterOneOrTwo), ("5.0".into(), "0.3".into()));
        assert_eq!(printed(5.0, 0.97, Digits::TwoAfterOneOrTwo), ("5.0".into(), "1.0".into()));
        assert_eq!(printed(5.0, 0.998, Digits::TwoAfterOneOrTwo), ("5.0".into(), "1.0".into()));
    }

    #[test]
    fn without_uncertainty_the_value_keeps_its_digits() {
        assert_eq!(printed(0.123_456, 0.0, Digits::Two), ("0.123456".into(), "0".into()));
    }

    #[test]
    fn what_is_not_finite_or_below_nought_is_not_reported() {
        let rule = ReportRule { digits: Digits::Two, uncertainty: Rounding::Up, value: Rounding::HalfEven };
        assert_eq!(report(f64::NAN, 1.0, rule), None);
        assert_eq!(report(1.0, f64::INFINITY, rule), None);
        assert_eq!(report(1.0, -0.1, rule), None);
    }

    #[test]
    fn the_rule_says_itself() {
        let rule = ReportRule { digits: Digits::Two, uncertainty: Rounding::Up, value: Rounding::HalfEven };
        assert_eq!(
            rule.words(),
            "uncertainty to two significant digits, rounded up; value to the same place, rounded to the nearest, \
             halves to the even digit (GUM 7.2.6)"
        );
    }
}
