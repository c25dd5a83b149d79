//! What an entry says: one act of a person, as canonical JSON.
//!
//! Documents and tables stand in the act as they were entered, to the letter; what they mean is read from them again
//! whenever somebody asks. Formats of documents carry their own number and are read for ever.

use darkline_audit_trail::people::Person;
use darkline_audit_trail::{Hash, LogId, PersonId};
use darkline_record::canonical::{self, Digest};
use darkline_record::decision::Decision;
use darkline_record::identity::{Edition, OrderId, RunId};
use darkline_record::run::Leg;
use serde::{Deserialize, Serialize};

use crate::signing::SignatureMeaning;

/// One act.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "act", rename_all = "kebab-case")]
pub enum Act {
    /// The laboratory says who it is.
    SetLaboratory {
        /// Its name on reports.
        name: String,
        /// Its address, line by line.
        address: Vec<String>,
    },
    /// A person is entered, or their roles, key or account change.
    SetPerson {
        /// The person from now on.
        person: Person,
    },
    /// A document is taken into the record.
    OpenDocument {
        /// What it is.
        kind: DocumentKind,
        /// The name of the file.
        file_name: String,
        /// Its text as entered.
        text: String,
        /// The file beside it: the rows of a run.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rows: Option<Attached>,
    },
    /// An order is opened for work, with the edition it will be evaluated with.
    OpenOrder {
        /// The order.
        order: OrderId,
        /// The edition.
        edition: Edition,
    },
    /// Readings come in.
    Import {
        /// The run they belong to.
        run: RunId,
        /// The table.
        table: Attached,
        /// Number of the first reading; the others follow in the order of the table.
        first: u32,
        /// Pulses by their number in the file of pulses, ascending; kept as blobs under these digests.
        pulses: Vec<(u32, Digest)>,
    },
    /// A leg is added to a run.
    AddLeg {
        /// The run.
        run: RunId,
        /// The leg.
        leg: Leg,
    },
    /// A person decides.
    Decide {
        /// The order in whose light it is decided.
        order: OrderId,
        /// The decision.
        decision: Decision,
    },
    /// A person signs.
    Sign {
        /// The order.
        order: OrderId,
        /// What the signature means.
        meaning: SignatureMeaning,
        /// Digest of the outcome signed.
        outcome: Digest,
        /// Digest of the data package it rests on.
        package: Digest,
        /// Entries in the log when it was signed.
        size: u64,
        /// Root of the log then.
        root: Hash,
        /// The signature over [`crate::signature_text`], in hexadecimal digits.
        signature: String,
    },
    /// A report is issued.
    Issue {
        /// The order.
        order: OrderId,
        /// The number of the report.
        report: String,
        /// Digest of the outcome reported.
        outcome: Digest,
        /// Digest of the record inside the report.
        record: Digest,
        /// Digest of the report itself, kept as a blob.
        document: Digest,
        /// The number of the report it supersedes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        supersedes: Option<String>,
        /// The program that set the report.
        program: String,
        /// Entries in the log that the report names.
        size: u64,
        /// Root of the log then.
        root: Hash,
        /// The issuer's signature over [`crate::signature_text`], in hexadecimal digits.
        signature: String,
    },
    /// An archive was written.
    Archive {
        /// The order.
        order: OrderId,
        /// Entries in the log that it holds.
        size: u64,
    },
    /// The log of a bench was taken over, up to this checkpoint.
    TakeOver {
        /// The log.
        log: LogId,
        /// Its entries up to then.
        size: u64,
        /// The root over them.
        root: Hash,
        /// The bench's checkpoint over them, its seven lines.
        checkpoint: String,
    },
}

/// A file as it was entered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attached {
    /// Its name.
    pub file_name: String,
    /// Its text.
    pub text: String,
}

/// Kinds of document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DocumentKind {
    /// An order.
    Order,
    /// A method.
    Method,
    /// A preparation batch.
    Preparation,
    /// A run with its rows.
    Run,
}

impl DocumentKind {
    /// The word on screens.
    pub fn word(self) -> &'static str {
        match self {
            DocumentKind::Order => "order",
            DocumentKind::Method => "method",
            DocumentKind::Preparation => "preparation",
            DocumentKind::Run => "run",
        }
    }
}

/// Bytes of an entry that say no act this program knows.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("entry {number} by {by} says nothing that this program can read: {why}")]
pub struct UnreadableAct {
    /// The entry.
    pub number: u64,
    /// Who made it.
    pub by: PersonId,
    /// What the reader says.
    pub why: String,
}

impl Act {
    /// The bytes of an entry.
    pub fn bytes(&self) -> Vec<u8> {
        canonical::bytes(self)
    }

    /// Reads the bytes of an entry.
    ///
    /// # Errors
    /// [`UnreadableAct`].
    pub fn read(entry: &darkline_audit_trail::Entry) -> Result<Self, UnreadableAct> {
        serde_json::from_slice(&entry.bytes).map_err(|error| UnreadableAct {
            number: entry.number,
            by: entry.by.clone(),
            why: error.to_string(),
        })
    }

    /// What was done, in words for a list.
    pub fn words(&self) -> String {
        match self {
            Act::SetLaboratory { name, .. } => format!("the laboratory is called {name}"),
            Act::SetPerson { person } => {
                let roles: Vec<&str> = person.roles.iter().map(|role| role.as_str()).collect();
                format!("{} is {}", person.id, if person.disabled { "disabled".into() } else { roles.join(", ") })
            }
            Act::OpenDocument { kind, file_name, .. } => format!("{} {file_name} taken into the record", kind.word()),
            Act::OpenOrder { order, edition } => format!("order {order} opened, edition {edition}"),
            Act::Import { run, table, .. } => format!("readings of {} taken into run {run}", table.file_name),
            Act::AddLeg { run, leg } => format!("leg of {} rows added to run {run}", leg.rows.len()),
            Act::Decide { decision, .. } => match decision {
                Decision::Reject { reading, reason } => format!("reading {reading} rejected: {reason}"),
                Decision::Reinstate { reading, reason } => format!("reading {reading} counts again: {reason}"),
                Decision::Justify { flag, reason, .. } => format!("{flag} justified: {reason}"),
                Decision::TakeUp { flag, reason, .. } => format!("{flag} taken up: {reason}"),
                Decision::ChooseModel { run, model, reason } => {
                    format!("run {run} calibrated by {}: {reason}", model.words())
                }
            },
            Act::Sign { order, meaning, .. } => format!("order {order} signed: {}", meaning.words()),
            Act::Issue { order, report, .. } => format!("order {order} issued as report {report}"),
            Act::Archive { order, .. } => format!("order {order} archived"),
            Act::TakeOver { log, size, .. } => format!("log {log} taken over, {size} entries"),
        }
    }
}
