//! The archive of a data package: everything a report rests on, in one bag that needs nothing else to be checked.
//!
//! | file in `data/` | what it is |
//! |---|---|
//! | `README.txt` | what this is and how to check it, for a person |
//! | `report.pdf`, `record.json` | the report as issued, and the record inside it |
//! | `record.txt` | results, signatures and entries for people to read, up to the entry that says the order was archived |
//! | `identity.json` | whose order it is, where that is kept apart from the record |
//! | `outcome.json` | figures of the outcome, canonical |
//! | `entries.jsonl` | one line an entry of the log: number, leaf hash, and the entry itself where it belongs to the order |
//! | `checkpoint.txt` | size and root of the log, signed by the bench |
//! | `devices.txt` | public keys of the benches, hexadecimal, one a line |
//! | `pulses/RUN.parquet` | pulses by number of reading |
//! | `documents/…` | the documents as they were entered, for a person; the entries hold them too |
//!
//! Entries of other orders are there by their hash alone: their leaves are needed for the root, their content is nobody's
//! business.

mod rendering;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use darkline_audit_trail::keys::PublicKey;
use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{BlobDigest, Entry, PersonId};
use darkline_record::canonical;
use darkline_record::decision::Decision;
use darkline_record::identity::{MethodId, OrderId, RunId};
use darkline_record::pulse::Pulse;
use darkline_record::run::Signal;
use serde::{Deserialize, Serialize};

use crate::act::{Act, DocumentKind};
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::state::{IssueState, State};

/// The rendering for people, in `data/`.
pub(crate) const RENDERING: &str = "record.txt";
/// Whose order it is, in `data/`, where that is kept apart from the record.
pub(crate) const IDENTITY: &str = "identity.json";

/// One line of `entries.jsonl`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EntryLine {
    /// Number in the log.
    pub number: u64,
    /// Leaf hash, hexadecimal.
    pub leaf: String,
    /// The entry as stored, where it belongs to the order.
    pub stored: Option<String>,
}

/// Why no archive can be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ArchiveFault {
    /// A blob that the record names is not there.
    #[error("{what} is not in the record; the trail is damaged: verify it")]
    BlobMissing {
        /// Which.
        what: String,
    },
    /// The pulses of a run cannot be written.
    #[error("the pulses of run {run} cannot be written: {why}")]
    NotWritten {
        /// The run.
        run: String,
        /// Why.
        why: String,
    },
    /// The log has no checkpoint over its entries.
    #[error("no checkpoint is over the {size} entries of the log; the trail is damaged: verify it")]
    NoCheckpoint {
        /// How many entries there are.
        size: u64,
    },
    /// An entry is not text.
    #[error("entry {number} is not text; the trail is damaged: verify it")]
    NotText {
        /// Which.
        number: u64,
    },
}

/// What an archive is made of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Content {
    /// Files below `data/`.
    pub files: BTreeMap<String, Vec<u8>>,
    /// Lines of `bag-info.txt`.
    pub info: Vec<(String, String)>,
}

impl Laboratory {
    /// Brings together the archive of an order, and appends that it was archived.
    ///
    /// The entry that says so is appended first, so that the archive holds it.
    ///
    /// # Errors
    /// [`LaboratoryError::NotReady`]: the order has not been issued, or something changed since; [`LaboratoryError::Archive`].
    pub fn archive(&mut self, by: &PersonId, order: &OrderId) -> Result<Content, LaboratoryError> {
        self.admit(by, Verb::Archive, Some(order))?;
        let ready = self.package_files(order);
        let mut files = self.noting(by, Verb::Archive, Some(order), ready)?;
        let at = self.now();
        let size = self.size_after(&at);
        let rendering = self.rendering(order)?.into_bytes();
        let digest = canonical::Digest::of(&rendering);
        files.insert(RENDERING.to_owned(), rendering);
        let holds = Some(ranges(&self.held_with_text(order, size)?));
        self.append(by, &at, &[Act::Archive { order: order.clone(), size, rendering: Some(digest), holds }])?;
        files.extend(self.log_files(order)?);
        let issue = self.order(order)?.issues.last().expect("an order without a report was turned back above");
        Ok(Content { files, info: info(order, issue) })
    }

    /// The numbers of the entries that an archive of an order holds with their text, up to the one that says so itself.
    fn held_with_text(&self, order: &OrderId, size: u64) -> Result<Vec<u64>, LaboratoryError> {
        let belongs = Belonging::new(self.state(), order);
        let n_entries = self.state().n_entries;
        let mut numbers = Vec::new();
        self.store().scan(self.store().log(), 0, &mut |entry| {
            if entry.number >= n_entries {
                return ControlFlow::Break(());
            }
            numbers.extend(Act::read(entry).ok().filter(|act| belongs.has(act)).map(|_| entry.number));
            ControlFlow::Continue(())
        })?;
        numbers.extend(n_entries..size);
        Ok(numbers)
    }

    /// The report with what it says and the pulses it rests on.
    fn package_files(&self, order: &OrderId) -> Result<BTreeMap<String, Vec<u8>>, LaboratoryError> {
        let not_ready = |why: String| LaboratoryError::NotReady { order: order.clone(), act: "archived", why };
        let issue = self.order(order)?.issues.last().ok_or_else(|| not_ready("no report has been issued".into()))?;
        let evaluated = self.evaluate(order)?;
        if evaluated.outcome.digest() != issue.outcome {
            return Err(not_ready(format!(
                "something changed after report {} was issued; sign and issue it again",
                issue.report
            )));
        }
        let mut files = BTreeMap::new();
        files.insert("report.pdf".to_owned(), self.report_bytes(order, issue)?);
        let apart = self.apart_of(order)?;
        if !apart.is_empty() {
            files.insert(IDENTITY.to_owned(), crate::apart::bytes(order, &apart));
        }
        files.insert("record.json".to_owned(), self.kept(&issue.record, "the record of the report")?);
        files.insert("outcome.json".to_owned(), canonical::bytes(&evaluated.outcome));
        for (run, bytes) in self.pulse_files(order, &evaluated.package)? {
            files.insert(format!("pulses/{run}.parquet"), bytes);
        }
        Ok(files)
    }

    /// The entries with what closes them, and the documents they bring.
    fn log_files(&self, order: &OrderId) -> Result<BTreeMap<String, Vec<u8>>, LaboratoryError> {
        let belongs = Belonging::new(self.state(), order);
        // Up to our own last entry: what others append while this goes on has a checkpoint of its own.
        let size = self.state().n_entries;
        let (mut lines, mut acts, mut fault) = (Vec::new(), Vec::new(), None);
        let store = self.store();
        store.scan(store.log(), 0, &mut |entry| {
            if entry.number >= size {
                return ControlFlow::Break(());
            }
            let act = Act::read(entry).ok().filter(|act| belongs.has(act));
            match entry_line(entry, act.is_some()) {
                Ok(line) => {
                    lines.push(line);
                    acts.extend(act.map(|act| (entry.number, act)));
                    ControlFlow::Continue(())
                }
                Err(found) => {
                    fault = Some(found);
                    ControlFlow::Break(())
                }
            }
        })?;
        if let Some(fault) = fault {
            return Err(fault.into());
        }
        let mut files = documents(&acts);
        files.insert("entries.jsonl".to_owned(), lines.concat().into_bytes());
        let mut checkpoint = None;
        store.checkpoints(store.log(), size, &mut |found| {
            checkpoint = (found.size == size).then(|| found.clone());
            ControlFlow::Break(())
        })?;
        let checkpoint = checkpoint.ok_or(ArchiveFault::NoCheckpoint { size })?;
        files.insert("checkpoint.txt".to_owned(), checkpoint.to_text().into_bytes());
        files.insert("devices.txt".to_owned(), devices_text(&store.devices()?).into_bytes());
        let report = self.order(order)?.issues.last().map_or("", |issue| issue.report.as_str());
        files.insert("README.txt".to_owned(), readme(order, report, &checkpoint.root.to_string()).into_bytes());
        Ok(files)
    }

    /// Bytes that the record keeps under their digest.
    pub(crate) fn kept(&self, digest: &canonical::Digest, what: &str) -> Result<Vec<u8>, LaboratoryError> {
        let missing = ArchiveFault::BlobMissing { what: what.into() };
        Ok(self.store().blob(&BlobDigest::from_bytes(*digest.as_bytes()))?.ok_or(missing)?)
    }

    /// Whether an act concerns an order: by naming it, or by being about its documents, batches, runs or people.
    pub fn concerns(&self, act: &Act, order: &OrderId) -> bool {
        Belonging::new(self.state(), order).has(act)
    }

    fn pulse_files(
        &self,
        order: &OrderId,
        package: &darkline_record::package::DataPackage,
    ) -> Result<Vec<(RunId, Vec<u8>)>, LaboratoryError> {
        let mut found = Vec::new();
        for run in self.state().runs_of(order) {
            let mut pulses: BTreeMap<u32, Pulse> = BTreeMap::new();
            for reading in &run.run.readings {
                let Signal::Pulse(digest) = reading.signal else { continue };
                let pulse = package.pulses.get(&digest);
                let pulse = pulse.ok_or_else(|| LaboratoryError::PulseMissing { digest: digest.to_string() })?;
                pulses.insert(reading.number, Pulse::clone(pulse));
            }
            if !pulses.is_empty() {
                let bytes = darkline_exchange::pulses::write(&pulses).map_err(|fault| ArchiveFault::NotWritten {
                    run: run.run.id.to_string(),
                    why: fault.to_string(),
                })?;
                found.push((run.run.id.clone(), bytes));
            }
        }
        Ok(found)
    }
}

/// Which entries belong to an order.
struct Belonging<'a> {
    order: &'a OrderId,
    runs: BTreeSet<RunId>,
    batches: BTreeSet<String>,
    methods: BTreeSet<MethodId>,
}

impl<'a> Belonging<'a> {
    fn new(state: &State, order: &'a OrderId) -> Self {
        let runs = state.runs_of(order);
        let wanted =
            state.orders.get(order).map(|known| known.order.analytes.iter().map(|requested| requested.method.clone()));
        Self {
            order,
            runs: runs.iter().map(|run| run.run.id.clone()).collect(),
            batches: state.batches_of(order).iter().map(|batch| batch.id.to_string()).collect(),
            methods: runs.iter().map(|run| run.run.method.clone()).chain(wanted.into_iter().flatten()).collect(),
        }
    }

    fn has(&self, act: &Act) -> bool {
        match act {
            Act::SetLaboratory { .. }
            | Act::SetSigningTerms { .. }
            | Act::SetPerson { .. }
            | Act::RenewKey { .. }
            | Act::ChangePassphrase { .. }
            | Act::ClockWentBack { .. } => true,
            Act::Authorise { method, .. } => self.methods.contains(method),
            Act::RefusedStep { order, .. } => order.as_ref() == Some(self.order),
            Act::ReviewEntries { order, .. } => order.as_ref().is_none_or(|order| order == self.order),
            Act::FailedPassphrase { .. } | Act::Unlock { .. } | Act::BackUp { .. } | Act::Drill { .. } => false,
            Act::OpenDocument { kind, file_name, text, .. } => self.has_document(*kind, file_name, text),
            Act::OpenOrder { order, .. }
            | Act::Sign { order, .. }
            | Act::Issue { order, .. }
            | Act::Return { order, .. }
            | Act::SetRetention { order, .. }
            | Act::RefusedErasure { order, .. }
            | Act::EraseIdentity { order, .. }
            | Act::Restore { order, .. }
            | Act::Start { order, .. }
            | Act::Archive { order, .. } => order == self.order,
            // Logs of other benches are no part of an order of this one.
            Act::TakeOver { .. } => false,
            Act::Import { run, .. } | Act::AddLeg { run, .. } => self.runs.contains(run),
            Act::Decide { order, decision } => order == self.order || self.decides_about_our_runs(decision),
        }
    }

    fn has_document(&self, kind: DocumentKind, file_name: &str, text: &str) -> bool {
        use darkline_exchange::{method, order, preparation, run};
        match kind {
            DocumentKind::Order => order::read(file_name, text).is_ok_and(|order| order.id == *self.order),
            DocumentKind::Method => method::read(file_name, text).is_ok_and(|method| self.methods.contains(&method.id)),
            DocumentKind::Preparation => {
                preparation::read(file_name, text).is_ok_and(|batch| self.batches.contains(batch.id.as_str()))
            }
            DocumentKind::Run => run::read(file_name, text).is_ok_and(|head| self.runs.contains(&head.id)),
        }
    }

    fn decides_about_our_runs(&self, decision: &Decision) -> bool {
        crate::state::run_of(decision).is_some_and(|run| self.runs.contains(run))
    }
}

fn entry_line(entry: &Entry, belongs: bool) -> Result<String, ArchiveFault> {
    let not_text = |_| ArchiveFault::NotText { number: entry.number };
    let stored = if belongs { Some(String::from_utf8(entry.stored_bytes()).map_err(not_text)?) } else { None };
    Ok(EntryLine { number: entry.number, leaf: entry.leaf_hash().to_string(), stored }.text())
}

impl EntryLine {
    /// The line with its end, as it is written.
    pub fn text(&self) -> String {
        let bytes = canonical::bytes(self);
        let mut line = String::from_utf8(bytes).expect("canonical JSON is UTF-8");
        line.push('\n');
        line
    }
}

/// The documents that acts bring, as files for a person to read.
///
/// A document stands under its own name; under the number of its entry where another one has that name, and where a name
/// could not be unpacked on every machine.
pub(crate) fn documents(acts: &[(u64, Act)]) -> BTreeMap<String, Vec<u8>> {
    let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for (number, act) in acts {
        let Act::OpenDocument { file_name, text, rows, .. } = act else { continue };
        let beside = rows.iter().map(|rows| (rows.file_name.as_str(), rows.text.as_str()));
        for (place, (name, text)) in std::iter::once((file_name.as_str(), text.as_str())).chain(beside).enumerate() {
            let bytes = text.as_bytes().to_vec();
            let name = match name.rsplit(['/', '\\']).next().unwrap_or("") {
                fit if is_packed_everywhere(fit) => fit.to_owned(),
                _ => format!("document-{number}-{place}.txt"),
            };
            let path = format!("documents/{name}");
            match files.get(&path) {
                None => files.insert(path, bytes),
                Some(same) if *same == bytes => continue,
                Some(_) => files.insert(format!("documents/{number}/{name}"), bytes),
            };
        }
    }
    files
}

fn is_packed_everywhere(name: &str) -> bool {
    let fits = |c: char| !c.is_control() && !matches!(c, ':' | '*' | '?' | '"' | '<' | '>' | '|');
    !name.is_empty() && name.len() <= 200 && !name.starts_with(['.', '~']) && name.chars().all(fits)
}

/// Ascending numbers as ranges: `0-3,7,9-12`.
pub(crate) fn ranges(numbers: &[u64]) -> String {
    let follows = |pair: &[u64]| pair.windows(2).all(|two| two[1] == two[0] + 1);
    let parts = numbers.chunk_by(|one, next| follows(&[*one, *next])).map(|part| match part {
        [one] => one.to_string(),
        [first, .., last] => format!("{first}-{last}"),
        [] => String::new(),
    });
    parts.collect::<Vec<_>>().join(",")
}

pub(crate) fn devices_text(devices: &[PublicKey]) -> String {
    devices.iter().map(|key| format!("{}\n", key.to_hex())).collect()
}

/// The lines of `bag-info.txt`.
pub(crate) fn info(order: &OrderId, issue: &IssueState) -> Vec<(String, String)> {
    // A value stands on one line, whatever the laboratory is called.
    let name = issue.laboratory.as_ref().map_or("", |(name, _)| name.as_str());
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    vec![
        ("Source-Organization".into(), if name.is_empty() { "Laboratory".into() } else { name }),
        ("External-Identifier".into(), order.to_string()),
        ("Bagging-Date".into(), issue.at.chars().take(10).collect()),
    ]
}

pub(crate) fn readme(order: &OrderId, report: &str, root: &str) -> String {
    format!(
        "Data package of order {order}, report {report}\n\n\
         This bag (BagIt 1.0, RFC 8493) holds everything the report rests on: the documents as they were entered, the\n\
         readings with their pulses, every decision with its reason, the signatures, and the report itself.\n\n\
         report.pdf       the report as it was issued\n\
         record.json      the record inside the report, for programs\n\
         outcome.json     all figures of the evaluation\n\
         entries.jsonl    the entries of the log; those of other orders by their hash alone\n\
         checkpoint.txt   size and root of the log, signed by the bench (RFC 9162, Ed25519)\n\
         devices.txt      the public keys of the benches\n\
         pulses/          total and background absorbance, one file a run (Parquet)\n\
         documents/       order, preparation, method and run order as they were entered\n\n\
         To check it: darkline verify ARCHIVE. The manifest, the entries, the root, the signatures are checked, the\n\
         package is evaluated again and every digit is compared with the report.\n\n\
         Root of the log: {root}\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::act::Attached;

    fn brings(file_name: &str, text: &str, rows: Option<(&str, &str)>) -> Act {
        let rows = rows.map(|(file_name, text)| Attached { file_name: file_name.into(), text: text.into() });
        Act::OpenDocument { kind: DocumentKind::Method, file_name: file_name.into(), text: text.into(), rows }
    }

    #[test]
    fn numbers_that_follow_each_other_are_one_range() {
        assert_eq!(ranges(&[]), "");
        assert_eq!(ranges(&[4]), "4");
        assert_eq!(ranges(&[0, 1, 2, 3, 7, 9, 10]), "0-3,7,9-10");
    }

    #[test]
    fn no_document_takes_the_place_of_another_and_none_leaves_the_folder() {
        let acts = [
            (4, brings("method.toml", "one", None)),
            (5, brings("method.toml", "another", Some(("rows.csv", "row\n")))),
            (6, brings("method.toml", "one", None)),
            (7, brings("../method:3.toml", "three", Some(("a/../..", "four")))),
            (8, brings("~", "five", Some(("", "six")))),
            (9, brings("C:\\orders\\method-9.toml", "seven", None)),
        ];
        let files = documents(&acts);
        let found: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
        let wanted: [(&str, &[u8]); 8] = [
            ("documents/5/method.toml", b"another"),
            ("documents/document-7-0.txt", b"three"),
            ("documents/document-7-1.txt", b"four"),
            ("documents/document-8-0.txt", b"five"),
            ("documents/document-8-1.txt", b"six"),
            ("documents/method-9.toml", b"seven"),
            ("documents/method.toml", b"one"),
            ("documents/rows.csv", b"row\n"),
        ];
        assert_eq!(found, wanted);
        assert!(darkline_exchange::bag::write(&files, &[]).is_ok());
    }
}
