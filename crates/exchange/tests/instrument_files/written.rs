//! A run whose readings are known, written as an instrument with certain habits would.

use std::collections::BTreeMap;

use darkline_exchange::readings::{Came, ReadRow};
use darkline_metrology::kind::{Factor, Kind, MassConcentration};
use darkline_record::figure::{Uncertain, Written};
use darkline_record::pulse::Pulse;
use darkline_record::run::{Leg, Reading as RunReading, Row, RowHolds, Run, Signal};
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use crate::habits::Habit;

/// A reading as it was.
#[derive(Clone, Debug)]
pub struct Reading {
    pub row: u32,
    pub replicate: u8,
    /// Seconds since 1970.
    pub at: i64,
    /// Absorbance seconds; none where the instrument had none to write.
    pub response: Option<f64>,
}

/// What the instrument leaves behind.
pub struct File {
    pub bytes: Vec<u8>,
    pub mapping: String,
    pub day: Option<Date>,
    /// Names and bytes of the files of traces.
    pub traces: Vec<(String, Vec<u8>)>,
    pub expected: Vec<Reading>,
}

/// The row that a skipped cup leaves out.
pub const SKIPPED: u32 = 9;
const OVER: u32 = 10;
const REPLICATES: u8 = 2;

fn figure<K: Kind>(digits: &str, unit: &str) -> Uncertain<K> {
    Uncertain { value: Written::in_unit(digits, K::unit(unit).unwrap()).unwrap(), spread: None }
}

/// A run order of sixteen rows, and what each reading was.
pub fn bench() -> (Run, Vec<Reading>) {
    let standard = |amount: &str| RowHolds::Standard { amount: figure::<MassConcentration>(amount, "µg/L") };
    let portion = |n: usize, dilution: &str| RowHolds::Portion {
        batch: "B1".parse().unwrap(),
        portion: format!("P{n}").parse().unwrap(),
        dilution: figure::<Factor>(dilution, "1"),
    };
    let holds = [
        ("Cal blank", RowHolds::CalibrationBlank, 0.002),
        ("Std 5", standard("5"), 0.0509),
        ("Std 10", standard("10"), 0.1012),
        ("Std 20", standard("20"), 0.2018),
        ("Std 40", standard("40"), 0.4021),
        ("Check 20", RowHolds::Check { amount: figure("20", "µg/L") }, 0.2004),
        ("Gefäß 4 µ north", portion(1, "1"), 0.0733),
        ("007", portion(2, "1"), 0.0151),
        ("Well 12, upper", portion(3, "1"), 1.3114),
        ("Well 13 \"old\"", portion(4, "5"), 0.2509),
        ("Spring 1", portion(5, "1"), 0.0028),
        ("Spring 2", portion(6, "1"), 0.0405),
        ("Spring 3", portion(7, "2"), 0.1207),
        ("Spring 4", portion(8, "1"), 0.0911),
        ("Check 20", RowHolds::Check { amount: figure("20", "µg/L") }, 0.2011),
        ("Cal blank", RowHolds::CheckBlank, 0.0021),
    ];
    let mut rows = Vec::new();
    let mut readings = Vec::new();
    let begin = DateTime::constant(2026, 3, 4, 8, 55, 0, 0).to_timestamp();
    for (place, (name, holds, response)) in holds.into_iter().enumerate() {
        let number = u32::try_from(place + 1).unwrap();
        rows.push(Row { number, cup: Some(number), name: name.into(), holds, replicates: REPLICATES, follows: None });
        for replicate in 1..=REPLICATES {
            let step = i64::from((number - 1) * u32::from(REPLICATES) + u32::from(replicate) - 1);
            let response = response + f64::from(replicate - 1) * 0.0006;
            readings.push(Reading { row: number, replicate, at: begin + step * 131, response: Some(response) });
        }
    }
    let legs = vec![Leg { because: Vec::new(), rows }];
    let run = Run {
        id: "R1".parse().unwrap(),
        method: "pb".parse().unwrap(),
        instrument: "furnace-2".into(),
        lots: Vec::new(),
        legs,
        readings: Vec::new(),
    };
    (run, readings)
}

trait Civil {
    fn to_timestamp(self) -> i64;
}
impl Civil for DateTime {
    /// In the zone of the bench, an hour ahead of UTC.
    fn to_timestamp(self) -> i64 {
        let offset = jiff::tz::Offset::constant(1);
        TimeZone::fixed(offset).to_timestamp(self).unwrap().as_second()
    }
}

/// Writes the readings with the habits of an instrument.
pub fn write(run: &Run, readings: &[Reading], habits: &[Habit]) -> File {
    let has = |habit: Habit| habits.contains(&habit);
    let mut expected: Vec<Reading> = readings.to_vec();
    if has(Habit::SkippedCup) {
        expected.retain(|reading| reading.row != SKIPPED);
    }
    // The hour between two and three came twice on 25 October 2026.
    let zone = if has(Habit::HourTwice) {
        TimeZone::get("Europe/Vienna").unwrap()
    } else {
        TimeZone::fixed(jiff::tz::Offset::constant(1))
    };
    if has(Habit::HourTwice) {
        let begin =
            zone.to_ambiguous_timestamp(DateTime::constant(2026, 10, 25, 2, 20, 0, 0)).earlier().unwrap().as_second();
        let first = expected[0].at;
        for reading in &mut expected {
            reading.at += begin - first;
        }
    }
    if has(Habit::TimesAlone) {
        // Over midnight, where the clock starts again.
        let begin = DateTime::constant(2026, 3, 4, 23, 30, 0, 0).to_timestamp();
        let first = expected[0].at;
        for reading in &mut expected {
            reading.at += begin - first;
        }
    }
    if has(Habit::ReplicatesAsColumns) {
        // All replicates of a row have the time of the row.
        let times: Vec<i64> = expected.iter().map(|reading| reading.at).collect();
        for place in 0..expected.len() {
            let first = expected.iter().position(|reading| reading.row == expected[place].row).unwrap();
            expected[place].at = times[first];
        }
    }
    let has_traces = habits.iter().any(|habit| habit.has_traces());
    let fired: Vec<(usize, Reading)> =
        expected.iter().map(|reading| (place_of(readings, reading), reading.clone())).collect();
    let separator = if has(Habit::Tabs) {
        '\t'
    } else if has(Habit::DecimalComma) || has(Habit::ThousandsMarks) {
        ';'
    } else {
        ','
    };
    let mut heads: Vec<String> = ["Name", "Pos", "Rep", "Date", "Time"].map(str::to_owned).into();
    if has(Habit::ReplicatesAsColumns) {
        heads.retain(|head| head != "Rep");
    }
    if has(Habit::TimesAlone) {
        heads.retain(|head| head != "Date");
    }
    if has(Habit::BlankSubtracted) {
        heads.push("Blk".into());
    }
    if has_traces {
        heads.push("Firing".into());
    }
    if has(Habit::ReplicatesAsColumns) {
        heads.extend((1..=REPLICATES).map(|n| format!("Area {n}")));
    } else {
        heads.push("Area".into());
    }
    let mut lines: Vec<Vec<String>> = Vec::new();
    if has(Habit::Preamble) {
        lines.push(vec!["Trace metals, run of the day".into()]);
        lines.push(vec!["Gas".into(), "argon 1,5".into()]);
        lines.push(vec![String::new()]);
    }
    let damaged = |reading: &Reading| has(Habit::RowDamaged) && (reading.row, reading.replicate) == (OVER, 1);
    let elements: &[&str] = if has(Habit::BlocksOfElements) { &["Cd", "Pb", "Cu"] } else { &["Pb"] };
    for element in elements {
        if has(Habit::BlocksOfElements) {
            lines.push(vec![format!("Element: {element}")]);
        }
        lines.push(heads.clone());
        if has(Habit::UnitRow) {
            lines.push(
                heads.iter().map(|head| if head.starts_with("Area") { "mA·s".into() } else { String::new() }).collect(),
            );
        }
        for (place, reading) in expected.iter().enumerate() {
            if has(Habit::ReplicatesAsColumns) && reading.replicate > 1 {
                continue;
            }
            let together: Vec<&Reading> = match has(Habit::ReplicatesAsColumns) {
                true => expected.iter().filter(|other| other.row == reading.row).collect(),
                false => vec![reading],
            };
            let responses: Vec<String> =
                together.iter().map(|reading| response_cell(run, reading, &has, damaged(reading))).collect();
            let firing = crate::trace_files::number(place_of(readings, reading), &has);
            let cells = cells(run, reading, &heads, &responses, firing, &zone, &has);
            lines.push(cells.clone());
            if has(Habit::RowsDoubled) && place % 7 == 3 {
                lines.push(cells.clone());
            }
            let is_last = expected.get(place + 1).is_none_or(|next| next.row != reading.row);
            if has(Habit::MeanRows) && is_last {
                for word in ["Mean", "SD", "RSD"] {
                    let mut mean = cells.clone();
                    let at = |name: &str| heads.iter().position(|head| head == name);
                    mean[at("Rep").unwrap()] = word.into();
                    mean[at("Time").unwrap()] = String::new();
                    lines.push(mean);
                }
            }
        }
    }
    for reading in &mut expected {
        let is_over = has(Habit::OverRange) || has(Habit::Dashes);
        if is_over && reading.row == OVER {
            reading.response = None;
        }
    }
    let was_damaged: Vec<bool> = expected.iter().map(damaged).collect();
    let mut place = 0;
    expected.retain(|_| {
        place += 1;
        !was_damaged[place - 1]
    });
    let widths: Vec<usize> = (0..heads.len())
        .map(|n| {
            lines
                .iter()
                .filter(|line| line.len() > 2)
                .map(|line| line.get(n).map_or(0, |cell| cell.chars().count()))
                .max()
                .unwrap_or(0)
                + 2
        })
        .collect();
    let end = if has(Habit::OldLineEnds) { "\r" } else { "\r\n" };
    let mut text = String::new();
    for line in &lines {
        for (n, cell) in line.iter().enumerate() {
            if has(Habit::FixedColumns) {
                text.push_str(&format!("{cell:<width$}", width = widths[n]));
            } else {
                if n > 0 {
                    text.push(separator);
                }
                let needs_marks = cell.contains([separator, '"', '\n']);
                if needs_marks {
                    text.push_str(&format!("\"{}\"", cell.replace('"', "\"\"")))
                } else {
                    text.push_str(cell)
                }
            }
        }
        text.push_str(end);
    }
    let day = has(Habit::TimesAlone).then(|| Date::constant(2026, 3, 4));
    let mut mapping = mapping(&heads, &widths, separator, &has);
    let mut traces = Vec::new();
    if has_traces {
        let separator = if has(Habit::FixedColumns) { ';' } else { separator };
        mapping.push_str(&crate::trace_files::mapping(separator, &has));
        let files = crate::trace_files::write(&fired, separator, &has, &|text| number(text, &has));
        traces = files.into_iter().map(|(name, text)| (name, encoded(&text, &has))).collect();
    }
    File { bytes: encoded(&text, &has), mapping, day, traces, expected }
}

/// The place of a reading among all of the run.
fn place_of(readings: &[Reading], reading: &Reading) -> usize {
    readings.iter().position(|other| (other.row, other.replicate) == (reading.row, reading.replicate)).unwrap()
}

fn response_cell(run: &Run, reading: &Reading, has: &dyn Fn(Habit) -> bool, is_damaged: bool) -> String {
    if is_damaged {
        return "0.2§1".into();
    }
    if reading.row == OVER && has(Habit::OverRange) {
        return "OVER".into();
    }
    if reading.row == OVER && has(Habit::Dashes) {
        return "-----".into();
    }
    let mut response = reading.response.unwrap();
    if has(Habit::BlankSubtracted) {
        response -= 0.0019;
    }
    if has(Habit::DilutionMultiplied)
        && let RowHolds::Portion { dilution, .. } = &run.row(reading.row).unwrap().holds
    {
        response *= dilution.value.value().si();
    }
    let milli = has(Habit::Milliabsorbance) || has(Habit::ThousandsMarks);
    // Thousandths of thousandths, so that there are thousands to mark.
    let text = if milli { format!("{:.3}", response * 1000.0) } else { format!("{response:.4}") };
    let mut cell = number(&text, has);
    if has(Habit::Asterisk) && reading.row == 12 && reading.replicate == 2 {
        cell.push('*');
    }
    cell
}

fn number(text: &str, has: &dyn Fn(Habit) -> bool) -> String {
    let comma = has(Habit::DecimalComma);
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    let mut whole = whole.to_owned();
    if has(Habit::ThousandsMarks) && whole.len() > 3 {
        whole.insert(whole.len() - 3, if comma { '.' } else { '\'' });
    }
    format!("{whole}{}{decimals}", if comma { ',' } else { '.' })
}

fn cells(
    run: &Run,
    reading: &Reading,
    heads: &[String],
    responses: &[String],
    firing: u32,
    zone: &TimeZone,
    has: &dyn Fn(Habit) -> bool,
) -> Vec<String> {
    let row = run.row(reading.row).unwrap();
    let at = zone.to_datetime(jiff::Timestamp::from_second(reading.at).unwrap());
    let mut name = row.name.clone();
    if has(Habit::NamesCut) {
        name = name.chars().take(8).collect();
    }
    if has(Habit::ZerosLost) && name == "007" {
        name = "7".into();
    }
    if has(Habit::NamesQuoted) && name.starts_with("Spring 1") {
        name = "Spring\n1".into();
    }
    if has(Habit::FixedColumns) {
        name = name.replace('"', "");
    }
    // The tray was changed after twelve cups, and their numbers start again.
    let cup = if has(Habit::CupsAgain) && reading.row > 12 { reading.row - 12 } else { reading.row };
    let mut responses = responses.iter();
    heads
        .iter()
        .map(|head| match head.as_str() {
            "Name" => name.clone(),
            "Pos" => cup.to_string(),
            "Rep" => reading.replicate.to_string(),
            "Firing" => firing.to_string(),
            "Blk" => {
                number(if has(Habit::Milliabsorbance) || has(Habit::ThousandsMarks) { "1.900" } else { "0.0019" }, has)
            }
            "Date" if has(Habit::MonthFirst) => format!("{:02}/{:02}/{:02}", at.month(), at.day(), at.year() - 2000),
            "Date" => format!("{:02}.{:02}.{}", at.day(), at.month(), at.year()),
            "Time" if has(Habit::TwelveHours) => {
                let half = if at.hour() < 12 { "AM" } else { "PM" };
                format!("{}:{:02}:{:02} {half}", (at.hour() + 11) % 12 + 1, at.minute(), at.second())
            }
            "Time" => format!("{:02}:{:02}:{:02}", at.hour(), at.minute(), at.second()),
            _ => responses.next().unwrap().clone(),
        })
        .collect()
}

fn encoded(text: &str, has: &dyn Fn(Habit) -> bool) -> Vec<u8> {
    if has(Habit::Utf16) {
        return "\u{feff}"
            .chars()
            .chain(text.chars())
            .collect::<String>()
            .encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect();
    }
    let one = |c: char| -> u8 {
        match c {
            _ if c.is_ascii() => c as u8,
            'µ' if has(Habit::Ibm437) => 0xe6,
            'ä' if has(Habit::Ibm437) => 0x84,
            'ß' if has(Habit::Ibm437) => 0xe1,
            '·' if has(Habit::Ibm437) => 0xfa,
            '§' if has(Habit::Ibm437) => b'?',
            other => u8::try_from(u32::from(other)).unwrap(),
        }
    };
    if has(Habit::Ibm437) || has(Habit::Windows1252) {
        text.chars().map(one).collect()
    } else {
        text.as_bytes().to_vec()
    }
}

fn mapping(heads: &[String], widths: &[usize], separator: char, has: &dyn Fn(Habit) -> bool) -> String {
    let mut text = String::from("format = \"darkline/mapping/1\"\nid = \"furnace-2\"\n\n[file]\n");
    let page = match () {
        () if has(Habit::Windows1252) => "windows-1252",
        () if has(Habit::Ibm437) => "ibm-437",
        () if has(Habit::Utf16) => "utf-16",
        () => "utf-8",
    };
    text.push_str(&format!("code_page = \"{page}\"\n"));
    if has(Habit::FixedColumns) {
        let mut begin = 0;
        let places: Vec<String> = widths
            .iter()
            .map(|width| {
                begin += width;
                (begin - width).to_string()
            })
            .collect();
        text.push_str(&format!("columns_begin_at = [{}]\n", places.join(", ")));
    } else {
        let words = match separator {
            '\t' => "tab",
            ';' => "semicolon",
            _ => "comma",
        };
        text.push_str(&format!("separator = \"{words}\"\n"));
    }
    let comma = has(Habit::DecimalComma);
    text.push_str(&format!("decimal_sign = \"{}\"\n", if comma { "," } else { "." }));
    if has(Habit::ThousandsMarks) {
        text.push_str(&format!("thousands_mark = \"{}\"\n", if comma { "." } else { "'" }));
    }
    if has(Habit::UnitRow) {
        text.push_str("lines_below_head = 1\n");
    }
    text.push_str("\n[columns]\n");
    for (key, head) in [
        ("sample", "Name"),
        ("cup", "Pos"),
        ("replicate", "Rep"),
        ("date", "Date"),
        ("time", "Time"),
        ("blank", "Blk"),
        ("firing", "Firing"),
    ] {
        if heads.iter().any(|known| known == head) {
            text.push_str(&format!("{key} = \"{head}\"\n"));
        }
    }
    let areas: Vec<String> =
        heads.iter().filter(|head| head.starts_with("Area")).map(|head| format!("\"{head}\"")).collect();
    text.push_str(&format!("response = [{}]\n", areas.join(", ")));
    let unit = if has(Habit::Milliabsorbance) || has(Habit::ThousandsMarks) { "milliabsorbance" } else { "absorbance" };
    let is = match () {
        () if has(Habit::BlankSubtracted) => "less the blank",
        () if has(Habit::DilutionMultiplied) => "times the dilution",
        () => "as measured",
    };
    text.push_str(&format!("\n[response]\nkind = \"integrated absorbance\"\nunit = \"{unit}\"\nis = \"{is}\"\n"));
    let order = if has(Habit::MonthFirst) { "month day year" } else { "day month year" };
    let zone = if has(Habit::HourTwice) { "Europe/Vienna" } else { "+01:00" };
    text.push_str(&format!("\n[time]\ndate_order = \"{order}\"\nzone = \"{zone}\"\n"));
    text.push_str("\n[marks]\nover = [\"OVER\"]\nnothing = [\"-----\", \"#####\", \"n.a.\"]\nrejected = [\"*\"]\n");
    if has(Habit::MeanRows) {
        text.push_str("\n[[marks.no_reading]]\ncolumn = \"Rep\"\nis = [\"Mean\", \"SD\", \"RSD\"]\n");
    }
    text
}

/// Puts rows of bare responses into a run, as the record would.
pub fn into_run(run: &mut Run, rows: &[ReadRow]) {
    into_run_with(run, rows, &BTreeMap::new());
}

/// Puts rows into a run, as the record would.
pub fn into_run_with(run: &mut Run, rows: &[ReadRow], pulses: &BTreeMap<u32, Pulse>) {
    for row in rows {
        let number = u32::try_from(run.readings.len() + 1).unwrap();
        let signal = match &row.came {
            Came::Bare(response) => Signal::Bare(response.clone()),
            Came::Failed(why) => Signal::Failed { why: why.clone() },
            Came::Pulse(pulse) => Signal::Pulse(pulses[pulse].digest()),
        };
        let (row_number, replicate, attempt) = (row.row, row.replicate, row.attempt);
        let (at, printed) = (row.at.clone(), row.printed.clone());
        let mass = None;
        run.readings.push(RunReading { number, row: row_number, replicate, attempt, at, mass, printed, signal });
    }
}
