//! The verbs, one a file; each fetches, calls the laboratory, and prints.

mod archive;
mod backup;
mod begin;
mod checkpoint;
mod decide;
mod demo;
mod drill;
mod entries;
mod erase_identity;
mod evaluate;
mod explain;
mod export;
mod hand_back;
mod hand_over;
mod handbook;
mod import;
mod issue;
mod keep;
mod laboratory;
mod lots;
mod method;
mod open;
mod orders;
mod people;
mod plan;
mod plan_check;
mod plan_write;
mod qualify;
mod restore;
mod serve;
mod sign;
mod simulate;
mod start;
mod verify;
mod watch;
mod weigh;

use darkline_record::decision::Reason;
use darkline_record::identity::{OrderId, ReadingId, RunId};

use crate::command_line::{Command, Verb};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;

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
        Verb::Laboratory(options) => laboratory::run(&everywhere, &options),
        Verb::Open(options) => open::run(&everywhere, &options),
        Verb::Plan(options) => plan::run(&everywhere, &options),
        Verb::Start(options) => start::run(&everywhere, &options),
        Verb::Simulate(options) => simulate::run(&everywhere, &options),
        Verb::Import(options) => import::run(&everywhere, &options),
        Verb::Watch(options) => watch::run(&everywhere, &options),
        Verb::Weigh(options) => weigh::run(&everywhere, &options),
        Verb::Evaluate(options) => evaluate::run(&everywhere, &options),
        Verb::Export(options) => export::run(&everywhere, &options),
        Verb::Explain(options) => explain::run(&everywhere, &options),
        Verb::Decide(options) => decide::run(&everywhere, &options),
        Verb::Orders(options) => orders::run(&everywhere, &options),
        Verb::Return(options) => hand_back::run(&everywhere, &options),
        Verb::Sign(options) => sign::run(&everywhere, &options),
        Verb::Issue(options) => issue::run(&everywhere, &options),
        Verb::Archive(options) => archive::run(&everywhere, &options),
        Verb::Keep(options) => keep::run(&everywhere, &options),
        Verb::EraseIdentity(options) => erase_identity::run(&everywhere, &options),
        Verb::Restore(options) => restore::run(&everywhere, &options),
        Verb::Backup(options) => backup::run(&everywhere, &options),
        Verb::Drill(options) => drill::run(&everywhere, &options),
        Verb::Verify(options) => verify::run(&everywhere, &options),
        Verb::HandOver(options) => hand_over::run(&everywhere, &options),
        Verb::Checkpoint(options) => checkpoint::run(&everywhere, &options),
        Verb::Entries(options) => entries::run(&everywhere, &options),
        Verb::Serve(options) => serve::run(&everywhere, &options),
        Verb::Handbook(options) => handbook::run(&everywhere, &options),
        Verb::Lots(options) => lots::run(&everywhere, &options),
        Verb::Method(options) => method::run(&everywhere, &options),
        Verb::Qualify(options) => qualify::run(&everywhere, &options),
        Verb::HelpReference => {
            crate::talk::print(&crate::reference::page())?;
            Ok(Ending::Done)
        }
        Verb::HelpRoles => {
            crate::talk::print(&darkline_audit_trail::people::page())?;
            Ok(Ending::Done)
        }
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

/// A reason, which always says something.
fn reason(text: &str) -> Result<Reason, Failure> {
    Reason::new(text).ok_or_else(|| {
        Failure::with_hint("a reason has between 1 and 500 characters", "write what was seen: --reason \"…\"")
    })
}

/// One thing or many: "1 reading", "3 readings".
fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// Writes what `-o` asks for into a new file, or to standard output for "-".
fn put_out(path: &std::path::Path, text: &str) -> Result<(), Failure> {
    if path == std::path::Path::new("-") {
        return crate::talk::print(text);
    }
    NewFile::at(path)?.fill(text.as_bytes())?;
    crate::talk::tell(&format!("{} written", path.display()));
    Ok(())
}
