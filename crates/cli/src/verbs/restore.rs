//! `darkline restore`: an archive is brought back into a record that does not have its order.

use darkline_exchange::text_file;
use darkline_laboratory::verification::Check;
use serde::Serialize;

use super::verify::{LARGEST, digits_of, show};
use crate::bench;
use crate::command_line::{Everywhere, Restore};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct RestoredLine<'a> {
    schema: &'static str,
    order: &'a str,
    report: &'a str,
    log: &'a str,
    bench_key: &'a str,
    entry: u64,
}

pub fn run(everywhere: &Everywhere, options: &Restore) -> Result<Ending, Failure> {
    let by = bench::person(everywhere)?;
    let shown = options.archive.display().to_string();
    let bytes = text_file::read_bytes(&options.archive, &shown, LARGEST)?;
    let mut laboratory = bench::write(everywhere)?;
    let mut checks: Vec<Check> = Vec::new();
    // The digits of the report first: what they rest on is checked again on the way in.
    if let Some(check) = digits_of(&bytes).filter(|check| !check.faults.is_empty()) {
        show(everywhere, &check)?;
        return Err(Failure::with_hint(
            format!("{shown} is not as it was issued, so it is not restored"),
            format!("darkline verify {shown} tells what is not in order"),
        ));
    }
    let restored = laboratory.restore(&by, &bytes, &mut |check| checks.push(check.clone()))?;
    if everywhere.json {
        talk::print_json(&RestoredLine {
            schema: "darkline/restored/1",
            order: restored.order.as_str(),
            report: &restored.report,
            log: &restored.log,
            bench_key: &restored.bench,
            entry: restored.entry,
        })?;
    } else {
        for check in &checks {
            show(everywhere, check)?;
        }
    }
    let (entry, order) = (restored.entry, &restored.order);
    talk::tell(&format!(
        "entry {entry}: order {order} with report {} restored by {by} from log {}.",
        restored.report, restored.log
    ));
    talk::tell(&format!(
        "Its entries were signed by bench {}: compare it with the key that was published.",
        restored.bench
    ));
    talk::tell(&format!("Next: darkline evaluate {order}, darkline entries {order}, darkline verify"));
    Ok(Ending::Done)
}
