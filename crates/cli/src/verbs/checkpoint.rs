//! `darkline checkpoint`: what an auditor keeps until the next audit.

use serde::Serialize;

use super::put_out;
use crate::bench;
use crate::command_line::{Checkpoint, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct CheckpointLine<'a> {
    schema: &'static str,
    log: &'a str,
    size: u64,
    root: String,
    at: &'a str,
    bench_key: String,
    text: String,
}

pub fn run(everywhere: &Everywhere, options: &Checkpoint) -> Result<Ending, Failure> {
    let store = bench::store(everywhere)?;
    let newest = store.last_checkpoint(store.log()).map_err(Failure::told)?;
    let Some(newest) = newest else {
        return Err(Failure::told("the record has no entry yet, so there is no checkpoint"));
    };
    if everywhere.json {
        talk::print_json(&CheckpointLine {
            schema: "darkline/checkpoint/1",
            log: newest.log.as_str(),
            size: newest.size,
            root: newest.root.to_string(),
            at: newest.at.as_str(),
            bench_key: newest.key.to_string(),
            text: newest.to_text(),
        })?;
        return Ok(Ending::Done);
    }
    put_out(&options.output, &newest.to_text())?;
    if options.output != std::path::Path::new("-") {
        talk::tell(&format!(
            "It covers {} entries of {}; keep it where the laboratory cannot change it.",
            newest.size, newest.log
        ));
        talk::tell(&format!("Next audit: darkline verify --since {}", options.output.display()));
    }
    Ok(Ending::Done)
}
