//! `readings.csv`: what the instrument gave, row by row.
//!
//! Columns in any order: `row`, `replicate`, `at`; `attempt` where a replicate was measured again; one of `absorbance`,
//! `peak_absorbance`, `integrated_absorbance_s` and `pulse` (the number of the reading in a file of pulses); `failed` with the
//! reason, where nothing came; `mass_mg` where portions are weighed into the tube; `printed_…`, such as
//! `printed_integrated_absorbance_s`, the response that the instrument printed beside a pulse. Where a line has a printed response
//! and no pulse, the printed one counts.
//!
//! Invariant: what [`write`] writes reads back as the same rows.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Kind, Mass, Response, Unit};
use darkline_record::decision::Reason;
use darkline_record::figure::Written;
use darkline_record::method::{ResponseKind, ResponsePlan};
use darkline_record::run::{Reading, RowHolds, Run, Signal};
use darkline_record::time::Timestamp;

use crate::decimal_sign::{self, DecimalSign};
use crate::fault::Faults;
use crate::json_lines;
use crate::separated::{Column, Line, Table};
use crate::sheet::{Sheet, ShowsLines};

/// One line of a table of readings; whoever takes it in gives the reading its number.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadRow {
    /// The line it stands on.
    pub line: usize,
    /// The row of the run.
    pub row: u32,
    /// Which replicate of the row, from 1.
    pub replicate: u8,
    /// Which attempt at this replicate, from 1.
    pub attempt: u8,
    /// When.
    pub at: Timestamp,
    /// The mass of the portion weighed into the tube.
    pub mass: Option<Written<Mass>>,
    /// What came.
    pub came: Came,
    /// The response that the instrument printed beside a pulse.
    pub printed: Option<Written<Response>>,
}

/// What a reading brought.
#[derive(Clone, Debug, PartialEq)]
pub enum Came {
    /// A response without a trace.
    Bare(Written<Response>),
    /// A pulse: its number in the file of pulses.
    Pulse(u32),
    /// Nothing that can be used.
    Failed(Reason),
}

/// The name of the column of a kind of response.
pub fn column_of(kind: ResponseKind) -> &'static str {
    match kind {
        ResponseKind::Absorbance => "absorbance",
        ResponseKind::PeakAbsorbance => "peak_absorbance",
        ResponseKind::IntegratedAbsorbance => "integrated_absorbance_s",
    }
}

/// The name of the column of what the instrument printed beside a pulse.
fn printed_column_of(kind: ResponseKind) -> &'static str {
    match kind {
        ResponseKind::Absorbance => "printed_absorbance",
        ResponseKind::PeakAbsorbance => "printed_peak_absorbance",
        ResponseKind::IntegratedAbsorbance => "printed_integrated_absorbance_s",
    }
}

/// Reads a table of readings, or the same as JSON Lines: an object a line, its keys the names of the columns.
///
/// # Arguments
/// * `run`: the run they belong to, with the readings it has already.
/// * `plan`: what the method reads off a reading.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str, run: &Run, plan: &ResponsePlan) -> Result<Vec<ReadRow>, Faults> {
    if !json_lines::is(text) {
        return read_table(file_name, text, run, plan);
    }
    let turned = json_lines::as_table(file_name, text)?;
    match read_table(file_name, &turned.table, run, plan) {
        Ok(rows) => Ok(rows.into_iter().map(|row| ReadRow { line: turned.line(row.line), ..row }).collect()),
        Err(faults) => {
            let back = faults.listed().iter().map(|fault| turned.back(fault)).collect();
            Err(Faults::new(back).unwrap_or(faults))
        }
    }
}

fn read_table(file_name: &str, text: &str, run: &Run, plan: &ResponsePlan) -> Result<Vec<ReadRow>, Faults> {
    let sheet = Sheet::open(file_name, text, ShowsLines::No)?;
    let rows = rows(&sheet, run, plan);
    sheet.close(rows)
}

struct Columns<'a> {
    row: Option<Column>,
    replicate: Option<Column>,
    attempt: Option<Column>,
    at: Option<Column>,
    response: Option<Column>,
    pulse: Option<Column>,
    failed: Option<Column>,
    mass: Option<(Column, Unit<Mass>)>,
    printed: Option<Column>,
    unit: Unit<Response>,
    sheet: &'a Sheet<'a>,
}

fn columns<'a>(sheet: &'a Sheet<'a>, table: &Table<'a>, plan: &ResponsePlan) -> Option<Columns<'a>> {
    let responses = ResponseKind::ALL.map(|kind| (kind, table.optional(column_of(kind))));
    let pulse = table.optional("pulse");
    let own = responses.iter().find(|(kind, _)| *kind == plan.kind).and_then(|(_, column)| *column);
    let wanted = column_of(plan.kind);
    let mut is_one = true;
    for (kind, column) in responses {
        let Some(column) = column else { continue };
        if kind != plan.kind {
            sheet.fault(
                table.name_span(column),
                format!("{} stands where {} is wanted", kind.words(), plan.kind.words()),
                format!("the method reads {}; its column is \"{wanted}\"", plan.kind.words()),
            );
            is_one = false;
        } else if pulse.is_some() {
            sheet.fault(
                table.name_span(column),
                "responses and pulses stand in one table",
                "keep one of the two columns",
            );
            is_one = false;
        }
    }
    if let Some(pulse) = pulse
        && plan.window.is_none()
    {
        sheet.fault(
            table.name_span(pulse),
            "the method does not say which part of a pulse is read",
            "write baseline and integration into its part [response]",
        );
    }
    if own.is_none() && pulse.is_none() && is_one {
        sheet.fault(
            table.head_span(),
            format!("there is no column \"{wanted}\""),
            format!("name the column of the responses {wanted}, or that of the pulses pulse"),
        );
    }
    let columns = Columns {
        row: table.required("row"),
        replicate: table.required("replicate"),
        attempt: table.optional("attempt"),
        at: table.required("at"),
        response: own,
        pulse,
        failed: table.optional("failed"),
        mass: table.optional("mass_mg").zip(Mass::unit("mg")),
        printed: pulse.and_then(|_| table.optional(printed_column_of(plan.kind))),
        unit: Response::unit(plan.kind.unit_symbol())?,
        sheet,
    };
    table.close_head();
    Some(columns)
}

fn rows(sheet: &Sheet<'_>, run: &Run, plan: &ResponsePlan) -> Option<Vec<ReadRow>> {
    let table = Table::open(sheet);
    let columns = columns(sheet, &table, plan)?;
    if table.n_lines() == 0 {
        sheet.fault(table.head_span(), "no reading stands below the head", "write a line for each reading");
    }
    let mut seen: BTreeMap<(u32, u8, u8), usize> = BTreeMap::new();
    let mut pulses: BTreeMap<u32, usize> = BTreeMap::new();
    let (mut rows, mut is_whole) = (Vec::new(), true);
    for line in table.lines() {
        let Some(row) = columns.read(&line, run) else {
            is_whole = false;
            continue;
        };
        let place = line.span(columns.replicate);
        if let Some(before) = seen.insert((row.row, row.replicate, row.attempt), row.line) {
            sheet.fault(
                place,
                format!("replicate {} of row {} is already on line {before}", row.replicate, row.row),
                format!("where it was measured again, write attempt {}", u32::from(row.attempt) + 1),
            );
        } else if let Some(before) = run
            .readings
            .iter()
            .find(|reading| (reading.row, reading.replicate, reading.attempt) == (row.row, row.replicate, row.attempt))
        {
            sheet.fault(
                place,
                format!(
                    "replicate {} of row {} is already in the run, as reading {}",
                    row.replicate, row.row, before.number
                ),
                format!("where it was measured again, write attempt {}", u32::from(row.attempt) + 1),
            );
        }
        if let Came::Pulse(number) = row.came
            && let Some(before) = pulses.insert(number, row.line)
        {
            sheet.fault(
                line.span(columns.pulse),
                format!("pulse {number} is already on line {before}"),
                "name each pulse once",
            );
        }
        rows.push(row);
    }
    if is_a_file_of_zeros(&rows, run) {
        let place = table.lines().next().map_or(0..0, |line| line.span(columns.response));
        sheet.fault(
            place,
            "every response of this file is exactly zero",
            "look whether the instrument was reading; fetch the file again",
        );
    }
    is_whole.then_some(rows)
}

/// A blank may read zero, and so may one reading; not all of them.
fn is_a_file_of_zeros(rows: &[ReadRow], run: &Run) -> bool {
    let mut responses = rows.iter().filter_map(|row| match &row.came {
        Came::Bare(response) => Some((row.row, response.value().si())),
        _ => None,
    });
    let is_blank = |number: u32| {
        matches!(run.row(number).map(|row| &row.holds), Some(RowHolds::CalibrationBlank | RowHolds::CheckBlank))
    };
    responses.clone().filter(|&(row, _)| !is_blank(row)).count() >= 2 && responses.all(|(_, response)| response == 0.0)
}

impl Columns<'_> {
    fn read(&self, line: &Line<'_>, run: &Run) -> Option<ReadRow> {
        let cell = line.text(self.row, "number of the row");
        let row = cell.and_then(|cell| {
            let row = line.whole(cell, 1..=u32::MAX, "row")?;
            if run.row(row).is_none() {
                self.sheet.fault(
                    cell.span.clone(),
                    format!("row {row} is not in run {}", run.id),
                    format!("the run has {}", rows_of(run)),
                );
                return None;
            }
            Some(row)
        });
        let replicate = line.text(self.replicate, "number of the replicate");
        let replicate =
            replicate.and_then(|cell| line.whole(cell, 1..=255, "replicate")).and_then(|n| u8::try_from(n).ok());
        let attempt = match line.cell(self.attempt) {
            Some(cell) => line.whole(cell, 1..=255, "attempt").and_then(|n| u8::try_from(n).ok()),
            None => Some(1),
        };
        let at = line.text(self.at, "time").and_then(|cell| line.parsed(cell));
        let mass = match self.mass.and_then(|(column, unit)| Some((line.cell(Some(column))?, unit))) {
            Some((cell, unit)) => {
                let mass = line.number(cell, unit)?;
                match mass.positive() {
                    Ok(mass) => Some(Some(mass)),
                    Err(fault) => {
                        self.sheet.fault(
                            cell.span.clone(),
                            fault.to_string(),
                            "write the mass of the portion in mg; a reading without one has an empty cell",
                        );
                        None
                    }
                }
            }
            None => Some(None),
        };
        let printed = match self.printed.and_then(|column| line.cell(Some(column))) {
            Some(cell) => Some(line.number(cell, self.unit)?),
            None => None,
        };
        let came = match (line.cell(self.pulse), line.cell(self.failed), &printed) {
            (None, None, Some(printed)) => Some(Came::Bare(printed.clone())),
            _ => self.came(line),
        };
        let printed = printed.filter(|_| matches!(came, Some(Came::Pulse(_))));
        let number = self.sheet.line_of(line.span(self.row).start);
        Some(ReadRow {
            line: number,
            row: row?,
            replicate: replicate?,
            attempt: attempt?,
            at: at?,
            mass: mass?,
            came: came?,
            printed,
        })
    }

    fn came(&self, line: &Line<'_>) -> Option<Came> {
        let value = self.response.or(self.pulse);
        let (cell, failed) = (line.cell(value), line.cell(self.failed));
        match (cell, failed) {
            (Some(cell), Some(_)) => {
                self.sheet.fault(
                    cell.span.clone(),
                    "a reading that failed has a response",
                    "leave the response empty, or take the reason away",
                );
                None
            }
            (None, Some(failed)) => {
                let reason = Reason::new(&failed.text);
                if reason.is_none() {
                    self.sheet.fault(
                        failed.span.clone(),
                        "the reason is longer than 500 characters",
                        "say it in fewer words",
                    );
                }
                reason.map(Came::Failed)
            }
            (None, None) => {
                if value.is_some() {
                    self.sheet.fault(
                        line.span(value),
                        "neither a response nor a reason stands here",
                        "write the response, or into column \"failed\" why there is none",
                    );
                }
                None
            }
            (Some(cell), None) if self.response.is_none() => line.whole(cell, 0..=u32::MAX, "pulse").map(Came::Pulse),
            (Some(cell), None) => line.number(cell, self.unit).map(Came::Bare),
        }
    }
}

fn rows_of(run: &Run) -> String {
    let numbers: Vec<u32> = run.rows().map(|row| row.number).collect();
    match (numbers.iter().min(), numbers.iter().max()) {
        (Some(lowest), Some(highest)) => format!("rows {lowest} to {highest}"),
        _ => "no rows".into(),
    }
}

/// The digits of a mass in mg.
fn in_mg(mass: &Written<Mass>) -> String {
    match mass.unit().symbol() {
        "mg" => mass.digits().to_owned(),
        _ => Mass::unit("mg").map_or_else(String::new, |unit| unit.read(mass.value()).to_string()),
    }
}

/// Writes readings as a table.
///
/// # Arguments
/// * `kind`: what the method reads; rows with pulses get the column `pulse` in its place, and bare responses among them that
///   of printed ones.
pub fn write(rows: &[ReadRow], kind: ResponseKind) -> String {
    write_in(rows, kind, DecimalSign::Point)
}

/// Writes readings as a table in the decimal sign of the place; it reads back as the same rows.
pub fn write_in(rows: &[ReadRow], kind: ResponseKind, sign: DecimalSign) -> String {
    let (head, lines) = cells(rows, kind);
    decimal_sign::write(&head, &lines, sign)
}

/// Writes readings as JSON Lines; they read back as the same rows.
pub fn write_json_lines(rows: &[ReadRow], kind: ResponseKind) -> String {
    let (head, lines) = cells(rows, kind);
    json_lines::write(&head, &lines, |key| !matches!(key, "at" | "failed"))
}

/// The readings of a run as rows of a table; a pulse has the number of its reading.
pub fn of_run(run: &Run) -> Vec<ReadRow> {
    let row = |reading: &Reading| ReadRow {
        line: 0,
        row: reading.row,
        replicate: reading.replicate,
        attempt: reading.attempt,
        at: reading.at.clone(),
        mass: reading.mass.clone(),
        came: match &reading.signal {
            Signal::Pulse(_) => Came::Pulse(reading.number),
            Signal::Bare(response) => Came::Bare(response.clone()),
            Signal::Failed { why } => Came::Failed(why.clone()),
        },
        printed: reading.printed.clone(),
    };
    run.readings.iter().map(row).collect()
}

/// The cells of a table and its head.
fn cells(rows: &[ReadRow], kind: ResponseKind) -> (Vec<String>, Vec<Vec<String>>) {
    let has = |wanted: fn(&Came) -> bool| rows.iter().any(|row| wanted(&row.came));
    let has_attempts = rows.iter().any(|row| row.attempt != 1);
    let has_failed = has(|came| matches!(came, Came::Failed(_)));
    let has_pulses = has(|came| matches!(came, Came::Pulse(_)));
    let value = if has_pulses { "pulse" } else { column_of(kind) };
    let has_bare = has(|came| matches!(came, Came::Bare(_)));
    let has_printed = has_pulses && (has_bare || rows.iter().any(|row| row.printed.is_some()));
    let mut head = vec!["row".to_owned(), "replicate".into()];
    head.extend(has_attempts.then(|| "attempt".to_owned()));
    let has_mass = rows.iter().any(|row| row.mass.is_some());
    head.push("at".to_owned());
    head.extend(has_mass.then(|| "mass_mg".to_owned()));
    head.push(value.to_owned());
    head.extend(has_printed.then(|| printed_column_of(kind).to_owned()));
    head.extend(has_failed.then(|| "failed".to_owned()));
    let mut lines = Vec::new();
    for row in rows {
        let mut cells = vec![row.row.to_string(), row.replicate.to_string()];
        cells.extend(has_attempts.then(|| row.attempt.to_string()));
        cells.push(row.at.to_string());
        if has_mass {
            cells.push(row.mass.as_ref().map(in_mg).unwrap_or_default());
        }
        let printed = row.printed.as_ref().map_or_else(String::new, |printed| printed.digits().to_owned());
        let (value, printed, failed) = match &row.came {
            Came::Bare(response) if has_pulses => (String::new(), response.digits().to_owned(), String::new()),
            Came::Bare(response) => (response.digits().to_owned(), String::new(), String::new()),
            Came::Pulse(number) => (number.to_string(), printed, String::new()),
            Came::Failed(reason) => (String::new(), String::new(), reason.to_string()),
        };
        cells.push(value);
        cells.extend(has_printed.then_some(printed));
        cells.extend(has_failed.then_some(failed));
        lines.push(cells);
    }
    (head, lines)
}
