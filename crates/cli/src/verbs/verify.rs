//! `darkline verify`: an archive by itself, or the whole record.

use std::cell::RefCell;
use std::path::Path;

use darkline_audit_trail::{BlobDigest, Checkpoint, verify_trail};
use darkline_evaluation::outcome::Outcome;
use darkline_exchange::fault::{Fault, Faults};
use darkline_exchange::text_file;
use darkline_laboratory::state::{IssueState, State};
use darkline_laboratory::verification::{self, Check, Contents};
use darkline_laboratory::{Laboratory, SignatureMeaning};
use darkline_record::identity::OrderId;
use darkline_record::package::DataPackage;
use darkline_report::composing::{Issued, compose, record};
use serde::Serialize;

use super::count;
use crate::bench;
use crate::command_line::{Everywhere, Verify};
use crate::embedded_record::embedded_record;
use crate::ending::{Ending, Failure};
use crate::paragraph::{self, WIDTH};
use crate::progress::Progress;
use crate::talk;

/// Largest archive read.
pub(super) const LARGEST: u64 = 4 << 30;
/// Longer than any checkpoint.
const LARGEST_CHECKPOINT: u64 = 16 << 10;

/// Checks of an archive that nobody holds against anything: manifest, entries, root, held, pulses, evaluation, signatures, report,
/// files, digits.
const N_CHECKS: usize = 10;

#[derive(Serialize)]
struct CheckLine<'a> {
    schema: &'static str,
    check: &'a str,
    found: &'a str,
    faults: &'a [String],
}

#[derive(Serialize)]
struct VerificationLine<'a> {
    schema: &'static str,
    what: String,
    intact: bool,
    order: Option<&'a str>,
    report: Option<&'a str>,
    bench_key: Option<String>,
}

pub fn run(everywhere: &Everywhere, options: &Verify) -> Result<Ending, Failure> {
    match &options.archive {
        Some(path) => archive(everywhere, options, path),
        None => trail(everywhere, options),
    }
}

fn archive(everywhere: &Everywhere, options: &Verify, path: &Path) -> Result<Ending, Failure> {
    let shown = path.display().to_string();
    let bytes = text_file::read_bytes(path, &shown, LARGEST)?;
    if bytes.is_empty() {
        return Err(Faults::one(Fault::of_file(&shown, "the file is empty", "fetch it again")).into());
    }
    let in_hand = match &options.report {
        Some(path) => Some(text_file::read_bytes(path, &path.display().to_string(), LARGEST)?),
        None => None,
    };
    let since = earlier(options)?;
    let progress = RefCell::new(Progress::new("checks", N_CHECKS));
    let (mut n_done, mut gone) = (0, None);
    let mut tell = |check: &Check| {
        n_done += 1;
        progress.borrow_mut().done(n_done);
        if let Err(fault) = progress.borrow().beside(|| show(everywhere, check)) {
            gone = Some(fault);
        }
    };
    let mut found = verification::verify(&bytes, &mut tell).map_err(|no_archive| {
        Failure::with_hint(
            format!("{shown}: {no_archive}"),
            "name the file that darkline archive wrote, as it was written",
        )
    })?;
    let mut more = Vec::new();
    if let Some(contents) = &found.contents {
        more.push(digits(contents));
        more.extend(in_hand.map(|report| report_in_hand(contents, &report)));
    }
    if let (Some(earlier), Some(_)) = (&since, &found.contents) {
        more.push(verification::archive_since(&bytes, earlier));
    }
    if let Some(wanted) = &options.bench_key {
        more.push(bench_key(wanted, found.signed_by.map(|key| key.to_string())));
    }
    for check in more {
        tell(&check);
        found.checks.push(check);
    }
    drop(progress);
    if let Some(fault) = gone {
        return Err(fault);
    }
    let issue = found.contents.as_ref().and_then(issue_of);
    if everywhere.json {
        talk::print_json(&VerificationLine {
            schema: "darkline/verification/1",
            what: shown.clone(),
            intact: found.is_intact(),
            order: found.contents.as_ref().map(|contents| contents.order.as_str()),
            report: issue.map(|issue| issue.report.as_str()),
            bench_key: found.signed_by.map(|key| key.to_string()),
        })?;
    }
    if !found.is_intact() {
        let faults: usize = found.checks.iter().map(|check| check.faults.len()).sum();
        talk::tell(&format!("{shown} is not as it was issued: {}", count(faults, "fault")));
        if found.contents.is_none()
            && found.checks.iter().any(|check| check.what == "manifest" && !check.faults.is_empty())
        {
            talk::tell("If it was unpacked and packed again, it is another file: ask for the one that was written.");
        }
        return Ok(Ending::Stopped);
    }
    if let (Some(contents), Some(issue)) = (&found.contents, issue) {
        talk::tell(&format!("{shown}: report {} of order {} is as it was issued.", issue.report, contents.order));
        if let (Some(key), None) = (found.signed_by, &options.bench_key) {
            talk::tell(&format!("Signed by bench {key}: compare it with the key that the laboratory publishes."));
        }
    }
    Ok(Ending::Done)
}

fn issue_of(contents: &Contents) -> Option<&IssueState> {
    contents.state.orders.get(&contents.order)?.issues.last()
}

/// Sets the report again from the outcome that was worked out again, and compares every digit.
fn digits(contents: &Contents) -> Check {
    let Contents { order, state, package, outcome, .. } = contents;
    let Some(issue) = issue_of(contents) else {
        return Check { what: "digits", found: String::new(), faults: vec!["no report was issued".into()] };
    };
    let issued = issued(state, order, issue);
    let again = record(package, outcome, &issued);
    let mut faults: Vec<String> = record_faults(&again, &contents.record).into_iter().collect();
    match embedded_record(&contents.report) {
        Ok(inside) if inside == contents.record => {}
        Ok(_) => faults.push("the record inside report.pdf is not record.json".into()),
        Err(fault) => faults.push(format!("report.pdf: {fault}")),
    }
    let mut words = words(outcome);
    let shown = DataPackage { order: contents.shown.clone(), ..package.clone() };
    match darkline_report::render(&compose(&shown, outcome, &issued), &again) {
        Ok(document) if document == contents.report => words.push_str("; the report sets to the same bytes"),
        Ok(_) if !faults.is_empty() => {}
        Ok(_) if issue.setting.as_deref() == Some(darkline_report::SETTING) => {
            faults.push(format!("report.pdf is not what {} sets from this package", issue.program));
        }
        // Another program, or another build of this one, may set the same text otherwise: the report is then held by its
        // digest, which the issuer signed, and by the record inside it.
        Ok(_) => words.push_str(&format!(
            "; {} set the report with another setting than this program has, so it is held by its digest alone",
            issue.program
        )),
        Err(error) => faults.push(error.to_string()),
    }
    Check { what: "digits", found: words, faults }
}

/// The digits of an archive, where it can be read so far.
pub(super) fn digits_of(archive: &[u8]) -> Option<Check> {
    let found = verification::verify(archive, &mut |_| {}).ok()?;
    found.contents.as_ref().map(digits)
}

fn words(outcome: &Outcome) -> String {
    format!("{}, every digit as reported", count(outcome.results.len(), "result"))
}

fn record_faults(again: &[u8], found: &[u8]) -> Option<String> {
    if again == found {
        return None;
    }
    let at = again.iter().zip(found).position(|(a, b)| a != b).unwrap_or_else(|| again.len().min(found.len()));
    Some(format!("record.json differs from what the package gives, from byte {at} on"))
}

/// What the record says about an issue, for setting its report again.
fn issued(state: &State, order: &OrderId, issue: &IssueState) -> Issued {
    let known = state.orders.get(order);
    let given: Vec<_> = SignatureMeaning::ALL
        .into_iter()
        .filter_map(|meaning| {
            known.and_then(|known| known.signature_before(meaning, &issue.outcome, issue.entry)).cloned()
        })
        .collect();
    // Reports from before settings were told apart say neither what changed nor who justified.
    let says_more = issue.setting.is_some();
    let earlier = known.and_then(|known| known.issues.iter().rev().find(|earlier| earlier.entry < issue.entry));
    let changes = earlier.filter(|_| says_more).map(|earlier| state.changes_between(order, earlier.entry, issue.entry));
    Issued {
        report: issue.report.clone(),
        supersedes: issue.supersedes.clone(),
        at: issue.at.clone(),
        signatures: super::issue::signatures(&given),
        issued_by: issue.by.to_string(),
        size: issue.size,
        root: issue.root.to_string(),
        laboratory: issue.laboratory.clone(),
        program: issue.program.clone(),
        because: issue.because.clone(),
        changes: changes.unwrap_or_default(),
        justified_by: if says_more { state.justified_by(order, issue.entry) } else { Default::default() },
    }
}

fn report_in_hand(contents: &Contents, report: &[u8]) -> Check {
    let faults = if *report == contents.report {
        Vec::new()
    } else {
        vec!["the report in hand is another file than report.pdf".into()]
    };
    Check { what: "in hand", found: "the report in hand is report.pdf, byte for byte".into(), faults }
}

fn bench_key(wanted: &str, signed_by: Option<String>) -> Check {
    let bare = |key: &str| key.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_lowercase();
    let faults = match &signed_by {
        Some(key) if bare(key) == bare(wanted) => Vec::new(),
        Some(key) => vec![format!("bench {key} signed this archive, not {wanted}")],
        None => vec![format!("nobody known signed this archive, so not {wanted} either")],
    };
    Check { what: "bench key", found: format!("{}, as named", signed_by.unwrap_or_default()), faults }
}

/// The checkpoint from an earlier audit.
fn earlier(options: &Verify) -> Result<Option<Checkpoint>, Failure> {
    let Some(path) = &options.since else { return Ok(None) };
    let shown = path.display().to_string();
    let bytes = text_file::read_bytes(path, &shown, LARGEST_CHECKPOINT)?;
    let text = String::from_utf8_lossy(&bytes);
    let checkpoint = Checkpoint::from_text(&text).map_err(|fault| {
        Failure::with_hint(format!("{shown}: {fault}"), "name the file that darkline checkpoint -o wrote")
    })?;
    Ok(Some(checkpoint))
}

fn trail(everywhere: &Everywhere, options: &Verify) -> Result<Ending, Failure> {
    let store = bench::store(everywhere)?;
    let since = earlier(options)?;
    let report = verify_trail(store.as_ref(), store.log()).map_err(Failure::told)?;
    let root = report.root.map_or_else(|| "none".into(), |root| root.to_string());
    let mut checks = vec![
        Check {
            what: "entries",
            found: format!("{} and {} as hashed", entries(report.n_entries), blobs(report.n_blobs)),
            faults: report.faults.iter().map(ToString::to_string).collect(),
        },
        Check { what: "root", found: format!("{root}, {} checkpoints", report.n_checkpoints), faults: Vec::new() },
    ];
    if let Some(earlier) = &since {
        let (check, proof) = verification::record_since(store.as_ref(), earlier).map_err(Failure::told)?;
        checks.push(check);
        if let (Some(path), Some(proof)) = (&options.proof, proof) {
            super::put_out(path, &proof.to_text())?;
        }
    }
    for check in &checks {
        show(everywhere, check)?;
    }
    if report.is_intact() {
        let laboratory = Laboratory::over(store)?;
        let others = laboratory.check_other_logs()?;
        let mut more = vec![laboratory.check_signatures()?, reports(&laboratory)?];
        more.extend(restored(&laboratory)?);
        more.extend(others);
        for check in more {
            show(everywhere, &check)?;
            checks.push(check);
        }
    }
    for step in &report.clock_steps {
        talk::tell(&format!("  {step}"));
    }
    let intact = checks.iter().all(|check| check.faults.is_empty());
    if everywhere.json {
        let what = bench::trail(everywhere).display().to_string();
        let schema = "darkline/verification/1";
        talk::print_json(&VerificationLine { schema, what, intact, order: None, report: None, bench_key: None })?;
    }
    Ok(if intact { Ending::Done } else { Ending::Stopped })
}

/// Archives that were brought back, checked as by themselves; none where there are none.
fn restored(laboratory: &Laboratory) -> Result<Option<Check>, Failure> {
    let checked = laboratory.check_restored()?;
    if checked.is_empty() {
        return Ok(None);
    }
    let mut faults = Vec::new();
    for (order, found) in &checked {
        faults.extend(found.iter().map(|fault| format!("order {order}: {fault}")));
        if let Some(digits) = laboratory.restored_archive(order)?.as_deref().and_then(digits_of) {
            faults.extend(digits.faults.iter().map(|fault| format!("order {order}: {fault}")));
        }
    }
    let n = checked.len();
    let archives = if n == 1 { "1 archive".to_owned() } else { format!("{n} archives") };
    let found = format!("{archives} as issued, each checked by itself");
    Ok(Some(Check { what: "restored", found, faults }))
}

/// Works out every order again whose report stands, and compares every digit of the record that was kept.
pub(super) fn reports(laboratory: &Laboratory) -> Result<Check, Failure> {
    let (mut n_as_reported, mut n_results, mut changed, mut faults) = (0, 0, Vec::new(), Vec::new());
    for (order, known) in &laboratory.state().orders {
        let Some(issue) = known.issues.last() else { continue };
        let evaluated = laboratory.evaluate(order)?;
        let (package, outcome) = (&evaluated.package, &evaluated.outcome);
        if outcome.digest() != issue.outcome {
            if laboratory.state().changed_since(order, issue, &outcome.package) {
                changed.push(order.to_string());
            } else {
                let (now, then) = (outcome.digest(), &issue.outcome);
                faults
                    .push(format!("report {}: evaluated again it gives {now}, it was issued for {then}", issue.report));
            }
            continue;
        }
        let kept = laboratory.store().blob(&BlobDigest::from_bytes(*issue.record.as_bytes())).map_err(Failure::told)?;
        let again = record(package, outcome, &issued(laboratory.state(), order, issue));
        match kept.as_deref().map(|kept| record_faults(&again, kept)) {
            Some(None) => (n_as_reported, n_results) = (n_as_reported + 1, n_results + outcome.results.len()),
            Some(Some(fault)) => faults.push(format!("report {}: {fault}", issue.report)),
            None => faults.push(format!("report {}: its record is not kept", issue.report)),
        }
    }
    let mut found = Vec::new();
    if n_as_reported > 0 || changed.is_empty() {
        let (reports, results) = (count(n_as_reported, "report"), count(n_results, "result"));
        found.push(format!("{reports} with {results}, every digit as reported"));
    }
    if !changed.is_empty() {
        found.push(format!("changed since its last report: {}", changed.join(", ")));
    }
    Ok(Check { what: "digits", found: found.join("; "), faults })
}

fn entries(n: u64) -> String {
    if n == 1 { "1 entry".into() } else { format!("{n} entries") }
}

fn blobs(n: u64) -> String {
    if n == 1 { "1 blob".into() } else { format!("{n} blobs") }
}

pub(super) fn show(everywhere: &Everywhere, check: &Check) -> Result<(), Failure> {
    let Check { what, found, faults } = check;
    if everywhere.json {
        return talk::print_json(&CheckLine { schema: "darkline/check/1", check: what, found, faults });
    }
    let lines = |mark: char, text: &str| {
        let head = format!("{mark} {what:<11} ");
        let below = " ".repeat(14);
        let lines = paragraph::lines(text, WIDTH - 14);
        let lines = lines
            .iter()
            .enumerate()
            .map(|(place, line)| format!("{}{line}\n", if place == 0 { &head } else { &below }));
        lines.collect::<String>()
    };
    if faults.is_empty() {
        return talk::print(&lines('●', found));
    }
    talk::print(&faults.iter().map(|fault| lines('▲', fault)).collect::<String>())
}
