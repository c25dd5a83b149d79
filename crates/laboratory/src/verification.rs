//! Verification of an archive by a stranger: manifest, entries, root, signatures, evaluation, every digit.

use std::collections::BTreeMap;
use std::sync::Arc;

use darkline_audit_trail::keys::{PublicKey, Signature};
use darkline_audit_trail::{Checkpoint, Entry, Hash, PersonId, Timestamp, merkle};
use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::Outcome;
use darkline_exchange::{bag, pulses};
use darkline_record::canonical::{self, Digest};
use darkline_record::identity::OrderId;
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;

use crate::archive::EntryLine;
use crate::issuing::issue_meaning;
use crate::signing::{SignatureMeaning, SignedFacts, signature_text};
use crate::state::{IssueState, OrderState, Pulses, State};

/// What a check of an archive found.
#[derive(Debug)]
pub struct Verification {
    /// Checks in the order they were made, up to the first that nothing could be built on.
    pub checks: Vec<Check>,
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
    /// Keys of the benches, as the archive names them: compare them with the report in hand.
    pub devices: Vec<PublicKey>,
}

impl Verification {
    /// Whether nothing was found.
    pub fn is_intact(&self) -> bool {
        self.contents.is_some() && self.checks.iter().all(|check| check.faults.is_empty())
    }

    fn check(&mut self, what: &'static str, found: String, faults: Vec<String>) -> bool {
        let is_sound = faults.is_empty();
        self.checks.push(Check { what, found, faults });
        is_sound
    }
}

/// Checks an archive by itself.
///
/// # Arguments
/// * `bytes`: the archive.
pub fn verify(bytes: &[u8]) -> Verification {
    let mut verification = Verification { checks: Vec::new(), contents: None };
    let files = match bag::read(bytes) {
        Ok(bag) => bag.payload,
        Err(faults) => {
            verification.check("manifest", String::new(), faults.listed().iter().map(ToString::to_string).collect());
            return verification;
        }
    };
    verification.check("manifest", format!("{} files as listed, the archive in its canonical form", files.len()), Vec::new());
    if let Err(fault) = read_on(&mut verification, &files) {
        verification.check("contents", String::new(), vec![fault]);
    }
    verification
}

fn read_on(verification: &mut Verification, files: &BTreeMap<String, Vec<u8>>) -> Result<(), String> {
    let file = |name: &str| files.get(name).ok_or_else(|| format!("{name} is missing"));
    let text = |name: &str| std::str::from_utf8(file(name)?).map_err(|_| format!("{name} is not text"));

    let devices = text("devices.txt")?
        .lines()
        .map(|line| line.parse::<PublicKey>().map_err(|_| format!("devices.txt: {line:?} is no key")))
        .collect::<Result<Vec<PublicKey>, String>>()?;
    let checkpoint = Checkpoint::from_text(text("checkpoint.txt")?).map_err(|fault| format!("checkpoint.txt: {fault}"))?;
    let lines = text("entries.jsonl")?
        .lines()
        .enumerate()
        .map(|(place, line)| {
            serde_json::from_str::<EntryLine>(line).map_err(|error| format!("entries.jsonl, line {}: {error}", place + 1))
        })
        .collect::<Result<Vec<EntryLine>, String>>()?;

    let (entries, faults) = check_entries(&lines);
    let n_with_content = entries.len();
    verification.check("entries", format!("{} entries, {n_with_content} of them of this order", lines.len()), faults);
    check_root(verification, &lines, &checkpoint, &devices);

    let mut state = State::default();
    for entry in &entries {
        state.fold(entry).map_err(|fault| fault.to_string())?;
    }
    let (order, known) = issued_order(&state)?;
    let order = order.clone();
    let (pulses, faults) = read_pulses(&state, &order, files)?;
    verification.check("pulses", format!("{} pulses as digested", pulses.len()), faults);
    let package = state.package(&order, pulses).ok_or("the order was never opened for work")?;

    let issue = known.issues.last().ok_or("no report was issued")?;
    let outcome = evaluate(&package, &state.decisions_of(&order)).map_err(|fault| fault.to_string())?;
    verification.check("evaluation", format!("edition {}, outcome {}", outcome.edition, short(&outcome.digest())), {
        let mut faults = Vec::new();
        if outcome.digest() != issue.outcome {
            faults.push(format!("evaluated again it gives {}, the report was issued for {}", outcome.digest(), issue.outcome));
        }
        if canonical::bytes(&outcome) != *file("outcome.json")? {
            faults.push("outcome.json differs from what the evaluation gives".into());
        }
        faults
    });
    let faults = check_signatures(&state, &order, known, &lines, &outcome);
    verification.check("signatures", format!("{} signatures and {} issue", known.signatures.len(), known.issues.len()), faults);

    let (report, record) = (file("report.pdf")?.clone(), file("record.json")?.clone());
    let faults = check_report(issue, &report, &record);
    verification.check("report", format!("report {} as issued", issue.report), faults);
    verification.contents = Some(Contents { order, state, package, outcome, report, record, devices });
    Ok(())
}

/// Reads the entries that are there and holds each against its leaf and its place.
fn check_entries(lines: &[EntryLine]) -> (Vec<Entry>, Vec<String>) {
    let (mut entries, mut faults) = (Vec::new(), Vec::new());
    for (place, line) in (0..).zip(lines) {
        if line.number != place {
            faults.push(format!("entries.jsonl, line {}: entry {} stands where entry {place} should", place + 1, line.number));
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

fn check_root(verification: &mut Verification, lines: &[EntryLine], checkpoint: &Checkpoint, devices: &[PublicKey]) {
    let mut faults = Vec::new();
    let leaves: Option<Vec<Hash>> = lines.iter().map(|line| line.leaf.parse().ok()).collect();
    match leaves {
        None => faults.push("entries.jsonl: a leaf is no hash".into()),
        Some(leaves) => {
            let root = merkle::root(&leaves);
            let size = u64::try_from(leaves.len()).unwrap_or(u64::MAX);
            if size != checkpoint.size {
                faults.push(format!("{size} entries are there, the checkpoint is over {}", checkpoint.size));
            }
            if root != checkpoint.root {
                faults.push(format!("the entries give the root {root}, the checkpoint says {}", checkpoint.root));
            }
        }
    }
    let signed_by = devices.iter().find(|key| key.fingerprint() == checkpoint.key);
    match signed_by {
        None => faults.push(format!("the checkpoint is signed by {}, which devices.txt does not name", checkpoint.key)),
        Some(key) => faults.extend(checkpoint.verify(key).err().map(|fault| format!("checkpoint.txt: {fault}"))),
    }
    let found = format!("root {} over {} entries, signed by bench {}", short_hash(&checkpoint.root), checkpoint.size, checkpoint.key);
    verification.check("root", found, faults);
}

fn issued_order(state: &State) -> Result<(&OrderId, &OrderState), String> {
    let mut issued = state.orders.iter().filter(|(_, known)| !known.issues.is_empty());
    match (issued.next(), issued.next()) {
        (Some(one), None) => Ok(one),
        (None, _) => Err("no entry issues a report".into()),
        (Some(_), Some(_)) => Err("reports of several orders are issued in one archive".into()),
    }
}

fn read_pulses(state: &State, order: &OrderId, files: &BTreeMap<String, Vec<u8>>) -> Result<(Pulses, Vec<String>), String> {
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
        let name = format!("pulses/{}.parquet", run.run.id);
        let bytes = files.get(&name).ok_or_else(|| format!("{name} is missing"))?;
        let mut brought = pulses::read(&name, bytes.clone()).map_err(|faults| faults.to_string())?;
        for (number, digest) in wanted {
            match brought.remove(&number) {
                Some(pulse) if pulse.digest() == digest => {
                    found.insert(digest, Arc::new(pulse));
                }
                Some(_) => faults.push(format!("{name}: the pulse of reading {number} was changed: its digest is another")),
                None => faults.push(format!("{name}: the pulse of reading {number} is missing")),
            }
        }
    }
    Ok((found, faults))
}

/// A signature as an entry states it.
struct Stated<'a> {
    entry: u64,
    by: &'a PersonId,
    at: &'a str,
    meaning: &'a str,
    outcome: &'a Digest,
    package: &'a Digest,
    size: u64,
    root: &'a Hash,
    signature: &'a str,
}

impl Stated<'_> {
    /// Holds it against the key of its person, the facts it names and the root they name.
    fn faults(&self, state: &State, order: &OrderId, lines: &[EntryLine]) -> Vec<String> {
        let Self { entry, by, meaning, .. } = self;
        let who = format!("the signature of {by} in entry {entry} ({meaning})");
        let Some(key) = state.people.get(by).and_then(|person| person.public_key) else {
            return vec![format!("{who}: no key of {by} is in the archive")];
        };
        let (Ok(signature), Ok(at)) = (self.signature.parse::<Signature>(), self.at.parse::<Timestamp>()) else {
            return vec![format!("{who} is no signature")];
        };
        let mut faults = Vec::new();
        let facts = SignedFacts { outcome: self.outcome, package: self.package, size: self.size, root: self.root };
        let text = signature_text(order, meaning, by, &at, &facts);
        if key.verify_strict(text.as_bytes(), &signature).is_err() {
            faults.push(format!("{who} does not hold: what was signed or the signature was changed"));
        }
        let leaves: Option<Vec<Hash>> = usize::try_from(self.size)
            .ok()
            .and_then(|size| lines.get(..size))
            .and_then(|lines| lines.iter().map(|line| line.leaf.parse().ok()).collect());
        if leaves.is_none_or(|leaves| merkle::root(&leaves) != *self.root) {
            faults.push(format!("{who} names a root that the first {} entries do not give", self.size));
        }
        faults
    }
}

/// Checks every signature of the order, and that the outcome carries those of analyst and reviewer.
fn check_signatures(state: &State, order: &OrderId, known: &OrderState, lines: &[EntryLine], outcome: &Outcome) -> Vec<String> {
    let mut faults = Vec::new();
    for signature in &known.signatures {
        let stated = Stated {
            entry: signature.entry,
            by: &signature.by,
            at: &signature.at,
            meaning: signature.meaning.words(),
            outcome: &signature.outcome,
            package: &signature.package,
            size: signature.size,
            root: &signature.root,
            signature: &signature.signature,
        };
        faults.extend(stated.faults(state, order, lines));
    }
    for issue in &known.issues {
        let meaning = issue_meaning(&issue.report, &issue.record, &issue.document);
        // Earlier issues of a corrected report rest on an earlier package, which the signatures of that time name.
        let Some(signed) = known.signatures.iter().rev().find(|signature| signature.outcome == issue.outcome) else {
            faults.push(format!("report {} was issued for an outcome that nobody signed", issue.report));
            continue;
        };
        let stated = Stated {
            entry: issue.entry,
            by: &issue.by,
            at: &issue.at,
            meaning: &meaning,
            outcome: &issue.outcome,
            package: &signed.package,
            size: issue.size,
            root: &issue.root,
            signature: &issue.signature,
        };
        faults.extend(stated.faults(state, order, lines));
    }
    for meaning in [SignatureMeaning::Measured, SignatureMeaning::Reviewed] {
        if known.signature(meaning, &outcome.digest()).is_none() {
            faults.push(format!("nobody signed this outcome ({})", meaning.words()));
        }
    }
    faults
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

fn short(digest: &Digest) -> String {
    digest.to_string().chars().take(12).collect()
}

fn short_hash(hash: &Hash) -> String {
    hash.to_string().chars().take(12).collect()
}
