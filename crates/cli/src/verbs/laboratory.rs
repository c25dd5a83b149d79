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
    statement: Option<&'a str>,
    certification: Option<&'a str>,
    bench_keys: Vec<String>,
}

pub fn run(everywhere: &Everywhere, options: &Laboratory) -> Result<Ending, Failure> {
    let is_named = options.name.is_some() || options.passphrases_from_files.is_some();
    let has_terms = options.statement.is_some() || options.certification.is_some();
    let is_said = is_named || has_terms;
    let mut laboratory = if is_said { bench::write(everywhere)? } else { bench::read(everywhere)? };
    if is_named {
        let by = bench::person(everywhere)?;
        let (name_now, address_now) = laboratory.state().laboratory.clone().unwrap_or_default();
        let name = options.name.clone().unwrap_or(name_now);
        let address = if options.name.is_some() { options.address.clone() } else { address_now };
        let from_files = match options.passphrases_from_files.as_deref() {
            Some(word) => word == "yes",
            None => laboratory.state().passphrases_from_files,
        };
        let entry = laboratory.set_laboratory_with(&by, &name, &address, from_files)?;
        talk::tell(&format!("entry {entry}: reports to come say {name}, {}, by {by}.", address.join(", ")));
        if options.passphrases_from_files.is_some() {
            talk::tell(match from_files {
                true => "Signatures may take passphrases from files; each of them says so.",
                false => "Signatures take passphrases typed at the terminal alone.",
            });
        }
    }
    if has_terms {
        let by = bench::person(everywhere)?;
        let (statement, certification) = (options.statement.as_deref(), options.certification.as_deref());
        let entry = laboratory.set_signing_terms(&by, statement, certification)?;
        talk::tell(&format!(
            "entry {entry}: who signs from now on reads it; signatures given before keep what they say."
        ));
    }
    let (name, address) = laboratory.state().laboratory.clone().unwrap_or_default();
    let bench_keys =
        laboratory.store().devices().map_err(Failure::told)?.iter().map(|key| key.fingerprint().to_string()).collect();
    if everywhere.json {
        talk::print_json(&LaboratoryLine {
            schema: "darkline/laboratory/1",
            name: &name,
            address: &address,
            statement: laboratory.state().statement.as_deref(),
            certification: laboratory.state().certification.as_deref(),
            bench_keys,
        })?;
    } else if !is_said {
        let mut lines: String = std::iter::once(&name).chain(&address).map(|line| format!("{line}\n")).collect();
        if let Some(statement) = &laboratory.state().statement {
            lines.push_str(&format!("\nWho signs reads: {statement}\n"));
        }
        if let Some(certification) = &laboratory.state().certification {
            lines.push_str(&format!("\nSignatures are certified: {certification}\n"));
        }
        talk::print(&format!("{lines}\nBench keys, to be published: {}\n", bench_keys.join(", ")))?;
    }
    Ok(Ending::Done)
}
