//! `darkline return`: an order goes back to the state it came from, with remarks item by item.

use darkline_laboratory::act::Remark;
use serde::Serialize;

use super::{count, order, reason};
use crate::bench;
use crate::command_line::{Everywhere, Return};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct ReturnLine<'a> {
    schema: &'static str,
    order: &'a str,
    entry: u64,
    by: &'a str,
    from: &'static str,
    to: &'static str,
    remarks: &'a [Remark],
}

pub fn run(everywhere: &Everywhere, options: &Return) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let why = reason(&options.reason)?;
    if options.on.len() != options.remark.len() {
        return Err(Failure::with_hint(
            format!("{} named and {}", count(options.on.len(), "item"), count(options.remark.len(), "remark")),
            "write one --remark for every --on, in the same order",
        ));
    }
    let remarks = options
        .on
        .iter()
        .zip(&options.remark)
        .map(|(on, remark)| Ok(Remark { on: on.clone(), remark: reason(remark)? }))
        .collect::<Result<Vec<_>, Failure>>()?;
    let mut laboratory = bench::write(everywhere)?;
    let from = laboratory.stage(&order)?;
    let (entry, to) = laboratory.return_order(&by, &order, &remarks, &why)?;
    if everywhere.json {
        talk::print_json(&ReturnLine {
            schema: "darkline/return/1",
            order: order.as_str(),
            entry,
            by: by.as_str(),
            from: from.words(),
            to: to.words(),
            remarks: &remarks,
        })?;
    }
    let n = remarks.len();
    talk::tell(&format!(
        "entry {entry}: order {order} returned by {by} from {from} to {to}, with {}.",
        count(n, "remark")
    ));
    talk::tell("Signatures given since are set aside; they stay in view and count no longer.");
    talk::tell(&format!("Next: darkline orders {order}"));
    Ok(Ending::Done)
}
