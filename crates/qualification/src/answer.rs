//! An answer: what a case expects under a key, and what the program found.

use std::collections::BTreeMap;
use std::fmt::{self, Display};

use crate::case_file::{Node, Read};
use crate::value::Content;

/// A figure, a count, a verdict, a text, or several of them.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// A figure.
    Number(f64),
    /// A whole number, to be met exactly.
    Whole(i64),
    /// Yes or no.
    Truth(bool),
    /// A text, to be met letter by letter.
    Text(String),
    /// Several, in order.
    List(Vec<Answer>),
}

impl Answer {
    /// The figure, if this is one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        #[expect(clippy::cast_precision_loss, reason = "counts are short")]
        match self {
            Answer::Number(number) => Some(*number),
            Answer::Whole(whole) => Some(*whole as f64),
            _ => None,
        }
    }

    /// What a case writes.
    pub(crate) fn written(node: &Node<'_>) -> Read<Self> {
        Ok(match node.content() {
            Content::Number(number) => Answer::Number(*number),
            Content::Whole(whole) => Answer::Whole(*whole),
            Content::Truth(truth) => Answer::Truth(*truth),
            Content::Text(text) | Content::Moment(text) => Answer::Text(text.clone()),
            Content::List(_) => Answer::List(node.list()?.iter().map(Answer::written).collect::<Read<Vec<_>>>()?),
            Content::Table(_) => {
                return Err(node.fault(format!("{}: a figure is wanted here, not a table", node.name())));
            }
        })
    }
}

impl Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Answer::Number(number) => f.write_str(&figure(*number)),
            Answer::Whole(whole) => write!(f, "{whole}"),
            Answer::Truth(true) => f.write_str("yes"),
            Answer::Truth(false) => f.write_str("no"),
            Answer::Text(text) => f.write_str(text),
            Answer::List(answers) => {
                f.write_str("[")?;
                for (place, answer) in answers.iter().enumerate() {
                    let between = if place == 0 { "" } else { ", " };
                    write!(f, "{between}{answer}")?;
                }
                f.write_str("]")
            }
        }
    }
}

/// A figure with up to twelve digits, those that a reader can compare; full precision stands in the JSON lines.
fn figure(number: f64) -> String {
    if number == 0.0 || !number.is_finite() {
        return number.to_string();
    }
    let size = number.abs();
    if (1e-4..1e9).contains(&size) {
        let digits_before = if size >= 1.0 { format!("{}", size.trunc()).len() } else { 0 };
        let leading_zeros = if size < 1.0 {
            format!("{size:.6}").bytes().skip(2).take_while(|digit| *digit == b'0').count()
        } else {
            0
        };
        let decimals = (12 + leading_zeros).saturating_sub(digits_before);
        let text = format!("{number:.decimals$}");
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    } else {
        let text = format!("{number:.11e}");
        match text.split_once('e') {
            Some((mantissa, exponent)) => {
                let mantissa = mantissa.trim_end_matches('0').trim_end_matches('.');
                format!("{mantissa}e{exponent}")
            }
            None => text,
        }
    }
}

impl From<f64> for Answer {
    fn from(number: f64) -> Self {
        Answer::Number(number)
    }
}

impl From<bool> for Answer {
    fn from(truth: bool) -> Self {
        Answer::Truth(truth)
    }
}

impl From<i64> for Answer {
    fn from(whole: i64) -> Self {
        Answer::Whole(whole)
    }
}

impl From<usize> for Answer {
    fn from(count: usize) -> Self {
        i64::try_from(count).map_or(Answer::Number(f64::INFINITY), Answer::Whole)
    }
}

impl From<u64> for Answer {
    fn from(count: u64) -> Self {
        i64::try_from(count).map_or(Answer::Number(f64::INFINITY), Answer::Whole)
    }
}

impl From<u32> for Answer {
    fn from(count: u32) -> Self {
        Answer::Whole(i64::from(count))
    }
}

impl From<&str> for Answer {
    fn from(text: &str) -> Self {
        Answer::Text(text.to_owned())
    }
}

impl From<String> for Answer {
    fn from(text: String) -> Self {
        Answer::Text(text)
    }
}

impl<T: Into<Answer>> From<Vec<T>> for Answer {
    fn from(answers: Vec<T>) -> Self {
        Answer::List(answers.into_iter().map(Into::into).collect())
    }
}

impl<T: Into<Answer>, const N: usize> From<[T; N]> for Answer {
    fn from(answers: [T; N]) -> Self {
        Answer::List(answers.into_iter().map(Into::into).collect())
    }
}

/// Why there is no answer.
pub(crate) type Reason = String;

/// What was found, by the keys of a case; under some keys only the reason why nothing was.
#[derive(Clone, Debug, Default)]
pub(crate) struct Found(BTreeMap<String, Result<Answer, Reason>>);

impl Found {
    pub(crate) fn new() -> Self {
        Self::default()
    }

    /// An answer.
    pub(crate) fn put(&mut self, key: impl Into<String>, answer: impl Into<Answer>) {
        self.0.insert(key.into(), Ok(answer.into()));
    }

    /// An answer, or what the program says in place of one.
    pub(crate) fn put_or<T: Into<Answer>, E: Display>(&mut self, key: impl Into<String>, answer: Result<T, E>) {
        self.0.insert(key.into(), answer.map(Into::into).map_err(|error| error.to_string()));
    }

    /// An answer where there is one.
    pub(crate) fn put_if<T: Into<Answer>>(&mut self, key: impl Into<String>, answer: Option<T>) {
        self.0.insert(key.into(), answer.map(Into::into).ok_or_else(|| "has no value here".to_owned()));
    }

    /// All answers of another.
    pub(crate) fn extend(&mut self, other: Found) {
        self.0.extend(other.0);
    }

    /// Every answer under another name.
    pub(crate) fn renamed(self, name: impl Fn(&str) -> String) -> Self {
        Self(self.0.into_iter().map(|(key, answer)| (name(&key), answer)).collect())
    }

    /// What was found under a key.
    pub(crate) fn get(&self, key: &str) -> Option<Result<Answer, Reason>> {
        self.0.get(key).cloned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_shown_with_the_digits_that_can_be_compared() {
        for (number, shown) in [
            (0.25, "0.25"),
            (100.0, "100"),
            (1.0 / 3.0, "0.333333333333"),
            (0.001_234_567_890_123_4, "0.00123456789012"),
            (123_456.789_012_345, "123456.789012"),
            (-1.5e-9, "-1.5e-9"),
            (6.022e23, "6.022e23"),
            (f64::INFINITY, "inf"),
        ] {
            assert_eq!(Answer::Number(number).to_string(), shown);
        }
        assert_eq!(Answer::from(vec![1.0, 2.5]).to_string(), "[1, 2.5]");
    }
}
