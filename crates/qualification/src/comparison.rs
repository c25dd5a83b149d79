//! A comparison: what a source prints, what the program finds, and how far the two may be apart.

use crate::answer::{Answer, Reason};
use crate::case_file::{Node, Read};
use crate::difference;

/// Met where a case names no tolerance for a figure at full precision, relative.
pub(crate) const FULL_PRECISION: f64 = 1e-9;

/// How far a figure may be from the one expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tolerance {
    /// So far, whatever the figure.
    Absolute(f64),
    /// So much of the figure expected.
    Relative(f64),
    /// Letter by letter, digit by digit.
    Exact,
}

impl Tolerance {
    /// The distance allowed from a figure.
    #[must_use]
    pub fn allowed(self, expected: f64) -> f64 {
        match self {
            Tolerance::Absolute(absolute) => absolute,
            Tolerance::Relative(relative) => relative * expected.abs(),
            Tolerance::Exact => 0.0,
        }
    }
}

/// What follows from a comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the tolerance.
    Agrees,
    /// Outside, and known: the source is wrong, or we differ from it on purpose. The text says why.
    Difference(&'static str),
    /// Outside the tolerance.
    Disagrees,
    /// Nothing to compare; the text says why.
    NotFound(Reason),
}

/// One key of a case.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The quantity, as the case calls it.
    pub key: String,
    /// What the source gives.
    pub expected: Answer,
    /// The same digit for digit.
    pub written: String,
    /// What the program finds.
    pub found: Option<Answer>,
    /// How far it may be off.
    pub tolerance: Tolerance,
    /// How many decimal digits agree, 15 at most; `None` for what is no figure.
    pub digits: Option<f64>,
    /// What follows.
    pub verdict: Verdict,
}

/// The comparisons of one case, collected key by key.
pub(crate) struct Comparing<'a> {
    case: String,
    /// Before every key, to tell the items of a case apart.
    within: String,
    found: &'a dyn Fn(&str) -> Option<Result<Answer, Reason>>,
    pub(crate) comparisons: Vec<Comparison>,
}

impl<'a> Comparing<'a> {
    pub(crate) fn new(case: &str, found: &'a dyn Fn(&str) -> Option<Result<Answer, Reason>>) -> Self {
        Self { case: case.to_owned(), within: String::new(), found, comparisons: Vec::new() }
    }

    /// The same for one item of a case, counted from 1.
    pub(crate) fn item(case: &str, place: usize, found: &'a dyn Fn(&str) -> Option<Result<Answer, Reason>>) -> Self {
        Self { within: format!("item[{place}]."), ..Self::new(case, found) }
    }

    /// Compares one key.
    pub(crate) fn key(&mut self, expected: &Node<'_>, tolerance: Tolerance) -> Read<()> {
        self.named(expected.name(), expected, tolerance)
    }

    /// Compares one key whose expected text is a figure with its digits.
    pub(crate) fn figure(&mut self, expected: &Node<'_>, tolerance: Tolerance) -> Read<()> {
        let answer = Answer::Number(expected.number()?);
        self.answer(expected.name(), answer, expected.written(), tolerance);
        Ok(())
    }

    /// Compares what was found under a key with a value that stands under another name.
    pub(crate) fn named(&mut self, key: &str, expected: &Node<'_>, tolerance: Tolerance) -> Read<()> {
        let answer = Answer::written(expected)?;
        self.answer(key, answer, expected.written(), tolerance);
        Ok(())
    }

    /// Compares an answer.
    pub(crate) fn answer(&mut self, key: &str, expected: Answer, written: &str, tolerance: Tolerance) {
        let found = (self.found)(key).unwrap_or_else(|| Err("nothing computes this quantity".to_owned()));
        let key = format!("{}{key}", self.within);
        let (found, verdict) = match found {
            Ok(found) if agrees(&expected, &found, tolerance) => (Some(found), Verdict::Agrees),
            Ok(found) => {
                let verdict = match difference::known(&self.case, &key, written, &found) {
                    Some(why) => Verdict::Difference(why),
                    None => Verdict::Disagrees,
                };
                (Some(found), verdict)
            }
            Err(reason) => (None, Verdict::NotFound(reason)),
        };
        let digits = found.as_ref().and_then(|found| digits_in_agreement(&expected, found));
        self.comparisons.push(Comparison {
            key,
            expected,
            written: written.to_owned(),
            found,
            tolerance,
            digits,
            verdict,
        });
    }
}

/// Whether an answer is the one expected; one that is no number never is.
fn agrees(expected: &Answer, found: &Answer, tolerance: Tolerance) -> bool {
    match (expected, found) {
        (Answer::List(expected), Answer::List(found)) => {
            expected.len() == found.len()
                && expected.iter().zip(found).all(|(expected, found)| agrees(expected, found, tolerance))
        }
        (Answer::Truth(expected), Answer::Truth(found)) => expected == found,
        (Answer::Text(expected), Answer::Text(found)) => expected == found,
        (Answer::Whole(expected), Answer::Whole(found)) => expected == found,
        (expected, found) => match (expected.number(), found.number()) {
            (Some(expected), Some(found)) => {
                expected == found || (found - expected).abs() <= tolerance.allowed(expected)
            }
            _ => false,
        },
    }
}

/// The decimal digits in which two answers agree: the logarithm of the relative error, as the tables of NIST have it; of
/// the absolute error where zero is expected. Of several figures, the least.
///
/// # Source
/// B. D. McCullough, Assessing the reliability of statistical software, Am. Stat. 52 (1998) 358-366 (from memory).
fn digits_in_agreement(expected: &Answer, found: &Answer) -> Option<f64> {
    if let (Answer::List(expected), Answer::List(found)) = (expected, found) {
        let each = expected.iter().zip(found).map(|(expected, found)| digits_in_agreement(expected, found));
        return each.collect::<Option<Vec<f64>>>()?.into_iter().reduce(f64::min);
    }
    let (expected, found) = (expected.number()?, found.number()?);
    if found == expected {
        return Some(15.0);
    }
    let error = if expected == 0.0 { found.abs() } else { ((found - expected) / expected).abs() };
    let digits = -libm::log10(error);
    Some(if digits.is_nan() { 0.0 } else { digits.clamp(0.0, 15.0) })
}

/// Half a unit of the last digit of a written figure; `None` for what is no decimal figure.
pub(crate) fn half_of_last_digit(written: &str) -> Option<f64> {
    let plain: String = written.chars().filter(|c| *c != '_').collect();
    let (mantissa, exponent) = plain.split_once(['e', 'E']).unwrap_or((&plain, "0"));
    if !mantissa.bytes().any(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let decimals = i32::try_from(mantissa.split_once('.').map_or(0, |(_, decimals)| decimals.len())).ok()?;
    let place = exponent.parse::<i32>().ok()?.checked_sub(decimals)?.checked_sub(1)?;
    format!("5e{place}").parse().ok()
}

/// The tolerance of a printed figure for which the case states none.
pub(crate) fn of_printed(written: &str) -> Tolerance {
    half_of_last_digit(written).map_or(Tolerance::Relative(FULL_PRECISION), Tolerance::Absolute)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_digit_is_read_from_the_text() {
        for (written, half) in [("2000.0", 0.05), ("27.50", 0.005), ("9.9e-10", 5.0e-12), ("12", 0.5), ("1_000", 0.5)] {
            assert_eq!(half_of_last_digit(written), Some(half), "{written}");
        }
        for no_figure in ["inf", "nan", "", "e5", "1e99999999999"] {
            assert_eq!(half_of_last_digit(no_figure), None, "{no_figure}");
        }
    }

    #[test]
    fn what_is_no_number_agrees_with_nothing() {
        let exact = Tolerance::Absolute(f64::INFINITY);
        assert!(!agrees(&Answer::Number(f64::NAN), &Answer::Number(f64::NAN), exact));
        assert!(!agrees(&Answer::Number(1.0), &Answer::Number(f64::NAN), exact));
        assert!(agrees(&Answer::Number(f64::INFINITY), &Answer::Number(f64::INFINITY), Tolerance::Exact));
        assert!(!agrees(&Answer::List(vec![]), &Answer::List(vec![Answer::Whole(1)]), exact));
        assert!(!agrees(&Answer::Text("1".into()), &Answer::Number(1.0), exact));
    }

    #[test]
    fn digits_in_agreement_are_those_of_the_tables_of_nist() {
        let digits = |expected: f64, found: f64| digits_in_agreement(&expected.into(), &found.into()).unwrap();
        assert_eq!(digits(1.0, 1.0), 15.0);
        assert!((digits(1.0, 1.001) - 3.0).abs() < 1e-9);
        assert_eq!(digits(1.0, -3.0), 0.0);
        assert_eq!(digits(1.0, f64::NAN), 0.0);
        assert!((digits(0.0, 1e-12) - 12.0).abs() < 1e-9);
    }
}
