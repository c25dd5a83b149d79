//! Which entries the state of an order rests on, so that it can be worked out without reading all the others.

use std::collections::{BTreeMap, BTreeSet};

use darkline_audit_trail::Entry;
use darkline_exchange::{method, order, preparation, run, run_order};
use darkline_record::identity::{BatchId, MethodId, OrderId, RunId};
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Row, RowHolds};
use serde::{Deserialize, Serialize};

use crate::act::{Act, Attached, DocumentKind};
use crate::state::{FoldFault, run_of};

/// The entries of a log by what they are about.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct RestsOn {
    orders: BTreeMap<OrderId, OfOrder>,
    methods: BTreeMap<MethodId, Vec<u64>>,
    batches: BTreeMap<BatchId, OfBatch>,
    runs: BTreeMap<RunId, OfRun>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct OfOrder {
    entries: Vec<u64>,
    methods: BTreeSet<MethodId>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct OfBatch {
    entries: Vec<u64>,
    orders: BTreeSet<OrderId>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct OfRun {
    entries: Vec<u64>,
    methods: BTreeSet<MethodId>,
    batches: BTreeSet<BatchId>,
    /// Orders in whose light something was decided about it.
    decided_in: BTreeSet<OrderId>,
}

/// What entries were about.
#[derive(Clone, Debug, Default)]
pub(super) struct Touched {
    orders: BTreeSet<OrderId>,
    methods: BTreeSet<MethodId>,
    batches: BTreeSet<BatchId>,
    runs: BTreeSet<RunId>,
}

/// The way from an order to its batches and runs.
pub(super) struct Ways<'a> {
    batches: BTreeMap<&'a OrderId, Vec<&'a OfBatch>>,
    runs: BTreeMap<&'a OrderId, BTreeSet<&'a RunId>>,
}

impl RestsOn {
    /// Takes one more entry in.
    ///
    /// # Errors
    /// [`FoldFault`]: it cannot be read.
    pub fn take(&mut self, entry: &Entry, act: &Act, touched: &mut Touched) -> Result<(), FoldFault> {
        let number = entry.number;
        match act {
            Act::OpenDocument { kind, file_name, text, rows } => {
                self.open(number, *kind, file_name, text, rows.as_ref(), touched)
                    .map_err(|why| FoldFault::Document { number, file_name: file_name.clone(), why })?;
            }
            Act::Import { run, .. } => self.of_run(number, run, touched),
            Act::AddLeg { run, leg } => {
                self.of_run(number, run, touched);
                self.runs.entry(run.clone()).or_default().batches.extend(batches_in(&leg.rows));
            }
            Act::Decide { order, decision } => {
                self.of_order(number, order, touched);
                if let Some(run) = run_of(decision) {
                    self.of_run(number, run, touched);
                    self.runs.entry(run.clone()).or_default().decided_in.insert(order.clone());
                }
            }
            Act::OpenOrder { order, .. }
            | Act::Start { order, .. }
            | Act::Sign { order, .. }
            | Act::Return { order, .. }
            | Act::Issue { order, .. }
            | Act::Archive { order, .. }
            | Act::SetRetention { order, .. }
            | Act::RefusedErasure { order, .. }
            | Act::EraseIdentity { order, .. }
            | Act::Restore { order, .. } => self.of_order(number, order, touched),
            _ => {}
        }
        Ok(())
    }

    fn of_order(&mut self, number: u64, order: &OrderId, touched: &mut Touched) {
        self.orders.entry(order.clone()).or_default().entries.push(number);
        touched.orders.insert(order.clone());
    }

    fn of_run(&mut self, number: u64, run: &RunId, touched: &mut Touched) {
        self.runs.entry(run.clone()).or_default().entries.push(number);
        touched.runs.insert(run.clone());
    }

    fn open(
        &mut self,
        number: u64,
        kind: DocumentKind,
        file_name: &str,
        text: &str,
        rows: Option<&Attached>,
        touched: &mut Touched,
    ) -> Result<(), String> {
        match kind {
            DocumentKind::Order => {
                let order = order::read(file_name, text).map_err(|faults| faults.to_string())?;
                self.of_order(number, &order.id, touched);
                let methods = order.analytes.into_iter().map(|requested| requested.method);
                self.orders.entry(order.id).or_default().methods.extend(methods);
            }
            DocumentKind::Method => {
                let method = method::read(file_name, text).map_err(|faults| faults.to_string())?;
                self.methods.entry(method.id.clone()).or_default().push(number);
                touched.methods.insert(method.id);
            }
            DocumentKind::Preparation => {
                let batch = preparation::read(file_name, text).map_err(|faults| faults.to_string())?;
                let known = self.batches.entry(batch.id.clone()).or_default();
                known.entries.push(number);
                known.orders.extend(batch.portions.into_iter().filter_map(|portion| match portion.role {
                    PortionRole::Sample { order, .. } => Some(order),
                    _ => None,
                }));
                touched.batches.insert(batch.id);
            }
            DocumentKind::Run => {
                let head = run::read(file_name, text).map_err(|faults| faults.to_string())?;
                let rows = rows.ok_or("the rows of the run are not beside it")?;
                // How many replicates a row has does not say what it holds.
                let rows = run_order::read(&rows.file_name, &rows.text, 1).map_err(|faults| faults.to_string())?;
                self.of_run(number, &head.id, touched);
                let known = self.runs.entry(head.id).or_default();
                known.methods.insert(head.method);
                known.batches.extend(batches_in(&rows));
            }
        }
        Ok(())
    }

    /// The ways from orders to their batches and runs.
    pub fn ways(&self) -> Ways<'_> {
        let mut ways = Ways { batches: BTreeMap::new(), runs: BTreeMap::new() };
        for batch in self.batches.values() {
            for order in &batch.orders {
                ways.batches.entry(order).or_default().push(batch);
            }
        }
        for (id, run) in &self.runs {
            for order in self.orders_of(run) {
                ways.runs.entry(order).or_default().insert(id);
            }
        }
        ways
    }

    fn orders_of<'a>(&'a self, run: &'a OfRun) -> impl Iterator<Item = &'a OrderId> {
        run.batches.iter().filter_map(|batch| self.batches.get(batch)).flat_map(|batch| &batch.orders)
    }

    /// The orders whose state may have changed with what was touched.
    pub fn orders_touched(&self, touched: &Touched) -> BTreeSet<OrderId> {
        let batches = touched.batches.iter().filter_map(|id| self.batches.get(id)).flat_map(|batch| &batch.orders);
        let mut orders: BTreeSet<OrderId> = touched.orders.iter().chain(batches).cloned().collect();
        let is_touched = |id: &RunId, run: &OfRun| {
            touched.runs.contains(id)
                || !touched.methods.is_disjoint(&run.methods)
                || !touched.batches.is_disjoint(&run.batches)
        };
        for (_, run) in self.runs.iter().filter(|(id, run)| is_touched(id, run)) {
            orders.extend(self.orders_of(run).cloned());
        }
        if !touched.methods.is_empty() {
            let asks = |of: &&OfOrder| !touched.methods.is_disjoint(&of.methods);
            orders.extend(self.orders.iter().filter(|(_, of)| asks(of)).map(|(id, _)| id.clone()));
        }
        // A batch may name an order that nobody has entered.
        orders.retain(|order| self.orders.contains_key(order));
        orders
    }

    /// The entries that the state of an order rests on, in the order of their numbers.
    pub fn entries_of(&self, order: &OrderId, ways: &Ways<'_>) -> BTreeSet<u64> {
        let mut entries = BTreeSet::new();
        let mut methods: BTreeSet<&MethodId> = BTreeSet::new();
        if let Some(own) = self.orders.get(order) {
            entries.extend(&own.entries);
            methods.extend(&own.methods);
        }
        for batch in ways.batches.get(order).into_iter().flatten() {
            entries.extend(&batch.entries);
        }
        for run in ways.runs.get(order).into_iter().flatten().filter_map(|id| self.runs.get(id)) {
            entries.extend(&run.entries);
            methods.extend(&run.methods);
            // A decision can be folded only behind the order in whose light it was made.
            let others = run.decided_in.iter().filter(|other| *other != order);
            entries.extend(others.filter_map(|other| self.orders.get(other)?.entries.first()));
        }
        for method in methods {
            entries.extend(self.methods.get(method).into_iter().flatten());
        }
        entries
    }
}

fn batches_in(rows: &[Row]) -> impl Iterator<Item = BatchId> {
    rows.iter().filter_map(|row| match &row.holds {
        RowHolds::Portion { batch, .. } => Some(batch.clone()),
        _ => None,
    })
}
