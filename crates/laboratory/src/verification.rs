//! Verification by a stranger: of an archive by itself (manifest, entries, root, signatures, evaluation, every file), and of
//! the signatures of a whole record.
//!
//! What cannot be seen from an archive alone is whose bench it comes from: somebody who makes new keys for everybody can
//! write another archive that is sound in itself. [`Verification::signed_by`] is the key to compare with what the laboratory
//! publishes.

pub use since::{archive_since, record_since};

mod signatures;
mod since;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::sync::Arc;

use darkline_audit_trail::keys::{Fingerprint, PublicKey};
use darkline_audit_trail::{Checkpoint, Entry, Hash, merkle};
use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::Outcome;
use darkline_exchange::bag::{self, Bag, BagFault};
use darkline_exchange::pulses;
use darkline_exchange::sealing::unsealed;
use darkline_record::canonical::{self, Digest};
use darkline_record::identity::OrderId;
use darkline_record::order::Order;
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;

use crate::act::Act;
use crate::apart;
use crate::archive::{self, EntryLine};
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::state::{IssueState, OrderState, Pulses, State};

/// Bytes that are no archive of a data package, so that there is nothing to check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this is no archive of a data package")]
pub struct NoArchive;

/// What a check of an archive found.
#[derive(Debug, Default)]
pub struct Verification {
    /// Checks in the order they were made, up to the first that nothing could be built on.
    pub checks: Vec<Check>,
    /// The key that signed the checkpoint, where it is among those the archive names.
    pub signed_by: Option<Fingerprint>,
    /// What the archive holds, where everything could be read.
    pub contents: Option<Contents>,
}

/// One check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// What was checked.
    pub what: &'static str,
    /// What was found where it is in order.
    pub found: String,
    /// What is not in order, and where.
    pub faults: Vec<String>,
}

/// What an archive holds.
#[derive(Debug)]
pub struct Contents {
    /// The order.
    pub order: OrderId,
    /// What the laboratory knew.
    pub state: State,
    /// The package.
    pub package: DataPackage,
    /// The outcome, worked out again.
    pub outcome: Outcome,
    /// The report as issued.
    pub report: Vec<u8>,
    /// The record inside it.
    pub record: Vec<u8>,
    /// The order with what was kept apart in its place: as the report shows it.
    pub shown: Order,
}

impl Verification {
    /// Whether nothing was found.
    pub fn is_intact(&self) -> bool {
        self.contents.is_some() && self.checks.iter().all(|check| check.faults.is_empty())
    }
}

/// Checks on their way: each is told as soon as it is made.
struct Checking<'a> {
    verification: Verification,
    told: &'a mut dyn FnMut(&Check),
}

impl Checking<'_> {
    fn check(&mut self, what: &'static str, found: String, faults: Vec<String>) {
        let check = Check { what, found, faults };
        (self.told)(&check);
        self.verification.checks.push(check);
    }
}

/// Checks an archive by itself.
///
/// # Arguments
/// * `bytes`: the archive.
/// * `told`: gets each check as soon as it is made.
///
/// # Errors
/// [`NoArchive`]: these bytes do not even begin like one. What is not in order in an archive is no error but a fault of a check.
pub fn verify(bytes: &[u8], told: &mut dyn FnMut(&Check)) -> Result<Verification, NoArchive> {
    let mut checking = Checking { verification: Verification::default(), told };
    match bag::read(bytes) {
        Ok(bag) => {
            let found = format!("{} files as listed, the archive in its canonical form", bag.payload.len());
            checking.check("manifest", found, Vec::new());
            if let Err(fault) = read_on(&mut checking, &bag) {
                checking.check("contents", String::new(), vec![fault]);
            }
        }
        Err(faults) if faults.listed().contains(&BagFault::NoArchive) => return Err(NoArchive),
        Err(faults) => {
            checking.check("manifest", String::new(), faults.to_string().lines().map(str::to_owned).collect());
        }
    }
    Ok(checking.verification)
}

fn read_on(checking: &mut Checking<'_>, bag: &Bag) -> Result<(), String> {
    let files = &bag.payload;
    let file = |name: &str| files.get(name).ok_or_else(|| format!("{name} is missing"));
    let text = |name: &str| std::str::from_utf8(file(name)?).map_err(|_| format!("{name} is not text"));

    let devices = text("devices.txt")?
        .lines()
        .map(|line| line.parse::<PublicKey>().map_err(|_| format!("devices.txt: {line:?} is no key")))
        .collect::<Result<Vec<PublicKey>, String>>()?;
    let checkpoint =
        Checkpoint::from_text(text("checkpoint.txt")?).map_err(|fault| format!("checkpoint.txt: {fault}"))?;
    let lines = text("entries.jsonl")?
        .lines()
        .enumerate()
        .map(|(place, line)| {
            serde_json::from_str::<EntryLine>(line)
                .map_err(|error| format!("entries.jsonl, line {}: {error}", place + 1))
        })
        .collect::<Result<Vec<EntryLine>, String>>()?;

    let (entries, faults) = check_entries(&lines);
    let n_with_content = entries.len();
    checking.check("entries", format!("{} entries, {n_with_content} of them of this order", lines.len()), faults);
    let leaves = check_root(checking, &lines, &checkpoint, &devices)?;

    let (mut state, mut acts) = (State::default(), Vec::new());
    for entry in &entries {
        state.fold(entry).map_err(|fault| fault.to_string())?;
        acts.push((entry.number, Act::read(entry).map_err(|fault| fault.to_string())?));
    }
    let (order, known) = issued_order(&state)?;
    let order = order.clone();
    checking.check("held", format!("{n_with_content} entries as archived"), held_faults(&lines, &acts, &order));
    let (pulses, faults) = read_pulses(&state, &order, files)?;
    checking.check("pulses", format!("{} as digested", counted(pulses.len(), "pulse")), faults);
    let package = state.package(&order, pulses).ok_or("the order was never opened for work")?;

    let issue = known.issues.last().ok_or("no report was issued")?;
    let outcome = evaluate(&package, &state.decisions_of(&order))
        .map_err(|fault| format!("{fault}; report {} was issued by {}: install that", issue.report, issue.program))?;
    checking.check("evaluation", format!("edition {}, outcome {}", outcome.edition, first_12(&outcome.digest())), {
        let mut faults = Vec::new();
        if outcome.digest() != issue.outcome {
            faults.push(format!(
                "evaluated again it gives {}, the report was issued for {}",
                outcome.digest(),
                issue.outcome
            ));
        }
        if canonical::bytes(&outcome) != *file("outcome.json")? {
            faults.push("outcome.json differs from what the evaluation gives".into());
        }
        faults
    });
    let mut faults = signatures::check(&order, known, &leaves);
    faults.extend(signatures::check_devices(&state, &order));
    let (n_signatures, n_issues) = (known.signatures.len(), known.issues.len());
    checking.check(
        "signatures",
        format!("{} and {}", counted(n_signatures, "signature"), counted(n_issues, "issue")),
        faults,
    );

    let (report, record) = (file("report.pdf")?.clone(), file("record.json")?.clone());
    checking.check("report", format!("report {} as issued", issue.report), check_report(issue, &report, &record));

    let mut apart_faults = Vec::new();
    let shown = match files.get(archive::IDENTITY) {
        None => package.order.clone(),
        Some(bytes) => match apart::read(&order, bytes) {
            Some(kept) => {
                let shown = unsealed(&package.order, &kept);
                if !apart::commitments(&shown).is_empty() || bytes != &apart::bytes(&order, &kept) {
                    apart_faults.push(format!("{} is not what the order was opened with", archive::IDENTITY));
                }
                shown
            }
            None => {
                apart_faults.push(format!("{} is not what the order was opened with", archive::IDENTITY));
                package.order.clone()
            }
        },
    };
    if files.contains_key(archive::IDENTITY) && apart::commitments(&package.order).is_empty() {
        apart_faults.push(format!("{} does not belong to the archive", archive::IDENTITY));
    }
    let mut wanted = archive::documents(&acts);
    let n_documents = wanted.len();
    wanted.insert("entries.jsonl".into(), lines.iter().map(EntryLine::text).collect::<String>().into_bytes());
    wanted.insert("devices.txt".into(), archive::devices_text(&devices).into_bytes());
    // Where the words of this file change, archives with the words of today must still be taken.
    wanted
        .insert("README.txt".into(), archive::readme(&order, &issue.report, &checkpoint.root.to_string()).into_bytes());
    let mut faults = check_files(&state, &order, files, &wanted);
    faults.extend(apart_faults);
    let rendering = acts.iter().rev().find_map(|(_, act)| match act {
        Act::Archive { rendering, .. } => Some(*rendering),
        _ => None,
    });
    let found = files.get(archive::RENDERING).map(|bytes| Digest::of(bytes));
    if rendering.flatten().is_some() && found.is_none() {
        faults.push(format!("{} is missing", archive::RENDERING));
    } else if rendering.flatten() != found {
        faults.push(format!("{} is not what was written when the order was archived", archive::RENDERING));
    }
    for ((label, value), (_, found)) in archive::info(&order, issue).iter().zip(&bag.info) {
        if value != found {
            faults.push(format!("bag-info.txt: {label} is {found:?}, the entries say {value:?}"));
        }
    }
    if bag.info.len() != archive::info(&order, issue).len() {
        faults.push("bag-info.txt has other lines than were written".into());
    }
    checking.check("files", format!("{} and all others as the entries say", counted(n_documents, "document")), faults);
    checking.verification.contents = Some(Contents { order, state, package, outcome, report, record, shown });
    Ok(())
}

/// The last entry says that the order was archived, and which entries stand here with their text: none was hidden behind its
/// hash since.
fn held_faults(lines: &[EntryLine], acts: &[(u64, Act)], archived: &OrderId) -> Vec<String> {
    let last = lines.last().map(|line| line.number);
    match acts.last() {
        Some((number, Act::Archive { order, holds, .. })) if Some(*number) == last && order == archived => {
            let numbers: Vec<u64> = lines.iter().filter(|line| line.stored.is_some()).map(|line| line.number).collect();
            let found = archive::ranges(&numbers);
            // Archives of earlier programs do not say which entries they hold.
            match holds {
                Some(holds) if *holds != found => {
                    vec![format!("entry {number} says that entries {holds} stand here with their text; it is {found}")]
                }
                _ => Vec::new(),
            }
        }
        _ => vec![format!("the last entry does not say that order {archived} was archived")],
    }
}

/// Reads the entries that are there and holds each against its leaf and its place.
fn check_entries(lines: &[EntryLine]) -> (Vec<Entry>, Vec<String>) {
    let (mut entries, mut faults) = (Vec::new(), Vec::new());
    for (place, line) in (0..).zip(lines) {
        if line.number != place {
            faults.push(format!(
                "entries.jsonl, line {}: entry {} stands where entry {place} should",
                place + 1,
                line.number
            ));
        }
        let Some(stored) = &line.stored else { continue };
        match Entry::from_stored_bytes(stored.as_bytes()) {
            Ok(entry) => {
                if entry.number != line.number {
                    faults.push(format!("entry {} says of itself that it is entry {}", line.number, entry.number));
                }
                if entry.leaf_hash().to_string() != line.leaf {
                    faults.push(format!("entry {} was changed: its hash is another", line.number));
                }
                entries.push(entry);
            }
            Err(fault) => faults.push(format!("entry {}: {fault}", line.number)),
        }
    }
    (entries, faults)
}

fn check_root(
    checking: &mut Checking<'_>,
    lines: &[EntryLine],
    checkpoint: &Checkpoint,
    devices: &[PublicKey],
) -> Result<Vec<Hash>, String> {
    let leaves: Vec<Hash> = lines
        .iter()
        .map(|line| {
            line.leaf.parse().map_err(|_| format!("entries.jsonl: the leaf of entry {} is no hash", line.number))
        })
        .collect::<Result<_, String>>()?;
    let mut faults = Vec::new();
    let root = merkle::root(&leaves);
    let size = u64::try_from(leaves.len()).unwrap_or(u64::MAX);
    if size != checkpoint.size {
        faults.push(format!("{size} entries are there, checkpoint.txt is over {}", checkpoint.size));
    }
    if root != checkpoint.root {
        faults.push(format!("the entries give the root {root}, checkpoint.txt says {}", checkpoint.root));
    }
    match devices.iter().find(|key| key.fingerprint() == checkpoint.key) {
        None => faults.push(format!("checkpoint.txt is signed by {}, which devices.txt does not name", checkpoint.key)),
        Some(key) => match checkpoint.verify(key) {
            Ok(()) => checking.verification.signed_by = Some(checkpoint.key),
            Err(fault) => faults.push(format!("checkpoint.txt: {fault}")),
        },
    }
    let found = format!("root {} over {size} entries, signed by bench {}", first_12(&checkpoint.root), checkpoint.key);
    checking.check("root", found, faults);
    Ok(leaves)
}

fn issued_order(state: &State) -> Result<(&OrderId, &OrderState), String> {
    let mut issued = state.orders.iter().filter(|(_, known)| !known.issues.is_empty());
    match (issued.next(), issued.next()) {
        (Some(one), None) => Ok(one),
        (None, _) => Err("no entry issues a report".into()),
        (Some(_), Some(_)) => Err("reports of several orders are issued in one archive".into()),
    }
}

fn read_pulses(
    state: &State,
    order: &OrderId,
    files: &BTreeMap<String, Vec<u8>>,
) -> Result<(Pulses, Vec<String>), String> {
    let (mut found, mut faults): (Pulses, _) = (BTreeMap::new(), Vec::new());
    for run in state.runs_of(order) {
        let wanted: Vec<(u32, Digest)> = run
            .run
            .readings
            .iter()
            .filter_map(|reading| match reading.signal {
                Signal::Pulse(digest) => Some((reading.number, digest)),
                _ => None,
            })
            .collect();
        if wanted.is_empty() {
            continue;
        }
        let name = pulse_file(run.run.id.as_str());
        let bytes = files.get(&name).ok_or_else(|| format!("{name} is missing"))?;
        let mut brought = pulses::read(&name, bytes.clone()).map_err(|faults| faults.to_string())?;
        for (number, digest) in wanted {
            match brought.remove(&number) {
                Some(pulse) if pulse.digest() == digest => {
                    found.insert(digest, Arc::new(pulse));
                }
                Some(_) => {
                    faults.push(format!("{name}: the pulse of reading {number} was changed: its digest is another"))
                }
                None => faults.push(format!("{name}: the pulse of reading {number} is missing")),
            }
        }
        faults.extend(brought.keys().map(|number| format!("{name}: no entry brings a pulse of reading {number}")));
    }
    Ok((found, faults))
}

fn pulse_file(run: &str) -> String {
    format!("pulses/{run}.parquet")
}

fn check_report(issue: &IssueState, report: &[u8], record: &[u8]) -> Vec<String> {
    let mut faults = Vec::new();
    if Digest::of(report) != issue.document {
        faults.push(format!("report.pdf is not the report that was issued as {}", issue.report));
    }
    if Digest::of(record) != issue.record {
        faults.push(format!("record.json is not the record of the report that was issued as {}", issue.report));
    }
    faults
}

/// Holds the files that follow from the entries against them, and tells those that do not belong.
fn check_files(
    state: &State,
    order: &OrderId,
    files: &BTreeMap<String, Vec<u8>>,
    wanted: &BTreeMap<String, Vec<u8>>,
) -> Vec<String> {
    let mut faults = Vec::new();
    for (name, bytes) in wanted {
        match files.get(name) {
            None => faults.push(format!("{name} is missing")),
            Some(found) if found != bytes => {
                let at =
                    bytes.iter().zip(found).position(|(a, b)| a != b).unwrap_or_else(|| bytes.len().min(found.len()));
                faults.push(format!("{name} differs from what the entries say, from byte {at} on"));
            }
            Some(_) => {}
        }
    }
    // Looked at one by one above.
    let mut known: BTreeSet<String> =
        ["report.pdf", "record.json", "outcome.json", "checkpoint.txt", archive::RENDERING, archive::IDENTITY]
            .map(str::to_owned)
            .into();
    let has_pulses = |run: &&crate::state::RunState| {
        run.run.readings.iter().any(|reading| matches!(reading.signal, Signal::Pulse(_)))
    };
    known.extend(state.runs_of(order).into_iter().filter(has_pulses).map(|run| pulse_file(run.run.id.as_str())));
    let strange = files.keys().filter(|name| !wanted.contains_key(*name) && !known.contains(*name));
    faults.extend(strange.map(|name| format!("{name} does not belong to the archive")));
    faults
}

impl Laboratory {
    /// Checks the signatures of all orders of the record.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`]: the record cannot be read. What does not hold is a fault of the check.
    pub fn check_signatures(&self) -> Result<Check, LaboratoryError> {
        let mut leaves = Vec::new();
        self.store().leaves(self.store().log(), 0, &mut |_, leaf| {
            leaves.push(leaf);
            ControlFlow::Continue(())
        })?;
        let (mut n_signatures, mut n_issues, mut faults) = (0, 0, Vec::new());
        for (order, known) in &self.state().orders {
            n_signatures += known.signatures.len();
            n_issues += known.issues.len();
            let mut found = signatures::check(order, known, &leaves);
            found.extend(signatures::check_devices(self.state(), order));
            faults.extend(found.into_iter().map(|fault| format!("order {order}: {fault}")));
        }
        let found = format!("{} and {}", counted(n_signatures, "signature"), counted(n_issues, "issue"));
        Ok(Check { what: "signatures", found, faults })
    }
}

fn counted(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

fn first_12(hash: &impl ToString) -> String {
    hash.to_string().chars().take(12).collect()
}
