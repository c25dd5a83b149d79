//! A case file: TOML read with the place of every value, and asked value by value.
//!
//! What is not there, or is something else than wanted, is a [`CaseFault`] with line and column.

use toml::de::DeTable;

use crate::value::{Content, Value};

/// A file of cases that cannot be run, and where it says so.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}:{line}:{column}: {what}")]
pub struct CaseFault {
    /// The name of the file.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// What is the matter.
    pub what: String,
}

/// The answer of everything that reads a case.
pub(crate) type Read<T> = Result<T, Box<CaseFault>>;

/// A file of cases.
#[derive(Clone, Debug)]
pub(crate) struct CaseFile {
    pub(crate) name: String,
    text: String,
    root: Value,
}

impl CaseFile {
    /// Reads a file.
    pub(crate) fn read(name: &str, text: &str) -> Read<Self> {
        let place = |at: usize| place(text, at);
        let fault = |at: usize, what: String| {
            let (line, column) = place(at);
            Box::new(CaseFault { file: name.to_owned(), line, column, what })
        };
        let table = DeTable::parse(text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            fault(at, format!("is no TOML: {}", error.message().replace('\n', ", ")))
        })?;
        let root = Value::of_table(0..text.len(), table.get_ref())
            .map_err(|large| fault(large.at, format!("{} is more than a number can hold", large.written)))?;
        Ok(Self { name: name.to_owned(), text: text.to_owned(), root })
    }

    /// The whole file.
    pub(crate) fn root(&self) -> Node<'_> {
        Node { file: self, value: &self.root, name: "" }
    }
}

/// Line and column of a byte, both from 1, the column in characters.
fn place(text: &str, at: usize) -> (usize, usize) {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let line_start = before.rfind('\n').map_or(0, |end| end + 1);
    (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
}

/// A value of a file, with its name.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Node<'a> {
    file: &'a CaseFile,
    value: &'a Value,
    name: &'a str,
}

impl<'a> Node<'a> {
    /// A fault at this value.
    pub(crate) fn fault(&self, what: impl Into<String>) -> Box<CaseFault> {
        let (line, column) = place(&self.file.text, self.value.span.start);
        Box::new(CaseFault { file: self.file.name.clone(), line, column, what: what.into() })
    }

    fn wanted(&self, what: &str) -> Box<CaseFault> {
        self.fault(format!("{}{} is wanted here, not {}", self.named(), what, self.value.word()))
    }

    fn named(&self) -> String {
        if self.name.is_empty() { String::new() } else { format!("{}: ", self.name) }
    }

    /// The file it stands in.
    pub(crate) fn file_name(&self) -> &'a str {
        &self.file.name
    }

    /// The line it begins on.
    pub(crate) fn line(&self) -> usize {
        place(&self.file.text, self.value.span.start).0
    }

    /// Its key.
    pub(crate) fn name(&self) -> &'a str {
        self.name
    }

    /// Its text in the file, digit for digit.
    pub(crate) fn written(&self) -> &'a str {
        match &self.value.content {
            Content::Text(text) => text,
            _ => self.file.text.get(self.value.span.clone()).unwrap_or(""),
        }
    }

    pub(crate) fn content(&self) -> &'a Content {
        &self.value.content
    }

    /// The value under a key, if this is a table that has it.
    pub(crate) fn get(&self, key: &str) -> Option<Node<'a>> {
        let Content::Table(entries) = &self.value.content else { return None };
        let (name, value) = entries.iter().find(|(name, _)| name == key)?;
        Some(Node { file: self.file, value, name })
    }

    /// The value under a key.
    pub(crate) fn need(&self, key: &str) -> Read<Node<'a>> {
        if !matches!(self.value.content, Content::Table(_)) {
            return Err(self.wanted("a table"));
        }
        self.get(key).ok_or_else(|| {
            let here = if self.name.is_empty() { "the case".to_owned() } else { format!("[{}]", self.name) };
            self.fault(format!("{here} has no \"{key}\""))
        })
    }

    /// Whether this is a table with the key.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// The entries of a table.
    pub(crate) fn entries(&self) -> Read<Vec<Node<'a>>> {
        let Content::Table(entries) = &self.value.content else { return Err(self.wanted("a table")) };
        Ok(entries.iter().map(|(name, value)| Node { file: self.file, value, name }).collect())
    }

    /// The entries of a table under a key, none where there is none.
    pub(crate) fn entries_of(&self, key: &str) -> Read<Vec<Node<'a>>> {
        self.get(key).map_or(Ok(Vec::new()), |table| table.entries())
    }

    pub(crate) fn is_list(&self) -> bool {
        matches!(self.value.content, Content::List(_))
    }

    pub(crate) fn is_table(&self) -> bool {
        matches!(self.value.content, Content::Table(_))
    }

    /// Whether this is a list of tables with at least one.
    pub(crate) fn is_list_of_tables(&self) -> bool {
        self.list().is_ok_and(|list| list.first().is_some_and(Node::is_table))
    }

    /// The values of a list.
    pub(crate) fn list(&self) -> Read<Vec<Node<'a>>> {
        let Content::List(list) = &self.value.content else { return Err(self.wanted("a list")) };
        Ok(list.iter().map(|value| Node { file: self.file, value, name: self.name }).collect())
    }

    pub(crate) fn list_of(&self, key: &str) -> Read<Vec<Node<'a>>> {
        self.need(key)?.list()
    }

    /// A list under a key that may be missing.
    pub(crate) fn list_or_none(&self, key: &str) -> Read<Vec<Node<'a>>> {
        self.get(key).map_or(Ok(Vec::new()), |list| list.list())
    }

    /// A number, whole or not, or one written as text so that its digits survive.
    pub(crate) fn number(&self) -> Read<f64> {
        #[expect(clippy::cast_precision_loss, reason = "whole numbers of a case are short")]
        match &self.value.content {
            Content::Number(number) => Ok(*number),
            Content::Whole(whole) => Ok(*whole as f64),
            Content::Text(text) => {
                text.trim().parse().map_err(|_| self.fault(format!("{}{text:?} is no number", self.named())))
            }
            _ => Err(self.wanted("a number")),
        }
    }

    pub(crate) fn number_of(&self, key: &str) -> Read<f64> {
        self.need(key)?.number()
    }

    pub(crate) fn number_or(&self, key: &str, otherwise: f64) -> Read<f64> {
        self.get(key).map_or(Ok(otherwise), |value| value.number())
    }

    pub(crate) fn number_if(&self, key: &str) -> Read<Option<f64>> {
        self.get(key).map(|value| value.number()).transpose()
    }

    /// One number or several.
    pub(crate) fn numbers(&self) -> Read<Vec<f64>> {
        if self.is_list() { self.list()?.iter().map(Node::number).collect() } else { Ok(vec![self.number()?]) }
    }

    pub(crate) fn numbers_of(&self, key: &str) -> Read<Vec<f64>> {
        self.need(key)?.numbers()
    }

    /// Lists of numbers.
    pub(crate) fn groups_of(&self, key: &str) -> Read<Vec<Vec<f64>>> {
        self.list_of(key)?.iter().map(Node::numbers).collect()
    }

    /// A whole number from zero to `most`; more would take longer than anybody waits.
    pub(crate) fn count(&self, most: usize) -> Read<usize> {
        let number = self.number()?;
        if number.fract() != 0.0 || number < 0.0 || number.is_nan() {
            return Err(self.fault(format!("{}a whole number is wanted here, not {number}", self.named())));
        }
        #[expect(clippy::cast_precision_loss, reason = "a bound is short")]
        if number > most as f64 {
            return Err(self.fault(format!("{}{number} is more than the {most} that are run", self.named())));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number in range")]
        Ok(number as usize)
    }

    pub(crate) fn count_of(&self, key: &str, most: usize) -> Read<usize> {
        self.need(key)?.count(most)
    }

    pub(crate) fn text(&self) -> Read<&'a str> {
        let Content::Text(text) = &self.value.content else { return Err(self.wanted("a text")) };
        Ok(text)
    }

    pub(crate) fn text_of(&self, key: &str) -> Read<&'a str> {
        self.need(key)?.text()
    }

    /// The text under a key, or an empty one.
    pub(crate) fn text_or_none(&self, key: &str) -> &'a str {
        self.get(key).and_then(|value| value.text().ok()).unwrap_or("")
    }

    pub(crate) fn texts_of(&self, key: &str) -> Read<Vec<&'a str>> {
        self.list_of(key)?.iter().map(Node::text).collect()
    }

    pub(crate) fn truth(&self) -> Read<bool> {
        let Content::Truth(truth) = self.value.content else { return Err(self.wanted("true or false")) };
        Ok(truth)
    }

    /// A yes or no that is no where it is missing.
    pub(crate) fn truth_of(&self, key: &str) -> Read<bool> {
        self.get(key).map_or(Ok(false), |value| value.truth())
    }

    /// Bytes in hexadecimal digits.
    pub(crate) fn bytes(&self) -> Read<Vec<u8>> {
        let digits = self.text()?;
        bytes(digits).ok_or_else(|| self.fault(format!("{}pairs of hexadecimal digits are wanted here", self.named())))
    }

    pub(crate) fn bytes_of(&self, key: &str) -> Read<Vec<u8>> {
        self.need(key)?.bytes()
    }
}

/// Reads pairs of hexadecimal digits.
pub(crate) fn bytes(digits: &str) -> Option<Vec<u8>> {
    let digit = |byte: u8| char::from(byte).to_digit(16);
    let digits = digits.as_bytes();
    let (pairs, rest) = digits.as_chunks::<2>();
    if !rest.is_empty() {
        return None;
    }
    pairs.iter().map(|[high, low]| u8::try_from(digit(*high)? * 16 + digit(*low)?).ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_is_missing_or_is_something_else_is_told_with_its_place() {
        let file = CaseFile::read("made.toml", "id = \"made\"\n[data]\n  x = [1, \"two\"]\nbig = 7\n").unwrap();
        let data = file.root().need("data").unwrap();
        let told = |fault: Box<CaseFault>| fault.to_string();
        assert_eq!(told(data.need("y").unwrap_err()), "made.toml:2:1: [data] has no \"y\"");
        assert_eq!(told(data.numbers_of("x").unwrap_err()), "made.toml:3:11: x: \"two\" is no number");
        assert_eq!(
            told(data.text_of("big").unwrap_err()),
            "made.toml:4:7: big: a text is wanted here, not a whole number"
        );
        assert_eq!(told(data.count_of("big", 6).unwrap_err()), "made.toml:4:7: big: 7 is more than the 6 that are run");
    }

    #[test]
    fn what_is_no_toml_is_told_with_its_place() {
        let fault = CaseFile::read("made.toml", "id = \"made\"\nkind = \n").unwrap_err();
        assert_eq!((fault.line, fault.column), (2, 8), "{fault}");
    }

    #[test]
    fn hexadecimal_digits_come_in_pairs() {
        assert_eq!(bytes("00ff"), Some(vec![0, 255]));
        assert_eq!(bytes("0"), None);
        assert_eq!(bytes("+f"), None);
        assert_eq!(bytes("é"), None);
    }
}
