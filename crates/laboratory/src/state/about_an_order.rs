//! What the state says about one order: its batches, runs, package, decisions, and who took which part in it.

use std::collections::{BTreeMap, BTreeSet};

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::{Part, Relation};
use darkline_record::canonical::Digest;
use darkline_record::decision::{Decision, Subject};
use darkline_record::identity::{BatchId, OrderId, RunId};
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::preparation::{PortionRole, PreparationBatch};
use darkline_record::run::{RowHolds, Run, Signal};

use super::{Decided, IssueState, Pulses, RunState, State};
use crate::act::Act;
use crate::signing::SignatureMeaning;

impl State {
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

/// The run that a decision is about.
pub(crate) fn run_of(decision: &Decision) -> Option<&RunId> {
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
