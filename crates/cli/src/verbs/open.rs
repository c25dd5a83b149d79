//! `darkline open`: the documents of an order are taken into the record.

use darkline_exchange::folder::read_folder;
use darkline_laboratory::{Identity, Scope};
use darkline_record::identity::OrderId;
use serde::Serialize;

use super::count;
use crate::bench;
use crate::command_line::{Everywhere, Open};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct OpenedLine<'a> {
    schema: &'static str,
    order: &'a str,
    entries: &'a [u64],
    samples: usize,
    portions: usize,
    rows: usize,
}

pub fn run(everywhere: &Everywhere, options: &Open) -> Result<Ending, Failure> {
    let documents = read_folder(&options.folder)?;
    for warning in &documents.warnings {
        talk::say_styled(&warning.parts());
    }
    let order = &documents.order.document.id;
    let scope = Scope::of(&documents);
    if options.dry_run {
        if everywhere.json {
            print_line(order, &[], scope)?;
        }
        talk::tell(&format!("order {order}: nothing is at fault; nothing was appended"));
        return Ok(Ending::Done);
    }
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    let identity = if options.identity_apart { Identity::Apart } else { Identity::InTheRecord };
    let opened = laboratory.open_with(&by, &documents, identity)?;
    if everywhere.json {
        print_line(order, &opened.entries, scope)?;
    }
    for known in &opened.known {
        talk::tell(&format!("{known} is in the record already, word for word"));
    }
    match (opened.entries.first(), opened.entries.last()) {
        (Some(first), Some(last)) => {
            let entries = if first == last { format!("entry {first}") } else { format!("entries {first} to {last}") };
            talk::tell(&format!(
                "{entries}: order {order} opened by {by}: {}, {}, {}.",
                count(scope.n_samples, "sample"),
                count(scope.n_portions, "portion"),
                count(scope.n_rows, "row"),
            ));
        }
        _ => talk::tell(&format!("order {order} is open already; nothing was appended")),
    }
    if options.identity_apart && !opened.entries.is_empty() {
        let apart = bench::apart_folder(&bench::trail(everywhere));
        talk::tell(&format!("Whose order it is lies in {}, not in the record.", apart.display()));
    }
    talk::tell(&format!("Next: darkline import {order} READINGS.csv --as {by}"));
    Ok(Ending::Done)
}

fn print_line(order: &OrderId, entries: &[u64], scope: Scope) -> Result<(), Failure> {
    let Scope { n_samples: samples, n_portions: portions, n_rows: rows } = scope;
    talk::print_json(&OpenedLine {
        schema: "darkline/opened/1",
        order: order.as_str(),
        entries,
        samples,
        portions,
        rows,
    })
}
