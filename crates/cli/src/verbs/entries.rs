//! `darkline entries`: the entries of the record, in order.

use std::ops::ControlFlow;

use darkline_audit_trail::Store;
use darkline_laboratory::act::Act;
use serde::Serialize;

use crate::bench;
use crate::command_line::{Entries, Everywhere};
use crate::ending::{Ending, Failure};
use crate::table::Table;
use crate::talk;

#[derive(Serialize)]
struct EntryLine<'a> {
    schema: &'static str,
    number: u64,
    at: &'a str,
    by: &'a str,
    does: String,
    leaf: String,
}

pub fn run(everywhere: &Everywhere, options: &Entries) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    let order = options.order.as_deref().map(super::order).transpose()?;
    if let Some(order) = &order {
        laboratory.order(order)?;
    }
    let store: &dyn Store = laboratory.store();
    let mut entries = Vec::new();
    store
        .scan(store.log(), 0, &mut |entry| {
            entries.push(entry.clone());
            ControlFlow::Continue(())
        })
        .map_err(Failure::told)?;
    let mut table = Table::new().figures("entry", "").words("at").words("by").words("act");
    for entry in &entries {
        let act = Act::read(entry).map_err(Failure::told)?;
        if order.as_ref().is_some_and(|order| !laboratory.concerns(&act, order)) {
            continue;
        }
        if everywhere.json {
            talk::print_json(&EntryLine {
                schema: "darkline/entry/1",
                number: entry.number,
                at: entry.at.as_str(),
                by: entry.by.as_str(),
                does: act.words(),
                leaf: entry.leaf_hash().to_string(),
            })?;
        } else {
            table.row(vec![
                entry.number.to_string(),
                to_the_second(entry.at.as_str()),
                entry.by.to_string(),
                act.words(),
            ]);
        }
    }
    if !everywhere.json {
        talk::print(&table.text())?;
    }
    Ok(Ending::Done)
}

/// A time without its fractions of a second, which the JSON keeps.
fn to_the_second(at: &str) -> String {
    let (before, after) = at.split_once('.').unwrap_or((at, ""));
    format!("{before}{}", after.trim_start_matches(|c: char| c.is_ascii_digit()))
}
