//! The column mapping of an instrument: `mapping.toml`, format `darkline/mapping/1`.
//!
//! It says how the instrument writes numbers and times, which column is what, and which rows are no readings. A laboratory keeps
//! one a instrument, and a person confirms it once.

use darkline_record::method::ResponseKind;
use jiff::tz::TimeZone;

use crate::document::section::{Entry, Section};
use crate::document::{self, Entered};
use crate::fault::Faults;
use crate::instrument_file::code_page::CodePage;
use crate::instrument_file::moment::{DateOrder, zone};
use crate::instrument_file::number::Writing;
use crate::instrument_file::parting::Separator;
use crate::instrument_file::trace_mapping::{TraceMapping, traces};

/// How to read the files of an instrument.
#[derive(Clone, Debug)]
pub struct Mapping {
    /// Its name, as the laboratory calls the instrument.
    pub id: String,
    /// How letters are written.
    pub code_page: CodePage,
    /// What stands between cells.
    pub separator: Separator,
    /// How numbers are written.
    pub writing: Writing,
    /// Lines below the head that hold units or a second head.
    pub lines_below_head: u32,
    /// Which column is what.
    pub columns: Columns,
    /// How a reading's response is written.
    pub response: ResponseMapping,
    /// How moments are written.
    pub time: TimeMapping,
    /// Which rows and cells are no readings.
    pub marks: Marks,
    /// Where the traces of its readings are; none where it leaves none.
    pub traces: Option<TraceMapping>,
}

/// Which column is what, by the name in its head.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Columns {
    /// The name of the solution.
    pub sample: Option<String>,
    /// The cup.
    pub cup: Option<String>,
    /// The replicate, counted from 1; counted in the order of the file where absent.
    pub replicate: Option<String>,
    /// Date and time in one cell.
    pub at: Option<String>,
    /// The date.
    pub date: Option<String>,
    /// The time of day.
    pub time: Option<String>,
    /// The element.
    pub element: Option<String>,
    /// The responses: one column, or one a replicate.
    pub responses: Vec<String>,
    /// The response of the blank that the instrument subtracted.
    pub blank: Option<String>,
    /// The number of the firing, by which its trace is found.
    pub firing: Option<String>,
}

/// How a reading's response is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ResponseMapping {
    /// What it is.
    pub kind: ResponseKind,
    /// Its unit.
    pub unit: ResponseUnit,
    /// What the instrument did with it.
    pub is: ResponseState,
}

/// The unit a response is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResponseUnit {
    /// Absorbance, or absorbance times seconds.
    Absorbance,
    /// A thousandth of it.
    Milliabsorbance,
    /// The part of the light that is absorbed, in per cent: A = −lg(1 − p/100).
    AbsorptionPercent,
}

impl ResponseUnit {
    /// All of them.
    pub const ALL: [ResponseUnit; 3] =
        [ResponseUnit::Absorbance, ResponseUnit::Milliabsorbance, ResponseUnit::AbsorptionPercent];
    /// The words in mappings.
    pub fn words(self) -> &'static str {
        match self {
            ResponseUnit::Absorbance => "absorbance",
            ResponseUnit::Milliabsorbance => "milliabsorbance",
            ResponseUnit::AbsorptionPercent => "% absorption",
        }
    }
}

/// What the instrument did with a response before it wrote it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResponseState {
    /// Nothing.
    AsMeasured,
    /// It subtracted a blank, whose response stands in a column: it is added again.
    BlankSubtracted,
    /// It multiplied by the dilution of the row: it is divided again, by the dilution of the run order.
    MultipliedByDilution,
}

impl ResponseState {
    /// All of them.
    pub const ALL: [ResponseState; 3] =
        [ResponseState::AsMeasured, ResponseState::BlankSubtracted, ResponseState::MultipliedByDilution];
    /// The words in mappings.
    pub fn words(self) -> &'static str {
        match self {
            ResponseState::AsMeasured => "as measured",
            ResponseState::BlankSubtracted => "less the blank",
            ResponseState::MultipliedByDilution => "times the dilution",
        }
    }
}

/// How moments are written.
#[derive(Clone, Debug)]
pub struct TimeMapping {
    /// The order of dates.
    pub order: DateOrder,
    /// The zone its clock is set to.
    pub zone: TimeZone,
    /// The zone as written.
    pub zone_written: String,
}

/// Which rows and cells are no readings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Marks {
    /// Rows left out: a cell of this column is one of these words.
    pub no_readings: Vec<(String, Vec<String>)>,
    /// A response above what the instrument can read.
    pub over: Vec<String>,
    /// No response.
    pub nothing: Vec<String>,
    /// A sign behind or before a response that the instrument rejected.
    pub rejected: Vec<String>,
}

/// Reads a mapping.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<Mapping, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads a mapping and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<Mapping>, Faults> {
    document::read(file_name, text, "mapping", v1)
}

fn v1(top: &Section<'_>) -> Option<Mapping> {
    let id = top.required("id", "\"furnace-2\"").and_then(|entry| entry.text());
    let file = top.section("file").and_then(|section| file(&section));
    let columns = top.section("columns").and_then(|section| columns(&section));
    let response = top.section("response").and_then(|section| response(&section));
    let time = top.section("time").and_then(|section| time(&section));
    let marks = match top.optional_section("marks", "[marks]") {
        Some(section) => marks(&section),
        None => Some(Marks::default()),
    };
    let traces = match top.optional_section("traces", "[traces]") {
        Some(section) => traces(&section).map(Some),
        None => Some(None),
    };
    top.close();
    let (code_page, separator, writing, lines_below_head) = file?;
    let (columns, response) = (columns?, response?);
    if response.is == ResponseState::BlankSubtracted && columns.blank.is_none() {
        top.sheet().fault(
            0..0,
            "responses less the blank need the column of the blank, so that it can be added again",
            "name it: blank = \"…\" below [columns], or let the instrument write responses as measured",
        );
        return None;
    }
    Some(Mapping {
        id: id?,
        code_page,
        separator,
        writing,
        lines_below_head,
        columns,
        response,
        time: time?,
        marks: marks?,
        traces: traces?,
    })
}

pub(super) fn file(section: &Section<'_>) -> Option<(CodePage, Separator, Writing, u32)> {
    let code_page = section
        .required("code_page", "\"utf-8\"")
        .and_then(|entry| entry.one_of("code page", &CodePage::ALL, CodePage::word));
    let sign = section.optional("separator").map(|entry| {
        let words = [',', ';', '\t', '|'];
        entry.one_of("separator", &words, Separator::words)
    });
    let widths = section.optional("columns_begin_at").map(|entry| {
        let places: Option<Vec<u32>> =
            entry.list("columns_begin_at = [0, 12, 20]")?.iter().map(|item| item.whole(0..=1000)).collect();
        let places = places?;
        if places.is_empty() || places.windows(2).any(|pair| pair[0] >= pair[1]) {
            entry
                .fault("these places do not grow", "write them from left to right, the first letter of a line being 0");
            return None;
        }
        Some(places.into_iter().map(|place| place as usize).collect())
    });
    let separator = match (sign, widths) {
        (Some(sign), None) => sign.map(Separator::Sign),
        (None, Some(widths)) => widths.map(Separator::Widths),
        (Some(_), Some(_)) => {
            section.sheet().fault(section.span(), "separator and columns_begin_at stand together", "keep one of them");
            None
        }
        (None, None) => {
            section.sheet().fault(
                section.span(),
                "nothing says what stands between cells",
                "write separator = \"semicolon\", or columns_begin_at = [0, 12, 20] where columns have a fixed width",
            );
            None
        }
    };
    let decimal = section.required("decimal_sign", "\",\"").and_then(|entry| sign_of(&entry, &['.', ',']));
    let thousands = section.optional("thousands_mark").map(|entry| sign_of(&entry, &['.', ',', ' ', '\'']));
    let below = section.optional("lines_below_head").map(|entry| entry.whole(0..=10));
    section.close();
    let (decimal, thousands) = (decimal?, transposed(thousands)?);
    if thousands == Some(decimal) {
        section.sheet().fault(section.span(), "decimal sign and mark of thousands are the same", "write two signs");
        return None;
    }
    Some((code_page?, separator?, Writing { decimal, thousands }, transposed(below)?.unwrap_or(0)))
}

fn sign_of(entry: &Entry<'_>, known: &[char]) -> Option<char> {
    let text = entry.text_or_bare("\",\"")?;
    let written = if text.is_empty() { " " } else { text.as_str() };
    let found = known.iter().copied().find(|sign| written == sign.to_string());
    if found.is_none() {
        let shown: Vec<String> = known.iter().map(|sign| format!("\"{sign}\"")).collect();
        entry.fault(format!("\"{text}\" is none of the signs that are known"), format!("write {}", shown.join(" or ")));
    }
    found
}

fn transposed<T>(found: Option<Option<T>>) -> Option<Option<T>> {
    match found {
        Some(Some(value)) => Some(Some(value)),
        Some(None) => None,
        None => Some(None),
    }
}

fn columns(section: &Section<'_>) -> Option<Columns> {
    let name = |key| section.optional(key).map(|entry| entry.text());
    let sample = name("sample");
    let cup = name("cup");
    let replicate = name("replicate");
    let at = name("at");
    let date = name("date");
    let time = name("time");
    let element = name("element");
    let blank = name("blank");
    let firing = name("firing");
    let responses =
        section.required("response", "\"Abs\"").and_then(|entry| texts(&entry, "response = [\"R1\", \"R2\"]"));
    let is_timed = at.is_some() || time.is_some();
    if !is_timed {
        section.sheet().fault(
            section.span(),
            "no column says when a reading was made",
            "name one: at = \"…\" where date and time stand in one cell, or date = \"…\" and time = \"…\"",
        );
    }
    if sample.is_none() && cup.is_none() {
        section.sheet().fault(
            section.span(),
            "no column says what was measured",
            "name sample = \"…\", cup = \"…\" or both",
        );
    }
    section.close();
    let columns = Columns {
        sample: transposed(sample)?,
        cup: transposed(cup)?,
        replicate: transposed(replicate)?,
        at: transposed(at)?,
        date: transposed(date)?,
        time: transposed(time)?,
        element: transposed(element)?,
        responses: responses?,
        blank: transposed(blank)?,
        firing: transposed(firing)?,
    };
    (is_timed && (columns.sample.is_some() || columns.cup.is_some())).then_some(columns)
}

/// A text or a list of texts.
fn texts(entry: &Entry<'_>, example: &str) -> Option<Vec<String>> {
    if entry.is_text() {
        return entry.text().map(|text| vec![text]);
    }
    let list: Option<Vec<String>> = entry.list(example)?.iter().map(Entry::text).collect();
    list.filter(|list| !list.is_empty())
}

fn response(section: &Section<'_>) -> Option<ResponseMapping> {
    let kind = section
        .required("kind", "\"integrated absorbance\"")
        .and_then(|entry| entry.one_of("kind of response", &ResponseKind::ALL, ResponseKind::words));
    let unit = section
        .required("unit", "\"absorbance\"")
        .and_then(|entry| entry.one_of("unit of a response", &ResponseUnit::ALL, ResponseUnit::words));
    let is = section
        .required("is", "\"as measured\"")
        .and_then(|entry| entry.one_of("state of a response", &ResponseState::ALL, ResponseState::words));
    section.close();
    let (kind, unit) = (kind?, unit?);
    if unit == ResponseUnit::AbsorptionPercent && kind == ResponseKind::IntegratedAbsorbance {
        section.sheet().fault(
            section.span(),
            "an integrated absorbance cannot be written as per cent of the light absorbed",
            "look what the column holds; only a steady or peak reading is written so",
        );
        return None;
    }
    Some(ResponseMapping { kind, unit, is: is? })
}

fn time(section: &Section<'_>) -> Option<TimeMapping> {
    let order = section
        .required("date_order", "\"day month year\"")
        .and_then(|entry| entry.one_of("order of a date", &DateOrder::ALL, DateOrder::words));
    let zone = section.required("zone", "\"Europe/Vienna\"").and_then(|entry| {
        let written = entry.text()?;
        match zone(&written) {
            Ok(zone) => Some((zone, written)),
            Err(told) => {
                entry.told(&told);
                None
            }
        }
    });
    section.close();
    let (zone, zone_written) = zone?;
    Some(TimeMapping { order: order?, zone, zone_written })
}

fn marks(section: &Section<'_>) -> Option<Marks> {
    let list = |key| match section.optional(key) {
        Some(entry) => texts(&entry, "[\"…\"]"),
        None => Some(Vec::new()),
    };
    let (over, nothing, rejected) = (list("over"), list("nothing"), list("rejected"));
    let mut no_readings = Vec::new();
    let mut is_whole = true;
    for row in section.sections("no_reading", "[[marks.no_reading]]") {
        let column = row.required("column", "\"Rep\"").and_then(|entry| entry.text());
        let words = row.required("is", "[\"Mean\", \"SD\"]").and_then(|entry| texts(&entry, "is = [\"Mean\", \"SD\"]"));
        row.close();
        match column.zip(words) {
            Some(row) => no_readings.push(row),
            None => is_whole = false,
        }
    }
    section.close();
    let marks = Marks { no_readings, over: over?, nothing: nothing?, rejected: rejected? };
    is_whole.then_some(marks)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: &str = "\
format = \"darkline/mapping/1\"
id = \"furnace-2\"

[file]
code_page = \"windows-1252\"
separator = \"semicolon\"
decimal_sign = \",\"
thousands_mark = \".\"
lines_below_head = 1

[columns]
sample = \"Name\"
cup = \"Pos\"
replicate = \"Rep\"
date = \"Date\"
time = \"Time\"
response = \"Area\"

[response]
kind = \"integrated absorbance\"
unit = \"milliabsorbance\"
is = \"as measured\"

[time]
date_order = \"day month year\"
zone = \"Europe/Vienna\"

[marks]
over = [\"over\"]
nothing = [\"-----\", \"n.a.\"]
rejected = [\"*\"]

[[marks.no_reading]]
column = \"Rep\"
is = [\"Mean\", \"SD\"]
";

    #[test]
    fn a_mapping_is_read() {
        let mapping = read("furnace-2.toml", SOUND).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(mapping.separator, Separator::Sign(';'));
        assert_eq!(mapping.writing, Writing { decimal: ',', thousands: Some('.') });
        assert_eq!(mapping.columns.responses, ["Area"]);
        assert_eq!(mapping.response.unit, ResponseUnit::Milliabsorbance);
        assert_eq!(mapping.marks.no_readings, [("Rep".to_owned(), vec!["Mean".to_owned(), "SD".into()])]);
    }

    #[test]
    fn what_is_missing_or_contradicts_itself_is_told() {
        let told = |from: &str, to: &str| read("m.toml", &SOUND.replace(from, to)).unwrap_err().to_string();
        assert!(told("decimal_sign = \",\"\n", "").contains("decimal_sign"));
        assert!(told("thousands_mark = \".\"", "thousands_mark = \",\"").contains("are the same"));
        assert!(told("sample = \"Name\"\ncup = \"Pos\"\n", "").contains("no column says what was measured"));
        assert!(told("date = \"Date\"\ntime = \"Time\"\n", "").contains("no column says when"));
        assert!(told("\"as measured\"", "\"less the blank\"").contains("need the column of the blank"));
        assert!(told("\"milliabsorbance\"", "\"% absorption\"").contains("per cent of the light"));
        assert!(told("Europe/Vienna", "Europe/Wien").contains("is no time zone"));
        assert!(told("separator = \"semicolon\"\n", "").contains("nothing says what stands between cells"));
        assert!(told("\"windows-1252\"", "\"latin\"").contains("code page"));
        assert!(told("[marks]", "[marks]\ncolour = 1").contains("colour"));
    }
}
