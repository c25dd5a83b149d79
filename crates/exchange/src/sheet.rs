//! The text of one file, its lines, and the faults seen in it so far.
//!
//! Readers note faults by the bytes they stand at; [`Sheet::close`] sorts them into the order of the file and gives each
//! its line and column.
//!
//! Invariant: a sheet is never empty, holds no NUL, and offsets count from after a byte order mark.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ops::Range;

use crate::fault::{Fault, Faults, MOST_LISTED, Place, Severity, Shown, parted, printable};
use crate::text_file;

/// The text of a file with the faults seen in it.
pub(crate) struct Sheet<'t> {
    file: &'t str,
    text: &'t str,
    line_starts: Vec<usize>,
    shows_lines: ShowsLines,
    // The last line where it has no end: it may be cut, so nothing else is said about it.
    unfinished: Option<usize>,
    found: RefCell<Vec<Finding>>,
    places: RefCell<Places>,
}

/// Whether the line is shown below a fault. In tables it is not: their lines are long and look alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ShowsLines {
    Yes,
    No,
}

/// Where the keys of a document stand: the path of the key, for example `portion[2].volume`, and the bytes of its value.
/// A table is known by its path too, with the bytes of its head.
pub(crate) type Places = BTreeMap<String, Range<usize>>;

struct Finding {
    severity: Severity,
    span: Range<usize>,
    what: String,
    hint: Option<String>,
}

impl<'t> Sheet<'t> {
    /// Opens a text.
    ///
    /// # Errors
    /// An empty text, a NUL, a text too large: nothing else can be said about them.
    pub(crate) fn open(file: &'t str, text: &'t str, shows_lines: ShowsLines) -> Result<Self, Faults> {
        let body = text_file::checked(file, text)?;
        let sheet = Self::reopen(file, body, shows_lines);
        if let Some(start) = sheet.unfinished {
            sheet.found.borrow_mut().push(Finding {
                severity: Severity::Error,
                span: start..body.len(),
                what: "the last line is not finished: no line break ends it".into(),
                hint: Some("if it is whole, end it with a line break; if the file was cut off, fetch it again".into()),
            });
        }
        Ok(sheet)
    }

    /// Opens a text that was read before, to tell more about it.
    pub(crate) fn reopen(file: &'t str, text: &'t str, shows_lines: ShowsLines) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let bytes = text.as_bytes();
        let ends_line = |place: usize| match bytes[place] {
            b'\n' => true,
            b'\r' => bytes.get(place + 1) != Some(&b'\n'),
            _ => false,
        };
        let line_starts: Vec<usize> = std::iter::once(0)
            .chain((0..bytes.len()).filter(|&place| ends_line(place)).map(|place| place + 1))
            .collect();
        let last = line_starts.last().copied().unwrap_or(0);
        Self {
            file,
            text,
            line_starts,
            shows_lines,
            unfinished: (last < text.len()).then_some(last),
            found: RefCell::default(),
            places: RefCell::default(),
        }
    }

    pub(crate) fn text(&self) -> &'t str {
        self.text
    }

    /// Notes a fault.
    pub(crate) fn fault(&self, span: Range<usize>, what: impl Into<String>, hint: impl Into<String>) {
        self.note(Severity::Error, span, what.into(), Some(hint.into()));
    }

    /// Notes a fault worded as "what is the matter; what to write instead".
    pub(crate) fn told(&self, span: Range<usize>, told: &impl ToString) {
        let (what, hint) = parted(&told.to_string());
        self.note(Severity::Error, span, what, hint);
    }

    /// Notes something to look at.
    pub(crate) fn warning(&self, span: Range<usize>, what: impl Into<String>, hint: impl Into<String>) {
        self.note(Severity::Warning, span, what.into(), Some(hint.into()));
    }

    fn note(&self, severity: Severity, span: Range<usize>, what: String, hint: Option<String>) {
        let is_whole = self.unfinished.is_none_or(|start| span.start < start);
        if is_whole {
            self.found.borrow_mut().push(Finding { severity, span, what, hint });
        }
    }

    pub(crate) fn has_faults(&self) -> bool {
        self.found.borrow().iter().any(|finding| finding.severity == Severity::Error)
    }

    pub(crate) fn remember(&self, path: String, span: Range<usize>) {
        self.places.borrow_mut().entry(path).or_insert(span);
    }

    pub(crate) fn take_places(&self) -> Places {
        self.places.take()
    }

    /// The line, counted from 1, of a byte.
    pub(crate) fn line_of(&self, offset: usize) -> usize {
        self.line_starts.partition_point(|&start| start <= offset)
    }

    /// Keeps only what was noted on these lines, and nothing without a place: a fault of the syntax makes faults of its own.
    /// That the last line is not finished is kept, too.
    pub(crate) fn keep_findings(&self, keep: impl Fn(usize) -> bool) {
        self.found.borrow_mut().retain(|finding| {
            let is_placed = finding.span != (0..0) && keep(self.line_of(finding.span.start));
            is_placed || self.unfinished == Some(finding.span.start)
        });
    }

    /// Gives the value, or all faults where there are any.
    pub(crate) fn close<T>(self, value: Option<T>) -> Result<T, Faults> {
        if self.has_faults() {
            return Err(self.faults().expect("there is at least one"));
        }
        value.ok_or_else(|| {
            Faults::one(Fault::of_file(self.file, "nothing could be read from it", "compare it with the examples"))
        })
    }

    /// All that was noted, in the order of the file.
    pub(crate) fn faults(&self) -> Option<Faults> {
        let mut found = self.found.take();
        found.sort_by_key(|finding| (finding.span.start, finding.span.end));
        found.dedup_by(|a, b| a.span == b.span && a.what == b.what);
        let unlisted = found.len().saturating_sub(MOST_LISTED);
        Faults::with_unlisted(
            found.into_iter().take(MOST_LISTED).map(|finding| self.placed(finding)).collect(),
            unlisted,
        )
    }

    fn placed(&self, finding: Finding) -> Fault {
        let start = self.boundary(finding.span.start);
        let line = self.line_of(start);
        let line_start = self.line_starts[line - 1];
        let column = self.text[line_start..start].chars().count() + 1;
        let shown = (self.shows_lines == ShowsLines::Yes && finding.span != (0..0))
            .then(|| self.shown(line, start, self.boundary(finding.span.end)));
        Fault {
            severity: finding.severity,
            file: printable(self.file),
            place: Some(Place { line, column }),
            what: printable(&finding.what),
            shown,
            hint: finding.hint.as_deref().map(printable),
        }
    }

    // Spans come from parsers; a byte within a character would be a slip of theirs and must not end the program.
    fn boundary(&self, offset: usize) -> usize {
        let offset = offset.min(self.text.len());
        (0..=offset).rev().find(|&place| self.text.is_char_boundary(place)).unwrap_or(0)
    }

    fn shown(&self, line: usize, start: usize, end: usize) -> Shown {
        let line_start = self.line_starts[line - 1];
        let line_end = self.line_starts.get(line).copied().unwrap_or(self.text.len());
        let whole = self.text[line_start..line_end].trim_end_matches(['\n', '\r']);
        let start = (start - line_start).min(whole.len());
        let end = end.saturating_sub(line_start).clamp(start, whole.len());
        let back = |from: usize, n: usize| whole[..from].char_indices().rev().nth(n).map(|(place, _)| place);
        let on = |from: usize, n: usize| whole[from..].char_indices().nth(n).map(|(place, _)| from + place);
        let (cut_start, cut_end) = match whole.len() {
            ..=120 => (0, whole.len()),
            _ => (back(start, 50).unwrap_or(0), on(start, 60).unwrap_or(whole.len())),
        };
        let end = end.min(cut_end);
        let mut shown = String::from(if cut_start > 0 { "…" } else { "" });
        shown.push_str(&printable(&whole[cut_start..start]));
        let from = shown.len();
        shown.push_str(&printable(&whole[start..end]));
        let to = shown.len();
        shown.push_str(&printable(&whole[end..cut_end]));
        if cut_end < whole.len() {
            shown.push('…');
        }
        Shown { line: shown, span: from..to }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn faults_come_in_the_order_of_the_file_with_lines_and_columns() {
        let sheet = Sheet::open("a.csv", "\u{feff}µ1\r\nb\rc\n", ShowsLines::No).unwrap();
        sheet.fault(6..7, "third line", "x");
        sheet.fault(2..3, "after a wide letter", "x");
        sheet.fault(5..6, "second line", "x");
        let faults = sheet.faults().unwrap();
        let places: Vec<_> =
            faults.listed().iter().filter_map(|fault| fault.place).map(|p| (p.line, p.column)).collect();
        assert_eq!(places, [(1, 2), (2, 1), (2, 2)]);
    }

    #[test]
    fn a_line_without_an_end_is_told_and_nothing_else_about_it() {
        let sheet = Sheet::open("a.csv", "one\ntwo", ShowsLines::No).unwrap();
        sheet.fault(4..5, "about the cut line", "x");
        let faults = sheet.faults().unwrap();
        assert_eq!(faults.count(), 1);
        assert!(faults.to_string().contains("a.csv:2:1: the last line is not finished"));
    }

    #[test]
    fn a_very_long_line_is_shown_around_the_fault() {
        let text = format!("{}x{}\n", "µ".repeat(5000), "ß".repeat(5000));
        let sheet = Sheet::open("a.toml", &text, ShowsLines::Yes).unwrap();
        sheet.fault(10000..10001, "here", "x");
        let faults = sheet.faults().unwrap();
        let shown = faults.listed()[0].shown.clone().unwrap();
        assert!(shown.line.chars().count() < 120);
        assert_eq!(&shown.line[shown.span], "x");
    }

    proptest! {
        #[test]
        fn any_span_of_any_text_is_shown(text in "\\PC{1,30}(\r\n|\n|\r|\t|.){0,200}", start in 0..400_usize, length in 0..400_usize) {
            if let Ok(sheet) = Sheet::open("a.toml", &text, ShowsLines::Yes) {
                sheet.fault(start..start + length, "here", "x");
                let _ = sheet.faults().map(|faults| faults.to_string());
            }
        }
    }
}
