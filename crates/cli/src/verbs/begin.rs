//! `darkline begin`: a new record, the key of the bench, and the first person.

use darkline_audit_trail::LogId;
use serde::Serialize;

use crate::bench;
use crate::command_line::{Begin, Everywhere};
use crate::ending::{Ending, Failure};
use crate::{secret, talk};

#[derive(Serialize)]
struct RecordLine<'a> {
    schema: &'static str,
    trail: String,
    log: &'a str,
    administrator: &'a str,
    bench_key: Option<String>,
}

pub fn run(everywhere: &Everywhere, options: &Begin) -> Result<Ending, Failure> {
    let person = bench::person(everywhere)?;
    let log = LogId::new(&options.log).map_err(Failure::told)?;
    let passphrase = secret::new_passphrase(everywhere, person.as_str(), options.key_file.as_deref())?;
    darkline_laboratory::accounts::check_passphrase(&person, &options.full_name, &passphrase)?;
    let pulses = options.pulses.as_deref();
    let database = options.record.as_deref().map(|address| bench::Database { address, pulses });
    let mut laboratory = bench::begin(everywhere, &log, database)?;
    let from_files = options.passphrases_from_files;
    laboratory.begin_with(
        &person,
        &options.full_name,
        &passphrase,
        &options.laboratory,
        &options.address,
        from_files,
    )?;
    let trail = bench::trail(everywhere);
    if everywhere.json {
        talk::print_json(&RecordLine {
            schema: "darkline/record/1",
            trail: trail.display().to_string(),
            log: log.as_str(),
            administrator: person.as_str(),
            bench_key: laboratory
                .store()
                .devices()
                .map_err(Failure::told)?
                .first()
                .map(|key| key.fingerprint().to_string()),
        })?;
    }
    talk::tell(&format!("{} begun; {person} is administrator.", trail.display()));
    if options.record.is_some() {
        talk::tell(&format!("The log {log} is in the database; {} leads there.", trail.display()));
    }
    talk::tell(&format!("The key of this bench is {}: keep it with the record.", bench::device_file(&trail).display()));
    talk::tell(&format!("Next: darkline people add NAME --full-name \"…\" --role analyst --as {person}"));
    Ok(Ending::Done)
}
