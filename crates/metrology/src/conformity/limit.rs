//! A limit as it is written: at most, at least, or between two figures.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::rounding::Decimal;

/// What a property must keep to. The limits themselves are allowed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", try_from = "Written", into = "Written")]
pub enum Limit {
    /// At most this much.
    AtMost(Decimal),
    /// At least this much.
    AtLeast(Decimal),
    /// From the first to the second figure.
    Between(Decimal, Decimal),
}

/// What kept figures from making a limit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LimitError {
    /// The lower figure exceeds the upper one.
    #[error("the lower limit {lower} exceeds the upper limit {upper}")]
    Crossed {
        /// Lower figure.
        lower: Decimal,
        /// Upper figure.
        upper: Decimal,
    },
    /// Neither figure is given.
    #[error("neither at_most nor at_least is given")]
    Nothing,
}

impl Limit {
    /// The limit between two figures.
    ///
    /// # Errors
    /// * [`LimitError::Crossed`]: `lower` exceeds `upper`.
    pub fn between(lower: Decimal, upper: Decimal) -> Result<Limit, LimitError> {
        if lower > upper { Err(LimitError::Crossed { lower, upper }) } else { Ok(Limit::Between(lower, upper)) }
    }

    /// The lower figure, if there is one.
    #[must_use]
    pub fn lower(&self) -> Option<&Decimal> {
        match self {
            Limit::AtMost(_) => None,
            Limit::AtLeast(lower) | Limit::Between(lower, _) => Some(lower),
        }
    }

    /// The upper figure, if there is one.
    #[must_use]
    pub fn upper(&self) -> Option<&Decimal> {
        match self {
            Limit::AtLeast(_) => None,
            Limit::AtMost(upper) | Limit::Between(_, upper) => Some(upper),
        }
    }

    /// Whether `value` keeps to the limit widened by `by` on every side (narrowed where `by` is negative).
    #[must_use]
    pub fn holds_for(&self, value: &Decimal, by: &Decimal) -> bool {
        self.lower().is_none_or(|lower| *value >= lower - by) && self.upper().is_none_or(|upper| *value <= upper + by)
    }
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Limit::AtMost(upper) => write!(f, "at most {upper}"),
            Limit::AtLeast(lower) => write!(f, "at least {lower}"),
            Limit::Between(lower, upper) => write!(f, "between {lower} and {upper}"),
        }
    }
}

/// A limit in a document: `{ at_most = "0.050" }`.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at_least: Option<Decimal>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at_most: Option<Decimal>,
}

impl TryFrom<Written> for Limit {
    type Error = LimitError;
    fn try_from(written: Written) -> Result<Limit, LimitError> {
        match (written.at_least, written.at_most) {
            (None, None) => Err(LimitError::Nothing),
            (None, Some(upper)) => Ok(Limit::AtMost(upper)),
            (Some(lower), None) => Ok(Limit::AtLeast(lower)),
            (Some(lower), Some(upper)) => Limit::between(lower, upper),
        }
    }
}

impl From<Limit> for Written {
    fn from(limit: Limit) -> Written {
        Written { at_least: limit.lower().cloned(), at_most: limit.upper().cloned() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn a_limit_reads_back_as_it_was_written() {
        for text in ["at_most = \"0.050\"\n", "at_least = \"90\"\n", "at_least = \"85\"\nat_most = \"115\"\n"] {
            let limit: Limit = toml::from_str(text).unwrap();
            assert_eq!(toml::to_string(&limit).unwrap(), text);
        }
        assert!(toml::from_str::<Limit>("").unwrap_err().to_string().contains("neither at_most nor at_least is given"));
        assert!(toml::from_str::<Limit>("at_most = \"1,000\"").unwrap_err().to_string().contains("can mean"));
        assert!(toml::from_str::<Limit>("at_msot = \"1\"").is_err());
    }

    #[test]
    fn crossed_figures_make_no_limit() {
        let said = Limit::between(d("115"), d("85")).unwrap_err().to_string();
        assert_eq!(said, "the lower limit 115 exceeds the upper limit 85");
        assert!(Limit::between(d("1.0"), d("1")).is_ok());
    }

    #[test]
    fn the_limit_itself_is_allowed() {
        let limit = Limit::between(d("85"), d("115")).unwrap();
        for (value, inside) in [("84.9", false), ("85", true), ("100", true), ("115.0", true), ("115.01", false)] {
            assert_eq!(limit.holds_for(&d(value), &Decimal::ZERO), inside, "{value}");
        }
        assert!(limit.holds_for(&d("116"), &d("1")));
        assert!(!limit.holds_for(&d("85"), &d("-1")));
    }

    #[test]
    fn a_limit_is_said_with_its_digits() {
        assert_eq!(Limit::AtMost(d("5.0")).to_string(), "at most 5.0");
        assert_eq!(Limit::AtLeast(d("90")).to_string(), "at least 90");
        assert_eq!(Limit::Between(d("85"), d("115")).to_string(), "between 85 and 115");
    }
}
