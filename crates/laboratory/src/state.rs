//! The fold: what the laboratory knows after all its entries, worked out again whenever somebody asks.
//!
//! Invariant: equal entries give equal states; nothing here is stored.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use darkline_audit_trail::keys::PublicKey;
use darkline_audit_trail::people::{Part, Person, Relation, Stage};
use darkline_audit_trail::{Checkpoint, Entry, Hash, LogId, PersonId, Timestamp};
use darkline_exchange::{method, order, preparation, readings, run, run_order};
use darkline_record::canonical::Digest;
use darkline_record::decision::{Decision, FlagId};
use darkline_record::identity::{BatchId, Edition, MethodId, OrderId, RunId};
use darkline_record::method::ResolvedMethod;
use darkline_record::order::Order;
use darkline_record::package::DataPackage;
use darkline_record::preparation::{PortionRole, PreparationBatch};
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, RowHolds, Run, Signal};

use crate::act::{Act, Attached, DocumentKind, PassphraseFrom, Remark};
use crate::importing::import_text;
use crate::signing::SignatureMeaning;

/// What the laboratory knows.
#[derive(Debug, Default)]
pub struct State {
    /// Entries folded so far.
    pub n_entries: u64,
    /// The laboratory's name and address lines.
    pub laboratory: Option<(String, Vec<String>)>,
    /// Whether signatures may come with a passphrase from a file.
    pub passphrases_from_files: bool,
    /// The site's statement that everybody reads who signs.
    pub statement: Option<String>,
    /// Reference and day of the certification that signatures are meant as binding.
    pub certification: Option<String>,
    /// The time of the last entry.
    pub last_at: Option<Timestamp>,
    /// People by name.
    pub people: BTreeMap<PersonId, Person>,
    /// How their accounts stand; an account that is not here has nothing to tell.
    pub accounts: BTreeMap<PersonId, Account>,
    /// Who is authorised for which method.
    pub authorisations: BTreeMap<MethodId, BTreeMap<PersonId, Authorisation>>,
    /// Orders that stand in the record as archives that were brought back.
    pub restored: BTreeMap<OrderId, RestoredState>,
    /// Reviews of entries.
    pub entry_reviews: Vec<EntryReview>,
    /// Orders.
    pub orders: BTreeMap<OrderId, OrderState>,
    /// Methods.
    pub methods: BTreeMap<MethodId, ResolvedMethod>,
    /// Preparation batches.
    pub preparations: BTreeMap<BatchId, PreparationBatch>,
    /// Runs with their legs and readings.
    pub runs: BTreeMap<RunId, RunState>,
    /// Logs of benches that were taken over, each with the checkpoint up to which it was.
    pub taken_over: BTreeMap<LogId, Checkpoint>,
}

/// How an account stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Account {
    /// Passphrases in a row that did not open its key.
    pub failures: u32,
    /// When the last of them was given.
    pub last_failure: Option<Timestamp>,
    /// Who chose its passphrase, where that is somebody else.
    pub passphrase_of: Option<PersonId>,
    /// The last entry by this person.
    pub last_entry: Option<String>,
    /// When the passphrase was set.
    pub passphrase_at: Option<String>,
}

/// An authorisation for a method.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authorisation {
    /// The last day; none where it was withdrawn.
    pub until: Option<String>,
    /// Who gave or withdrew it.
    pub by: PersonId,
    /// The entry.
    pub entry: u64,
}

/// An archive that was brought back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RestoredState {
    /// The entry.
    pub entry: u64,
    /// Who brought it back.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// The report in it.
    pub report: String,
    /// The log it comes from.
    pub log: String,
    /// The bench that signed its entries.
    pub bench: String,
    /// The archive.
    pub archive: Digest,
}

/// A review of entries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryReview {
    /// The entry.
    pub entry: u64,
    /// Who.
    pub by: PersonId,
    /// When.
    pub at: String,
    /// The order, where it was about one.
    pub order: Option<OrderId>,
    /// Entries in the log when they were shown.
    pub size: u64,
    /// How many were shown.
    pub n_shown: u64,
    /// What was found.
    pub remark: String,
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

/// What a device signed when it brought readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceSigned {
    /// The entry.
    pub entry: u64,
    /// The device.
    pub by: PersonId,
    /// The text that was signed.
    pub text: String,
    /// The signature, in hexadecimal digits.
    pub signature: String,
    /// Its key then.
    pub key: Option<PublicKey>,
}

/// A run with who had a hand in it.
#[derive(Debug)]
pub struct RunState {
    /// The run.
    pub run: Run,
    /// Who brought readings.
    pub measured_by: BTreeSet<PersonId>,
    /// Tables that were imported, with the digests of the pulses they name.
    pub tables: Vec<(Attached, BTreeMap<u32, Digest>)>,
    /// The entries that brought them.
    pub imports: Vec<u64>,
    /// Signatures of devices under what they brought.
    pub device_signed: Vec<DeviceSigned>,
    /// Flags whose step has become a leg already, with the number of the decision's entry.
    pub legs_for: BTreeSet<FlagId>,
}

/// An entry that cannot be folded.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FoldFault {
    /// Its bytes say no act.
    #[error(transparent)]
    Act(#[from] crate::act::UnreadableAct),
    /// A document in it no longer reads.
    #[error("entry {number}: {file_name} no longer reads as it did: {why}")]
    Document {
        /// The entry.
        number: u64,
        /// The file.
        file_name: String,
        /// What the reader says.
        why: String,
    },
    /// It refers to something that no earlier entry brought.
    #[error("entry {number} names {what}, which no earlier entry brought")]
    Unknown {
        /// The entry.
        number: u64,
        /// What.
        what: String,
    },
}

/// Pulses by digest, from the store or an archive.
pub type Pulses = BTreeMap<Digest, Arc<Pulse>>;

impl OrderState {
    fn new(order: Order) -> Self {
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

impl State {
    /// Takes one more entry in.
    ///
    /// # Errors
    /// [`FoldFault`]; the state is then as before.
    pub fn fold(&mut self, entry: &Entry) -> Result<(), FoldFault> {
        let act = Act::read(entry)?;
        let number = entry.number;
        let unknown = |what: String| FoldFault::Unknown { number, what };
        let damaged = |file_name: &str, why: String| FoldFault::Document { number, file_name: file_name.into(), why };
        match act {
            Act::SetLaboratory { name, address, passphrases_from_files } => {
                self.laboratory = Some((name, address));
                self.passphrases_from_files = passphrases_from_files;
            }
            Act::SetSigningTerms { statement, certification } => {
                self.statement = statement.or(self.statement.take());
                self.certification = certification.or(self.certification.take());
            }
            Act::SetPerson { person, .. } => {
                let account = self.accounts.entry(person.id.clone()).or_default();
                account.passphrase_at.get_or_insert_with(|| entry.at.to_string());
                self.people.insert(person.id.clone(), person);
            }
            Act::RenewKey { person, .. } => {
                let account = self.accounts.entry(person.id.clone()).or_default();
                account.passphrase_of = Some(entry.by.clone());
                account.passphrase_at = Some(entry.at.to_string());
                (account.failures, account.last_failure) = (0, None);
                self.people.insert(person.id.clone(), person);
            }
            Act::ChangePassphrase { person } => {
                let account = self.accounts.entry(person.id.clone()).or_default();
                account.passphrase_of = None;
                account.passphrase_at = Some(entry.at.to_string());
                (account.failures, account.last_failure) = (0, None);
                self.people.insert(person.id.clone(), person);
            }
            Act::FailedPassphrase { person, in_a_row, .. } => {
                let account = self.accounts.entry(person).or_default();
                (account.failures, account.last_failure) = (in_a_row, Some(entry.at.clone()));
            }
            Act::Unlock { person, .. } => {
                let account = self.accounts.entry(person).or_default();
                (account.failures, account.last_failure) = (0, None);
            }
            Act::Authorise { person, method, until, .. } => {
                let authorisation = Authorisation { until, by: entry.by.clone(), entry: number };
                self.authorisations.entry(method).or_default().insert(person, authorisation);
            }
            Act::OpenDocument { kind, file_name, text, rows } => {
                self.open(kind, &file_name, &text, rows.as_ref()).map_err(|why| damaged(&file_name, why))?
            }
            Act::OpenOrder { order, edition } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                known.edition = Some(edition);
            }
            Act::Import { run, table, first, pulses, device, .. } => {
                let signed = device.map(|signature| DeviceSigned {
                    entry: number,
                    by: entry.by.clone(),
                    text: import_text(&entry.by, entry.at.as_str(), &run, &table, &pulses),
                    signature,
                    key: self.people.get(&entry.by).and_then(|person| person.public_key),
                });
                let pulses: BTreeMap<u32, Digest> = pulses.into_iter().collect();
                let known = self.runs.get_mut(&run).ok_or_else(|| unknown(format!("run {run}")))?;
                let method = self
                    .methods
                    .get(&known.run.method)
                    .ok_or_else(|| unknown(format!("method {}", known.run.method)))?;
                let rows = readings::read(&table.file_name, &table.text, &known.run, &method.response)
                    .map_err(|faults| damaged(&table.file_name, faults.to_string()))?;
                for (place, row) in (u64::from(first)..).zip(rows) {
                    let place = u32::try_from(place)
                        .map_err(|_| damaged(&table.file_name, "it has too many readings".into()))?;
                    let signal = match row.came {
                        readings::Came::Bare(response) => Signal::Bare(response),
                        readings::Came::Failed(why) => Signal::Failed { why },
                        readings::Came::Pulse(pulse) => {
                            Signal::Pulse(*pulses.get(&pulse).ok_or_else(|| unknown(format!("pulse {pulse}")))?)
                        }
                    };
                    known.run.readings.push(Reading {
                        number: place,
                        row: row.row,
                        replicate: row.replicate,
                        attempt: row.attempt,
                        at: row.at,
                        mass: row.mass,
                        printed: row.printed,
                        signal,
                    });
                }
                known.measured_by.insert(entry.by.clone());
                known.tables.push((table, pulses));
                known.imports.push(number);
                known.device_signed.extend(signed);
            }
            Act::AddLeg { run, leg } => {
                let known = self.runs.get_mut(&run).ok_or_else(|| unknown(format!("run {run}")))?;
                known.legs_for.extend(leg.because.iter().cloned());
                known.run.legs.push(leg);
            }
            Act::Decide { order, decision } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                let (by, at) = (entry.by.clone(), entry.at.to_string());
                known.decisions.push(Decided { entry: number, by, at, decision });
            }
            Act::Sign { order, meaning, outcome, package, size, root, signature, passphrase, statement } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                let (by, at) = (entry.by.clone(), entry.at.to_string());
                let person = self.people.get(&by).cloned();
                known.signatures.push(SignatureState {
                    entry: number,
                    by,
                    at,
                    meaning,
                    outcome,
                    package,
                    size,
                    root,
                    signature,
                    person,
                    passphrase,
                    statement,
                });
                self.opened_key(&entry.by);
            }
            Act::Return { order, from, to, remarks, reason } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                let (by, at, reason) = (entry.by.clone(), entry.at.to_string(), reason.to_string());
                known.returns.push(ReturnState { entry: number, by, at, from, to, remarks, reason });
            }
            Act::Issue {
                order,
                report,
                outcome,
                record,
                document,
                supersedes,
                program,
                size,
                root,
                signature,
                because,
                setting,
                passphrase: _,
                statement: _,
            } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                let (by, at) = (entry.by.clone(), entry.at.to_string());
                let (person, laboratory) = (self.people.get(&by).cloned(), self.laboratory.clone());
                known.issues.push(IssueState {
                    entry: number,
                    by,
                    at,
                    report,
                    outcome,
                    record,
                    document,
                    supersedes,
                    program,
                    size,
                    root,
                    signature,
                    person,
                    laboratory,
                    because: because.map(|because| because.to_string()),
                    setting,
                });
                self.opened_key(&entry.by);
            }
            Act::TakeOver { log, checkpoint, .. } => {
                let checkpoint = Checkpoint::from_text(&checkpoint)
                    .map_err(|fault| damaged("the checkpoint of a log taken over", fault.to_string()))?;
                self.taken_over.insert(log, checkpoint);
            }
            Act::Archive { order, .. } => {
                self.orders.get(&order).ok_or_else(|| unknown(format!("order {order}")))?;
            }
            Act::SetRetention { order, until, .. } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                known.keep_until = Some(until);
            }
            Act::EraseIdentity { order, .. } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                known.erased = Some(number);
            }
            Act::ReviewEntries { order, size, n_shown, remark, .. } => {
                let (by, at, remark) = (entry.by.clone(), entry.at.to_string(), remark.to_string());
                self.entry_reviews.push(EntryReview { entry: number, by, at, order, size, n_shown, remark });
            }
            Act::Restore { order, report, log, bench, archive } => {
                let (by, at) = (entry.by.clone(), entry.at.to_string());
                self.restored.insert(order, RestoredState { entry: number, by, at, report, log, bench, archive });
            }
            Act::RefusedStep { .. } | Act::RefusedErasure { .. } | Act::ClockWentBack { .. } | Act::BackUp { .. } | Act::Drill { .. } => {}
        }
        self.accounts.entry(entry.by.clone()).or_default().last_entry = Some(entry.at.to_string());
        self.last_at = Some(entry.at.clone());
        self.n_entries = number.saturating_add(1);
        Ok(())
    }

    /// Who has opened their key has given the right passphrase.
    fn opened_key(&mut self, person: &PersonId) {
        if let Some(account) = self.accounts.get_mut(person) {
            (account.failures, account.last_failure) = (0, None);
        }
    }

    /// What is known of a person's authorisation for a method.
    pub fn authorisation(&self, person: &PersonId, method: &MethodId) -> Option<&Authorisation> {
        self.authorisations.get(method)?.get(person)
    }

    fn open(&mut self, kind: DocumentKind, file_name: &str, text: &str, rows: Option<&Attached>) -> Result<(), String> {
        match kind {
            DocumentKind::Order => {
                let order = order::read(file_name, text).map_err(|faults| faults.to_string())?;
                self.orders.insert(order.id.clone(), OrderState::new(order));
            }
            DocumentKind::Method => {
                let method = method::read(file_name, text).map_err(|faults| faults.to_string())?;
                self.methods.insert(method.id.clone(), method);
            }
            DocumentKind::Preparation => {
                let batch = preparation::read(file_name, text).map_err(|faults| faults.to_string())?;
                self.preparations.insert(batch.id.clone(), batch);
            }
            DocumentKind::Run => {
                let head = run::read(file_name, text).map_err(|faults| faults.to_string())?;
                let rows = rows.ok_or("the rows of the run are not beside it")?;
                let method = self.methods.get(&head.method);
                let replicates =
                    method.ok_or_else(|| format!("its method {} is not in the record", head.method))?.replicates.n;
                let rows =
                    run_order::read(&rows.file_name, &rows.text, replicates).map_err(|faults| faults.to_string())?;
                let run = head.with_rows(rows);
                let (measured_by, legs_for) = (BTreeSet::new(), BTreeSet::new());
                let (tables, imports, device_signed) = (Vec::new(), Vec::new(), Vec::new());
                self.runs
                    .insert(run.id.clone(), RunState { run, measured_by, tables, imports, device_signed, legs_for });
            }
        }
        Ok(())
    }

    /// Batches that hold portions of an order.
    pub fn batches_of(&self, order: &OrderId) -> Vec<&PreparationBatch> {
        let holds = |batch: &&PreparationBatch| {
            batch
                .portions
                .iter()
                .any(|portion| matches!(&portion.role, PortionRole::Sample { order: of, .. } if of == order))
        };
        self.preparations.values().filter(holds).collect()
    }

    /// Runs that measure portions of an order's batches.
    pub fn runs_of(&self, order: &OrderId) -> Vec<&RunState> {
        let batches: BTreeSet<&BatchId> = self.batches_of(order).into_iter().map(|batch| &batch.id).collect();
        let measures = |run: &&RunState| {
            run.run.rows().any(|row| matches!(&row.holds, RowHolds::Portion { batch, .. } if batches.contains(batch)))
        };
        self.runs.values().filter(measures).collect()
    }

    /// The digests of all pulses an order rests on.
    pub fn pulse_digests_of(&self, order: &OrderId) -> BTreeSet<Digest> {
        self.runs_of(order)
            .into_iter()
            .flat_map(|run| &run.run.readings)
            .filter_map(|reading| match reading.signal {
                Signal::Pulse(digest) => Some(digest),
                _ => None,
            })
            .collect()
    }

    /// The data package of an order: everything its results rest on; `None` where the order is not there or not open.
    pub fn package(&self, order: &OrderId, pulses: Pulses) -> Option<DataPackage> {
        let known = self.orders.get(order)?;
        let runs: Vec<Run> = self.runs_of(order).into_iter().map(|run| run.run.clone()).collect();
        let mut methods: Vec<ResolvedMethod> = Vec::new();
        let wanted =
            known.order.analytes.iter().map(|requested| &requested.method).chain(runs.iter().map(|run| &run.method));
        for id in wanted {
            if let Some(method) = self.methods.get(id).filter(|method| !methods.contains(method)) {
                methods.push(method.clone());
            }
        }
        Some(DataPackage {
            edition: known.edition?,
            order: known.order.clone(),
            preparations: self.batches_of(order).into_iter().cloned().collect(),
            runs,
            methods,
            pulses,
        })
    }

    /// The decisions about an order's readings and flags, in the order they were made: its own, and those made in the
    /// light of other orders about the runs they share.
    pub fn decisions_of(&self, order: &OrderId) -> Vec<Decision> {
        self.decided_about(order).into_iter().map(|decided| decided.decision.clone()).collect()
    }

    /// Whether readings, documents, legs or decisions of an order have changed since a report, going by the package that was
    /// signed for it; where not, evaluating it again has to give what was reported.
    pub fn changed_since(&self, order: &OrderId, issue: &IssueState, package: &Digest) -> bool {
        let signatures = self.orders.get(order).map_or(&[][..], |known| &known.signatures);
        let signed = signatures.iter().rev().find(|signature| signature.outcome == issue.outcome);
        signed.is_none_or(|signed| signed.package != *package)
            || self.decided_about(order).iter().any(|decided| decided.entry > issue.entry)
    }

    /// What changed between a report and an entry behind it, in words, for the report that supersedes it.
    pub fn changes_between(&self, order: &OrderId, after: u64, before: u64) -> Vec<String> {
        let between = |entry: u64| entry > after && entry < before;
        let mut changes: Vec<(u64, String)> = Vec::new();
        for decided in self.decided_about(order).into_iter().filter(|decided| between(decided.entry)) {
            let act = Act::Decide { order: order.clone(), decision: decided.decision.clone() };
            changes.push((decided.entry, act.words()));
        }
        for run in self.runs_of(order) {
            for ((table, _), entry) in run.tables.iter().zip(&run.imports).filter(|(_, entry)| between(**entry)) {
                changes.push((*entry, format!("readings of {} taken into run {}", table.file_name, run.run.id)));
            }
        }
        changes.sort();
        changes.into_iter().map(|(_, words)| words).collect()
    }

    /// Who justified each flag of an order last, as of an entry: name and time.
    pub fn justified_by(&self, order: &OrderId, before: u64) -> BTreeMap<String, String> {
        let mut found = BTreeMap::new();
        for decided in self.decided_about(order).into_iter().filter(|decided| decided.entry < before) {
            if let Decision::Justify { flag, .. } = &decided.decision {
                let name = self
                    .people
                    .get(&decided.by)
                    .map_or_else(|| decided.by.to_string(), |person| format!("{} ({})", person.full_name, person.id));
                found.insert(flag.to_string(), format!("{name}, {}", decided.at));
            }
        }
        found
    }

    fn decided_about(&self, order: &OrderId) -> Vec<&Decided> {
        let runs: BTreeSet<&RunId> = self.runs_of(order).into_iter().map(|run| &run.run.id).collect();
        let is_shared = |decided: &Decided| run_of(&decided.decision).is_some_and(|run| runs.contains(run));
        let mut about: Vec<&Decided> = Vec::new();
        for (id, known) in &self.orders {
            about.extend(known.decisions.iter().filter(|decided| id == order || is_shared(decided)));
        }
        about.sort_by_key(|decided| decided.entry);
        about
    }

    /// What part a person had in an order.
    pub fn relation(&self, person: &PersonId, order: &OrderId) -> Relation {
        let mut parts = BTreeSet::new();
        if self.batches_of(order).iter().any(|batch| batch.by == person.as_str()) {
            parts.insert(Part::Prepared);
        }
        if self.runs_of(order).iter().any(|run| run.measured_by.contains(person)) {
            parts.insert(Part::Measured);
        }
        if let Some(known) = self.orders.get(order) {
            if known.decisions.iter().any(|decided| decided.by == *person) {
                parts.insert(Part::Decided);
            }
            for signature in known.signatures.iter().filter(|signature| signature.by == *person) {
                parts.insert(match signature.meaning {
                    SignatureMeaning::Measured => Part::SignedAsAnalyst,
                    SignatureMeaning::Reviewed => Part::SignedAsReviewer,
                    SignatureMeaning::Approved => Part::Approved,
                });
            }
        }
        if parts.is_empty() { Relation::Unrelated } else { Relation::TookPart(parts) }
    }
}

pub(crate) fn run_of(decision: &Decision) -> Option<&RunId> {
    use darkline_record::decision::Subject;
    match decision {
        Decision::Reject { reading, .. } | Decision::Reinstate { reading, .. } => Some(&reading.run),
        Decision::Justify { flag, .. } | Decision::TakeUp { flag, .. } => match &flag.subject {
            Subject::Reading(reading) => Some(&reading.run),
            Subject::Row(row) => Some(&row.run),
            Subject::Run(run) => Some(run),
            Subject::Batch(_) => None,
        },
        Decision::ChooseModel { run, .. } => Some(run),
    }
}
