//! `darkline import`: a table of readings with its pulses, or an instrument's own file, is taken into the record.

use std::path::Path;

use darkline_audit_trail::PersonId;
use darkline_audit_trail::keys::SigningKey;
use darkline_exchange::instrument_file::mapping::{self, Mapping};
use darkline_exchange::instrument_file::received::Aside;
use darkline_exchange::instrument_file::taking::{GrowingTrace, Taken, Told, Traces, WithoutTrace};
use darkline_exchange::instrument_file::trace_mapping::TraceMapping;
use darkline_exchange::instrument_file::traces::{self, ReceivedTraces};
use darkline_exchange::instrument_file::{proposal, trace_folder};
use darkline_exchange::{pulses, text_file};
use darkline_laboratory::Imported;
use darkline_laboratory::act::Attached;
use darkline_record::identity::{OrderId, RunId};
use serde::Serialize;

use super::{count, order, put_out, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Import};
use crate::ending::{Ending, Failure};
use crate::progress::Progress;
use crate::table::Table;
use crate::talk;

/// Largest file of pulses read.
const LARGEST: u64 = 4 << 30;

/// A file of pulses above this takes long enough that a person wonders.
const WORTH_A_WORD: usize = 20_000_000;

#[derive(Serialize)]
struct ImportedLine {
    schema: &'static str,
    order: String,
    run: String,
    entry: Option<u64>,
    readings: usize,
    pulses: usize,
    left_out: usize,
}

impl ImportedLine {
    fn of(order: &OrderId, imported: &Imported) -> Self {
        Self {
            schema: "darkline/import/1",
            order: order.to_string(),
            run: imported.run.to_string(),
            entry: imported.entry,
            readings: imported.n_readings,
            pulses: imported.n_pulses,
            left_out: imported.n_left_out,
        }
    }
}

#[derive(Serialize)]
struct MappedLine {
    #[serde(flatten)]
    imported: ImportedLine,
    known: usize,
    no_readings: usize,
    other_elements: usize,
    aside: Vec<AsideLine>,
    doubtful: Vec<DoubtfulLine>,
    waiting: Vec<AsideLine>,
    skipped_rows: Vec<u32>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct AsideLine {
    line: usize,
    row: String,
    why: String,
}

#[derive(Serialize)]
struct DoubtfulLine {
    line: usize,
    row: String,
    may_be_row: u32,
    why: String,
}

pub fn run(everywhere: &Everywhere, options: &Import) -> Result<Ending, Failure> {
    if let Some(path) = &options.propose {
        return propose(everywhere, path, options);
    }
    let (Some(order_text), Some(table)) = (&options.order, &options.table) else {
        return Err(Failure::told("an order and a table of readings are wanted"));
    };
    let order = order(order_text)?;
    let device = match &options.device_key {
        Some(file) => Some(SigningKey::read_device_file(file).map_err(Failure::told)?),
        None => None,
    };
    let by = if device.is_some() { None } else { Some(bench::person(everywhere)?) };
    let run = run_id(options.run.as_deref())?;
    let file_name = table.file_name().map_or_else(|| "readings".into(), |name| name.to_string_lossy().into_owned());
    if let (Some(mapping), Some(by)) = (&options.mapping, &by) {
        return import_mapped(everywhere, by, &order, run.as_ref(), table, &file_name, mapping, options);
    }
    let text = text_file::read(table)?;
    let beside = table.with_extension("parquet");
    let path = options.pulses.clone().or_else(|| beside.is_file().then_some(beside));
    let brought = match &path {
        Some(path) => {
            let name = path.display().to_string();
            let bytes = text_file::read_bytes(path, &name, LARGEST)?;
            if bytes.len() > WORTH_A_WORD {
                talk::tell(&format!("reading {name}, {} MB", bytes.len() / 1_000_000));
            }
            Some((name.clone(), pulses::read(&name, bytes)?))
        }
        None => None,
    };
    let mut laboratory = bench::write(everywhere)?;
    let table = Attached { file_name: file_name.clone(), text };
    let pulses = brought.as_ref().map(|(name, pulses)| (name.as_str(), pulses));
    let mut progress = Progress::new("pulses", pulses.map_or(0, |(_, pulses)| pulses.len()));
    let (run, told) = (run.as_ref(), &mut |n| progress.done(n));
    let (by, imported) = match (&device, by) {
        (None, Some(by)) => {
            let imported = laboratory.import(&by, &order, run, table, pulses, told)?;
            (by, imported)
        }
        (Some(key), _) => laboratory.import_by_device(key, &order, run, table, pulses, told)?,
        (None, None) => return Err(Failure::told("nobody is named for this act")),
    };
    drop(progress);
    if everywhere.json {
        talk::print_json(&ImportedLine::of(&order, &imported))?;
    }
    match (imported.entry, imported.numbers) {
        (Some(entry), Some((first, last))) => {
            let pulses =
                if imported.n_pulses > 0 { format!(", {}", count(imported.n_pulses, "pulse")) } else { String::new() };
            talk::tell(&format!(
                "entry {entry}: {}{pulses} of run {} imported by {by} as {first} to {last}.",
                count(imported.n_readings, "reading"),
                imported.run
            ));
            if imported.n_left_out > 0 {
                let pulses = count(imported.n_left_out, "pulse");
                talk::tell(&format!("{pulses} of the file of pulses are named by no line and were left out"));
            }
        }
        _ => talk::tell(&format!("{file_name} is in the record already, word for word; nothing was appended")),
    }
    talk::tell(&format!("Next: darkline evaluate {order}"));
    Ok(Ending::Done)
}

fn propose(everywhere: &Everywhere, path: &Path, options: &Import) -> Result<Ending, Failure> {
    let name = path.file_name().map_or_else(|| "file".into(), |name| name.to_string_lossy().into_owned());
    let bytes = text_file::read_bytes(path, &path.display().to_string(), text_file::LARGEST)?;
    let instrument = options.instrument.clone().unwrap_or_else(|| "instrument-1".into());
    let draft = proposal::propose(&name, &bytes, &instrument)?;
    match &options.output {
        Some(output) => {
            put_out(output, &draft)?;
            let open = draft.lines().filter(|line| is_open(line)).count();
            if everywhere.json {
                talk::print_json(&serde_json::json!({
                    "schema": "darkline/proposal/1", "mapping": output, "left_open": open,
                }))?;
            }
            talk::tell(&format!(
                "{} written. Look at each line; {} left open and wait for you.",
                output.display(),
                if open == 1 { "1 is".into() } else { format!("{open} are") }
            ));
        }
        None => talk::print(&draft)?,
    }
    Ok(Ending::Done)
}

/// Whether a line of a draft is a key that is commented out.
fn is_open(line: &str) -> bool {
    let key = line.strip_prefix("# ").and_then(|rest| rest.split_once(" = ")).map(|(key, _)| key);
    key.is_some_and(|key| !key.is_empty() && key.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_'))
}

#[allow(clippy::too_many_arguments, reason = "each is one thing a person gives")]
fn import_mapped(
    everywhere: &Everywhere,
    by: &PersonId,
    order: &OrderId,
    run: Option<&RunId>,
    table: &Path,
    file_name: &str,
    mapping: &Path,
    options: &Import,
) -> Result<Ending, Failure> {
    let bytes = text_file::read_bytes(table, &table.display().to_string(), text_file::LARGEST)?;
    let mapping_name = mapping.file_name().map_or_else(|| "mapping".into(), |name| name.to_string_lossy().into_owned());
    let mapping_path = mapping.display().to_string();
    let mapping = Attached { file_name: mapping_name, text: text_file::read(mapping)? };
    let mapped = mapping::read(&mapping_path, &mapping.text)?;
    let received = match &mapped.traces {
        Some(of_traces) => Some(received_traces(table, of_traces, &mapped, options)?),
        None if options.traces.is_empty() => None,
        None => {
            let hint = "write its part [traces]: which files they are, and how they are written";
            return Err(Failure::with_hint(format!("{mapping_path} tells nothing of traces"), hint));
        }
    };
    let traces = received.as_ref().map(|received| Traces {
        received,
        without: if options.without_traces { WithoutTrace::PrintedCounts } else { WithoutTrace::Waits },
        growing: GrowingTrace::Taken,
    });
    let told = Told { day: options.day, rows: options.rows.iter().copied().collect() };
    let mut laboratory = bench::write(everywhere)?;
    let (imported, taken) =
        laboratory.import_instrument_file(by, order, run, (file_name, &bytes), mapping, &told, traces.as_ref())?;
    if everywhere.json {
        talk::print_json(&mapped_line(order, &imported, &taken))?;
    }
    match (imported.entry, imported.numbers) {
        (Some(entry), Some((first, last))) => {
            let pulses = match imported.n_pulses {
                0 => String::new(),
                n => format!(", {}", count(n, "pulse")),
            };
            talk::tell(&format!(
                "entry {entry}: {}{pulses} of run {} imported by {by} as {first} to {last}.",
                count(imported.n_readings, "reading"),
                imported.run
            ));
        }
        _ => talk::tell(&format!("{file_name} brings no new reading; nothing was appended")),
    }
    if !everywhere.json {
        talk::print(&told_of(file_name, &taken))?;
    }
    talk::tell(&format!("Next: darkline evaluate {order}"));
    Ok(if taken.doubtful.is_empty() && taken.waiting.is_empty() { Ending::Done } else { Ending::Stopped })
}

/// The traces beside a table, or where a person says they are.
fn received_traces(
    table: &Path,
    of_traces: &TraceMapping,
    mapped: &Mapping,
    options: &Import,
) -> Result<ReceivedTraces, Failure> {
    let beside = table.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let places = if options.traces.is_empty() { vec![beside.to_owned()] } else { options.traces.clone() };
    let mut files = Vec::new();
    for path in trace_folder::files(&places, of_traces)? {
        let shown = trace_folder::shown(&path, Some(beside));
        files.push((shown, text_file::read_bytes(&path, &path.display().to_string(), text_file::LARGEST)?));
    }
    Ok(traces::read(&files, mapped))
}

fn mapped_line(order: &OrderId, imported: &Imported, taken: &Taken) -> MappedLine {
    let line = |aside: &Aside| AsideLine { line: aside.line, row: aside.row.clone(), why: aside.why.clone() };
    let doubtful = taken.doubtful.iter().map(|(aside, row)| DoubtfulLine {
        line: aside.line,
        row: aside.row.clone(),
        may_be_row: *row,
        why: aside.why.clone(),
    });
    MappedLine {
        imported: ImportedLine::of(order, imported),
        known: taken.n_known,
        no_readings: taken.n_no_readings,
        other_elements: taken.n_other_elements,
        aside: taken.aside.iter().map(line).collect(),
        doubtful: doubtful.collect(),
        waiting: taken.waiting.iter().map(line).collect(),
        skipped_rows: taken.skipped.clone(),
        notes: taken.notes.clone(),
    }
}

/// What became of the rows that are no new readings.
fn told_of(file_name: &str, taken: &Taken) -> String {
    let mut text = String::new();
    let mut counted = Vec::new();
    for (n, one, many) in [
        (taken.n_known, "reading is in the run already", "readings are in the run already"),
        (taken.n_no_readings, "row is no reading, as the mapping says", "rows are no readings, as the mapping says"),
        (taken.n_other_elements, "row is of another element", "rows are of other elements"),
    ] {
        if n > 0 {
            counted.push(format!("{n} {}", if n == 1 { one } else { many }));
        }
    }
    if !counted.is_empty() {
        text.push_str(&format!("{}.\n", counted.join("; ")));
    }
    if !taken.skipped.is_empty() {
        let rows: Vec<String> = taken.skipped.iter().map(u32::to_string).collect();
        text.push_str(&format!("Not in the file: row {} of the run order, between rows that are.\n", rows.join(", ")));
    }
    if !taken.aside.is_empty() {
        let mut table = Table::new().figures("line", "").words("row").words("set aside because");
        for aside in &taken.aside {
            table.row(vec![aside.line.to_string(), aside.row.clone(), aside.why.clone()]);
        }
        text.push_str(&format!("\n{}", table.text()));
    }
    if !taken.waiting.is_empty() {
        let mut table = Table::new().figures("line", "").words("solution").words("waits for its trace");
        for waiting in &taken.waiting {
            table.row(vec![waiting.line.to_string(), waiting.row.clone(), waiting.why.clone()]);
        }
        text.push_str(&format!(
            "\n{}Import {file_name} again when the traces are there, or with --without-traces to take what was printed.\n",
            table.text()
        ));
    }
    if !taken.doubtful.is_empty() {
        let mut table =
            Table::new().figures("line", "").words("solution").figures("row?", "").words("waits for you because");
        for (aside, row) in &taken.doubtful {
            table.row(vec![aside.line.to_string(), aside.row.clone(), row.to_string(), aside.why.clone()]);
        }
        let (first, row) = &taken.doubtful[0];
        text.push_str(&format!(
            "\n{}Look at the bench, then import {file_name} again with --row {}={row}, or another row, for each.\n",
            table.text(),
            first.line
        ));
    }
    for note in &taken.notes {
        text.push_str(&format!("Note: {note}.\n"));
    }
    text
}
