//! One table of a document under the reader's hand: its keys are asked for one by one, and those nobody asked for are told.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt::Display;
use std::ops::{Range, RangeInclusive};
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::fault::quoted;
use crate::nearest::{meant_of_many, one_of};
use crate::sheet::Sheet;

/// A table of a document.
pub(crate) struct Section<'a> {
    sheet: &'a Sheet<'a>,
    table: &'a DeTable<'a>,
    span: Range<usize>,
    path: String,
    // Where the syntax is broken, keys may have landed in another table: missing and unknown ones are not told.
    is_broken: bool,
    asked: RefCell<Vec<&'static str>>,
}

/// A key with its value.
pub(crate) struct Entry<'a> {
    sheet: &'a Sheet<'a>,
    name: &'static str,
    path: String,
    value: &'a Spanned<DeValue<'a>>,
    span: Range<usize>,
    is_broken: bool,
}

/// The bytes of a value, a text without its quotation marks.
pub(crate) fn inner(text: &str, value: &Spanned<DeValue<'_>>) -> Range<usize> {
    let span = value.span();
    let DeValue::String(_) = value.get_ref() else {
        return span;
    };
    let raw = text.get(span.clone()).unwrap_or("");
    let marks = if raw.len() >= 6 && (raw.starts_with("\"\"\"") || raw.starts_with("'''")) { 3 } else { 1 };
    if raw.len() > 2 * marks { span.start + marks..span.end - marks } else { span }
}

fn what_stands(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

impl<'a> Section<'a> {
    pub(crate) fn top(sheet: &'a Sheet<'a>, table: &'a DeTable<'a>, is_broken: bool) -> Self {
        Self { sheet, table, span: 0..0, path: String::new(), is_broken, asked: RefCell::new(vec!["format"]) }
    }

    pub(crate) fn sheet(&self) -> &'a Sheet<'a> {
        self.sheet
    }
    /// The bytes of its head.
    pub(crate) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    fn path_of(&self, name: &str) -> String {
        if self.path.is_empty() { name.into() } else { format!("{}.{name}", self.path) }
    }

    /// The value of a key, where it is there.
    pub(crate) fn optional(&self, name: &'static str) -> Option<Entry<'a>> {
        self.asked.borrow_mut().push(name);
        let (_, value) = self.table.iter().find(|(key, _)| key.get_ref() == name)?;
        let span = inner(self.sheet.text(), value);
        let path = self.path_of(name);
        self.sheet.remember(path.clone(), span.clone());
        Some(Entry { sheet: self.sheet, name, path, value, span, is_broken: self.is_broken })
    }

    /// The value of a key; its absence is told with an example of what to write.
    pub(crate) fn required(&self, name: &'static str, example: &str) -> Option<Entry<'a>> {
        let entry = self.optional(name);
        if entry.is_none() && !self.is_broken {
            self.sheet.fault(
                self.span(),
                format!("{} has no \"{name}\"", self.called()),
                format!("write {name} = {example}"),
            );
        }
        entry
    }

    fn called(&self) -> String {
        match self.path.rsplit('.').next().unwrap_or("") {
            "" => "the document".into(),
            last => format!("this {}", last.split('[').next().unwrap_or(last)),
        }
    }

    /// A table within this one; its absence is told.
    pub(crate) fn section(&self, name: &'static str) -> Option<Section<'a>> {
        let entry = self.optional(name);
        if entry.is_none() && !self.is_broken {
            self.sheet.fault(
                self.span(),
                format!("{} has no part [{name}]", self.called()),
                format!("write [{name}] and its keys below"),
            );
        }
        entry?.section(&format!("[{name}]"))
    }

    /// A table within this one, where it is there.
    pub(crate) fn optional_section(&self, name: &'static str, form: &str) -> Option<Section<'a>> {
        self.optional(name)?.section(form)
    }

    /// The tables of a list of tables; none where there is none.
    pub(crate) fn sections(&self, name: &'static str, head: &str) -> Vec<Section<'a>> {
        let Some(entry) = self.optional(name) else {
            return Vec::new();
        };
        let DeValue::Array(list) = entry.value.get_ref() else {
            entry.fault(
                format!("{} stands where a list of \"{name}\" is wanted", what_stands(entry.value.get_ref())),
                format!("begin each of them with {head}"),
            );
            return Vec::new();
        };
        let mut sections = Vec::new();
        for (place, item) in list.iter().enumerate() {
            let DeValue::Table(table) = item.get_ref() else {
                self.sheet.fault(
                    item.span(),
                    format!("{} stands where a \"{name}\" is wanted", what_stands(item.get_ref())),
                    format!("begin each of them with {head}"),
                );
                continue;
            };
            sections.push(self.within(format!("{}[{place}]", entry.path), item.span(), table));
        }
        sections
    }

    /// The tables of a list that must not be empty.
    pub(crate) fn some_sections(&self, name: &'static str, head: &str) -> Vec<Section<'a>> {
        let sections = self.sections(name, head);
        let is_there = self.table.iter().any(|(key, _)| key.get_ref() == name);
        if sections.is_empty() && !is_there && !self.is_broken {
            self.sheet.fault(
                self.span(),
                format!("{} has no {head}", self.called()),
                format!("write {head} and its keys below, once for each {name}"),
            );
        }
        sections
    }

    fn within(&self, path: String, span: Range<usize>, table: &'a DeTable<'a>) -> Section<'a> {
        self.sheet.remember(path.clone(), span.clone());
        Section { sheet: self.sheet, table, span, path, is_broken: self.is_broken, asked: RefCell::default() }
    }

    /// Tells a key that has no place in this table although a neighbour has it.
    pub(crate) fn without(&self, name: &'static str, why: &str) {
        if let Some(entry) = self.optional(name) {
            entry.fault(format!("\"{name}\" stands {why}"), "take it away, or look at the other keys");
        }
    }

    /// Tells the keys nobody asked for.
    pub(crate) fn close(&self) {
        if self.is_broken {
            return;
        }
        let asked: BTreeSet<&str> = self.asked.borrow().iter().copied().collect();
        let known: Vec<&str> = asked.iter().copied().collect();
        let unknown = self.table.keys().filter(|key| !asked.contains(key.get_ref().as_ref()));
        for (n, key) in unknown.enumerate() {
            let what = format!("the key {} is not known here", quoted(key.get_ref()));
            self.sheet.fault(key.span(), what, meant_of_many(n, key.get_ref(), &known));
        }
    }
}

impl<'a> Entry<'a> {
    pub(crate) fn span(&self) -> Range<usize> {
        self.span.clone()
    }
    pub(crate) fn name(&self) -> &'static str {
        self.name
    }
    pub(crate) fn is_text(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::String(_))
    }
    pub(crate) fn is_table(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::Table(_))
    }
    pub(crate) fn fault(&self, what: impl Into<String>, hint: impl Into<String>) {
        self.sheet.fault(self.span(), what, hint);
    }
    pub(crate) fn told(&self, told: &impl ToString) {
        self.sheet.told(self.span(), told);
    }

    fn not_a_text(&self, example: &str) {
        self.fault(
            format!("{} stands where a text is wanted", what_stands(self.value.get_ref())),
            format!("write {} = {example}", self.name),
        );
    }

    /// A text with something in it.
    pub(crate) fn text(&self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => {
                self.fault(format!("\"{}\" is empty", self.name), "write it between the quotation marks");
                None
            }
            DeValue::String(text) => Some(text.trim().to_owned()),
            _ => {
                self.not_a_text("\"…\"");
                None
            }
        }
    }

    /// A text, or the letters of a bare number or time, for figures and times that need no quotation marks.
    pub(crate) fn text_or_bare(&self, example: &str) -> Option<String> {
        match self.value.get_ref() {
            DeValue::String(text) => Some(text.trim().to_owned()),
            DeValue::Integer(_) | DeValue::Float(_) | DeValue::Datetime(_) => {
                self.sheet.text().get(self.value.span()).map(str::to_owned)
            }
            _ => {
                self.not_a_text(&format!("\"{example}\""));
                None
            }
        }
    }

    /// A text that is an identity, a time, or anything else with a spelling of its own.
    pub(crate) fn parsed<T: FromStr<Err: Display>>(&self) -> Option<T> {
        self.text()?.parse().map_err(|error| self.told(&error)).ok()
    }

    /// A time, with or without quotation marks.
    pub(crate) fn time<T: FromStr<Err: Display>>(&self) -> Option<T> {
        self.text_or_bare("2026-03-14T09:30:00+01:00")?.parse().map_err(|error| self.told(&error)).ok()
    }

    /// A day, with or without quotation marks.
    pub(crate) fn day<T: FromStr<Err: Display>>(&self) -> Option<T> {
        self.text_or_bare("2026-03-20")?.parse().map_err(|error| self.told(&error)).ok()
    }

    /// One of a few choices by its words.
    pub(crate) fn one_of<T: Copy>(&self, what: &str, all: &[T], words: fn(T) -> &'static str) -> Option<T> {
        let text = self.text()?;
        let found = all.iter().copied().find(|&choice| words(choice) == text);
        if found.is_none() {
            let known: Vec<&str> = all.iter().map(|&choice| words(choice)).collect();
            let hint = match crate::nearest::nearest(&text, known.iter().copied()) {
                Some(name) => format!("did you mean \"{name}\"?"),
                None => format!(
                    "write {}",
                    one_of(
                        &known
                            .iter()
                            .map(|word| format!("\"{word}\""))
                            .collect::<Vec<_>>()
                            .iter()
                            .map(String::as_str)
                            .collect::<Vec<_>>()
                    )
                ),
            };
            self.fault(format!("{} is no {what}", quoted(&text)), hint);
        }
        found
    }

    /// The items of a list, each as an entry of its own.
    pub(crate) fn list(&self, example: &str) -> Option<Vec<Entry<'a>>> {
        let DeValue::Array(list) = self.value.get_ref() else {
            self.fault(
                format!("{} stands where a list is wanted", what_stands(self.value.get_ref())),
                format!("write {} = {example}", self.name),
            );
            return None;
        };
        let entry = |(place, value): (usize, &'a Spanned<DeValue<'a>>)| {
            let path = format!("{}[{place}]", self.path);
            let span = inner(self.sheet.text(), value);
            self.sheet.remember(path.clone(), span.clone());
            Entry { sheet: self.sheet, name: self.name, path, value, span, is_broken: self.is_broken }
        };
        Some(list.iter().enumerate().map(entry).collect())
    }

    /// A whole number.
    pub(crate) fn whole(&self, range: RangeInclusive<u32>) -> Option<u32> {
        let (lowest, highest) = (*range.start(), *range.end());
        let hint = format!("write {} = a whole number from {lowest} to {highest}", self.name);
        let DeValue::Integer(number) = self.value.get_ref() else {
            self.fault(format!("{} stands where a whole number is wanted", what_stands(self.value.get_ref())), hint);
            return None;
        };
        let found =
            (number.radix() == 10).then(|| number.as_str().parse::<u32>().ok()).flatten().filter(|n| range.contains(n));
        if found.is_none() {
            let raw = self.sheet.text().get(self.value.span()).unwrap_or("");
            self.fault(format!("{} is not between {lowest} and {highest}", quoted(raw).trim_matches('"')), hint);
        }
        found
    }

    /// A table.
    pub(crate) fn section(&self, form: &str) -> Option<Section<'a>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            self.fault(
                format!("{} stands where a table is wanted", what_stands(self.value.get_ref())),
                format!("write {form}"),
            );
            return None;
        };
        Some(Section {
            sheet: self.sheet,
            table,
            span: self.span(),
            path: self.path.clone(),
            is_broken: self.is_broken,
            asked: RefCell::default(),
        })
    }
}
