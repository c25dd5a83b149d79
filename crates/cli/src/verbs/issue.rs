//! `darkline issue`: the report of a signed order as PDF/A, kept in the record byte for byte.

use std::path::{Path, PathBuf};

use darkline_audit_trail::people::Verb;
use darkline_laboratory::state::{IssueState, SignatureState};
use darkline_laboratory::{IssueDraft, Laboratory};
use darkline_record::identity::OrderId;
use darkline_report::composing::{Issued, SignedBy, compose, record};
use serde::Serialize;

use super::order;
use crate::bench;
use crate::command_line::{Everywhere, Issue};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
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
    if let Some((issue, document)) = laboratory.issued(&order)? {
        return again(everywhere, options, &order, &issue, &document);
    }
    let because = options.because.as_deref().map(super::reason).transpose()?;
    let drafted = laboratory.draft_issue(&by, &order, bench::PROGRAM, darkline_report::SETTING, because.as_ref());
    let draft = drafted.inspect_err(|error| {
        laboratory.note_refused(&by, Verb::Issue, Some(&order), error);
    })?;
    let path = path(options, &draft.report);
    let file = NewFile::at(&path)?;
    let supersedes =
        draft.supersedes.as_ref().map_or_else(String::new, |earlier| format!(", which supersedes {earlier}"));
    talk::tell(&format!(
        "As {by} you {}issue report {}{supersedes}; what is issued is superseded, never taken back.",
        if draft.approves { "approve these results and " } else { "" },
        draft.report
    ));
    if let Some(statement) = &laboratory.state().statement {
        talk::tell(&format!("By signing: {statement}"));
    }
    secret::confirm(everywhere, order.as_str(), options.confirm.as_deref(), "issue")?;
    let passphrase = secret::passphrase(everywhere, by.as_str(), options.key_file.as_deref())?;
    let issued = issued(&laboratory, &draft);
    let record = record(&draft.evaluated.package, &draft.evaluated.outcome, &issued);
    let shown = laboratory.shown(&draft.evaluated.package)?;
    let report = compose(&shown, &draft.evaluated.outcome, &issued);
    let document = darkline_report::render(&report, &record).map_err(Failure::told)?;
    let issue = laboratory.issue(&draft, &record, &document, passphrase)?;
    talk::tell(&format!("entry {}: report {} issued by {by}.", issue.entry, issue.report));
    file.fill(&document)?;
    if everywhere.json {
        print_line(&order, &issue.report, issue.entry, &path, &issue.document.to_string())?;
    }
    tell_written(&order, &path, &document);
    Ok(Ending::Done)
}

/// The same results are not issued twice; their report is written again from the record, byte for byte.
fn again(
    everywhere: &Everywhere,
    options: &Issue,
    order: &OrderId,
    issue: &IssueState,
    document: &[u8],
) -> Result<Ending, Failure> {
    let path = path(options, &issue.report);
    let is_there = std::fs::read(&path).is_ok_and(|found| found == document);
    if !is_there {
        NewFile::at(&path)?.fill(document)?;
    }
    if everywhere.json {
        print_line(order, &issue.report, issue.entry, &path, &issue.document.to_string())?;
    }
    talk::tell(&format!(
        "these results are issued already, as report {} by {} in entry {}; nothing was appended",
        issue.report, issue.by, issue.entry
    ));
    match is_there {
        true => talk::tell(&format!("{} is that report, byte for byte", path.display())),
        false => tell_written(order, &path, document),
    }
    Ok(Ending::Done)
}

fn path(options: &Issue, report: &str) -> PathBuf {
    options.output.clone().unwrap_or_else(|| PathBuf::from(format!("{report}.pdf")))
}

fn tell_written(order: &OrderId, path: &Path, document: &[u8]) {
    talk::tell(&format!("{} written, {} kB", path.display(), document.len().div_ceil(1000)));
    talk::tell(&format!("Next: darkline archive {order} --as NAME"));
}

fn print_line(order: &OrderId, report: &str, entry: u64, path: &Path, sha256: &str) -> Result<(), Failure> {
    let (order, file, sha256) = (order.as_str(), path.display().to_string(), sha256.to_owned());
    talk::print_json(&IssueLine { schema: "darkline/issue/1", order, report, entry, file, sha256 })
}

/// What the record says about an issue, for the report.
pub fn issued(laboratory: &Laboratory, draft: &IssueDraft) -> Issued {
    Issued {
        report: draft.report.clone(),
        supersedes: draft.supersedes.clone(),
        at: draft.at.to_string(),
        signatures: signatures(&draft.signatures),
        issued_by: draft.by.to_string(),
        size: draft.size,
        root: draft.root.to_string(),
        laboratory: laboratory.state().laboratory.clone(),
        program: draft.program.clone(),
        because: draft.because.as_ref().map(ToString::to_string),
        changes: draft.changes.clone(),
        justified_by: draft.justified_by.clone(),
    }
}

/// Signatures with the names and keys of their people as they were when they signed.
pub fn signatures(given: &[SignatureState]) -> Vec<SignedBy> {
    given
        .iter()
        .map(|signature| {
            let person = signature.person.as_ref();
            SignedBy {
                name: person
                    .map_or_else(|| signature.by.to_string(), |person| format!("{} ({})", person.full_name, person.id)),
                roles: person.map_or_else(String::new, |person| {
                    person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", ")
                }),
                meaning: signature.meaning.words().into(),
                at: signature.at.clone(),
                key: person
                    .and_then(|person| person.public_key.as_ref())
                    .map_or_else(String::new, |key| key.fingerprint().to_string()),
            }
        })
        .collect()
}
