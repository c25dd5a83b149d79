//! `darkline verify`: an archive by itself, or the whole record.

use std::path::Path;

use darkline_audit_trail::{Store, verify_trail};
use darkline_laboratory::verification::{self, Check, Contents};
use darkline_report::composing::{Issued, compose, record};
use serde::Serialize;

use crate::bench;
use crate::command_line::{Everywhere, Verify};
use crate::ending::{Ending, Failure};
use crate::talk;

/// Largest archive read.
const LARGEST: u64 = 4 << 30;

#[derive(Serialize)]
struct CheckLine<'a> {
    schema: &'static str,
    check: &'a str,
    found: &'a str,
    faults: &'a [String],
}

pub fn run(everywhere: &Everywhere, options: &Verify) -> Result<Ending, Failure> {
    match &options.archive {
        Some(path) => archive(everywhere, path),
        None => trail(everywhere),
    }
}

fn archive(everywhere: &Everywhere, path: &Path) -> Result<Ending, Failure> {
    let bytes = darkline_exchange::text_file::read_bytes(path, &path.display().to_string(), LARGEST)?;
    let mut found = verification::verify(&bytes);
    if let Some(contents) = &found.contents {
        found.checks.push(digits(contents));
    }
    show(everywhere, &found.checks)?;
    if !found.is_intact() {
        let faults: usize = found.checks.iter().map(|check| check.faults.len()).sum();
        talk::tell(&format!("{}: {} at fault", path.display(), super::count(faults, "thing")));
        return Ok(Ending::Stopped);
    }
    if let Some(contents) = &found.contents {
        let keys: Vec<String> = contents.devices.iter().map(|key| key.fingerprint().to_string()).collect();
        talk::tell(&format!("{}: order {} is as it was issued.", path.display(), contents.order));
        talk::tell(&format!("Bench keys {}: compare them with what the laboratory publishes.", keys.join(", ")));
    }
    Ok(Ending::Done)
}

/// Sets the report again from the outcome that was worked out again, and compares every digit.
fn digits(contents: &Contents) -> Check {
    let mut faults = Vec::new();
    let Some(known) = contents.state.orders.get(&contents.order) else {
        return Check { what: "digits", found: String::new(), faults: vec!["the order is not in the archive".into()] };
    };
    let Some(issue) = known.issues.last() else {
        return Check { what: "digits", found: String::new(), faults: vec!["no report was issued".into()] };
    };
    let given: Vec<_> = [darkline_laboratory::SignatureMeaning::Measured, darkline_laboratory::SignatureMeaning::Reviewed]
        .into_iter()
        .filter_map(|meaning| known.signature(meaning, &issue.outcome).cloned())
        .collect();
    let issued = Issued {
        report: issue.report.clone(),
        supersedes: issue.supersedes.clone(),
        at: issue.at.clone(),
        signatures: super::issue::signatures(&contents.state, &given),
        issued_by: issue.by.to_string(),
        size: issue.size,
        root: issue.root.to_string(),
        laboratory: contents.state.laboratory.clone(),
        program: issue.program.clone(),
    };
    let again = record(&contents.package, &contents.outcome, &issued);
    if again != contents.record {
        let at = again.iter().zip(&contents.record).position(|(a, b)| a != b).unwrap_or_else(|| again.len().min(contents.record.len()));
        faults.push(format!("record.json differs from what the package gives, from byte {at} on"));
    }
    let mut words = format!("{} results, every digit as reported", contents.outcome.results.len());
    match darkline_report::render(&compose(&contents.package, &contents.outcome, &issued), &again) {
        Ok(document) if document == contents.report => words.push_str("; the report sets to the same bytes"),
        // Another version of the typesetting library may set the same text otherwise; the record inside is what counts.
        Ok(_) if faults.is_empty() => words.push_str("; this program sets the same report in other bytes"),
        Ok(_) => {}
        Err(error) => faults.push(error.to_string()),
    }
    Check { what: "digits", found: words, faults }
}

fn trail(everywhere: &Everywhere) -> Result<Ending, Failure> {
    let laboratory = bench::read(everywhere)?;
    let store: &dyn Store = laboratory.store();
    let report = verify_trail(store, store.log()).map_err(Failure::told)?;
    let root = report.root.map_or_else(|| "none".into(), |root| root.to_string());
    let checks = [
        Check {
            what: "entries",
            found: format!("{} entries and {} blobs as hashed", report.n_entries, report.n_blobs),
            faults: report.faults.iter().map(ToString::to_string).collect(),
        },
        Check { what: "root", found: format!("{root}, {} checkpoints signed", report.n_checkpoints), faults: Vec::new() },
    ];
    show(everywhere, &checks)?;
    for step in &report.clock_steps {
        talk::say(&format!("  {step}"));
    }
    Ok(if report.is_intact() { Ending::Done } else { Ending::Stopped })
}

fn show(everywhere: &Everywhere, checks: &[Check]) -> Result<(), Failure> {
    for check in checks {
        if everywhere.json {
            talk::print_json(&CheckLine { schema: "darkline/check/1", check: check.what, found: &check.found, faults: &check.faults })?;
            continue;
        }
        if check.faults.is_empty() {
            talk::print(&format!("● {:<11} {}\n", check.what, check.found))?;
        }
        for fault in &check.faults {
            talk::print(&format!("▲ {:<11} {fault}\n", check.what))?;
        }
    }
    Ok(())
}
