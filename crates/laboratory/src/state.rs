//! The fold: what the laboratory knows after all its entries, worked out again whenever somebody asks.
//!
//! Invariant: equal entries give equal states; nothing here is stored.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use darkline_audit_trail::people::{Part, Person, Relation};
use darkline_audit_trail::{Checkpoint, Entry, Hash, LogId, PersonId};
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

use crate::act::{Act, Attached, DocumentKind};
use crate::signing::SignatureMeaning;

/// What the laboratory knows.
#[derive(Debug, Default)]
pub struct State {
    /// Entries folded so far.
    pub n_entries: u64,
    /// The laboratory's name and address lines.
    pub laboratory: Option<(String, Vec<String>)>,
    /// People by name.
    pub people: BTreeMap<PersonId, Person>,
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
            Act::SetLaboratory { name, address } => self.laboratory = Some((name, address)),
            Act::SetPerson { person } => {
                self.people.insert(person.id.clone(), person);
            }
            Act::OpenDocument { kind, file_name, text, rows } => {
                self.open(kind, &file_name, &text, rows.as_ref()).map_err(|why| damaged(&file_name, why))?
            }
            Act::OpenOrder { order, edition } => {
                let known = self.orders.get_mut(&order).ok_or_else(|| unknown(format!("order {order}")))?;
                known.edition = Some(edition);
            }
            Act::Import { run, table, first, pulses } => {
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
                        signal,
                    });
                }
                known.measured_by.insert(entry.by.clone());
                known.tables.push((table, pulses));
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
            Act::Sign { order, meaning, outcome, package, size, root, signature } => {
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
                });
            }
            Act::Issue { order, report, outcome, record, document, supersedes, program, size, root, signature } => {
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
                });
            }
            Act::TakeOver { log, checkpoint, .. } => {
                let checkpoint = Checkpoint::from_text(&checkpoint)
                    .map_err(|fault| damaged("the checkpoint of a log taken over", fault.to_string()))?;
                self.taken_over.insert(log, checkpoint);
            }
            Act::Archive { order, .. } => {
                self.orders.get(&order).ok_or_else(|| unknown(format!("order {order}")))?;
            }
        }
        self.n_entries = number.saturating_add(1);
        Ok(())
    }

    fn open(&mut self, kind: DocumentKind, file_name: &str, text: &str, rows: Option<&Attached>) -> Result<(), String> {
        match kind {
            DocumentKind::Order => {
                let order = order::read(file_name, text).map_err(|faults| faults.to_string())?;
                let (decisions, signatures, issues) = (Vec::new(), Vec::new(), Vec::new());
                self.orders
                    .insert(order.id.clone(), OrderState { order, edition: None, decisions, signatures, issues });
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
                let (measured_by, tables, legs_for) = (BTreeSet::new(), Vec::new(), BTreeSet::new());
                self.runs.insert(run.id.clone(), RunState { run, measured_by, tables, legs_for });
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
