//! `darkline import`: a table of readings, with its pulses, is taken into the record.

use darkline_audit_trail::keys::SigningKey;
use darkline_exchange::{pulses, text_file};
use darkline_laboratory::act::Attached;
use serde::Serialize;

use super::{count, order, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Import};
use crate::ending::{Ending, Failure};
use crate::progress::Progress;
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

pub fn run(everywhere: &Everywhere, options: &Import) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let device = match &options.device_key {
        Some(file) => Some(SigningKey::read_device_file(file).map_err(Failure::told)?),
        None => None,
    };
    let by = if device.is_some() { None } else { Some(bench::person(everywhere)?) };
    let run = run_id(options.run.as_deref())?;
    let text = text_file::read(&options.table)?;
    let file_name =
        options.table.file_name().map_or_else(|| "readings".into(), |name| name.to_string_lossy().into_owned());
    let beside = options.table.with_extension("parquet");
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
        talk::print_json(&ImportedLine {
            schema: "darkline/import/1",
            order: order.to_string(),
            run: imported.run.to_string(),
            entry: imported.entry,
            readings: imported.n_readings,
            pulses: imported.n_pulses,
            left_out: imported.n_left_out,
        })?;
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
