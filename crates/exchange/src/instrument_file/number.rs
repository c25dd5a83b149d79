//! Number cells: decimal sign, marks of thousands, and the words that stand where no number is.

/// How numbers are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Writing {
    /// The decimal sign, a point or a comma.
    pub decimal: char,
    /// The mark between thousands, where there is one.
    pub thousands: Option<char>,
}

/// What a number cell holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NumberCell {
    /// A number, its digits with a decimal point.
    Digits(String),
    /// A number that only the other decimal sign can explain.
    OtherSign(String),
    /// Something else.
    NoNumber(String),
}

/// Reads a number cell.
pub fn read(cell: &str, writing: Writing) -> NumberCell {
    let text: String = cell.trim().replace(['\u{2212}', '\u{2013}'], "-");
    match digits(&text, writing) {
        Some(digits) => NumberCell::Digits(digits),
        None => {
            let other = Writing { decimal: if writing.decimal == ',' { '.' } else { ',' }, thousands: None };
            match digits(&text, other) {
                Some(_) => NumberCell::OtherSign(cell.to_owned()),
                None => NumberCell::NoNumber(cell.to_owned()),
            }
        }
    }
}

fn digits(text: &str, writing: Writing) -> Option<String> {
    let (sign, rest) = match text.strip_prefix(['-', '+']) {
        Some(rest) => (if text.starts_with('-') { "-" } else { "" }, rest),
        None => ("", text),
    };
    let (mantissa, exponent) = match rest.find(['e', 'E']) {
        Some(place) => (&rest[..place], Some(&rest[place + 1..])),
        None => (rest, None),
    };
    let (whole, decimals) = match mantissa.split_once(writing.decimal) {
        Some((whole, decimals)) => (whole, Some(decimals)),
        None => (mantissa, None),
    };
    let whole = ungrouped(whole, writing.thousands)?;
    let all_digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if !all_digits(&whole) || !decimals.is_none_or(all_digits) {
        return None;
    }
    if whole.is_empty() && decimals.is_none_or(str::is_empty) {
        return None;
    }
    let exponent = match exponent {
        None => String::new(),
        Some(exponent) => {
            let figure = exponent.strip_prefix(['-', '+']).unwrap_or(exponent);
            if figure.is_empty() || figure.len() > 3 || !all_digits(figure) {
                return None;
            }
            format!("e{exponent}")
        }
    };
    let whole = if whole.is_empty() { "0" } else { &whole };
    let decimals =
        decimals.filter(|decimals| !decimals.is_empty()).map_or(String::new(), |digits| format!(".{digits}"));
    Some(format!("{sign}{whole}{decimals}{exponent}"))
}

/// Whole digits without marks of thousands; `None` where a mark does not stand before three digits.
fn ungrouped(whole: &str, thousands: Option<char>) -> Option<String> {
    let is_mark = |c: char| match thousands {
        // A thin or unbreakable space is a space; a typographic apostrophe an apostrophe.
        Some(' ') => matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}'),
        Some('\'') => matches!(c, '\'' | '\u{2019}'),
        Some(mark) => c == mark,
        None => false,
    };
    let mut groups = whole.split(is_mark);
    let first = groups.next()?;
    let rest: Vec<&str> = groups.collect();
    if !rest.is_empty() && (first.is_empty() || first.len() > 3 || rest.iter().any(|group| group.len() != 3)) {
        return None;
    }
    Some(format!("{first}{}", rest.concat()))
}

/// Digits times a power of ten, by moving the decimal point: no digit is lost or made.
pub fn shifted(digits: &str, power: i32) -> String {
    let (mantissa, exponent) = digits.split_once('e').unwrap_or((digits, "0"));
    let exponent = exponent.trim_start_matches('+').parse::<i32>().unwrap_or(0).saturating_add(power);
    let (sign, mantissa) = mantissa.strip_prefix('-').map_or(("", mantissa), |rest| ("-", rest));
    let (whole, decimals) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let all = format!("{whole}{decimals}");
    let point = i32::try_from(whole.len()).unwrap_or(i32::MAX).saturating_add(exponent);
    // Beyond what a reading can be: left as a power of ten.
    if !(-30..=30).contains(&point) || all.len() > 60 {
        return format!("{sign}{mantissa}e{exponent}");
    }
    let length = i32::try_from(all.len()).unwrap_or(60);
    let shifted = if point <= 0 {
        format!("0.{}{all}", "0".repeat(usize::try_from(-point).unwrap_or(0)))
    } else if point >= length {
        format!("{all}{}", "0".repeat(usize::try_from(point - length).unwrap_or(0)))
    } else {
        let place = usize::try_from(point).unwrap_or(0);
        format!("{}.{}", &all[..place], &all[place..])
    };
    let trimmed = match shifted.split_once('.') {
        Some((whole, decimals)) => {
            let whole = whole.trim_start_matches('0');
            format!("{}.{decimals}", if whole.is_empty() { "0" } else { whole })
        }
        None => {
            let whole = shifted.trim_start_matches('0');
            if whole.is_empty() { "0".into() } else { whole.to_owned() }
        }
    };
    format!("{sign}{trimmed}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const COMMA: Writing = Writing { decimal: ',', thousands: Some('.') };
    const POINT: Writing = Writing { decimal: '.', thousands: Some('\'') };

    #[test]
    fn numbers_of_both_writings_are_read() {
        let cases = [
            ("0,0123", COMMA, "0.0123"),
            ("1.234,5", COMMA, "1234.5"),
            ("1'234.5", POINT, "1234.5"),
            ("-,5", COMMA, "-0.5"),
            ("\u{2212}0.5", POINT, "-0.5"),
            ("1.2E-3", POINT, "1.2e-3"),
            ("12", POINT, "12"),
            ("1 234,5", Writing { decimal: ',', thousands: Some(' ') }, "1234.5"),
            ("1\u{202f}234,5", Writing { decimal: ',', thousands: Some(' ') }, "1234.5"),
        ];
        for (cell, writing, digits) in cases {
            assert_eq!(read(cell, writing), NumberCell::Digits(digits.into()), "{cell}");
        }
    }

    #[test]
    fn the_other_decimal_sign_is_never_taken_for_a_mark_of_thousands() {
        let plain = Writing { decimal: ',', thousands: None };
        assert!(matches!(read("0.0123", plain), NumberCell::OtherSign(_)));
        assert!(matches!(read("0.0123", COMMA), NumberCell::OtherSign(_)));
        for odd in ["over", "<0,1", "-----", "#####", "n.a.", "", "1.23,4", "0,1*"] {
            assert!(matches!(read(odd, COMMA), NumberCell::NoNumber(_)), "{odd}");
        }
    }

    #[test]
    fn thousandths_are_made_by_moving_the_point() {
        for (digits, power, wanted) in [
            ("123.4", -3, "0.1234"),
            ("5", -3, "0.005"),
            ("1.2e-3", -3, "0.0000012"),
            ("-12", -3, "-0.012"),
            ("0.5", 3, "500"),
        ] {
            assert_eq!(shifted(digits, power), wanted);
        }
    }

    proptest! {
        #[test]
        fn moving_the_point_is_multiplying(n in -1_000_000i64..1_000_000, decimals in 0usize..5, power in -6i32..6) {
            let digits = format!("{:.decimals$}", n as f64 / 1000.0);
            let moved: f64 = shifted(&digits, power).parse().unwrap();
            let wanted = digits.parse::<f64>().unwrap() * libm::pow(10.0, f64::from(power));
            prop_assert!((moved - wanted).abs() <= 1e-12 * wanted.abs().max(1e-300), "{} {}", moved, wanted);
        }

        #[test]
        fn any_text_is_a_number_or_not(text in ".{0,20}", power in -400i32..400) {
            for writing in [COMMA, POINT] {
                if let NumberCell::Digits(digits) = read(&text, writing) {
                    prop_assert!(digits.parse::<f64>().is_ok(), "{}", digits);
                    prop_assert!(shifted(&digits, power).parse::<f64>().is_ok());
                }
            }
        }
    }
}
