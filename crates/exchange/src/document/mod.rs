//! A document in TOML, walked by hand, so that all faults of a file come at once.
//!
//! [`read`] opens a text, tells what its syntax lacks, looks at its `format` line and hands the top table to a reader.
//! [`section`] is the table under the reader's hand, [`figure`] reads quantities.
//!
//! Formats are numbered: an older one is read for ever by the reader of its number, a newer one is told apart from damage.

pub(crate) mod figure;
pub(crate) mod gathering;
pub(crate) mod section;
mod syntax;

use std::collections::BTreeSet;

use darkline_record::figure::with_article;
use toml::de::{DeTable, DeValue};

use self::section::Section;
use crate::fault::{Faults, quoted};
use crate::sheet::{Places, Sheet, ShowsLines};

/// A document with the text it was read from, as it was entered.
#[derive(Clone, Debug, PartialEq)]
pub struct Entered<T> {
    /// The name of the file.
    pub file_name: String,
    /// Its text, to the letter.
    pub text: String,
    /// What it says.
    pub document: T,
    pub(crate) places: Places,
}

impl<T> Entered<T> {
    /// The text, opened again to tell more about it.
    pub(crate) fn sheet(&self, shows_lines: ShowsLines) -> Sheet<'_> {
        Sheet::reopen(&self.file_name, &self.text, shows_lines)
    }
}

/// Reads a document of one kind.
///
/// # Arguments
/// * `kind`: the word in the format line, for example `order`.
/// * `v1`: the reader of `darkline/KIND/1`.
///
/// # Errors
/// All faults of the text.
pub(crate) fn read<T>(
    file_name: &str,
    text: &str,
    kind: &'static str,
    v1: impl FnOnce(&Section<'_>) -> Option<T>,
) -> Result<Entered<T>, Faults> {
    let sheet = Sheet::open(file_name, text, ShowsLines::Yes)?;
    let blanked = syntax::without_bare_keys(sheet.text());
    let (table, mut errors) = DeTable::parse_recoverable(&blanked.text);
    errors.extend(blanked.errors);
    let top = Section::top(&sheet, table.get_ref(), !errors.is_empty());
    let document = match format_of(&sheet, &table, kind) {
        Some(1) => v1(&top),
        _ => None,
    };
    // What follows from broken syntax is not worth a line: behind it only what stands on sound lines is told.
    if !errors.is_empty() {
        let broken: BTreeSet<usize> = errors
            .iter()
            .filter_map(|error| error.span())
            .flat_map(|span| {
                // A quotation mark or bracket that stays open runs over the lines behind it.
                sheet.line_of(span.start)..=sheet.line_of(span.end.max(span.start))
            })
            .collect();
        sheet.keep_findings(|line| !broken.contains(&line));
        syntax::tell(&sheet, &errors);
    }
    let places = sheet.take_places();
    let document = sheet.close(document)?;
    Ok(Entered { file_name: file_name.into(), text: text.into(), document, places })
}

/// The number of the format; `None` where it is none of ours, or newer, which has been told.
fn format_of(sheet: &Sheet<'_>, table: &toml::Spanned<DeTable<'_>>, kind: &str) -> Option<u32> {
    let line = format!("darkline/{kind}/1");
    let entry = table.get_ref().iter().find(|(key, _)| key.get_ref() == "format");
    let Some((key, value)) = entry else {
        sheet.fault(0..0, "the document does not say which format it has", format!("write format = \"{line}\" on top"));
        return Some(1);
    };
    let span = section::inner(sheet.text(), value);
    let DeValue::String(found) = value.get_ref() else {
        sheet.fault(key.span(), "the format is a text", format!("write format = \"{line}\""));
        return Some(1);
    };
    let mut parts = found.splitn(3, '/');
    let of_darkline = parts.next() == Some("darkline");
    let (found_kind, number) = (parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    if !of_darkline
        || !matches!(found_kind, "order" | "preparation" | "method" | "run" | "mapping" | "balance" | "bench")
    {
        sheet.fault(span, format!("{} is no format of Darkline", quoted(found)), format!("write format = \"{line}\""));
        return Some(1);
    }
    if found_kind != kind {
        sheet.fault(
            span,
            format!("{} stands where {} is wanted", with_article(found_kind), with_article(kind)),
            format!("look whether the file has the right name; a document of this kind says format = \"{line}\""),
        );
        return None;
    }
    match number.parse::<u32>() {
        Ok(1) => Some(1),
        Ok(newer) if newer > 1 => {
            sheet.fault(
                span,
                format!("this file was written by a newer Darkline: darkline/{kind}/{newer}"),
                format!("it is not damaged; this Darkline reads {line}, a newer one is needed for it"),
            );
            None
        }
        _ => {
            sheet.fault(
                span,
                format!("{} has no number of a format", quoted(found)),
                format!("write format = \"{line}\""),
            );
            Some(1)
        }
    }
}

/// The place of a key, or of the nearest table around it that is there.
pub(crate) fn place_of(places: &Places, path: &str) -> std::ops::Range<usize> {
    let mut path = path;
    loop {
        if let Some(span) = places.get(path) {
            return span.clone();
        }
        match path.rsplit_once('.') {
            Some((around, _)) => path = around,
            None => return 0..0,
        }
    }
}
