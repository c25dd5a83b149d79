//! Decimal figures as texts: how people write them, and how they are printed.
//!
//! Read by `text.parse::<Decimal>()`, in the writer's decimal sign; printed by [`Display`](fmt::Display) with the
//! digits that were written. What can be meant in two ways is turned back and both readings are named.
//!
//! Source: none needed, reading and printing have no formula.

use std::fmt;
use std::str::FromStr;

use super::decimal::Decimal;

/// The most digits a written figure may have, and the farthest its last digit may stand from the point.
pub const MAX_DIGITS: usize = 400;

/// What kept a text from being read as a decimal figure.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DecimalError {
    /// Nothing but blanks.
    #[error("nothing is written where a number is wanted")]
    Empty,
    /// A comma that may part thousands or stand for the decimal point.
    #[error("\"{found}\" can mean {as_decimal} or {as_thousands}; write it without a comma")]
    AmbiguousComma {
        /// The text.
        found: String,
        /// The figure if the comma is the decimal sign.
        as_decimal: String,
        /// The figure if the comma parts thousands.
        as_thousands: String,
    },
    /// More than one comma or point, or both: thousands marks.
    #[error("\"{found}\" has thousands marks; write the number without them")]
    ThousandsMarks {
        /// The text.
        found: String,
    },
    /// A sign of comparison before the number.
    #[error("\"{found}\" is a bound, not a number; write the number alone")]
    Bound {
        /// The text.
        found: String,
    },
    /// A character that no number has.
    #[error("\"{found}\" is not a number: {character:?} at character {position}")]
    NotANumber {
        /// The text.
        found: String,
        /// The first character that does not fit.
        character: char,
        /// Where it stands, counted from 1.
        position: usize,
    },
    /// The text ends before the number is complete.
    #[error("\"{found}\" breaks off before a digit")]
    NoDigit {
        /// The text.
        found: String,
    },
    /// Longer, larger or smaller than any figure of a laboratory.
    #[error("a number of more than {MAX_DIGITS} digits, or as far from the point, is not read")]
    TooLong,
}

impl From<Decimal> for String {
    fn from(decimal: Decimal) -> String {
        decimal.to_string()
    }
}

impl TryFrom<String> for Decimal {
    type Error = DecimalError;
    fn try_from(text: String) -> Result<Decimal, DecimalError> {
        text.parse()
    }
}

impl FromStr for Decimal {
    type Err = DecimalError;

    /// Reads a figure as written by a person: sign, digits, one decimal point or comma, exponent.
    ///
    /// # Errors
    /// * [`DecimalError::AmbiguousComma`]: one comma before exactly three digits, "1,234".
    /// * [`DecimalError::ThousandsMarks`]: more than one mark, or blanks or apostrophes among digits.
    /// * [`DecimalError::Bound`]: a sign of comparison comes first, "<0.5".
    /// * [`DecimalError::NotANumber`], [`DecimalError::NoDigit`], [`DecimalError::Empty`], [`DecimalError::TooLong`].
    fn from_str(text: &str) -> Result<Decimal, DecimalError> {
        let found = text.trim();
        if found.is_empty() {
            return Err(DecimalError::Empty);
        }
        if found.chars().count() > 2 * MAX_DIGITS {
            return Err(DecimalError::TooLong);
        }
        let characters: Vec<char> = found.chars().collect();
        let own = || found.to_owned();
        if matches!(characters[0], '<' | '>' | '≤' | '≥' | '~' | '≈') {
            return Err(DecimalError::Bound { found: own() });
        }
        let negative = matches!(characters[0], '-' | '\u{2212}');
        let mut i = usize::from(negative || characters[0] == '+');
        let (mut digits, mut marks, mut fraction) = (Vec::new(), Vec::new(), 0_usize);
        while let Some(c) = characters.get(i) {
            match c {
                '0'..='9' => {
                    digits.push(*c as u8 - b'0');
                    fraction += usize::from(!marks.is_empty());
                }
                '.' | ',' => {
                    marks.push(*c);
                    fraction = 0;
                }
                '\'' | '\u{2019}' | '_' | ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}'
                    if !digits.is_empty() && characters.get(i + 1).is_some_and(char::is_ascii_digit) =>
                {
                    return Err(DecimalError::ThousandsMarks { found: own() });
                }
                'e' | 'E' if !digits.is_empty() => break,
                other => {
                    return Err(DecimalError::NotANumber { found: own(), character: *other, position: i + 1 });
                }
            }
            i += 1;
        }
        if marks.len() > 1 {
            return Err(DecimalError::ThousandsMarks { found: own() });
        }
        if digits.is_empty() {
            return Err(DecimalError::NoDigit { found: own() });
        }
        let mut exponent: i32 = 0;
        if i < characters.len() {
            let written: String = characters[i + 1..].iter().collect::<String>().replace('\u{2212}', "-");
            let bare = written.strip_prefix(['+', '-']).unwrap_or(&written);
            if bare.is_empty() {
                return Err(DecimalError::NoDigit { found: own() });
            }
            if let Some(at) = bare.chars().position(|c| !c.is_ascii_digit()) {
                let position = characters.len() - bare.chars().count() + at;
                return Err(DecimalError::NotANumber {
                    found: own(),
                    character: characters[position],
                    position: position + 1,
                });
            }
            exponent = written.parse().map_err(|_| DecimalError::TooLong)?;
        }
        let whole = digits.len() - fraction;
        let may_part_thousands = (1..=3).contains(&whole) && digits[0] != 0 && fraction == 3;
        if marks == [','] && may_part_thousands && i == characters.len() {
            return Err(DecimalError::AmbiguousComma {
                found: own(),
                as_decimal: found.replace(',', "."),
                as_thousands: found.replace(',', ""),
            });
        }
        let far = MAX_DIGITS as i64;
        let place = i64::from(exponent) - fraction as i64;
        if digits.len() > MAX_DIGITS || !(-far..=far).contains(&place) {
            return Err(DecimalError::TooLong);
        }
        Ok(Decimal::build(negative, digits, place as i32))
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits: String = self.digits.iter().map(|d| char::from(b'0' + d)).collect();
        let text = if self.place > 0 && !digits.is_empty() {
            // Noughts that were not written are not claimed: 1.2e4, not 12000.
            let (first, rest) = digits.split_at(1);
            let point = if rest.is_empty() { "" } else { "." };
            format!("{first}{point}{rest}e{}", i64::from(self.place) + rest.len() as i64)
        } else if self.place >= 0 {
            if digits.is_empty() { "0".to_owned() } else { digits }
        } else {
            let decimals = self.place.unsigned_abs() as usize;
            let padded = format!("{digits:0>width$}", width = decimals + 1);
            let (whole, fraction) = padded.split_at(padded.len() - decimals);
            format!("{whole}.{fraction}")
        };
        f.pad_integral(!self.negative, "", &text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn written_digits_are_kept() {
        for text in
            ["0.050", "0", "0.00", "12", "1000", "-3.10", "0.0000001", "1.2e4", "100000000000000000000000000001"]
        {
            assert_eq!(d(text).to_string(), text);
        }
        assert_eq!(d("+7").to_string(), "7");
        assert_eq!(d("\u{2212}7.0").to_string(), "-7.0");
        assert_eq!(d(".5").to_string(), "0.5");
        assert_eq!(d("5.").to_string(), "5");
        assert_eq!(d("1.20e-3").to_string(), "0.00120");
        assert_eq!(d("-0.00").to_string(), "0.00");
        assert_eq!(d("007").to_string(), "7");
        assert_eq!(d("1.23e3").plain(), "1230");
        assert_eq!(d("0e3").plain(), "0");
        assert_eq!(d("0.050").plain(), "0.050");
        assert_eq!(format!("{:>8}|{:<7}|", d("-0.5"), d("12")), "    -0.5|12     |");
    }

    #[test]
    fn a_decimal_comma_is_read_where_it_can_mean_nothing_else() {
        assert_eq!(d("0,25"), d("0.25"));
        assert_eq!(d("0,250").to_string(), "0.250");
        assert_eq!(d("1234,567").to_string(), "1234.567");
        assert_eq!(d("1,2345").to_string(), "1.2345");
        assert_eq!(d("1,234e2").to_string(), "123.4");
    }

    #[test]
    fn what_is_no_number_is_told_what_was_found() {
        let said = |text: &str| text.parse::<Decimal>().unwrap_err().to_string();
        assert_eq!(said("1,234"), "\"1,234\" can mean 1.234 or 1234; write it without a comma");
        assert_eq!(said("  "), "nothing is written where a number is wanted");
        assert_eq!(said("1,234,567"), "\"1,234,567\" has thousands marks; write the number without them");
        assert_eq!(said("1.234,5"), "\"1.234,5\" has thousands marks; write the number without them");
        assert_eq!(said("1'234"), "\"1'234\" has thousands marks; write the number without them");
        assert_eq!(said("12 500"), "\"12 500\" has thousands marks; write the number without them");
        assert_eq!(said("<0.5"), "\"<0.5\" is a bound, not a number; write the number alone");
        assert_eq!(said("over"), "\"over\" is not a number: 'o' at character 1");
        assert_eq!(said("0.5 mg"), "\"0.5 mg\" is not a number: ' ' at character 4");
        assert_eq!(said("1e5x"), "\"1e5x\" is not a number: 'x' at character 4");
        assert_eq!(said("-"), "\"-\" breaks off before a digit");
        assert_eq!(said("1e"), "\"1e\" breaks off before a digit");
        assert_eq!(said("NaN"), "\"NaN\" is not a number: 'N' at character 1");
        assert_eq!(said("1e999999999999"), "a number of more than 400 digits, or as far from the point, is not read");
        assert_eq!(said("1e500"), "a number of more than 400 digits, or as far from the point, is not read");
    }

    proptest! {
        #[test]
        fn what_was_written_reads_back(x in proptest::num::f64::NORMAL) {
            let decimal = Decimal::from_f64(x).unwrap();
            prop_assert_eq!(decimal.to_f64(), x);
            prop_assert_eq!(decimal.to_string().parse::<Decimal>().unwrap(), decimal);
        }

        #[test]
        fn no_text_panics(text in "\\PC{0,12}|[-+0-9.,eE ]{0,12}") {
            if let Ok(decimal) = text.parse::<Decimal>() {
                prop_assert!(decimal.to_f64().is_finite() || decimal.leading_place() > Some(307));
            }
        }
    }
}
