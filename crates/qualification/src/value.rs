//! The values of a case file, each with its place in the text.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(crate) struct Value {
    /// The bytes of the text that it takes.
    pub(crate) span: Range<usize>,
    /// What it is.
    pub(crate) content: Content,
}

/// What a value is.
#[derive(Clone, Debug)]
pub(crate) enum Content {
    Text(String),
    Whole(i64),
    Number(f64),
    Truth(bool),
    Moment(String),
    List(Vec<Value>),
    /// Keys in the order of the file.
    Table(Vec<(String, Value)>),
}

/// A figure that the file writes and that no number of ours can hold.
pub(crate) struct TooLarge {
    /// Where it stands.
    pub(crate) at: usize,
    /// As it is written.
    pub(crate) written: String,
}

impl Value {
    /// Takes over what the parser found.
    pub(crate) fn of_table(span: Range<usize>, table: &DeTable<'_>) -> Result<Self, TooLarge> {
        let mut entries: Vec<(usize, String, Value)> = Vec::with_capacity(table.len());
        for (key, value) in table {
            entries.push((key.span().start, key.get_ref().to_string(), Self::of(value)?));
        }
        entries.sort_by_key(|(at, ..)| *at);
        Ok(Self { span, content: Content::Table(entries.into_iter().map(|(_, key, value)| (key, value)).collect()) })
    }

    fn of(value: &Spanned<DeValue<'_>>) -> Result<Self, TooLarge> {
        let span = value.span();
        let too_large = |written: &str| TooLarge { at: span.start, written: written.to_owned() };
        let content = match value.get_ref() {
            DeValue::String(text) => Content::Text(text.to_string()),
            DeValue::Integer(whole) => match i64::from_str_radix(whole.as_str(), whole.radix()) {
                Ok(whole) => Content::Whole(whole),
                Err(_) => return Err(too_large(whole.as_str())),
            },
            DeValue::Float(float) => Content::Number(float.as_str().parse().map_err(|_| too_large(float.as_str()))?),
            DeValue::Boolean(truth) => Content::Truth(*truth),
            DeValue::Datetime(moment) => Content::Moment(moment.to_string()),
            DeValue::Array(list) => Content::List(list.iter().map(Self::of).collect::<Result<Vec<Value>, TooLarge>>()?),
            DeValue::Table(table) => return Self::of_table(span, table),
        };
        Ok(Self { span, content })
    }

    /// What it is, in a word.
    pub(crate) fn word(&self) -> &'static str {
        match self.content {
            Content::Text(_) => "a text",
            Content::Whole(_) => "a whole number",
            Content::Number(_) => "a number",
            Content::Truth(_) => "yes or no",
            Content::Moment(_) => "a date",
            Content::List(_) => "a list",
            Content::Table(_) => "a table",
        }
    }
}
