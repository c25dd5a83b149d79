//! Cells to readings, as the instrument named them; rows that are none are set aside with their reason.

use std::collections::BTreeSet;

use darkline_record::time::Timestamp;
use jiff::civil::{Date, Time};

use crate::element_symbol;
use crate::fault::{Fault, Faults, quoted};
use crate::instrument_file::code_page::plain;
use crate::instrument_file::mapping::{Columns, Mapping, ResponseUnit};
use crate::instrument_file::moment::{date, date_and_time, moment, time};
use crate::instrument_file::number::{NumberCell, read as number, shifted};
use crate::instrument_file::parting::{Record, records};

/// A file as read: what it brought, and what it did not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Received {
    /// Readings in the order of the file.
    pub readings: Vec<ReceivedReading>,
    /// Rows set aside, each with its reason.
    pub aside: Vec<Aside>,
    /// Rows that the mapping calls no readings, means among them.
    pub n_no_readings: usize,
    /// Rows of other elements.
    pub n_other_elements: usize,
    /// Rows that stand in the file a second time, word for word.
    pub n_doubled: usize,
    /// What a person should know about the file as a whole.
    pub notes: Vec<String>,
}

/// A reading as the instrument named it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceivedReading {
    /// The line it stands on.
    pub line: usize,
    /// The name of the solution.
    pub sample: Option<String>,
    /// The cup.
    pub cup: Option<u32>,
    /// Which replicate, where the file says so.
    pub replicate: Option<u8>,
    /// When.
    pub at: Timestamp,
    /// What came.
    pub came: ReceivedCame,
    /// Whether the instrument marked it as rejected.
    pub is_rejected: bool,
    /// The response of the blank that the instrument subtracted.
    pub blank: Option<String>,
    /// The number of its firing, by which its trace is found.
    pub firing: Option<u32>,
}

/// What a reading brought.
#[derive(Clone, Debug, PartialEq)]
pub enum ReceivedCame {
    /// A response: digits, in absorbance or absorbance seconds.
    Response(String),
    /// A response beyond what the instrument can read, as it wrote it.
    Over(String),
    /// No response, as it wrote it.
    Nothing(String),
}

/// A row that was set aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Aside {
    /// Its line.
    pub line: usize,
    /// Its cells.
    pub row: String,
    /// Why.
    pub why: String,
}

/// The places of the mapped columns in the rows of a block.
struct Block {
    sample: Option<usize>,
    cup: Option<usize>,
    replicate: Option<usize>,
    at: Option<usize>,
    date: Option<usize>,
    time: Option<usize>,
    element: Option<usize>,
    blank: Option<usize>,
    firing: Option<usize>,
    responses: Vec<usize>,
    no_readings: Vec<(usize, Vec<String>)>,
}

/// Reads the text of a file.
///
/// # Arguments
/// * `element`: the symbol of the element of the run; rows of others are left out.
/// * `day`: the day of the first reading, for files that write times alone.
///
/// # Errors
/// A file in which no line has the columns of the mapping, or whose numbers are written with the other decimal sign.
pub fn read(file: &str, text: &str, mapping: &Mapping, element: &str, day: Option<Date>) -> Result<Received, Faults> {
    let records = records(text, &mapping.separator);
    // The last line without an end may still be growing.
    let is_unfinished = !text.ends_with(['\n', '\r']) && !text.is_empty();
    let last_line = records.last().map_or(0, |record| record.line);
    let mut reader = Reader {
        mapping,
        element,
        date: None,
        before: None,
        block_element: None,
        received: Received::default(),
        seen: BTreeSet::new(),
        other_sign: Vec::new(),
        day,
    };
    let mut block: Option<Block> = None;
    let mut below_head = 0;
    for record in &records {
        if let Some(found) = block_at(record, mapping) {
            (block, below_head) = (Some(found), mapping.lines_below_head);
            continue;
        }
        let Some(block) = &block else {
            reader.title(record);
            continue;
        };
        if below_head > 0 {
            below_head -= 1;
            continue;
        }
        if is_unfinished && record.line == last_line {
            reader.received.notes.push(format!("line {last_line} is not finished and was left for the next time"));
            continue;
        }
        reader.row(record, block);
    }
    if block.is_none() {
        return Err(Faults::one(no_head(file, &records, &mapping.columns)));
    }
    reader.finished(file)
}

/// The block whose head a record is: it has every mapped column.
fn block_at(record: &Record, mapping: &Mapping) -> Option<Block> {
    let heads: Vec<String> = record.cells.iter().map(|cell| plain(cell)).collect();
    let place = |name: &str| heads.iter().position(|head| *head == plain(name));
    let wanted = |name: &Option<String>| match name {
        Some(name) => place(name).map(Some),
        None => Some(None),
    };
    let columns = &mapping.columns;
    Some(Block {
        sample: wanted(&columns.sample)?,
        cup: wanted(&columns.cup)?,
        replicate: wanted(&columns.replicate)?,
        at: wanted(&columns.at)?,
        date: wanted(&columns.date)?,
        time: wanted(&columns.time)?,
        element: wanted(&columns.element)?,
        blank: wanted(&columns.blank)?,
        firing: wanted(&columns.firing)?,
        responses: columns.responses.iter().map(|name| place(name)).collect::<Option<_>>()?,
        no_readings: mapping
            .marks
            .no_readings
            .iter()
            .map(|(name, words)| Some((place(name)?, words.iter().map(|word| plain(word)).collect())))
            .collect::<Option<_>>()?,
    })
}

fn no_head(file: &str, records: &[Record], columns: &Columns) -> Fault {
    let mut wanted: Vec<&str> = [
        &columns.sample,
        &columns.cup,
        &columns.replicate,
        &columns.at,
        &columns.date,
        &columns.time,
        &columns.element,
        &columns.blank,
        &columns.firing,
    ]
    .into_iter()
    .filter_map(|name| name.as_deref())
    .collect();
    wanted.extend(columns.responses.iter().map(String::as_str));
    let has = |record: &Record, name: &str| record.cells.iter().any(|cell| plain(cell) == plain(name));
    let n_found = |record: &&Record| wanted.iter().filter(|name| has(record, name)).count();
    // The first of the lines that come nearest to a head.
    let mut nearest: Option<(&Record, usize)> = None;
    for record in records {
        let n = n_found(&record);
        if n > nearest.map_or(0, |(_, n)| n) {
            nearest = Some((record, n));
        }
    }
    match nearest {
        Some((record, _)) => {
            let missing: Vec<String> =
                wanted.iter().filter(|name| !has(record, name)).map(|name| quoted(name)).collect();
            Fault::of_file(
                file,
                format!("no line has all columns of the mapping; line {} lacks {}", record.line, missing.join(", ")),
                format!("it has {}; mend the mapping, or let the instrument write the columns", record.shown()),
            )
        }
        None => Fault::of_file(
            file,
            "no line has any column of the mapping",
            format!(
                "the mapping names {}; look whether separator, code page and file are the right ones",
                wanted.iter().map(|name| quoted(name)).collect::<Vec<_>>().join(", ")
            ),
        ),
    }
}

struct Reader<'a> {
    mapping: &'a Mapping,
    element: &'a str,
    date: Option<Date>,
    before: Option<jiff::Timestamp>,
    block_element: Option<String>,
    received: Received,
    seen: BTreeSet<Vec<String>>,
    other_sign: Vec<(usize, String)>,
    day: Option<Date>,
}

impl Reader<'_> {
    /// A line that is no row of a table: it may name the element of what follows.
    fn title(&mut self, record: &Record) {
        let words: Vec<&str> = record
            .cells
            .iter()
            .flat_map(|cell| cell.split(|c: char| !c.is_alphanumeric()))
            .filter(|word| !word.is_empty())
            .collect();
        let said = words.iter().position(|word| matches!(plain(word).as_str(), "element" | "analyte" | "analyt"));
        let behind = said.map_or(&[][..], |place| &words[place + 1..]);
        if let Some(symbol) = behind.iter().find(|word| element_symbol::is_known(word)) {
            self.block_element = Some((*symbol).to_owned());
        }
    }

    fn aside(&mut self, record: &Record, why: impl Into<String>) {
        self.received.aside.push(Aside { line: record.line, row: record.shown(), why: why.into() });
    }

    fn row(&mut self, record: &Record, block: &Block) {
        let cell = |place: Option<usize>| place.and_then(|place| record.cells.get(place)).map_or("", String::as_str);
        let responses: Vec<&str> = block.responses.iter().map(|&place| cell(Some(place))).collect();
        let moment_cells = [block.at, block.date, block.time].map(cell);
        if responses.iter().all(|text| text.is_empty()) && moment_cells.iter().all(|text| text.is_empty()) {
            // A title between blocks, or a line under a table.
            self.title(record);
            self.received.n_no_readings += 1;
            return;
        }
        if block.no_readings.iter().any(|(place, words)| words.contains(&plain(cell(Some(*place))))) {
            self.received.n_no_readings += 1;
            return;
        }
        let named = match block.element {
            Some(place) => cell(Some(place)).split(|c: char| !c.is_alphabetic()).find(|word| !word.is_empty()),
            None => self.block_element.as_deref(),
        };
        if named.is_some_and(|named| !named.eq_ignore_ascii_case(self.element)) {
            self.received.n_other_elements += 1;
            return;
        }
        if !self.seen.insert(record.cells.clone()) {
            self.received.n_doubled += 1;
            return;
        }
        let at = match self.moment(&moment_cells) {
            Ok(at) => at,
            Err(why) => return self.aside(record, why),
        };
        let sample = Some(cell(block.sample)).filter(|text| !text.is_empty()).map(str::to_owned);
        let cup_cell = cell(block.cup);
        let cup = whole(cup_cell);
        if sample.is_none() && cup.is_none() {
            return self.aside(record, "neither a name nor a cup says what was measured");
        }
        let replicate_cell = cell(block.replicate);
        let replicate = match (whole(replicate_cell), replicate_cell.is_empty()) {
            (Some(n @ 1..=255), _) => u8::try_from(n).ok(),
            (_, true) => None,
            _ => {
                return self.aside(record, format!("{} is no number of a replicate", quoted(replicate_cell)));
            }
        };
        let blank = match cell(block.blank) {
            "" => None,
            text => match number(text, self.mapping.writing) {
                NumberCell::Digits(digits) => Some(self.in_absorbance(&digits)),
                _ => return self.aside(record, format!("the blank {} is no number", quoted(text))),
            },
        };
        let firing_cell = cell(block.firing);
        let firing = match (whole(firing_cell), firing_cell.is_empty()) {
            (None, false) => return self.aside(record, format!("{} is no number of a firing", quoted(firing_cell))),
            (firing, _) => firing,
        };
        let as_columns = responses.len() > 1;
        for (place, text) in responses.iter().enumerate() {
            if as_columns && text.is_empty() {
                continue;
            }
            let (came, is_rejected) = match self.came(record, text) {
                Ok(came) => came,
                Err(why) => {
                    self.aside(record, why);
                    continue;
                }
            };
            let replicate = if as_columns { u8::try_from(place + 1).ok() } else { replicate };
            let (sample, at, blank) = (sample.clone(), at.clone(), blank.clone());
            // Where replicates stand side by side, the number is that of the first of them.
            let later = if as_columns { u32::try_from(place).unwrap_or(0) } else { 0 };
            let firing = firing.map(|first| first.saturating_add(later));
            self.received.readings.push(ReceivedReading {
                line: record.line,
                sample,
                cup,
                replicate,
                at,
                came,
                is_rejected,
                blank,
                firing,
            });
        }
    }

    fn came(&mut self, record: &Record, text: &str) -> Result<(ReceivedCame, bool), String> {
        let marks = &self.mapping.marks;
        let is = |words: &[String]| words.iter().any(|word| plain(word) == plain(text));
        if is(&marks.over) {
            return Ok((ReceivedCame::Over(text.to_owned()), false));
        }
        if is(&marks.nothing) {
            return Ok((ReceivedCame::Nothing(text.to_owned()), false));
        }
        let (mut bare, mut is_rejected) = (text, false);
        for mark in marks.rejected.iter().filter(|mark| !mark.is_empty()) {
            if let Some(rest) = bare.strip_suffix(mark.as_str()).or_else(|| bare.strip_prefix(mark.as_str())) {
                (bare, is_rejected) = (rest.trim(), true);
            }
        }
        match number(bare, self.mapping.writing) {
            NumberCell::Digits(digits) => Ok((ReceivedCame::Response(self.in_absorbance(&digits)), is_rejected)),
            NumberCell::OtherSign(text) => {
                self.other_sign.push((record.line, text.clone()));
                Err(format!("{} is written with the other decimal sign", quoted(&text)))
            }
            NumberCell::NoNumber(text) if text.is_empty() => Err("no response stands here".into()),
            NumberCell::NoNumber(text) => Err(format!("{} is no number", quoted(&text))),
        }
    }

    /// Digits in the unit of the mapping as absorbance, or absorbance seconds.
    ///
    /// # Source
    /// A = −lg(1 − p/100), the definition of absorbance (IUPAC Gold Book, absorbance).
    fn in_absorbance(&self, digits: &str) -> String {
        match self.mapping.response.unit {
            ResponseUnit::Absorbance => digits.to_owned(),
            ResponseUnit::Milliabsorbance => shifted(digits, -3),
            ResponseUnit::AbsorptionPercent => {
                let absorbed: f64 = digits.parse().unwrap_or(f64::NAN);
                let absorbance = -libm::log10(1.0 - absorbed / 100.0);
                // All light absorbed, or more: what no number says is told where the figure is read.
                if absorbance.is_finite() { format!("{absorbance:.6}") } else { "inf".into() }
            }
        }
    }

    fn moment(&mut self, cells: &[&str; 3]) -> Result<Timestamp, String> {
        let order = self.mapping.time.order;
        let [at, date_cell, time_cell] = *cells;
        let (found_date, found_time): (Option<Date>, Option<Time>) = if at.is_empty() {
            if !date_cell.is_empty() && date(date_cell, order).is_none() {
                // Some writers put the time behind the date as well.
                match date_and_time(date_cell, order) {
                    Some((date, _)) => (Some(date), time(time_cell)),
                    None => return Err(format!("{} is no date, {}", quoted(date_cell), order.words())),
                }
            } else {
                (
                    date(date_cell, order),
                    time(time_cell).or_else(|| date_and_time(time_cell, order).map(|(_, time)| time)),
                )
            }
        } else if let Ok(moment) = at.parse::<Timestamp>() {
            self.before = Some(moment.moment());
            return Ok(moment);
        } else {
            match date_and_time(at, order) {
                Some((date, time)) => (Some(date), Some(time)),
                None => (None, time(at)),
            }
        };
        let Some(time) = found_time else {
            let shown = if at.is_empty() { time_cell } else { at };
            return Err(match shown.is_empty() {
                true => "no time stands here".into(),
                false => format!("{} is no date and time, {}", quoted(shown), order.words()),
            });
        };
        let date = match (found_date, self.date.or(self.day)) {
            (Some(date), _) => date,
            (None, Some(carried)) => {
                let zone = &self.mapping.time.zone;
                let last = self.before.map(|before| zone.to_datetime(before));
                // Past midnight the clock starts again.
                match last {
                    Some(last) if last.date() == carried && last.time().hour() >= 18 && time.hour() < 6 => {
                        carried.tomorrow().map_err(|error| error.to_string())?
                    }
                    _ => carried,
                }
            }
            (None, None) => return Err("no date stands here or above; name the day with --day".into()),
        };
        let (moment, is_open) = moment(date, time, &self.mapping.time.zone, self.before)
            .ok_or_else(|| format!("{date} {time} is no moment in {}", self.mapping.time.zone_written))?;
        if is_open {
            let note = format!(
                "the clock of {} passes {date} {time} twice or not at all; taken as {moment}",
                self.mapping.time.zone_written
            );
            if !self.received.notes.iter().any(|known| known.starts_with("the clock of")) {
                self.received.notes.push(note);
            }
        }
        self.date = Some(date);
        self.before = Some(moment.moment());
        Ok(moment)
    }

    fn finished(self, file: &str) -> Result<Received, Faults> {
        let n_numbers = self.received.readings.len();
        if self.other_sign.len() > n_numbers {
            let (line, text) = &self.other_sign[0];
            let decimal = self.mapping.writing.decimal;
            return Err(Faults::one(Fault::of_file(
                file,
                format!(
                    "{} numbers are written with the other decimal sign than \"{decimal}\", line {line} first: {}",
                    self.other_sign.len(),
                    quoted(text)
                ),
                "look at the file and write its decimal sign into the mapping; nothing was taken",
            )));
        }
        Ok(self.received)
    }
}

/// A whole number, as cups and replicates are; lost or added zeros do not count.
fn whole(text: &str) -> Option<u32> {
    let text = text.trim().trim_end_matches(".0").trim_end_matches(",0");
    (!text.is_empty() && text.len() < 10 && text.bytes().all(|byte| byte.is_ascii_digit()))
        .then(|| text.parse().ok())?
}
