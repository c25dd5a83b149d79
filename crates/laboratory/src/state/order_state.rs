//! An order with everything that was done about it, each with its entry.

use darkline_audit_trail::people::{Person, Stage};
use darkline_audit_trail::{Hash, PersonId};
use darkline_record::canonical::Digest;
use darkline_record::decision::Decision;
use darkline_record::identity::Edition;
use darkline_record::order::Order;

use crate::act::{PassphraseFrom, Remark};
use crate::signing::SignatureMeaning;

/// An order with what was done about it.
#[derive(Debug)]
pub struct OrderState {
    /// The order.
    pub order: Order,
    /// The edition it is evaluated with; none until it is opened for work.
    pub edition: Option<Edition>,
    /// Decisions in the order they were made, with who made them and when.
    pub decisions: Vec<Decided>,
    /// Signatures in the order they were given.
    pub signatures: Vec<SignatureState>,
    /// Reports in the order they were issued.
    pub issues: Vec<IssueState>,
    /// Returns in the order they were made.
    pub returns: Vec<ReturnState>,
    /// The last day on which it has to be there.
    pub keep_until: Option<String>,
    /// The entry that erased whose order it was.
    pub erased: Option<u64>,
}

/// A decision with its entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Decided {
    /// The entry.
    pub entry: u64,
    /// Who.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// What.
    pub decision: Decision,
}

/// A signature with its entry.
#[derive(Clone, Debug, PartialEq)]
pub struct SignatureState {
    /// The entry.
    pub entry: u64,
    /// Who.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// What it means.
    pub meaning: SignatureMeaning,
    /// The outcome signed.
    pub outcome: Digest,
    /// The package it rests on.
    pub package: Digest,
    /// Entries in the log then.
    pub size: u64,
    /// Root of the log then.
    pub root: Hash,
    /// The signature, in hexadecimal digits.
    pub signature: String,
    /// The person as they were when they signed: name, roles and key may change later.
    pub person: Option<Person>,
    /// Where the passphrase came from.
    pub passphrase: PassphraseFrom,
    /// Digest of the site's statement that was shown.
    pub statement: Option<Digest>,
}

/// A report with its entry.
#[derive(Clone, Debug, PartialEq)]
pub struct IssueState {
    /// The entry.
    pub entry: u64,
    /// Who.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// Its number.
    pub report: String,
    /// The outcome reported.
    pub outcome: Digest,
    /// The record inside it.
    pub record: Digest,
    /// The report itself.
    pub document: Digest,
    /// The report it supersedes.
    pub supersedes: Option<String>,
    /// The program that set it.
    pub program: String,
    /// Entries in the log that the report names.
    pub size: u64,
    /// Root of the log then.
    pub root: Hash,
    /// The issuer's signature.
    pub signature: String,
    /// The issuer as they were then.
    pub person: Option<Person>,
    /// The laboratory's name and address lines as they were then.
    pub laboratory: Option<(String, Vec<String>)>,
    /// Why it supersedes the one before.
    pub because: Option<String>,
    /// The setting of the report; none in issues from before settings were told apart.
    pub setting: Option<String>,
}

/// An order that was handed back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReturnState {
    /// The entry.
    pub entry: u64,
    /// Who.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// The state it was in.
    pub from: Stage,
    /// The state before, to which it went.
    pub to: Stage,
    /// What is to be looked at.
    pub remarks: Vec<Remark>,
    /// Why, as a whole.
    pub reason: String,
}

impl OrderState {
    pub(super) fn new(order: Order) -> Self {
        Self {
            order,
            edition: None,
            decisions: Vec::new(),
            signatures: Vec::new(),
            issues: Vec::new(),
            returns: Vec::new(),
            keep_until: None,
            erased: None,
        }
    }
}
