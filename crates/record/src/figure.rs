//! Figures as people write them: the digits stay as written, the unit says the kind.
//!
//! [`Written`] is one figure with its unit ("0.050 mg/L" keeps its last zero); [`Uncertain`] adds its standard
//! uncertainty and where it comes from. Wrong kinds are told here, once, in words a page or a file can show.

use std::fmt;
use std::str::FromStr;

use darkline_metrology::kind::{ALL_KINDS, Factor, Kind, Unit, plain_symbol};
use darkline_metrology::source::{Shape, Source, SourceId};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A figure as written, with its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Written<K> {
    digits: String,
    unit: Unit<K>,
    value: K,
}

/// A text that is not the figure wanted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FigureFault {
    /// Nothing was written.
    #[error("{} is missing here; write one, for example \"{example}\"", with_article(wanted))]
    Empty {
        /// The kind wanted.
        wanted: &'static str,
        /// How one is written.
        example: &'static str,
    },
    /// No number at the beginning.
    #[error("\"{found}\" does not begin with a number; write {}, for example \"{example}\"", with_article(wanted))]
    NoNumber {
        /// The text.
        found: String,
        /// The kind wanted.
        wanted: &'static str,
        /// How one is written.
        example: &'static str,
    },
    /// A comma that may group thousands or part decimals.
    #[error("\"{found}\" can mean {as_decimal} or {as_thousands}; write the one that is meant, with a point")]
    TwoReadings {
        /// The text.
        found: String,
        /// The text with a decimal point.
        as_decimal: String,
        /// The text without the comma.
        as_thousands: String,
    },
    /// The number has no unit and its kind needs one.
    #[error("{found} has no unit; write {}, for example \"{example}\"", with_article(wanted))]
    NoUnit {
        /// The text.
        found: String,
        /// The kind wanted.
        wanted: &'static str,
        /// How one is written.
        example: &'static str,
    },
    /// The unit belongs to another kind.
    #[error(
        "{} stands where {} is wanted; write {1}, for example \"{example}\"",
        with_article(found),
        with_article(wanted)
    )]
    OtherKind {
        /// The kind the unit belongs to.
        found: &'static str,
        /// The kind wanted.
        wanted: &'static str,
        /// How one is written.
        example: &'static str,
    },
    /// The unit is known to no kind.
    #[error("the unit \"{found}\" is not known; {} is written in {units}", with_article(wanted))]
    UnknownUnit {
        /// The unit.
        found: String,
        /// The kind wanted.
        wanted: &'static str,
        /// Units of that kind.
        units: String,
    },
    /// Too large or too small to be computed with.
    #[error("{found} is beyond what can be computed with")]
    Beyond {
        /// The text.
        found: String,
    },
    /// A figure that must not be negative is.
    #[error("{found} is negative; {} here is zero or more", with_article(wanted))]
    Negative {
        /// The text.
        found: String,
        /// The kind wanted.
        wanted: &'static str,
    },
    /// A figure that must be above zero is not.
    #[error("{found} is not above zero")]
    NotPositive {
        /// The text.
        found: String,
    },
}

/// The name of a thing with its article: "a volume", "an area".
pub fn with_article(name: &str) -> String {
    let article = if name.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" };
    format!("{article} {name}")
}

impl<K: Kind> Written<K> {
    /// The digits as written, with a decimal point.
    pub fn digits(&self) -> &str {
        &self.digits
    }
    /// The unit.
    pub fn unit(&self) -> Unit<K> {
        self.unit
    }
    /// The quantity.
    pub fn value(&self) -> K {
        self.value
    }

    /// Reads digits that stand in a column whose head names the unit.
    ///
    /// # Errors
    /// [`FigureFault`], as for a figure with its unit beside it.
    pub fn in_unit(digits: &str, unit: Unit<K>) -> Result<Self, FigureFault> {
        let trimmed = digits.trim();
        if trimmed.is_empty() {
            return Err(FigureFault::Empty { wanted: K::NAME, example: K::EXAMPLE });
        }
        let no_number = || FigureFault::NoNumber { found: short(trimmed), wanted: K::NAME, example: K::EXAMPLE };
        let digits = plain_digits(trimmed, no_number)?;
        let number: f64 = digits.parse().map_err(|_| no_number())?;
        let value = unit.of(number);
        if !number.is_finite() || !value.si().is_finite() {
            return Err(FigureFault::Beyond { found: short(trimmed) });
        }
        Ok(Self { digits, unit, value })
    }

    /// Turns back a negative figure.
    ///
    /// # Errors
    /// [`FigureFault::Negative`].
    pub fn not_negative(self) -> Result<Self, FigureFault> {
        if self.value.si() < 0.0 {
            return Err(FigureFault::Negative { found: self.to_string(), wanted: K::NAME });
        }
        Ok(self)
    }

    /// Turns back zero and negative figures.
    ///
    /// # Errors
    /// [`FigureFault::NotPositive`].
    pub fn positive(self) -> Result<Self, FigureFault> {
        if self.value.si() > 0.0 { Ok(self) } else { Err(FigureFault::NotPositive { found: self.to_string() }) }
    }
}

/// Digits with a decimal point: "0,25" is read as 0.25, "1,234" and "1.234,5" are turned back.
fn plain_digits(text: &str, no_number: impl Fn() -> FigureFault) -> Result<String, FigureFault> {
    let allowed = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '−' | 'e' | 'E');
    if !text.chars().all(allowed) || !text.chars().any(|c| c.is_ascii_digit()) {
        return Err(no_number());
    }
    let text = text.replace('−', "-");
    let Some((whole, decimals)) = text.split_once(',') else {
        return Ok(text);
    };
    if decimals.contains([',', '.']) || whole.contains('.') {
        return Err(no_number());
    }
    let whole_digits = whole.trim_start_matches(['-', '+']);
    // Three digits after the comma may be thousands, unless the whole part says otherwise ("0,250").
    if decimals.len() == 3 && (1..=3).contains(&whole_digits.len()) && !whole_digits.starts_with('0') {
        return Err(FigureFault::TwoReadings {
            found: short(&text),
            as_decimal: format!("{whole}.{decimals}"),
            as_thousands: format!("{whole}{decimals}"),
        });
    }
    Ok(format!("{whole}.{decimals}"))
}

fn short(text: &str) -> String {
    if text.chars().count() <= 40 { text.into() } else { text.chars().take(40).chain("…".chars()).collect() }
}

impl<K: Kind> FromStr for Written<K> {
    type Err = FigureFault;

    fn from_str(text: &str) -> Result<Self, FigureFault> {
        let trimmed = text.trim();
        // The exponent's letter belongs to the number only before a digit or a sign: "5 em" is no number.
        let end = trimmed
            .char_indices()
            .find(|&(place, c)| {
                let exponent = matches!(c, 'e' | 'E')
                    && place > 0
                    && trimmed[place + 1..]
                        .starts_with(|next: char| next.is_ascii_digit() || matches!(next, '+' | '-'));
                !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '−') || exponent)
            })
            .map_or(trimmed.len(), |(place, _)| place);
        let (digits, symbol) = (trimmed[..end].trim_end(), trimmed[end..].trim());
        if trimmed.is_empty() {
            return Err(FigureFault::Empty { wanted: K::NAME, example: K::EXAMPLE });
        }
        if digits.is_empty() {
            return Err(FigureFault::NoNumber { found: short(trimmed), wanted: K::NAME, example: K::EXAMPLE });
        }
        let unit = if symbol.is_empty() {
            K::unit("1").ok_or_else(|| FigureFault::NoUnit {
                found: short(digits),
                wanted: K::NAME,
                example: K::EXAMPLE,
            })?
        } else {
            K::unit(symbol).ok_or_else(|| not_this_kind::<K>(symbol))?
        };
        Self::in_unit(digits, unit)
    }
}

fn not_this_kind<K: Kind>(symbol: &str) -> FigureFault {
    let plain = plain_symbol(symbol);
    let other = ALL_KINDS.iter().find(|(_, units)| units.iter().any(|(known, ..)| *known == plain));
    match other {
        Some((found, _)) => FigureFault::OtherKind { found, wanted: K::NAME, example: K::EXAMPLE },
        None => FigureFault::UnknownUnit {
            found: short(symbol),
            wanted: K::NAME,
            units: K::UNITS.iter().map(|(symbol, ..)| *symbol).collect::<Vec<_>>().join(", "),
        },
    }
}

impl<K: Kind> fmt::Display for Written<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.unit.symbol() {
            "1" => f.write_str(&self.digits),
            symbol => write!(f, "{} {symbol}", self.digits),
        }
    }
}

impl<K: Kind> Serialize for Written<K> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de, K: Kind> Deserialize<'de> for Written<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

/// A figure with its standard uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", deny_unknown_fields)]
pub struct Uncertain<K: Kind> {
    /// The figure.
    pub value: Written<K>,
    /// How sure it is; `None` where it is taken as exact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread: Option<Spread<K>>,
}

/// How sure a figure is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", deny_unknown_fields)]
pub struct Spread<K: Kind> {
    /// The figure given for it.
    pub given: Given<K>,
    /// Degrees of freedom behind it, where they are stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dof: Option<u32>,
    /// The name of the cause, where several figures share one (a flask, a stock solution).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shared: Option<String>,
}

/// The ways uncertainty is stated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(bound = "", rename_all = "snake_case")]
pub enum Given<K: Kind> {
    /// A standard uncertainty.
    U(Written<K>),
    /// The half-width of limits, with the shape between them.
    Within {
        /// Half-width.
        half_width: Written<K>,
        /// "rectangular", "triangular" or "arcsine".
        #[serde(with = "shape_word")]
        shape: Shape,
    },
}

impl<K: Kind> Given<K> {
    /// The standard uncertainty, in SI.
    pub fn u(&self) -> f64 {
        match self {
            Given::U(u) => u.value().si(),
            Given::Within { half_width, shape } => {
                let half_width = half_width.value().si();
                shape.u_of_half_width(half_width).unwrap_or(half_width)
            }
        }
    }
    fn shape(&self) -> Shape {
        match self {
            Given::U(_) => Shape::Normal,
            Given::Within { shape, .. } => *shape,
        }
    }
}

impl<K: Kind> Uncertain<K> {
    /// A figure taken as exact.
    pub fn exact(value: Written<K>) -> Self {
        Self { value, spread: None }
    }

    /// Its sources for the measurement model: none where it is exact.
    ///
    /// # Arguments
    /// * `own`: the name of the cause where the figure does not share one.
    pub fn sources(&self, own: &str) -> Vec<Source> {
        let Some(spread) = &self.spread else { return Vec::new() };
        // A shared cause keeps one name wherever it is named, so that it is one cause.
        let name = spread.shared.as_ref().map_or_else(|| own.to_owned(), |shared| format!("shared/{shared}"));
        vec![Source {
            id: SourceId::new(name),
            u: spread.given.u(),
            dof: spread.dof.map_or(f64::INFINITY, f64::from),
            pool: None,
            shape: spread.given.shape(),
        }]
    }
}

/// A factor with its name: a recovery factor, a temperature factor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NamedFactor {
    /// Its name, as the budget shows it.
    pub name: String,
    /// Its value.
    pub factor: Uncertain<Factor>,
    /// Where it comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<String>,
}

mod shape_word {
    use darkline_metrology::source::Shape;
    use serde::de::Error as _;
    use serde::{Deserialize, Deserializer, Serializer};

    // serde's `with` asks for a reference.
    #[allow(clippy::trivially_copy_pass_by_ref)]
    pub fn serialize<S: Serializer>(shape: &Shape, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(shape.word())
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Shape, D::Error> {
        let word = String::deserialize(deserializer)?;
        Shape::from_word(&word).ok_or_else(|| D::Error::custom(format!("no shape is called \"{word}\"")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_metrology::kind::{MassConcentration, Volume};
    use proptest::prelude::*;

    #[test]
    fn digits_stay_as_they_were_written() {
        let written: Written<MassConcentration> = "0.050 mg/L".parse().unwrap();
        assert_eq!(written.to_string(), "0.050 mg/L");
        assert_eq!(written.value().si(), 0.05 / 1000.0);
        let comma: Written<MassConcentration> = "0,25 ug/l".parse().unwrap();
        assert_eq!(comma.to_string(), "0.25 µg/L");
        let power: Written<Volume> = "2e-3 mL".parse().unwrap();
        assert_eq!(power.to_string(), "2e-3 mL");
    }

    #[test]
    fn a_wrong_kind_is_told_by_name() {
        let fault = "20 µg/mL".parse::<Written<Volume>>().unwrap_err();
        assert_eq!(
            fault.to_string(),
            "a mass concentration stands where a volume is wanted; write a volume, for example \"20 µL\""
        );
        let cases = [
            ("", "a volume is missing here; write one, for example \"20 µL\""),
            ("20", "20 has no unit; write a volume, for example \"20 µL\""),
            ("twenty mL", "\"twenty mL\" does not begin with a number; write a volume, for example \"20 µL\""),
            ("1,234 mL", "\"1,234\" can mean 1.234 or 1234; write the one that is meant, with a point"),
            ("1e999 mL", "1e999 is beyond what can be computed with"),
            (
                "3 gallons",
                "the unit \"gallons\" is not known; a volume is written in mL, L, µL, dL, cL, nL, cm³, dm³, m³",
            ),
            ("1.2.3 mL", "\"1.2.3\" does not begin with a number; write a volume, for example \"20 µL\""),
        ];
        for (text, told) in cases {
            assert_eq!(text.parse::<Written<Volume>>().unwrap_err().to_string(), told, "{text}");
        }
    }

    #[test]
    fn a_kind_that_begins_with_a_vowel_has_its_article() {
        let fault = "-1 dm2".parse::<Written<darkline_metrology::kind::Area>>().unwrap().not_negative().unwrap_err();
        assert_eq!(fault.to_string(), "-1 dm² is negative; an area here is zero or more");
    }

    proptest! {
        #[test]
        fn what_was_written_reads_back(text in "\\PC{0,30}") {
            if let Ok(written) = text.parse::<Written<MassConcentration>>() {
                let again: Written<MassConcentration> = written.to_string().parse().unwrap();
                prop_assert_eq!(again, written);
            }
        }

        #[test]
        fn any_number_in_any_unit_reads_back(number in any::<f64>(), place in 0..4_usize) {
            let symbol = MassConcentration::UNITS[place].0;
            if let Ok(written) = format!("{number:?} {symbol}").parse::<Written<MassConcentration>>() {
                prop_assert_eq!(written.to_string().parse::<Written<MassConcentration>>().unwrap(), written);
            }
        }
    }
}
