//! The traces that an instrument leaves beside its table: from files to pulses, each with the number of its firing.
//!
//! Nothing here is a fault: a file or a row that cannot be read is set aside with its reason, and the others go on. Which trace
//! belongs to which reading is [`super::pairing`]'s.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use darkline_metrology::robust;
use darkline_record::canonical::Digest;
use darkline_record::pulse::Pulse;

use crate::fault::quoted;
use crate::instrument_file::code_page::plain;
use crate::instrument_file::mapping::Mapping;
use crate::instrument_file::number::{NumberCell, read as number, shifted};
use crate::instrument_file::parting::{Record, records};
use crate::instrument_file::received::Aside;
use crate::instrument_file::trace_mapping::{Channels, MomentUnit, NumberPlace, TraceMapping};

/// More samples than this are no traces of a run: ten thousand readings of two thousand moments each.
const MOST_SAMPLES: usize = 20_000_000;

/// A trace that ends before this part of the usual length may still be growing, where it is the last of its file (our choice).
const WHOLE: f64 = 0.98;

/// All traces of some files, in the order of the files.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReceivedTraces {
    /// The traces.
    pub traces: Vec<ReceivedTrace>,
    /// Files and rows set aside.
    pub aside: Vec<(String, Aside)>,
    /// What a person should know.
    pub notes: Vec<String>,
    /// The files and the digests of their bytes.
    pub files: Vec<(String, Digest)>,
}

/// A trace.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceivedTrace {
    /// The file.
    pub file: String,
    /// The line it begins on.
    pub line: usize,
    /// The number of its firing.
    pub number: Option<u32>,
    /// Its samples.
    pub pulse: Pulse,
    /// Whether it may still be growing: the last of its file, and shorter than the others.
    pub may_grow: bool,
}

/// Reads the traces of files.
///
/// # Arguments
/// * `files`: names and bytes, in the order of measuring; [`natural_order`] puts names of one folder into it.
/// * `mapping`: without a part `[traces]` there are none.
pub fn read(files: &[(String, Vec<u8>)], mapping: &Mapping) -> ReceivedTraces {
    let parts: Vec<ReceivedTraces> = files.iter().map(|(name, bytes)| read_one(name, bytes, mapping)).collect();
    joined(&parts)
}

/// Reads the traces of one file.
pub fn read_one(name: &str, bytes: &[u8], mapping: &Mapping) -> ReceivedTraces {
    let mut received = ReceivedTraces::default();
    let Some(of_traces) = &mapping.traces else { return received };
    received.files.push((name.to_owned(), Digest::of(bytes)));
    match mapping.code_page.decode(name, bytes) {
        Ok(text) => Reader::new(name, mapping, of_traces, &mut received).file(&text),
        Err(faults) => {
            let why = faults.to_string().lines().next().unwrap_or("it cannot be read").to_owned();
            received.aside.push((name.to_owned(), Aside { line: 1, row: String::new(), why }));
        }
    }
    received
}

/// The traces of several files, one behind the other.
pub fn joined<'a>(parts: impl IntoIterator<Item = &'a ReceivedTraces>) -> ReceivedTraces {
    let mut received = ReceivedTraces::default();
    let mut n_samples = 0;
    for part in parts {
        received.files.extend(part.files.iter().cloned());
        received.aside.extend(part.aside.iter().cloned());
        n_samples += part.traces.iter().map(|trace| trace.pulse.t_s().len()).sum::<usize>();
        if n_samples > MOST_SAMPLES {
            let why = format!("with it, there are more than {MOST_SAMPLES} samples, which no run has");
            let file = part.files.first().map_or_else(String::new, |(file, _)| file.clone());
            received.aside.push((file, Aside { line: 1, row: String::new(), why }));
            break;
        }
        received.traces.extend(part.traces.iter().cloned());
    }
    one_of_each(&mut received);
    tell_growing(&mut received.traces);
    received
}

/// The order of names in which 10 comes behind 9.
///
/// # Example
/// ```
/// use darkline_exchange::instrument_file::traces::natural_order;
/// let mut names = ["trace_10.txt", "trace_9.txt"];
/// names.sort_by(|a, b| natural_order(a, b));
/// assert_eq!(names, ["trace_9.txt", "trace_10.txt"]);
/// ```
pub fn natural_order(one: &str, other: &str) -> Ordering {
    parts(one).cmp(&parts(other)).then_with(|| one.cmp(other))
}

/// Numbers by size, other letters as they are; a number stands before a letter.
fn parts(name: &str) -> Vec<(u8, usize, String)> {
    let letters: Vec<char> = name.to_lowercase().chars().collect();
    let (mut parts, mut at) = (Vec::new(), 0);
    while at < letters.len() {
        let is_digit = letters[at].is_ascii_digit();
        let run: String = letters[at..].iter().take_while(|c| c.is_ascii_digit() == is_digit).collect();
        at += run.chars().count();
        if is_digit {
            let digits = run.trim_start_matches('0').to_owned();
            // Longer is larger; equal lengths compare digit by digit.
            parts.push((0, digits.len(), digits));
        } else {
            parts.push((1, 0, run));
        }
    }
    parts
}

/// A trace that was written twice, sample by sample, counts once.
fn one_of_each(received: &mut ReceivedTraces) {
    let mut seen = BTreeSet::new();
    let before = received.traces.len();
    received.traces.retain(|trace| seen.insert((trace.number, trace.pulse.digest())));
    match before - received.traces.len() {
        0 => {}
        1 => received.notes.push("a trace stands there a second time, sample by sample, and counts once".into()),
        n => received.notes.push(format!("{n} traces stand there a second time, sample by sample, and count once")),
    }
}

fn tell_growing(traces: &mut [ReceivedTrace]) {
    let ends: Vec<f64> = traces.iter().filter_map(|trace| trace.pulse.t_s().last().copied()).collect();
    let Some(usual) = robust::median(&ends).filter(|_| ends.len() > 1) else { return };
    for place in 0..traces.len() {
        let is_last = traces.get(place + 1).is_none_or(|next| next.file != traces[place].file);
        let end = traces[place].pulse.t_s().last().copied().unwrap_or(0.0);
        traces[place].may_grow |= is_last && end < WHOLE * usual;
    }
}

/// The places of the columns in the rows of a block.
struct Block {
    number: Option<usize>,
    moment: Option<usize>,
    channels: [Option<usize>; 2],
}

/// A trace on its way.
#[derive(Default)]
struct Growing {
    line: usize,
    number: Option<u32>,
    n_points: u32,
    t_s: Vec<f64>,
    total: Vec<f32>,
    background: Vec<f32>,
    n_without: usize,
}

struct Reader<'a> {
    file: &'a str,
    mapping: &'a Mapping,
    of_traces: &'a TraceMapping,
    number_in_name: Option<u32>,
    number_in_title: Option<u32>,
    growing: Growing,
    received: &'a mut ReceivedTraces,
}

impl<'a> Reader<'a> {
    fn new(file: &'a str, mapping: &'a Mapping, of_traces: &'a TraceMapping, received: &'a mut ReceivedTraces) -> Self {
        // A path within a folder is given as it lies there; the pattern is about the name alone.
        let bare = file.rsplit(['/', '\\']).next().unwrap_or(file);
        let number_in_name = of_traces.files.matches(bare).flatten();
        let growing = Growing::default();
        Self { file, mapping, of_traces, number_in_name, number_in_title: None, growing, received }
    }

    fn file(mut self, text: &str) {
        let separator = self.of_traces.separator.as_ref().unwrap_or(&self.mapping.separator);
        let records = records(text, separator);
        let is_unfinished = !text.ends_with(['\n', '\r']) && !text.is_empty();
        let last_line = records.last().map_or(0, |record| record.line);
        let mut block: Option<Block> = None;
        let mut below_head = 0;
        for record in &records {
            if let Some(found) = self.head(record) {
                self.close();
                (block, below_head) = (Some(found), self.of_traces.lines_below_head);
                continue;
            }
            let Some(block) = &block else {
                self.title(record);
                continue;
            };
            if below_head > 0 {
                below_head -= 1;
                continue;
            }
            // The last line without an end may be half a line.
            if is_unfinished && record.line == last_line {
                break;
            }
            self.row(record, block);
        }
        let before = self.received.traces.len();
        self.close();
        if is_unfinished && let Some(last) = self.received.traces[before..].last_mut() {
            last.may_grow = true;
        }
        if block.is_none() {
            let mut names = self.of_traces.channels.names();
            names.extend(self.of_traces.moment.as_deref());
            let shown: Vec<String> = names.into_iter().map(quoted).collect();
            let why = format!("no line has the columns {}", shown.join(", "));
            self.received.aside.push((self.file.to_owned(), Aside { line: 1, row: String::new(), why }));
        }
    }

    fn head(&self, record: &Record) -> Option<Block> {
        // Nearly all lines are points; a head begins with a letter somewhere.
        let is_figure =
            |cell: &String| cell.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.' | ','));
        if record.cells.iter().all(|cell| cell.is_empty() || is_figure(cell)) {
            return None;
        }
        let heads: Vec<String> = record.cells.iter().map(|cell| plain(cell)).collect();
        let place = |name: &str| {
            let name = plain(name);
            heads.iter().position(|head| *head == name)
        };
        let wanted = |name: Option<&String>| match name {
            Some(name) => place(name).map(Some),
            None => Some(None),
        };
        let number = match &self.of_traces.number {
            NumberPlace::Column(name) => Some(place(name)?),
            _ => None,
        };
        let names = self.of_traces.channels.names();
        let first = Some(place(names.first()?)?);
        let second = match names.get(1) {
            Some(name) => Some(place(name)?),
            None => None,
        };
        Some(Block { number, moment: wanted(self.of_traces.moment.as_ref())?, channels: [first, second] })
    }

    /// A line that is no row: it may hold the number of the firing.
    fn title(&mut self, record: &Record) {
        let NumberPlace::Title(word) = &self.of_traces.number else { return };
        let line = record.cells.join(" ");
        let (line, word) = (plain(&line), plain(word));
        let Some((_, behind)) = line.split_once(word.as_str()) else { return };
        let digits: String =
            behind.chars().skip_while(|c| !c.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
        if let Ok(found) = digits.parse() {
            self.close();
            self.number_in_title = Some(found);
        }
    }

    fn row(&mut self, record: &Record, block: &Block) {
        let cell = |place: Option<usize>| place.and_then(|place| record.cells.get(place)).map_or("", String::as_str);
        let figure = |text: &str| match number(text, self.mapping.writing) {
            NumberCell::Digits(digits) => digits.parse::<f64>().ok().filter(|value| value.is_finite()),
            _ => None,
        };
        let absorbance = |text: &str| match number(text, self.mapping.writing) {
            NumberCell::Digits(digits) => {
                let digits = if self.of_traces.in_thousandths { shifted(&digits, -3) } else { digits };
                digits.parse::<f64>().ok().filter(|value| value.is_finite() && value.abs() < 1e6)
            }
            _ => None,
        };
        let values = block.channels.map(|place| absorbance(cell(place)));
        let moment = block.moment.map(|place| figure(cell(Some(place))));
        if values == [None, None] && moment.flatten().is_none() {
            self.title(record);
            return;
        }
        let found = match (&self.of_traces.number, block.number) {
            (NumberPlace::Column(_), place) => match cell(place).parse::<u32>() {
                Ok(number) => Some(number),
                Err(_) => {
                    let why = format!("{} is no number of a firing", quoted(cell(place)));
                    let aside = Aside { line: record.line, row: record.shown(), why };
                    self.received.aside.push((self.file.to_owned(), aside));
                    return;
                }
            },
            (NumberPlace::FileName, _) => self.number_in_name,
            (NumberPlace::Title(_), _) => self.number_in_title,
            (NumberPlace::Nowhere, _) => None,
        };
        let t_s = match (moment, self.of_traces.moment_unit) {
            (Some(Some(at)), MomentUnit::Seconds) => Some(at),
            (Some(Some(at)), MomentUnit::Milliseconds) => Some(at / 1000.0),
            (Some(Some(at)), MomentUnit::Points { between_s }) => Some(at * between_s),
            (None, MomentUnit::Points { between_s }) => Some(f64::from(self.growing.n_points) * between_s),
            _ => None,
        };
        let is_next = self.growing.number != found
            || t_s.zip(self.growing.t_s.last().copied()).is_some_and(|(now, before)| now <= before);
        if is_next && !self.growing.t_s.is_empty() {
            self.close();
        }
        if self.growing.t_s.is_empty() && self.growing.n_without == 0 {
            (self.growing.line, self.growing.number) = (record.line, found);
        }
        // Counted points start again with a trace.
        let t_s = if moment.is_none() && is_next { Some(0.0) } else { t_s };
        self.growing.n_points = self.growing.n_points.saturating_add(1);
        let (total, background) = match (&self.of_traces.channels, values) {
            (Channels::TotalAndBackground(..), [Some(total), Some(background)]) => (total, background),
            (Channels::TotalAndNet(..), [Some(total), Some(net)]) => (total, total - net),
            (Channels::NetAndBackground(..), [Some(net), Some(background)]) => (net + background, background),
            (Channels::Net(_), [Some(net), None]) => (net, 0.0),
            _ => {
                self.growing.n_without += 1;
                return;
            }
        };
        let Some(t_s) = t_s else {
            self.growing.n_without += 1;
            return;
        };
        self.growing.t_s.push(t_s);
        #[expect(clippy::cast_possible_truncation, reason = "pulses hold single precision")]
        {
            self.growing.total.push(total as f32);
            self.growing.background.push(background as f32);
        }
    }

    fn close(&mut self) {
        let done = std::mem::take(&mut self.growing);
        let (n_without, line) = (done.n_without, done.line);
        if !done.t_s.is_empty()
            && let Ok(pulse) = Pulse::new(done.t_s, done.total, done.background)
        {
            let (file, number) = (self.file.to_owned(), done.number);
            self.received.traces.push(ReceivedTrace { file, line, number, pulse, may_grow: false });
        }
        if n_without > 0 {
            let why = format!("{n_without} of its points lack a moment or an absorbance and were left out");
            self.received.aside.push((self.file.to_owned(), Aside { line, row: String::new(), why }));
        }
    }
}
