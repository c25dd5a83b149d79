//! `darkline keep`: the last day on which an order has to be there.

use serde::Serialize;

use super::{order, reason};
use crate::bench;
use crate::command_line::{Everywhere, Keep};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct KeepLine<'a> {
    schema: &'static str,
    order: &'a str,
    until: &'a str,
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &Keep) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let why = reason(&options.reason)?;
    let mut laboratory = bench::write(everywhere)?;
    let entry = laboratory.set_retention(&by, &order, &options.until, &why)?;
    if everywhere.json {
        talk::print_json(&KeepLine {
            schema: "darkline/retention/1",
            order: order.as_str(),
            until: &options.until,
            entry,
        })?;
    }
    talk::tell(&format!("entry {entry}: order {order} is kept until {}, by {by}.", options.until));
    Ok(Ending::Done)
}
