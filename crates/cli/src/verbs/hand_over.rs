//! `darkline hand-over`: what a bench did on its own comes into the record of the laboratory.

use serde::Serialize;

use crate::bench;
use crate::command_line::{Everywhere, HandOver};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct HandedOverLine<'a> {
    schema: &'static str,
    log: &'a str,
    new_entries: u64,
    blobs: u64,
    size: u64,
    entry: Option<u64>,
}

pub fn run(everywhere: &Everywhere, options: &HandOver) -> Result<Ending, Failure> {
    let by = bench::person(everywhere)?;
    let own = bench::store(everywhere)?;
    let there = Everywhere { trail: Some(options.to.clone()), ..everywhere.clone() };
    let mut laboratory = bench::write(&there)?;
    let (brought, entry) = laboratory.take_over(&by, own.as_ref())?;
    if everywhere.json {
        talk::print_json(&HandedOverLine {
            schema: "darkline/handed-over/1",
            log: brought.log.as_str(),
            new_entries: brought.n_entries,
            blobs: brought.n_blobs,
            size: brought.newest.size,
            entry,
        })?;
    }
    let n = usize::try_from(brought.n_entries).unwrap_or(usize::MAX);
    let log = &brought.log;
    match entry {
        Some(entry) => {
            talk::tell(&format!(
                "Log {log} handed over by {by}, {} new, up to {} (entry {entry})",
                if n == 1 { "1 entry".into() } else { format!("{n} entries") },
                brought.newest.size
            ));
        }
        None => talk::tell(&format!(
            "Log {log} is there already up to entry {}; nothing was appended.",
            brought.newest.size
        )),
    }
    Ok(Ending::Done)
}
