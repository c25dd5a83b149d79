//! Tables of separated values, each cell with its place.
//!
//! Reads RFC 4180 with comma or semicolon, columns in any order; writes with commas. Cells keep their bytes, so that a fault is
//! told by line and column also behind a line break within quotation marks.
//!
//! A reader asks for its columns by name; those nobody asked for are told.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::{Range, RangeInclusive};
use std::str::FromStr;

use darkline_metrology::kind::{Kind, Unit};
use darkline_record::figure::{FigureFault, Written};

use crate::document::figure;
use crate::fault::quoted;
use crate::nearest::{meant_of_many, nearest, one_of};
use crate::sheet::Sheet;

/// A cell: its text without quotation marks, and the bytes it stands at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Cell {
    pub(crate) text: String,
    pub(crate) span: Range<usize>,
}

/// A table under the reader's hand.
pub(crate) struct Table<'a> {
    sheet: &'a Sheet<'a>,
    head: Vec<Cell>,
    lines: Vec<Vec<Cell>>,
    // Those that could not be taken among them.
    n_lines: usize,
    // Where the head is one cell, its columns are not known: nothing is told of them.
    is_parted: bool,
    asked: RefCell<Vec<String>>,
}

/// A column that is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Column(usize);

/// One line of a table.
pub(crate) struct Line<'a> {
    sheet: &'a Sheet<'a>,
    cells: &'a [Cell],
}

/// Parts a text into records; what is odd about its quotation marks is told.
fn records(sheet: &Sheet<'_>, separator: u8) -> Vec<Vec<Cell>> {
    let (text, bytes) = (sheet.text(), sheet.text().as_bytes());
    let (mut records, mut record, mut at) = (Vec::new(), Vec::new(), 0);
    while at < bytes.len() {
        let cell = if bytes[at] == b'"' {
            let opened = at;
            let (mut cell, mut from, mut end) = (String::new(), at + 1, bytes.len());
            loop {
                let Some(mark) = text[from..].find('"').map(|length| from + length) else {
                    sheet.fault(
                        opened..opened + 1,
                        "a quotation mark opens here and is never closed",
                        "close it, or take it away",
                    );
                    cell.push_str(&text[from..]);
                    at = bytes.len();
                    break;
                };
                cell.push_str(&text[from..mark]);
                if bytes.get(mark + 1) == Some(&b'"') {
                    cell.push('"');
                    from = mark + 2;
                    continue;
                }
                (end, at) = (mark, mark + 1);
                break;
            }
            let span = opened + 1..end;
            let rest = ends_cell(bytes, at, separator);
            if rest > at {
                sheet.fault(
                    at..rest,
                    "something stands behind the closing quotation mark",
                    "write quotation marks within a text twice",
                );
                at = rest;
            }
            Cell { text: cell, span }
        } else {
            let end = ends_cell(bytes, at, separator);
            let cell = Cell { text: text[at..end].to_owned(), span: at..end };
            at = end;
            cell
        };
        record.push(cell);
        match bytes.get(at) {
            Some(&byte) if byte == separator => {
                at += 1;
                // A separator at the very end of a line has an empty cell behind it.
                if matches!(bytes.get(at), None | Some(b'\n' | b'\r')) {
                    record.push(Cell { text: String::new(), span: at..at });
                } else {
                    continue;
                }
            }
            _ => {}
        }
        if bytes.get(at) == Some(&b'\r') {
            at += 1;
        }
        if bytes.get(at) == Some(&b'\n') {
            at += 1;
        }
        if record.len() > 1 || record.iter().any(|cell| !cell.text.is_empty()) {
            records.push(std::mem::take(&mut record));
        }
        record.clear();
    }
    records
}

fn ends_cell(bytes: &[u8], at: usize, separator: u8) -> usize {
    let rest = bytes.get(at..).unwrap_or(&[]);
    rest.iter()
        .position(|&byte| byte == separator || matches!(byte, b'\n' | b'\r'))
        .map_or(bytes.len(), |length| at + length)
}

/// The separator of a table: whichever of comma and semicolon stands more often in its head.
fn separator_of(text: &str) -> u8 {
    let head = text.lines().next().unwrap_or("");
    let count = |separator: char| head.matches(separator).count();
    if count(';') > count(',') { b';' } else { b',' }
}

impl<'a> Table<'a> {
    /// Opens a table; lines with more or fewer cells than the head are told.
    pub(crate) fn open(sheet: &'a Sheet<'a>) -> Self {
        let separator = separator_of(sheet.text());
        let mut records = records(sheet, separator).into_iter();
        let head: Vec<Cell> = records
            .next()
            .unwrap_or_default()
            .into_iter()
            .map(|cell| Cell { text: cell.text.trim().to_lowercase(), span: cell.span })
            .collect();
        let is_parted = !matches!(head.as_slice(), [only] if only.text.contains('\t'));
        if !is_parted && let Some(only) = head.first() {
            sheet.fault(
                only.span.clone(),
                "the columns are parted by tabs",
                "save the table with commas or semicolons between its columns",
            );
        }
        let mut names = BTreeSet::new();
        for cell in &head {
            if !cell.text.is_empty() && !names.insert(cell.text.as_str()) {
                sheet.fault(
                    cell.span.clone(),
                    format!("column {} stands here a second time", quoted(&cell.text)),
                    "keep one of them",
                );
            }
        }
        let mut lines = Vec::new();
        let mut n_lines = 0;
        for cells in records {
            if cells.iter().all(|cell| cell.text.trim().is_empty()) {
                continue;
            }
            n_lines += 1;
            if cells.len() != head.len() {
                let span = cells.get(head.len()).or(cells.last()).map_or(0..0, |cell| cell.span.clone());
                let hint = if cells.len() > head.len() && separator == b',' {
                    "a text with a comma, or a decimal comma, stands between quotation marks: \"0,25\""
                } else {
                    "write as many cells as the head has, empty where there is no value"
                };
                sheet.fault(span, format!("this line has {} cells, the head has {}", cells.len(), head.len()), hint);
                continue;
            }
            for (cell, _) in
                cells.iter().zip(&head).filter(|(cell, head)| head.text.is_empty() && !cell.text.trim().is_empty())
            {
                sheet.fault(
                    cell.span.clone(),
                    format!("{} stands in a column without a name", quoted(&cell.text)),
                    "name the column",
                );
            }
            lines.push(cells);
        }
        Self { sheet, head, lines, n_lines, is_parted, asked: RefCell::default() }
    }

    pub(crate) fn head_span(&self) -> Range<usize> {
        self.head.first().map_or(0..0, |cell| cell.span.clone())
    }

    /// A column, where it is there.
    pub(crate) fn optional(&self, name: &str) -> Option<Column> {
        self.asked.borrow_mut().push(name.to_owned());
        self.head.iter().position(|cell| cell.text == name).map(Column)
    }

    /// A column; its absence is told.
    pub(crate) fn required(&self, name: &str) -> Option<Column> {
        let column = self.optional(name);
        if column.is_none() && self.is_parted {
            self.sheet.fault(
                self.head_span(),
                format!("there is no column \"{name}\""),
                format!("the head has to name it; it has {}", self.names()),
            );
        }
        column
    }

    fn names(&self) -> String {
        let names: Vec<&str> =
            self.head.iter().map(|cell| cell.text.as_str()).filter(|name| !name.is_empty()).take(20).collect();
        names.join(", ")
    }

    /// Columns whose name begins so, with the rest of the name.
    pub(crate) fn beginning(&self, beginning: &str, shown: &str) -> Vec<(Column, &str, Range<usize>)> {
        let found: Vec<_> = self
            .head
            .iter()
            .enumerate()
            .filter_map(|(place, cell)| Some((Column(place), cell.text.strip_prefix(beginning)?, cell.span.clone())))
            .collect();
        let mut asked = self.asked.borrow_mut();
        asked.push(shown.to_owned());
        asked.extend(found.iter().map(|(_, rest, _)| format!("{beginning}{rest}")));
        found
    }

    /// A column that is known but has no use; it is not offered to anybody.
    pub(crate) fn stray(&self, name: &str) -> Option<Column> {
        let column = self.head.iter().position(|cell| cell.text == name).map(Column);
        if column.is_some() {
            self.asked.borrow_mut().push(name.to_owned());
        }
        column
    }

    /// The bytes of a column's name.
    pub(crate) fn name_span(&self, column: Column) -> Range<usize> {
        self.head.get(column.0).map_or(0..0, |cell| cell.span.clone())
    }

    /// Tells the columns nobody asked for.
    pub(crate) fn close_head(&self) {
        let asked = self.asked.borrow();
        let known: Vec<&str> = asked.iter().map(String::as_str).collect();
        let is_unknown = |cell: &&Cell| self.is_parted && !cell.text.is_empty() && !known.contains(&cell.text.as_str());
        for (n, cell) in self.head.iter().filter(is_unknown).enumerate() {
            let what = format!("the column {} is not known", quoted(&cell.text));
            self.sheet.fault(cell.span.clone(), what, meant_of_many(n, &cell.text, &known));
        }
    }

    /// The lines below the head.
    pub(crate) fn lines(&self) -> impl Iterator<Item = Line<'_>> {
        self.lines.iter().map(|cells| Line { sheet: self.sheet, cells })
    }
    pub(crate) fn n_lines(&self) -> usize {
        self.n_lines
    }
}

impl<'a> Line<'a> {
    /// The cell of a column; `None` where it is empty or the column is not there.
    pub(crate) fn cell(&self, column: Option<Column>) -> Option<&'a Cell> {
        self.cells.get(column?.0).filter(|cell| !cell.text.trim().is_empty())
    }
    /// The bytes of a cell, empty or not.
    pub(crate) fn span(&self, column: Option<Column>) -> Range<usize> {
        column.and_then(|column| self.cells.get(column.0)).or(self.cells.first()).map_or(0..0, |cell| cell.span.clone())
    }

    /// The text of a cell that must have one. Nothing is told where the whole column is missing: that was told already.
    pub(crate) fn text(&self, column: Option<Column>, what: &str) -> Option<&'a Cell> {
        let cell = self.cell(column);
        if cell.is_none() && column.is_some() {
            self.sheet.fault(
                self.span(column),
                format!("the {what} is missing"),
                format!("write the {what} into this cell"),
            );
        }
        cell
    }

    /// A whole number.
    pub(crate) fn whole(&self, cell: &Cell, range: RangeInclusive<u32>, what: &str) -> Option<u32> {
        let text = cell.text.trim();
        let number = text.parse::<u32>().ok().filter(|number| range.contains(number));
        if number.is_none() {
            let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
            let is_number = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
            let wanted = match (range.start(), range.end()) {
                (lowest, &u32::MAX) => format!("{lowest} or more"),
                (lowest, highest) => format!("from {lowest} to {highest}"),
            };
            let what = match is_number {
                true => format!("{what} {} is not {wanted}", quoted(text).trim_matches('"')),
                false => format!("{} is no whole number", quoted(text)),
            };
            self.sheet.fault(cell.span.clone(), what, format!("write a whole number, {wanted}"));
        }
        number
    }

    /// A number whose unit stands in the head.
    pub(crate) fn number<K: Kind>(&self, cell: &Cell, unit: Unit<K>) -> Option<Written<K>> {
        Written::in_unit(&cell.text, unit)
            .map_err(|fault| match fault {
                FigureFault::NoNumber { found, .. } => self.sheet.fault(
                    cell.span.clone(),
                    format!("{} is no number", quoted(&found)),
                    "write the number alone; leave the cell empty where there is none",
                ),
                fault => self.sheet.told(cell.span.clone(), &figure::worded(&fault)),
            })
            .ok()
    }

    /// An identity, a time, or anything else with a spelling of its own.
    pub(crate) fn parsed<T: FromStr<Err: std::fmt::Display>>(&self, cell: &Cell) -> Option<T> {
        cell.text.trim().parse().map_err(|error| self.sheet.told(cell.span.clone(), &error)).ok()
    }

    /// One of a few choices by its words.
    pub(crate) fn one_of<T: Copy>(
        &self,
        cell: &Cell,
        what: &str,
        all: &[T],
        words: fn(T) -> &'static str,
    ) -> Option<T> {
        let text = cell.text.trim();
        let found = all.iter().copied().find(|&choice| words(choice) == text);
        if found.is_none() {
            let known: Vec<&str> = all.iter().map(|&choice| words(choice)).collect();
            let hint = match nearest(text, known.iter().copied()) {
                Some(name) => format!("did you mean \"{name}\"?"),
                None => format!("write {}", one_of(&known)),
            };
            self.sheet.fault(cell.span.clone(), format!("{} is no {what}", quoted(text)), hint);
        }
        found
    }
}

/// Writes a line of cells, with quotation marks where a cell needs them.
pub(crate) fn push_line(table: &mut String, cells: &[String]) {
    push_line_with(table, cells, ',');
}

/// The same with another separator.
pub(crate) fn push_line_with(table: &mut String, cells: &[String], separator: char) {
    for (place, cell) in cells.iter().enumerate() {
        if place > 0 {
            table.push(separator);
        }
        // A figure with a comma needs no quotation marks between semicolons.
        if separator == ';' && !cell.contains([';', '"', '\n', '\r']) && cell.trim() == cell {
            table.push_str(cell);
            continue;
        }
        if cell.contains([',', ';', '"', '\n', '\r']) || cell.trim() != cell {
            table.push('"');
            table.push_str(&cell.replace('"', "\"\""));
            table.push('"');
        } else {
            table.push_str(cell);
        }
    }
    table.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::ShowsLines;
    use proptest::prelude::*;

    fn cells_of(text: &str, separator: u8) -> (Vec<Vec<String>>, bool) {
        let sheet = Sheet::reopen("a.csv", text, ShowsLines::No);
        let cells = records(&sheet, separator)
            .into_iter()
            .map(|record| record.into_iter().map(|cell| cell.text).collect())
            .collect();
        (cells, sheet.has_faults())
    }

    #[test]
    fn a_cell_knows_its_place_behind_a_quoted_line_break() {
        let text = "a,b\r\n\"one\ntwo \"\"2\"\"\",x\r\n";
        let sheet = Sheet::reopen("a.csv", text, ShowsLines::No);
        let records = records(&sheet, b',');
        let last = &records[1][1];
        assert_eq!((last.text.as_str(), &text[last.span.clone()], sheet.line_of(last.span.start)), ("x", "x", 3));
        assert_eq!(records[1][0].text, "one\ntwo \"2\"");
    }

    #[test]
    fn quotation_marks_out_of_place_are_told() {
        for odd in ["a,\"b\n1,2\n", "a,\"b\"c\n"] {
            assert!(cells_of(odd, b',').1, "{odd}");
        }
    }

    proptest! {
        // A second opinion: another reader of separated values.
        #[test]
        fn sound_tables_have_the_cells_that_another_reader_finds(
            rows in proptest::collection::vec(proptest::collection::vec("[a-zµ \"\n\r,;0-9]{0,6}", 1..5), 0..6)
        ) {
            let mut text = String::new();
            rows.iter().for_each(|row| push_line(&mut text, row));
            let other: Vec<Vec<String>> = csv::ReaderBuilder::new().has_headers(false).flexible(true)
                .from_reader(text.as_bytes()).records()
                .map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            let (cells, odd) = cells_of(&text, b',');
            prop_assert!(!odd);
            // We leave out lines with nothing on them, quoted or not.
            let blank = |row: &Vec<String>| row.len() == 1 && row[0].is_empty();
            let other: Vec<_> = other.into_iter().filter(|row| !blank(row)).collect();
            prop_assert_eq!(cells, other);
        }

        #[test]
        fn any_text_is_parted_and_every_cell_stands_where_it_says(text in "[a\"\n\r,;µ]{0,40}") {
            let sheet = Sheet::reopen("a.csv", &text, ShowsLines::No);
            for cell in records(&sheet, b',').into_iter().flatten() {
                let at_its_place = text.get(cell.span.clone());
                prop_assert!(at_its_place.is_some());
                if !cell.text.contains('"') {
                    prop_assert_eq!(at_its_place, Some(cell.text.as_str()));
                }
            }
        }
    }
}
