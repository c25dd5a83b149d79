//! `darkline open`: the documents of an order are taken into the record.

use darkline_exchange::folder::read_folder;

use super::count;
use crate::bench;
use crate::command_line::{Everywhere, Open};
use crate::ending::{Ending, Failure};
use crate::talk;

pub fn run(everywhere: &Everywhere, options: &Open) -> Result<Ending, Failure> {
    let documents = read_folder(&options.folder)?;
    for warning in &documents.warnings {
        talk::say_styled(&warning.parts());
    }
    let order = &documents.order.document;
    if options.dry_run {
        talk::tell(&format!("order {}: nothing is at fault; nothing was appended", order.id));
        return Ok(Ending::Done);
    }
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    let opened = laboratory.open(&by, &documents)?;
    let scope = opened.scope;
    for known in &opened.known {
        talk::tell(&format!("{known} is in the record already, word for word"));
    }
    match (opened.entries.first(), opened.entries.last()) {
        (Some(first), Some(last)) => talk::tell(&format!(
            "entries {first} to {last}: order {} opened by {by}: {}, {}, {}.",
            order.id,
            count(scope.n_samples, "sample"),
            count(scope.n_portions, "portion"),
            count(scope.n_rows, "row"),
        )),
        _ => talk::tell(&format!("order {} is open already; nothing was appended", order.id)),
    }
    talk::tell(&format!("Next: darkline import {} READINGS.csv --as {by}", order.id));
    Ok(Ending::Done)
}
