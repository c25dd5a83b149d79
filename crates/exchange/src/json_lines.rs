//! JSON Lines beside CSV: one object a line, whose keys are the columns of the table and whose values are its cells.
//!
//! [`as_table`] turns a text into the same table as CSV, cell by cell, so that one reader judges both; [`Turned::back`] puts a
//! fault of that table where the value stands in the text. Figures keep their digits: a number is taken as it is written.
//!
//! # Source
//! RFC 8259 (JSON); one object a line, ended by a line feed. Values are figures, texts, or `null` for an empty cell; objects
//! within objects have no place in a table.

use crate::fault::{Fault, Faults, MOST_LISTED, Place, quoted};
use crate::separated::push_line;

/// Whether a text is JSON Lines: its first letter opens an object.
pub fn is(text: &str) -> bool {
    text.trim_start_matches('\u{feff}').trim_start().starts_with('{')
}

/// A table made of JSON Lines.
#[derive(Debug)]
pub struct Turned {
    /// The table as CSV: a head, and a line for each object.
    pub table: String,
    /// For each line of the table: the line of the text, and where each cell begins in the table and in the text.
    lines: Vec<(usize, Vec<(usize, usize)>)>,
}

/// One value with its key and the column it begins at.
struct Value {
    key: String,
    column: usize,
    cell: String,
}

/// Turns JSON Lines into a table.
///
/// # Errors
/// All lines that are no object of figures and texts; a last line that was not finished.
pub fn as_table(file: &str, text: &str) -> Result<Turned, Faults> {
    let body = text.trim_start_matches('\u{feff}');
    let (mut objects, mut faults, mut head) = (Vec::new(), Vec::new(), Vec::<String>::new());
    for (place, line) in body.split('\n').enumerate() {
        let line = line.strip_suffix('\r').unwrap_or(line);
        if line.trim().is_empty() {
            continue;
        }
        match object(line) {
            Ok(values) => {
                for value in &values {
                    if !head.contains(&value.key) {
                        head.push(value.key.clone());
                    }
                }
                objects.push((place + 1, values));
            }
            Err((column, what)) => {
                let is_last = body.split('\n').count() == place + 1;
                let hint = match is_last {
                    true => "the last line is not finished; fetch the file again, or take the line away",
                    false => "write one object a line, each value a figure or a text: {\"row\": 1, …}",
                };
                faults
                    .push(Fault { place: Some(Place { line: place + 1, column }), ..Fault::of_file(file, what, hint) });
            }
        }
        // A file of another kind has a fault a line.
        if faults.len() > MOST_LISTED || head.len() > 200 {
            break;
        }
    }
    if let Some(faults) = Faults::new(faults) {
        return Err(faults);
    }
    let mut turned = Turned { table: String::new(), lines: Vec::new() };
    turned.push(1, &head.iter().map(|key| (key.clone(), 1)).collect::<Vec<_>>());
    for (line, values) in objects {
        let cells: Vec<(String, usize)> = head
            .iter()
            .map(|key| match values.iter().find(|value| value.key == *key) {
                Some(value) => (value.cell.clone(), value.column),
                None => (String::new(), 1),
            })
            .collect();
        turned.push(line, &cells);
    }
    Ok(turned)
}

impl Turned {
    fn push(&mut self, line: usize, cells: &[(String, usize)]) {
        let begins = self.table.len();
        push_line(&mut self.table, &cells.iter().map(|(cell, _)| cell.clone()).collect::<Vec<_>>());
        // Where each cell begins, by writing all before it.
        let mut places = Vec::new();
        let mut at = 1;
        for (cell, column) in cells {
            places.push((at, *column));
            let mut alone = String::new();
            push_line(&mut alone, std::slice::from_ref(cell));
            at += alone.trim_end_matches('\n').chars().count() + 1;
        }
        debug_assert!(self.table.len() > begins);
        self.lines.push((line, places));
    }

    /// The line of the text for a line of the table.
    pub fn line(&self, line: usize) -> usize {
        self.lines.get(line.saturating_sub(1)).map_or(line, |(line, _)| *line)
    }

    /// A fault of the table as one of the text.
    #[must_use]
    pub fn back(&self, fault: &Fault) -> Fault {
        let place = fault.place.map(|place| {
            let Some((line, cells)) = self.lines.get(place.line.saturating_sub(1)) else { return place };
            let column =
                cells.iter().rev().find(|(begins, _)| *begins <= place.column).map_or(1, |(_, column)| *column);
            Place { line: *line, column }
        });
        Fault { place, shown: None, ..fault.clone() }
    }
}

/// Writes a table as JSON Lines; empty cells are `null` in the first line and left out of the others.
///
/// # Arguments
/// * `is_figure`: whether the cells of a column are figures, written without quotation marks where JSON has them so.
pub fn write(head: &[String], lines: &[Vec<String>], is_figure: impl Fn(&str) -> bool) -> String {
    let mut text = String::new();
    for (place, line) in lines.iter().enumerate() {
        let values: Vec<String> = head
            .iter()
            .zip(line)
            // The first line names every key, so that a column without a cell is known too.
            .filter(|(_, cell)| place == 0 || !cell.is_empty())
            .map(|(key, cell)| {
                if cell.is_empty() {
                    return format!("{}:null", in_quotes(key));
                }
                let is_bare = is_figure(key) && number_length(cell.as_bytes()) == Some(cell.len());
                let value = if is_bare { cell.clone() } else { in_quotes(cell) };
                format!("{}:{value}", in_quotes(key))
            })
            .collect();
        text.push_str(&format!("{{{}}}\n", values.join(",")));
    }
    text
}

/// A text in quotation marks, as RFC 8259, section 7, has it.
fn in_quotes(text: &str) -> String {
    let mut quoted = String::from('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                quoted.push('\\');
                quoted.push(c);
            }
            '\n' => quoted.push_str("\\n"),
            c if u32::from(c) < 0x20 => quoted.push_str(&format!("\\u{:04x}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A line under the reader's hand.
struct Scan<'a> {
    text: &'a str,
    at: usize,
}

type At<T> = Result<T, (usize, String)>;

/// The values of an object on a line of its own.
fn object(line: &str) -> At<Vec<Value>> {
    let mut scan = Scan { text: line, at: 0 };
    let mut values: Vec<Value> = Vec::new();
    scan.expect('{', "an object opens with {")?;
    if scan.next_is('}') {
        return Err(scan.fault("this object is empty"));
    }
    loop {
        scan.skip_space();
        let column = scan.column();
        let key = scan.string()?;
        if key.is_empty() || key.trim() != key || key.contains(|c: char| c.is_control()) {
            return Err((column, format!("{} is no name of a column", quoted(&key))));
        }
        if values.iter().any(|value| value.key == key) {
            return Err((column, format!("the key {} stands here twice", quoted(&key))));
        }
        scan.expect(':', "a key is followed by :")?;
        scan.skip_space();
        let column = scan.column();
        let cell = scan.value()?;
        if cell.contains(|c: char| c.is_control()) {
            return Err((column, "a text of a table has no line breaks or other control letters".into()));
        }
        values.push(Value { key, column, cell });
        if scan.next_is('}') {
            break;
        }
        scan.expect(',', "values are parted by , and the object closes with }")?;
    }
    scan.skip_space();
    if scan.at < line.len() {
        return Err(scan.fault("something stands behind the object"));
    }
    Ok(values)
}

impl Scan<'_> {
    fn rest(&self) -> &str {
        self.text.get(self.at..).unwrap_or("")
    }
    fn column(&self) -> usize {
        self.text.get(..self.at).unwrap_or("").chars().count() + 1
    }
    fn fault(&self, what: impl Into<String>) -> (usize, String) {
        (self.column(), what.into())
    }
    fn skip_space(&mut self) {
        self.at += self.rest().len() - self.rest().trim_start_matches([' ', '\t']).len();
    }
    fn next_is(&mut self, sign: char) -> bool {
        self.skip_space();
        let is = self.rest().starts_with(sign);
        self.at += if is { sign.len_utf8() } else { 0 };
        is
    }
    fn expect(&mut self, sign: char, what: &str) -> At<()> {
        if self.next_is(sign) { Ok(()) } else { Err(self.fault(what)) }
    }

    fn value(&mut self) -> At<String> {
        let rest = self.rest();
        if rest.starts_with('"') {
            return self.string();
        }
        if rest.starts_with("null") {
            self.at += 4;
            return Ok(String::new());
        }
        match number_length(rest.as_bytes()) {
            Some(length) => {
                let digits = rest[..length].to_owned();
                self.at += length;
                Ok(digits)
            }
            None => Err(self.fault("a figure, a text or null is wanted here")),
        }
    }

    fn string(&mut self) -> At<String> {
        self.expect('"', "a text in quotation marks is wanted here")?;
        let mut text = String::new();
        let mut letters = self.rest().char_indices();
        let mut high: Option<u32> = None;
        let mut end = None;
        while let Some((place, c)) = letters.next() {
            let unit = match c {
                '"' => {
                    end = Some(place + 1);
                    break;
                }
                '\\' => match letters.next().map(|(_, c)| c) {
                    Some('u') => {
                        let digits: String = letters.by_ref().take(4).map(|(_, c)| c).collect();
                        let is_sound = digits.len() == 4 && digits.bytes().all(|byte| byte.is_ascii_hexdigit());
                        match u32::from_str_radix(&digits, 16) {
                            Ok(unit) if is_sound => unit,
                            _ => return Err(self.fault("\\u is followed by four hexadecimal digits")),
                        }
                    }
                    Some('n') => 0x0a,
                    Some('r') => 0x0d,
                    Some('t') => 0x09,
                    Some('b') => 0x08,
                    Some('f') => 0x0c,
                    Some(c @ ('"' | '\\' | '/')) => u32::from(c),
                    _ => return Err(self.fault("a backslash in this text stands before a letter it does not know")),
                },
                c => u32::from(c),
            };
            // Letters beyond the first 65 536 may be written as two halves.
            match (high.take(), unit) {
                (None, 0xd800..=0xdbff) => high = Some(unit),
                (Some(high), 0xdc00..=0xdfff) => {
                    let code = 0x10000 + ((high - 0xd800) << 10) + (unit - 0xdc00);
                    text.extend(char::from_u32(code));
                }
                (None, unit) if char::from_u32(unit).is_some() => text.extend(char::from_u32(unit)),
                _ => return Err(self.fault("half of a letter stands in this text")),
            }
        }
        match (end, high) {
            (Some(end), None) => {
                self.at += end;
                Ok(text)
            }
            (Some(_), Some(_)) => Err(self.fault("half of a letter stands in this text")),
            (None, _) => Err(self.fault("this text is never closed")),
        }
    }
}

/// How many bytes a number of JSON takes (RFC 8259, section 6); `None` where none begins here.
fn number_length(bytes: &[u8]) -> Option<usize> {
    let digits = |from: usize| bytes.get(from..).unwrap_or(&[]).iter().take_while(|byte| byte.is_ascii_digit()).count();
    let mut at = usize::from(bytes.first() == Some(&b'-'));
    let whole = digits(at);
    if whole == 0 || (whole > 1 && bytes.get(at) == Some(&b'0')) {
        return None;
    }
    at += whole;
    if bytes.get(at) == Some(&b'.') {
        let decimals = digits(at + 1);
        if decimals == 0 {
            return None;
        }
        at += 1 + decimals;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        let exponent = digits(at + 1 + sign);
        if exponent == 0 {
            return None;
        }
        at += 1 + sign + exponent;
    }
    Some(at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn objects_become_lines_and_faults_go_back_to_where_the_value_stands() {
        let text = "{\"row\": 1, \"at\": \"2026-03-04T08:55:00+01:00\", \"absorbance\": 0.050}\n\n{\"absorbance\": null, \"row\":2}\n";
        let turned = as_table("r.jsonl", text).unwrap();
        assert_eq!(turned.table, "row,at,absorbance\n1,2026-03-04T08:55:00+01:00,0.050\n2,,\n");
        let fault = Fault { place: Some(Place { line: 2, column: 30 }), ..Fault::of_file("r.jsonl", "odd", "") };
        assert_eq!(turned.back(&fault).place, Some(Place { line: 1, column: 61 }));
        let fault = Fault { place: Some(Place { line: 3, column: 1 }), ..Fault::of_file("r.jsonl", "odd", "") };
        assert_eq!(turned.back(&fault).place, Some(Place { line: 3, column: 28 }));
    }

    #[test]
    fn what_is_no_object_of_figures_and_texts_is_told_with_its_place() {
        for (text, told) in [
            ("{\"row\": [1]}\n", "r.jsonl:1:9: a figure, a text or null is wanted here"),
            ("{\"row\": 1\n", "r.jsonl:1:10: values are parted by , and the object closes with }"),
            ("{\"row\": 1} 2\n", "r.jsonl:1:12: something stands behind the object"),
            ("{\"row\": 1, \"row\": 2}\n", "r.jsonl:1:12: the key \"row\" stands here twice"),
            ("{\"row\": 01}\n", "r.jsonl:1:9: a figure, a text or null is wanted here"),
            ("{\"a\": \"\\ud800\"}\n", "half of a letter stands in this text"),
            ("{\"a\": \"x\\ny\"}\n", "has no line breaks"),
            ("{\"row\": 1}\n{\"row\"", "the last line is not finished"),
        ] {
            let faults = as_table("r.jsonl", text).unwrap_err().to_string();
            assert!(faults.contains(told), "{text}: {faults}");
        }
    }

    proptest! {
        // A second opinion on texts.
        #[test]
        fn texts_are_written_and_read_as_another_reader_does(cells in proptest::collection::vec("[ -~µ😀\"\\\\]{1,12}", 1..5)) {
            let head: Vec<String> = (0..cells.len()).map(|n| format!("c{n}")).collect();
            let text = write(&head, std::slice::from_ref(&cells), |_| false);
            let theirs: serde_json::Value = serde_json::from_str(text.trim_end()).unwrap();
            for (key, cell) in head.iter().zip(&cells) {
                prop_assert_eq!(theirs[key].as_str().unwrap(), cell);
            }
            let escaped = serde_json::to_string(&theirs).unwrap();
            let ours = object(&escaped).unwrap();
            for value in ours {
                prop_assert_eq!(&value.cell, theirs[&value.key].as_str().unwrap());
            }
        }

        #[test]
        fn any_text_is_lines_of_objects_or_told(text in "[{}\\[\\]\":,a0-9.eE\\\\u \n-]{0,40}") {
            let ours = as_table("r.jsonl", &text);
            for line in text.lines().filter(|line| !line.trim().is_empty()) {
                if ours.is_ok() {
                    prop_assert!(serde_json::from_str::<serde_json::Value>(line).is_ok(), "{}", line);
                }
            }
        }
    }
}
