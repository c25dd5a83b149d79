//! `darkline laboratory`: what reports call the laboratory.

use serde::Serialize;

use crate::bench;
use crate::command_line::{Everywhere, Laboratory};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct LaboratoryLine<'a> {
    schema: &'static str,
    name: &'a str,
    address: &'a [String],
    bench_keys: Vec<String>,
}

pub fn run(everywhere: &Everywhere, options: &Laboratory) -> Result<Ending, Failure> {
    let laboratory = match &options.name {
        Some(name) => {
            let by = bench::person(everywhere)?;
            let mut laboratory = bench::write(everywhere)?;
            let entry = laboratory.set_laboratory(&by, name, &options.address)?;
            talk::tell(&format!("entry {entry}: reports to come say {name}, {}, by {by}.", options.address.join(", ")));
            laboratory
        }
        None => bench::read(everywhere)?,
    };
    let (name, address) = laboratory.state().laboratory.clone().unwrap_or_default();
    let bench_keys =
        laboratory.store().devices().map_err(Failure::told)?.iter().map(|key| key.fingerprint().to_string()).collect();
    if everywhere.json {
        talk::print_json(&LaboratoryLine {
            schema: "darkline/laboratory/1",
            name: &name,
            address: &address,
            bench_keys,
        })?;
    } else if options.name.is_none() {
        let lines: String = std::iter::once(&name).chain(&address).map(|line| format!("{line}\n")).collect();
        talk::print(&format!("{lines}\nBench keys, to be published: {}\n", bench_keys.join(", ")))?;
    }
    Ok(Ending::Done)
}
