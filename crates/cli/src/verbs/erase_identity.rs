//! `darkline erase-identity`: whose order it was is erased after its retention; what was hashed stays.

use serde::Serialize;

use super::{order, reason};
use crate::bench;
use crate::command_line::{EraseIdentity, Everywhere};
use crate::ending::{Ending, Failure};
use crate::{secret, talk};

#[derive(Serialize)]
struct ErasedLine<'a> {
    schema: &'static str,
    order: &'a str,
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &EraseIdentity) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let why = reason(&options.reason)?;
    let mut laboratory = bench::write(everywhere)?;
    talk::tell(&format!(
        "As {by} you erase whose order {order} was, and the reports that name it. This cannot be taken back; results, entries \
         and signatures stay. Copies and archives made before still hold it: they are yours to deal with."
    ));
    secret::confirm(everywhere, order.as_str(), options.confirm.as_deref(), "erase it")?;
    let entry = laboratory.erase_identity(&by, &order, &why)?;
    if everywhere.json {
        talk::print_json(&ErasedLine { schema: "darkline/erased/1", order: order.as_str(), entry })?;
    }
    talk::tell(&format!("entry {entry}: whose order {order} was is erased by {by}."));
    talk::tell("Next: darkline verify");
    Ok(Ending::Done)
}
