//! What an entry says: one act of a person, as canonical JSON.
//!
//! Documents and tables stand in the act as they were entered, to the letter; what they mean is read from them again
//! whenever somebody asks. Formats of documents carry their own number and are read for ever.

use darkline_audit_trail::people::{Person, Stage, Verb};
use darkline_audit_trail::{Hash, LogId, PersonId};
use darkline_record::canonical::{self, Digest};
use darkline_record::decision::{Decision, Reason};
use darkline_record::identity::{Edition, MethodId, OrderId, RunId};
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
        /// Whether signatures may come with a passphrase from a file: for a record that a program walks through.
        #[serde(default, skip_serializing_if = "is_false")]
        passphrases_from_files: bool,
    },
    /// What a signature commits to here, as everybody reads it who signs, and how that was certified outside; what is none
    /// is as before.
    SetSigningTerms {
        /// The statement of the site.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        statement: Option<String>,
        /// Reference and day of the certification that electronic signatures are meant as binding.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        certification: Option<String>,
    },
    /// A person is entered, or their roles, key or account change.
    SetPerson {
        /// The person from now on.
        person: Person,
        /// Why they change.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reason: Option<Reason>,
        /// By what the person was known when they were entered: who saw which paper.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        identity: Option<String>,
    },
    /// A person gets a new key under a passphrase that somebody else chose; it signs nothing until they change it.
    RenewKey {
        /// The person with their new key.
        person: Person,
        /// Why.
        reason: Reason,
    },
    /// A person changes their passphrase; after a renewal their key with it.
    ChangePassphrase {
        /// The person as they are from now on.
        person: Person,
    },
    /// A passphrase was given that does not open the key of the account.
    FailedPassphrase {
        /// The account.
        person: PersonId,
        /// What was wanted.
        wanted: String,
        /// How many in a row with this one.
        in_a_row: u32,
    },
    /// An account that waits or is locked is opened again.
    Unlock {
        /// The account.
        person: PersonId,
        /// Why.
        reason: Reason,
    },
    /// A person is authorised for a method, or no longer.
    Authorise {
        /// The person.
        person: PersonId,
        /// The method.
        method: MethodId,
        /// The last day; none where the authorisation is withdrawn.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<String>,
        /// On what ground.
        reason: Reason,
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
    /// A person read the cautions of an order's work before it starts.
    Start {
        /// The order.
        order: OrderId,
        /// Digest of the list they were taken from.
        list: Digest,
        /// Their names, as they were shown.
        shown: Vec<String>,
        /// What the person stated besides: points looked at, pressures read off.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        stated: Vec<String>,
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
        /// The signature of the device that brought them without anybody at the bench, in hexadecimal digits.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        device: Option<String>,
        /// The instrument's file that the table was made from, where it was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        received: Option<ReceivedFile>,
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
        /// Where the passphrase came from, where nobody typed it.
        #[serde(default, skip_serializing_if = "PassphraseFrom::is_typed")]
        passphrase: PassphraseFrom,
        /// Digest of the site's statement that was shown, where it has one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        statement: Option<Digest>,
    },
    /// An order is handed back.
    Return {
        /// The order.
        order: OrderId,
        /// The state it was in.
        from: Stage,
        /// The state it is in from now on: the one before.
        to: Stage,
        /// What is to be looked at, item by item.
        remarks: Vec<Remark>,
        /// Why, as a whole.
        reason: Reason,
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
        /// Why it supersedes the one before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<Reason>,
        /// The setting of the report: what tells builds apart that set other bytes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        setting: Option<String>,
        /// Where the passphrase came from, where nobody typed it.
        #[serde(default, skip_serializing_if = "PassphraseFrom::is_typed")]
        passphrase: PassphraseFrom,
        /// Digest of the site's statement that was shown, where it has one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        statement: Option<Digest>,
    },
    /// An archive was written.
    Archive {
        /// The order.
        order: OrderId,
        /// Entries in the log that it holds.
        size: u64,
        /// Digest of the rendering for people that it holds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rendering: Option<Digest>,
        /// Which entries it holds with their text, this one too: `0-3,7,9-12`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        holds: Option<String>,
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
    /// It is said until when an order has to be kept.
    SetRetention {
        /// The order.
        order: OrderId,
        /// The last day on which it has to be there.
        until: String,
        /// On what ground.
        reason: Reason,
    },
    /// Somebody wanted to do something without the right, or out of turn.
    RefusedStep {
        /// What was wanted.
        wanted: Verb,
        /// The order, where it was about one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        order: Option<OrderId>,
        /// Why it was refused.
        why: String,
    },
    /// Somebody wanted something erased that has to be kept.
    RefusedErasure {
        /// The order.
        order: OrderId,
        /// Why it was refused.
        why: String,
    },
    /// Whose order it was is erased; what was hashed stays.
    EraseIdentity {
        /// The order.
        order: OrderId,
        /// Why.
        reason: Reason,
    },
    /// Entries were reviewed.
    ReviewEntries {
        /// The order, where it was about one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        order: Option<OrderId>,
        /// Entries in the log when they were shown.
        size: u64,
        /// How many were shown.
        n_shown: u64,
        /// Root of the log then.
        root: Hash,
        /// What was found.
        remark: Reason,
    },
    /// The clock of the bench went backwards before the next entry.
    ClockWentBack {
        /// The time of the entry before.
        from: String,
        /// The time of the clock.
        to: String,
    },
    /// An archive is brought back; the record keeps it whole.
    Restore {
        /// The order in it.
        order: OrderId,
        /// The report in it.
        report: String,
        /// The log it comes from.
        log: String,
        /// The bench that signed its entries.
        bench: String,
        /// Digest of the archive, kept as a blob.
        archive: Digest,
    },
    /// A copy of the whole record was made.
    BackUp {
        /// Entries in the copy.
        size: u64,
        /// Root of the log in the copy.
        root: Hash,
        /// Where it was put.
        place: String,
    },
    /// A copy was restored aside and everything in it verified.
    Drill {
        /// Entries in the copy.
        size: u64,
        /// Root of the log in the copy.
        root: Hash,
        /// What was not in order; nothing where all was.
        faults: Vec<String>,
    },
}

fn is_false(flag: &bool) -> bool {
    !*flag
}

/// Where a passphrase came from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PassphraseFrom {
    /// From the hand of its person.
    #[default]
    Typed,
    /// From a file.
    File,
}

impl PassphraseFrom {
    /// Whether somebody typed it.
    #[allow(clippy::trivially_copy_pass_by_ref, reason = "serde asks by reference")]
    pub fn is_typed(&self) -> bool {
        *self == PassphraseFrom::Typed
    }
}

/// A remark about one item of an order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// What it is about: `reading:R1/14`, `row:R1/5`, `sample:dish-1`, `order`.
    pub on: String,
    /// What is to be looked at.
    pub remark: Reason,
}

/// A file as it was entered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attached {
    /// Its name.
    pub file_name: String,
    /// Its text.
    pub text: String,
}

/// A file of an instrument, as it was received, and how it was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceivedFile {
    /// Its name and text.
    pub file: Attached,
    /// The digest of its bytes, before the code page was taken off.
    pub bytes: Digest,
    /// The mapping it was read with.
    pub mapping: Attached,
    /// The day of its first reading, where the file does not say it and a person did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<String>,
    /// Rows that a person has told, as line and row.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub told: Vec<(usize, u32)>,
    /// The files of traces beside it, and the digests of their bytes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<(String, Digest)>,
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
}
