//! The verbs, one a file; each fetches, calls the laboratory, and prints.

mod archive;
mod begin;
mod decide;
mod demo;
mod entries;
mod evaluate;
mod explain;
mod import;
mod issue;
mod open;
mod people;
mod plan;
mod sign;
mod simulate;
mod verify;

use darkline_record::identity::{OrderId, ReadingId, RunId};

use crate::command_line::{Command, Verb};
use crate::ending::{Ending, Failure};

/// Runs a command.
///
/// # Errors
/// [`Failure`]: it was not done, and why.
pub fn run(command: Command) -> Result<Ending, Failure> {
    let Command { everywhere, verb } = command;
    match verb {
        Verb::Demo(options) => demo::run(&everywhere, &options),
        Verb::Begin(options) => begin::run(&everywhere, &options),
        Verb::People(options) => people::run(&everywhere, &options),
        Verb::Open(options) => open::run(&everywhere, &options),
        Verb::Plan(options) => plan::run(&everywhere, &options),
        Verb::Simulate(options) => simulate::run(&everywhere, &options),
        Verb::Import(options) => import::run(&everywhere, &options),
        Verb::Evaluate(options) => evaluate::run(&everywhere, &options),
        Verb::Explain(options) => explain::run(&everywhere, &options),
        Verb::Decide(options) => decide::run(&everywhere, &options),
        Verb::Sign(options) => sign::run(&everywhere, &options),
        Verb::Issue(options) => issue::run(&everywhere, &options),
        Verb::Archive(options) => archive::run(&everywhere, &options),
        Verb::Verify(options) => verify::run(&everywhere, &options),
        Verb::Entries(options) => entries::run(&everywhere, &options),
    }
}

fn order(text: &str) -> Result<OrderId, Failure> {
    text.parse().map_err(Failure::told)
}

fn run_id(text: Option<&str>) -> Result<Option<RunId>, Failure> {
    text.map(|text| text.parse().map_err(Failure::told)).transpose()
}

/// A reading as RUN/NUMBER, or NUMBER where the order has one run.
fn reading(laboratory: &darkline_laboratory::Laboratory, order: &OrderId, text: &str) -> Result<ReadingId, Failure> {
    if text.contains('/') {
        return text.parse().map_err(Failure::told);
    }
    let run = laboratory.run_of(order, None)?;
    format!("{run}/{text}").parse().map_err(Failure::told)
}

/// One thing or many: "1 reading", "3 readings".
fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// A new file; one that is there already is never written over.
fn new_file(path: &std::path::Path) -> Result<std::fs::File, Failure> {
    std::fs::File::create_new(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => {
            Failure::with_hint(format!("{} is there already", path.display()), "name another file with -o, or move that one away")
        }
        _ => Failure::told(format!("{}: {error}", path.display())),
    })
}

fn fill(file: &mut std::fs::File, path: &std::path::Path, bytes: &[u8]) -> Result<(), Failure> {
    use std::io::Write;
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(|error| Failure::told(format!("{}: {error}", path.display())))
}
