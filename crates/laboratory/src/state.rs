//! The fold: what the laboratory knows after all its entries, worked out again whenever somebody asks.
//!
//! Invariant: equal entries give equal states; nothing here is stored.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use darkline_audit_trail::people::Person;
use darkline_audit_trail::{Checkpoint, Entry, LogId, PersonId, Timestamp};
use darkline_exchange::{method, order, preparation, readings, run, run_order};
use darkline_record::canonical::Digest;
use darkline_record::identity::{BatchId, MethodId, OrderId, RunId};
use darkline_record::method::ResolvedMethod;
use darkline_record::preparation::PreparationBatch;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, Signal};

use crate::act::{Act, Attached, DocumentKind};
use crate::importing::import_text;

pub(crate) use about_an_order::run_of;
pub use account::{Account, Authorisation};
pub use order_state::{Decided, IssueState, OrderState, ReturnState, SignatureState};
pub use run_state::{DeviceSigned, RunState};

mod about_an_order;
mod account;
mod order_state;
mod run_state;

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
            Act::RefusedStep { .. }
            | Act::Start { .. }
            | Act::RefusedErasure { .. }
            | Act::ClockWentBack { .. }
            | Act::BackUp { .. }
            | Act::Drill { .. } => {}
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
}
