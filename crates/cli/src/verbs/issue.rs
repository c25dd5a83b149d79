//! `darkline issue`: the report of a signed order as PDF/A, kept in the record byte for byte.

use std::path::PathBuf;

use darkline_laboratory::Laboratory;
use darkline_laboratory::IssueDraft;
use darkline_report::composing::{Issued, SignedBy, compose, record};
use serde::Serialize;

use super::order;
use crate::bench;
use crate::command_line::{Everywhere, Issue};
use crate::ending::{Ending, Failure};
use crate::{secret, talk};

#[derive(Serialize)]
struct IssueLine<'a> {
    schema: &'static str,
    order: &'a str,
    report: &'a str,
    entry: u64,
    file: String,
    sha256: String,
}

pub fn run(everywhere: &Everywhere, options: &Issue) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let by = bench::person(everywhere)?;
    let mut laboratory = bench::write(everywhere)?;
    let draft = laboratory.draft_issue(&by, &order, concat!("darkline ", env!("CARGO_PKG_VERSION")))?;
    let path = options.output.clone().unwrap_or_else(|| PathBuf::from(format!("{}.pdf", draft.report)));
    let mut file = super::new_file(&path)?;
    talk::tell(&format!("You issue report {} as {by}; what is issued is superseded, never taken back.", draft.report));
    let prepared = || -> Result<_, Failure> {
        secret::confirm(everywhere, order.as_str(), options.confirm.as_deref(), "issue")?;
        let passphrase = secret::passphrase(everywhere, by.as_str(), options.key_file.as_deref())?;
        let issued = issued(&laboratory, &draft);
        let record = record(&draft.evaluated.package, &draft.evaluated.outcome, &issued);
        let report = compose(&draft.evaluated.package, &draft.evaluated.outcome, &issued);
        let document = darkline_report::render(&report, &record).map_err(Failure::told)?;
        Ok((passphrase, record, document))
    };
    let (passphrase, record, document) = prepared().inspect_err(|_| {
        let _ = std::fs::remove_file(&path);
    })?;
    let issue = laboratory.issue(&draft, &record, &document, &passphrase).inspect_err(|_| {
        let _ = std::fs::remove_file(&path);
    })?;
    super::fill(&mut file, &path, &document)?;
    if everywhere.json {
        talk::print_json(&IssueLine {
            schema: "darkline/issue/1",
            order: order.as_str(),
            report: &issue.report,
            entry: issue.entry,
            file: path.display().to_string(),
            sha256: issue.document.to_string(),
        })?;
    }
    talk::tell(&format!("entry {}: report {} issued by {by}.", issue.entry, issue.report));
    talk::tell(&format!("{} written, {} kB", path.display(), document.len().div_ceil(1000)));
    talk::tell(&format!("Next: darkline archive {order} --as NAME"));
    Ok(Ending::Done)
}

/// What the record says about an issue, for the report.
pub fn issued(laboratory: &Laboratory, draft: &IssueDraft) -> Issued {
    Issued {
        report: draft.report.clone(),
        supersedes: draft.supersedes.clone(),
        at: draft.at.to_string(),
        signatures: signatures(laboratory.state(), &draft.signatures),
        issued_by: draft.by.to_string(),
        size: draft.size,
        root: draft.root.to_string(),
        laboratory: laboratory.state().laboratory.clone(),
        program: draft.program.clone(),
    }
}

/// Signatures with the names and keys of their people.
pub fn signatures(state: &darkline_laboratory::state::State, given: &[darkline_laboratory::state::SignatureState]) -> Vec<SignedBy> {
    given
        .iter()
        .map(|signature| {
            let person = state.people.get(&signature.by);
            SignedBy {
                name: person.map_or_else(|| signature.by.to_string(), |person| format!("{} ({})", person.full_name, person.id)),
                roles: person.map_or_else(String::new, |person| person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", ")),
                meaning: signature.meaning.words().into(),
                at: signature.at.clone(),
                key: person.and_then(|person| person.public_key.as_ref()).map_or_else(String::new, |key| key.fingerprint().to_string()),
            }
        })
        .collect()
}
