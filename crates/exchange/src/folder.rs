//! The documents of an order, from a folder: `order.toml`, `preparation*.toml`, `method*.toml`, `run*.toml` with their rows.
//!
//! [`read_folder`] reads all of them and holds them against each other; every document keeps its text as it was entered.
//! Readings and pulses come later and from elsewhere.

use std::path::Path;

use darkline_preparation::bench::Bench;
use darkline_record::method::ResolvedMethod;
use darkline_record::order::Order;
use darkline_record::preparation::PreparationBatch;
use darkline_record::run::{Row, Run};

use crate::cross_check::check_documents;
use crate::document::{Entered, place_of};
use crate::fault::{Fault, Faults};
use crate::run::RunHead;
use crate::sheet::ShowsLines;
use crate::{bench, method, order, preparation, run, run_order, text_file};

/// The documents of an order.
#[derive(Clone, Debug, PartialEq)]
pub struct Documents {
    /// The order.
    pub order: Entered<Order>,
    /// Its preparation batches, by file name.
    pub preparations: Vec<Entered<PreparationBatch>>,
    /// Its methods, by file name.
    pub methods: Vec<Entered<ResolvedMethod>>,
    /// Its runs, by file name.
    pub runs: Vec<EnteredRun>,
    /// What somebody should look at although nothing is wrong.
    pub warnings: Vec<Fault>,
}

/// A run: its head and its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct EnteredRun {
    /// The head.
    pub head: Entered<RunHead>,
    /// The rows as planned.
    pub rows: Entered<Vec<Row>>,
}

impl EnteredRun {
    /// The run as planned, without readings.
    pub fn run(&self) -> Run {
        self.head.document.with_rows(self.rows.document.clone())
    }
}

/// Reads the documents of an order from a folder and holds them against each other.
///
/// # Errors
/// All faults of all files; where each file is sound, the faults between them.
pub fn read_folder(folder: &Path) -> Result<Documents, Faults> {
    let names = names_in(folder)?;
    let mut heap = Heap::default();
    let order = heap.take(
        text_file::read_as(&folder.join("order.toml"), "order.toml").and_then(|text| order::enter("order.toml", &text)),
    );
    let preparations = heap.each(folder, &names, "preparation", preparation::enter);
    let methods = heap.each(folder, &names, "method", method::enter);
    let heads = heap.each(folder, &names, "run", run::enter);
    let mut runs = Vec::new();
    for head in heads {
        let replicates = methods
            .iter()
            .find(|method| method.document.id == head.document.method)
            .map_or(1, |method| method.document.replicates.n);
        if let Some(rows) = heap.take(rows_of(folder, &head, replicates)) {
            runs.push(EnteredRun { head, rows });
        }
    }
    let (Some(order), None) = (order, &heap.faults) else {
        return Err(heap.faults.expect("an order that could not be read has been told"));
    };
    let mut documents = Documents { order, preparations, methods, runs, warnings: Vec::new() };
    let check = check_documents(&documents);
    documents.warnings = check.warnings;
    check.faults.map_or(Ok(documents), Err)
}

/// What a day is planned from: an order, its methods, and the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct ToPlan {
    /// The order.
    pub order: Entered<Order>,
    /// Its methods, by file name.
    pub methods: Vec<Entered<ResolvedMethod>>,
    /// The bench.
    pub bench: Entered<Bench>,
}

/// Reads what a day is planned from: `order.toml`, `method*.toml` and `bench.toml`.
///
/// # Errors
/// All faults of all files.
pub fn read_to_plan(folder: &Path) -> Result<ToPlan, Faults> {
    let names = names_in(folder)?;
    let mut heap = Heap::default();
    let take = |name: &str| text_file::read_as(&folder.join(name), name);
    let (order_text, bench_text) = (take("order.toml"), take("bench.toml"));
    let order = heap.take(order_text.and_then(|text| order::enter("order.toml", &text)));
    let methods = heap.each(folder, &names, "method", method::enter);
    let bench = heap.take(bench_text.and_then(|text| bench::enter("bench.toml", &text)));
    match (order, bench, heap.faults) {
        (Some(order), Some(bench), None) => Ok(ToPlan { order, methods, bench }),
        (_, _, faults) => Err(faults.expect("what could not be read has been told")),
    }
}

fn rows_of(folder: &Path, head: &Entered<RunHead>, replicates: u8) -> Result<Entered<Vec<Row>>, Faults> {
    let name = &head.document.rows;
    let path = folder.join(name);
    if !path.exists() {
        let sheet = head.sheet(ShowsLines::Yes);
        sheet.fault(
            place_of(&head.places, "rows"),
            format!("there is no file \"{name}\" in the folder"),
            "write the name of the file with the rows",
        );
        return sheet.close(None);
    }
    run_order::enter(name, &text_file::read_as(&path, name)?, replicates, None)
}

/// The names of the documents in a folder, sorted.
fn names_in(folder: &Path) -> Result<Vec<String>, Faults> {
    let shown = folder.display().to_string();
    let fault = |what: String, hint: &str| Faults::one(Fault::of_file(&shown, what, hint));
    if !folder.exists() {
        return Err(fault(
            "there is no such folder".into(),
            "look at the spelling, and at the folder it is looked for in",
        ));
    }
    if !folder.is_dir() {
        return Err(fault(
            "this is a file; the folder of an order is wanted".into(),
            "name the folder that holds order.toml",
        ));
    }
    let entries = std::fs::read_dir(folder).map_err(|error| {
        fault(format!("the folder cannot be read: {error}"), "ask whoever owns it for permission to read it")
    })?;
    let mut names: Vec<String> = entries.flatten().filter_map(|entry| entry.file_name().into_string().ok()).collect();
    names.sort();
    Ok(names)
}

/// Faults of several files, one behind the other.
#[derive(Default)]
struct Heap {
    faults: Option<Faults>,
}

impl Heap {
    fn take<T>(&mut self, read: Result<T, Faults>) -> Option<T> {
        match read {
            Ok(read) => Some(read),
            Err(faults) => {
                match &mut self.faults {
                    Some(all) => all.join(faults),
                    None => self.faults = Some(faults),
                }
                None
            }
        }
    }

    fn each<T>(
        &mut self,
        folder: &Path,
        names: &[String],
        kind: &str,
        enter: fn(&str, &str) -> Result<Entered<T>, Faults>,
    ) -> Vec<Entered<T>> {
        let of_kind = names.iter().filter(|name| name.starts_with(kind) && name.ends_with(".toml"));
        of_kind
            .filter_map(|name| {
                self.take(text_file::read_as(&folder.join(name), name).and_then(|text| enter(name, &text)))
            })
            .collect()
    }
}
