//! A first draft of a mapping for a file that nobody has described yet, each line with its evidence.
//!
//! It is written for a person to read and confirm. What the file leaves open is left open: the line is there, commented out,
//! and the mapping is refused until somebody has decided.

use std::fmt::Write;

use crate::fault::{Fault, Faults, quoted};
use crate::instrument_file::code_page::{CodePage, plain};
use crate::instrument_file::moment::{DateOrder, date, date_and_time, time};
use crate::instrument_file::number::{NumberCell, Writing, read as number};
use crate::instrument_file::parting::{Record, Separator, likely_widths, lines, records};

/// What a column may be, with the words that heads use for it in English and German.
///
/// Common practice, no source.
const HEADS: &[(&str, &[&str])] = &[
    ("replicate", &["rep", "repl", "replicate", "replikat", "wdh", "wiederholung", "reading", "no.", "nr"]),
    ("cup", &["cup", "pos", "position", "vial", "tube", "becher", "platz", "location", "a/s", "as pos"]),
    ("sample", &["sample", "sample id", "sample name", "name", "id", "probe", "label", "bezeichnung", "solution"]),
    ("at", &["date/time", "datetime", "date and time", "timestamp", "measured at", "zeitpunkt"]),
    ("date", &["date", "datum", "day", "tag"]),
    ("time", &["time", "zeit", "uhrzeit"]),
    ("element", &["element", "analyte", "analyt"]),
];

/// Heads of responses, with what they are.
const RESPONSES: &[(&str, &[&str])] = &[
    ("integrated absorbance", &["area", "peak area", "fläche", "integrated", "int", "abs*s", "abs.s", "a·s", "qa"]),
    ("peak absorbance", &["height", "peak height", "peak", "höhe", "peak abs"]),
    ("absorbance", &["abs", "absorbance", "extinktion", "ext", "signal", "mean abs"]),
];

/// Proposes a mapping.
///
/// # Arguments
/// * `id`: the name the instrument is to have.
///
/// Returns the text of a mapping with comments.
///
/// # Errors
/// A file without a line that could be the head of a table.
pub fn propose(file: &str, bytes: &[u8], id: &str) -> Result<String, Faults> {
    let (page, page_evidence) = CodePage::likely(bytes);
    let text = page.decode(file, bytes)?;
    let (separator, separator_evidence) = likely_separator(&text);
    let records = records(&text, &separator);
    let Some(head) = head(&records) else {
        return Err(Faults::one(Fault::of_file(
            file,
            "no line looks like the head of a table: several names above lines with numbers",
            "look whether it is a table of readings; a trace or a printed report is something else",
        )));
    };
    let mut draft = Draft { records: &records, head, out: String::new() };
    draft.line(format!(
        "# Proposed from {file}. Look at each line, mend what is wrong, and keep the file with the instrument."
    ));
    draft.line("format = \"darkline/mapping/1\"".into());
    draft.line(format!("id = {}", toml_text(id)));
    draft.line(String::new());
    draft.line("[file]".into());
    draft.line(format!("# {page_evidence}"));
    draft.line(format!("code_page = \"{}\"", page.word()));
    draft.line(format!("# {separator_evidence}"));
    draft.line(match &separator {
        Separator::Sign(sign) => format!("separator = \"{}\"", Separator::words(*sign)),
        Separator::Widths(places) => {
            let places: Vec<String> = places.iter().map(usize::to_string).collect();
            format!("columns_begin_at = [{}]", places.join(", "))
        }
    });
    let writing = draft.writing();
    let below = draft.lines_below_head(writing);
    if below > 0 {
        draft.line("# the line below the head holds no readings: units, or a second head".into());
        draft.line(format!("lines_below_head = {below}"));
    }
    draft.columns(writing, below);
    Ok(draft.out)
}

fn toml_text(text: &str) -> String {
    let mut written = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => written.push_str("\\\""),
            '\\' => written.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(written, "\\u{:04X}", u32::from(c));
            }
            c => written.push(c),
        }
    }
    written + "\""
}

/// The separator that gives the most lines the same number of cells.
fn likely_separator(text: &str) -> (Separator, String) {
    let mut best: Option<(char, usize, usize)> = None;
    for sign in ['\t', ';', '|', ','] {
        let mut lengths = std::collections::BTreeMap::<usize, usize>::new();
        for record in records(text, &Separator::Sign(sign)) {
            if record.cells.len() > 2 {
                *lengths.entry(record.cells.len()).or_default() += 1;
            }
        }
        let Some((length, n)) = lengths.into_iter().max_by_key(|(length, n)| (*n, *length)) else { continue };
        // A comma parts cells only where nothing else does: it may be the decimal sign.
        if best.is_none_or(|(_, n_best, _)| n > n_best && sign != ',') {
            best = Some((sign, n, length));
        }
    }
    match best {
        Some((sign, n, length)) => {
            (Separator::Sign(sign), format!("{n} lines have {length} cells between {}s", Separator::words(sign)))
        }
        None => {
            let places = likely_widths(text);
            let n = lines(text).count();
            (
                Separator::Widths(places),
                format!("no sign parts the {n} lines; columns begin where letters follow two blanks"),
            )
        }
    }
}

fn is_numeric(cell: &str) -> bool {
    [('.', None), (',', None), ('.', Some('\'')), (',', Some('.')), ('.', Some(',')), (',', Some(' '))]
        .into_iter()
        .any(|(decimal, thousands)| matches!(number(cell, Writing { decimal, thousands }), NumberCell::Digits(_)))
}

/// The first line of names that has a line with a number in reach below it.
fn head(records: &[Record]) -> Option<usize> {
    (0..records.len()).find(|&place| {
        let cells = &records[place].cells;
        let named = cells.iter().filter(|cell| !cell.is_empty()).count();
        let is_names = named >= 2 && cells.iter().all(|cell| cell.is_empty() || !is_numeric(cell));
        let follow = records[place + 1..].iter().take(4);
        let width = cells.len();
        is_names
            && follow
                .filter(|record| record.cells.len() + 2 > width && record.cells.iter().any(|cell| is_numeric(cell)))
                .count()
                > 0
            && known_heads(cells) >= 2
    })
}

fn known_heads(cells: &[String]) -> usize {
    let known = |cell: &String| {
        let head = bare(cell);
        HEADS.iter().chain(RESPONSES).any(|(_, words)| words.contains(&head.as_str()))
    };
    cells.iter().filter(|cell| known(cell)).count()
}

/// A head without its unit in brackets.
fn bare(head: &str) -> String {
    let head = plain(head);
    let cut = head.find(['(', '[']).map_or(head.as_str(), |place| head[..place].trim());
    cut.trim_end_matches([':', '.']).to_owned()
}

struct Draft<'a> {
    records: &'a [Record],
    head: usize,
    out: String,
}

impl Draft<'_> {
    fn line(&mut self, line: String) {
        self.out.push_str(&line);
        self.out.push('\n');
    }

    fn cells(&self, place: usize) -> impl Iterator<Item = (usize, &str)> {
        self.records[self.head + 1..]
            .iter()
            .filter_map(move |record| Some((record.line, record.cells.get(place)?.as_str())))
            .filter(|(_, cell)| !cell.is_empty())
    }

    /// Decimal sign and mark of thousands, by the numbers of the file.
    fn writing(&mut self) -> Writing {
        let all = || self.records[self.head + 1..].iter().flat_map(|record| &record.cells);
        let with = |decimal: char| {
            let plain = Writing { decimal, thousands: None };
            all().filter(|cell| cell.contains(decimal) && matches!(number(cell, plain), NumberCell::Digits(_))).count()
        };
        let (points, commas) = (with('.'), with(','));
        let example = |decimal: char| {
            let plain = Writing { decimal, thousands: None };
            let found =
                all().find(|cell| cell.contains(decimal) && matches!(number(cell, plain), NumberCell::Digits(_)));
            found.cloned().unwrap_or_default()
        };
        let (point, comma) = (example('.'), example(','));
        let decimal = if commas > points { ',' } else { '.' };
        let grouped = |mark: char| {
            let writing = Writing { decimal, thousands: Some(mark) };
            let plain = Writing { decimal, thousands: None };
            all()
                .filter(|cell| {
                    matches!(number(cell, writing), NumberCell::Digits(_))
                        && matches!(number(cell, plain), NumberCell::NoNumber(_))
                })
                .count()
        };
        let marks: Vec<(char, usize)> =
            ['\'', ' ', if decimal == ',' { '.' } else { ',' }].into_iter().map(|mark| (mark, grouped(mark))).collect();
        match (points, commas) {
            (0, 0) => {
                self.line("# no number has decimals: look at another file, and decide".into());
                self.line("# decimal_sign = \".\"".into());
            }
            (n, 0) => {
                self.line(format!("# {n} numbers have a point, as {}; none has a comma", quoted(&point)));
                self.line("decimal_sign = \".\"".into());
            }
            (0, n) => {
                self.line(format!("# {n} numbers have a comma, as {}; none has a point", quoted(&comma)));
                self.line("decimal_sign = \",\"".into());
            }
            (points, commas) => {
                self.line(format!(
                    "# both signs stand in the file: {points} numbers have a point, as {}, {commas} a comma, as {}; decide",
                    quoted(&point),
                    quoted(&comma)
                ));
                self.line(format!("# decimal_sign = \"{decimal}\""));
            }
        }
        let mark = marks.into_iter().filter(|(_, n)| *n > 0).max_by_key(|(_, n)| *n);
        if let Some((mark, n)) = mark {
            self.line(format!("# {n} numbers have it before three digits"));
            self.line(format!("thousands_mark = \"{mark}\""));
        }
        Writing { decimal, thousands: mark.map(|(mark, _)| mark) }
    }

    fn lines_below_head(&self, writing: Writing) -> u32 {
        let is_reading = |record: &Record| {
            record
                .cells
                .iter()
                .any(|cell| matches!(number(cell, writing), NumberCell::Digits(_)) || time(cell).is_some())
        };
        let n = self.records[self.head + 1..].iter().take(3).take_while(|record| !is_reading(record)).count();
        u32::try_from(n).unwrap_or(0)
    }

    fn columns(&mut self, writing: Writing, below: u32) {
        let heads: Vec<String> = self.records[self.head].cells.clone();
        let find = |words: &[&str], used: &[usize]| {
            words.iter().find_map(|word| {
                heads.iter().enumerate().position(|(place, head)| !used.contains(&place) && bare(head) == *word)
            })
        };
        let mut used: Vec<usize> = Vec::new();
        let mut found = std::collections::BTreeMap::<&str, usize>::new();
        for (column, words) in HEADS {
            if let Some(place) = find(words, &used) {
                used.push(place);
                found.insert(column, place);
            }
        }
        // A column called date or time whose cells hold both is the moment.
        for column in ["date", "time"] {
            if let Some(&place) = found.get(column)
                && !found.contains_key("at")
                && self.cells(place).next().is_some_and(|(_, cell)| cell.contains(':') && time(cell).is_none())
            {
                found.remove(column);
                found.insert("at", place);
            }
        }
        self.line(String::new());
        self.line(format!("# the head stands on line {}", self.records[self.head].line));
        self.line("[columns]".into());
        for column in ["sample", "cup", "replicate", "at", "date", "time", "element"] {
            if let Some(&place) = found.get(column) {
                let example = self
                    .cells(place)
                    .nth(usize::try_from(below).unwrap_or(0))
                    .map(|(_, cell)| quoted(cell))
                    .unwrap_or_default();
                self.line(format!("{column} = {}  # as {example}", toml_text(&heads[place])));
            }
        }
        if !found.contains_key("at") && !found.contains_key("time") {
            self.line("# no head is known as a time: name its column".into());
            self.line("# time = \"…\"".into());
        }
        if !found.contains_key("sample") && !found.contains_key("cup") {
            self.line("# no head is known as the name of a solution or a cup: name its column".into());
            self.line("# sample = \"…\"".into());
        }
        let responses: Vec<(&str, usize)> =
            RESPONSES.iter().filter_map(|(kind, words)| Some((*kind, find(words, &used)?))).collect();
        let (kind, place) = match responses.as_slice() {
            [] => {
                self.line("# no head is known as a response: name its column".into());
                self.line("# response = \"…\"".into());
                (None, None)
            }
            [(kind, place)] => {
                self.line(format!("response = {}", toml_text(&heads[*place])));
                (Some(*kind), Some(*place))
            }
            [(kind, place), others @ ..] => {
                let others: Vec<String> = others.iter().map(|(_, place)| quoted(&heads[*place])).collect();
                self.line(format!("# or {}: look which one the method reads", others.join(", ")));
                self.line(format!("response = {}", toml_text(&heads[*place])));
                (Some(*kind), Some(*place))
            }
        };
        self.response(kind, place, &heads, below);
        self.time(&found);
        self.marks(place, found.get("replicate").copied(), &heads, writing, below);
    }

    fn response(&mut self, kind: Option<&str>, place: Option<usize>, heads: &[String], below: u32) {
        self.line(String::new());
        self.line("[response]".into());
        match kind {
            // "Abs" is what integrated and peak readings of a furnace are called as well.
            Some("absorbance") => {
                self.line(
                    "# the head says absorbance; it may be integrated over the pulse, its peak, or steady: decide"
                        .into(),
                );
                self.line("# kind = \"integrated absorbance\"".into());
            }
            Some(kind) => self.line(format!("kind = \"{kind}\"")),
            None => self.line("# kind = \"integrated absorbance\"".into()),
        }
        let unit_line = (below > 0).then(|| self.records.get(self.head + 1)).flatten();
        let unit_below =
            place.zip(unit_line).and_then(|(place, record)| record.cells.get(place)).cloned().unwrap_or_default();
        let said = place.map_or(String::new(), |place| plain(&format!("{} {unit_below}", heads[place])));
        let (unit, evidence) = if said.contains("ma") && !said.contains("max") {
            ("milliabsorbance", "the head says mA")
        } else if said.contains('%') {
            ("% absorption", "the head says %")
        } else {
            ("absorbance", "no head says otherwise; if values are above 5, they may be thousandths")
        };
        self.line(format!("# {evidence}"));
        self.line(format!("unit = \"{unit}\""));
        self.line("# no file says whether a blank was subtracted or a dilution multiplied in: look at the instrument's settings".into());
        self.line(
            "# \"as measured\", \"less the blank\" (name its column: blank = \"…\") or \"times the dilution\"".into(),
        );
        self.line("# is = \"as measured\"".into());
    }

    fn time(&mut self, found: &std::collections::BTreeMap<&str, usize>) {
        self.line(String::new());
        self.line("[time]".into());
        let place = found.get("at").or(found.get("date")).copied();
        let cells: Vec<String> =
            place.map_or(Vec::new(), |place| self.cells(place).map(|(_, cell)| cell.to_owned()).collect());
        let fits = |order: DateOrder| {
            let n_read =
                cells.iter().filter(|cell| date(cell, order).is_some() || date_and_time(cell, order).is_some()).count();
            !cells.is_empty()
                && n_read * 2 > cells.len()
                && n_read == cells.iter().filter(|cell| cell.bytes().any(|byte| byte.is_ascii_digit())).count()
        };
        // Between dots the day comes first, wherever dates are written with dots (common practice, no source).
        let has_dots = cells.first().is_some_and(|cell| cell.matches('.').count() >= 2);
        let is_written = |order: &DateOrder| !(has_dots && *order == DateOrder::MonthDayYear);
        let orders: Vec<DateOrder> =
            DateOrder::ALL.into_iter().filter(|order| fits(*order)).filter(is_written).collect();
        match orders.as_slice() {
            [only] => {
                let why = match has_dots {
                    true => "dates with dots have the day first",
                    false => "every date can be read this way, and no other way",
                };
                self.line(format!("# {why}, as {}", quoted(&cells[0])));
                self.line(format!("date_order = \"{}\"", only.words()));
            }
            [] if cells.is_empty() => {
                self.line("# the file has no dates; the day is given with --day".into());
                self.line("date_order = \"day month year\"".into());
            }
            [] => {
                self.line(format!("# no order of day, month and year fits all dates, as {}", quoted(&cells[0])));
                self.line("# date_order = \"day month year\"".into());
            }
            several => {
                let words: Vec<&str> = several.iter().map(|order| order.words()).collect();
                self.line(format!(
                    "# {} can be read in several ways ({}): decide",
                    quoted(&cells[0]),
                    words.join(", ")
                ));
                self.line(format!("# date_order = \"{}\"", words[0]));
            }
        }
        self.line("# no file says which zone the clock is set to: write yours".into());
        self.line("# zone = \"Europe/Vienna\"".into());
    }

    fn marks(
        &mut self,
        response: Option<usize>,
        replicate: Option<usize>,
        heads: &[String],
        writing: Writing,
        below: u32,
    ) {
        let below = usize::try_from(below).unwrap_or(0);
        let mut words: Vec<String> = Vec::new();
        let mut has_asterisk = false;
        for (_, cell) in response.into_iter().flat_map(|place| self.cells(place).skip(below)) {
            if cell.ends_with('*') || cell.starts_with('*') {
                has_asterisk = true;
            } else if cell.contains(|c: char| c.is_ascii_digit()) && !cell.starts_with(['<', '>']) {
                // A damaged number is no word of the instrument's.
            } else if matches!(number(cell, writing), NumberCell::NoNumber(_))
                && !words.contains(&cell.to_owned())
                && words.len() < 20
            {
                words.push(cell.to_owned());
            }
        }
        let mut rows: Vec<String> = Vec::new();
        for (_, cell) in replicate.into_iter().flat_map(|place| self.cells(place).skip(below)) {
            if !cell.bytes().all(|byte| byte.is_ascii_digit()) && !rows.contains(&cell.to_owned()) && rows.len() < 20 {
                rows.push(cell.to_owned());
            }
        }
        let is_over =
            |word: &&String| ["over", ">", "+++", "sat", "high"].iter().any(|mark| plain(word).contains(mark));
        let list = |words: Vec<&String>| words.into_iter().map(|word| toml_text(word)).collect::<Vec<_>>().join(", ");
        let over: Vec<&String> = words.iter().filter(is_over).collect();
        let nothing: Vec<&String> = words
            .iter()
            .filter(|word| !is_over(word) && Some(word.as_str()) != response.map(|place| heads[place].as_str()))
            .collect();
        if over.is_empty() && nothing.is_empty() && rows.is_empty() && !has_asterisk {
            return;
        }
        self.line(String::new());
        self.line("# words that stand where numbers are expected".into());
        self.line("[marks]".into());
        if !over.is_empty() {
            self.line(format!("over = [{}]", list(over)));
        }
        if !nothing.is_empty() {
            self.line(format!("nothing = [{}]", list(nothing)));
        }
        if has_asterisk {
            self.line("rejected = [\"*\"]".into());
        }
        if let Some(place) = replicate.filter(|_| !rows.is_empty()) {
            self.line(String::new());
            self.line("[[marks.no_reading]]".into());
            self.line(format!("column = {}", toml_text(&heads[place])));
            self.line(format!("is = [{}]", list(rows.iter().collect())));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_file_with_comma_units_marks_and_means_is_proposed_with_its_evidence() {
        let text = "Furnace run of 14.03.2026\r\n\r\nName;Pos;Rep;Date;Time;Area;BG\r\n;;;;;mA.s;mA.s\r\n\
            Blank;1;1;14.03.2026;09:30:05;1,2;20,1\r\nBlank;1;2;14.03.2026;09:32:11;1,4*;19,9\r\n\
            Blank;1;Mean;;;1,3;\r\nS1;2;1;14.03.2026;09:34:15;over;20,0\r\n\"Well 4, µ\";3;1;14.03.2026;09:36:00;1.234,5;21,0\r\n";
        let bytes: Vec<u8> = text.chars().map(|c| if c == 'µ' { 0xb5 } else { c as u8 }).collect();
        insta::assert_snapshot!(propose("furnace.csv", &bytes, "furnace-2").unwrap());
    }

    #[test]
    fn what_a_file_leaves_open_is_left_open() {
        let text = "Sample,Abs,Time,Date\nA,0.1,9:30 AM,03/04/26\nB,0.2,9:31 AM,03/04/26\n";
        let draft = propose("flame.csv", text.as_bytes(), "flame").unwrap();
        assert!(draft.contains("# date_order = "), "{draft}");
        assert!(draft.contains("# kind = "), "{draft}");
        assert!(draft.contains("# zone = "), "{draft}");
        let faults = crate::instrument_file::mapping::read("flame.toml", &draft).unwrap_err().to_string();
        assert!(faults.contains("date_order") && faults.contains("zone") && faults.contains("\"is\""), "{faults}");
    }

    #[test]
    fn a_text_that_is_no_table_is_told() {
        let told = propose("letter.txt", b"Dear all,\n\nthe run is done.\n", "x").unwrap_err().to_string();
        assert!(told.contains("no line looks like the head of a table"), "{told}");
    }

    proptest! {
        #[test]
        fn any_bytes_are_proposed_or_told(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let _ = propose("a.csv", &bytes, "x").map_err(|faults| faults.to_string());
        }
        #[test]
        fn any_table_is_proposed_or_told(text in "(Name|Pos|Abs|Time|[0-9.,;\t\n\r\"*]){0,40}") {
            if let Ok(draft) = propose("a.csv", text.as_bytes(), "x") {
                // What is proposed is a document, whole or with faults of its own kind.
                let _ = crate::instrument_file::mapping::read("a.toml", &draft).map_err(|faults| faults.to_string());
            }
        }
    }
}
