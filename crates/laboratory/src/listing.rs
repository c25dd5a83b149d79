//! The list of all orders: how far each has come and what it waits for, kept beside the record.
//!
//! A record of ten thousand orders takes seconds to fold, since every document is read again, and longer to work out. What is
//! kept is derived from entries by this program and nothing else: it is believed only where the log still has the root it was
//! made under and the same program made it, goes on from there with the orders that later entries touch, and can be deleted
//! at any time. Nobody signs, issues or decides by it: every act works its order out again.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;
use std::path::Path;

use darkline_audit_trail::people::Stage;
use darkline_audit_trail::{Entry, Hash, Store};
use darkline_evaluation::evaluate;
use darkline_record::identity::OrderId;
use darkline_record::time::Day;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::act::Act;
use crate::laboratory::LaboratoryError;
use crate::laboratory::evaluating::pulses_of;
use crate::staging::stage_of;
use crate::state::{FoldFault, State};
use rests_on::{RestsOn, Touched};

pub use waits::Waits;

mod rests_on;
mod waits;

const SCHEMA: &str = "darkline/order-list/2";
/// So many orders are worked out together; what they rest on is in memory at once.
const AT_ONCE: usize = 64;

/// An order as the list has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// Who asked, as the record has it: where that is kept apart, what stands for it ([`crate::customer_apart`] opens it).
    pub customer: String,
    /// When its samples came.
    pub received: String,
    /// The day on which its report is due, where one was agreed.
    pub due: Option<Day>,
    /// How far it has come; none where it cannot be worked out.
    pub state: Option<Stage>,
    /// What it waits for.
    pub waits: Waits,
    /// Remarks of its last return that nobody has answered with a signature yet.
    pub n_remarks: usize,
    /// Signatures that were given for it.
    pub n_signatures: usize,
    /// The number of its last report.
    pub report: Option<String>,
    /// The log it was restored from, where it was.
    pub restored_from: Option<String>,
    /// The first entry it rests on.
    pub first_entry: u64,
    /// The last one.
    pub last_entry: u64,
    /// When that was.
    pub last_at: String,
    /// Who did it.
    pub last_by: String,
    /// What was done, as entries are searched for: `open`, `import`, `sign`, `issue`.
    pub last_act: String,
}

/// All orders of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OrderList {
    known: Known,
    rests_on: Option<RestsOn>,
    /// The line of the file that says what orders rest on, read only where something was appended.
    unread: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Known {
    schema: String,
    program: String,
    log: String,
    size: u64,
    root: Option<Hash>,
    orders: BTreeMap<OrderId, Listed>,
}

impl OrderList {
    /// The list of a store's own log, taken up from the file where it was kept, and kept there again where it grew.
    ///
    /// # Arguments
    /// * `beside`: where the list is kept. What stands there and is no list of this log, or was made by another build of this
    ///   program, is made anew; where nothing can be written, nothing is kept.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`]: the record cannot be read; [`LaboratoryError::Fold`]: an entry cannot. An order that cannot
    /// be worked out is no error: the list says so.
    pub fn of(store: &dyn Store, beside: &Path) -> Result<Self, LaboratoryError> {
        let kept = std::fs::read_to_string(beside).ok().and_then(|text| Self::from_text(&text));
        let mut list = match kept {
            Some(kept) if kept.still_holds(store)? => kept,
            _ => Self::nothing_of(store),
        };
        if list.go_on(store)? > 0 {
            list.keep(beside);
        }
        Ok(list)
    }

    fn nothing_of(store: &dyn Store) -> Self {
        let known = Known {
            schema: SCHEMA.into(),
            program: program(),
            log: store.log().to_string(),
            size: 0,
            root: None,
            orders: BTreeMap::new(),
        };
        Self { known, rests_on: Some(RestsOn::default()), unread: String::new() }
    }

    /// The orders by their identity.
    pub fn orders(&self) -> &BTreeMap<OrderId, Listed> {
        &self.known.orders
    }

    /// How many entries of the log it tells of.
    pub fn size(&self) -> u64 {
        self.known.size
    }

    fn from_text(text: &str) -> Option<Self> {
        let (known, rests_on) = text.split_once('\n')?;
        Some(Self { known: serde_json::from_str(known).ok()?, rests_on: None, unread: rests_on.to_owned() })
    }

    /// Whether this program made it, and the log has, at its size, the root that it was made under.
    fn still_holds(&self, store: &dyn Store) -> Result<bool, LaboratoryError> {
        let known = &self.known;
        if known.schema != SCHEMA || known.program != program() || known.log != store.log().as_str() {
            return Ok(false);
        }
        let edge = store.frontier(store.log(), known.size)?;
        Ok(edge.is_some_and(|edge| Some(edge.root()) == known.root))
    }

    /// Takes in what was appended since; how many entries that were. For a program that keeps the list in memory.
    ///
    /// # Errors
    /// As [`OrderList::of`]; the list is then to be made anew.
    pub fn go_on(&mut self, store: &dyn Store) -> Result<u64, LaboratoryError> {
        let before = self.known.size;
        if store.size(store.log())? == before {
            return Ok(0);
        }
        if self.rests_on.is_none() {
            match serde_json::from_str(&self.unread) {
                Ok(rests_on) => self.rests_on = Some(rests_on),
                Err(_) => *self = Self::nothing_of(store),
            }
        }
        let mut rests_on = self.rests_on.take().unwrap_or_default();
        let (mut touched, mut fault, mut size) = (Touched::default(), None, self.known.size);
        store.scan(store.log(), size, &mut |entry| {
            size = entry.number.saturating_add(1);
            let act = Act::read(entry).map_err(FoldFault::from);
            match act.and_then(|act| rests_on.take(entry, &act, &mut touched)) {
                Ok(()) => ControlFlow::Continue(()),
                Err(found) => {
                    fault = Some(found);
                    ControlFlow::Break(())
                }
            }
        })?;
        if let Some(fault) = fault {
            return Err(fault.into());
        }
        let ways = rests_on.ways();
        let orders: Vec<OrderId> = rests_on.orders_touched(&touched).into_iter().collect();
        for some in orders.chunks(AT_ONCE) {
            let entries = some
                .iter()
                .map(|order| Ok((order, read(store, &rests_on.entries_of(order, &ways), size)?)))
                .collect::<Result<Vec<_>, LaboratoryError>>()?;
            self.known.orders.extend(listed(store, entries)?);
        }
        self.known.size = size;
        self.known.root = store.frontier(store.log(), size)?.map(|edge| edge.root());
        drop(ways);
        self.rests_on = Some(rests_on);
        Ok(size - before.min(size))
    }

    /// Keeps the list under its name at once or not at all; without it the next one is made anew.
    fn keep(&self, beside: &Path) {
        let (Ok(known), Ok(rests_on)) = (serde_json::to_string(&self.known), serde_json::to_string(&self.rests_on))
        else {
            return;
        };
        let mut unfinished = beside.as_os_str().to_owned();
        unfinished.push(format!(".{}", std::process::id()));
        let whole = format!("{known}\n{rests_on}");
        if std::fs::write(&unfinished, whole).and_then(|()| std::fs::rename(&unfinished, beside)).is_err() {
            let _ = std::fs::remove_file(&unfinished);
        }
    }
}

/// What tells this build from others: their arithmetic may differ while an edition is on trial.
fn program() -> String {
    let file = std::env::current_exe().and_then(std::fs::metadata);
    let built = file.map(|file| (file.len(), file.modified().ok())).ok();
    format!("{} {built:?}", env!("CARGO_PKG_VERSION"))
}

/// Entries by their numbers, all before `size`.
fn read(store: &dyn Store, numbers: &BTreeSet<u64>, size: u64) -> Result<Vec<Entry>, LaboratoryError> {
    let mut entries = Vec::with_capacity(numbers.len());
    for number in numbers.range(..size) {
        entries.extend(store.entry(store.log(), *number)?);
    }
    Ok(entries)
}

/// Works out some orders from the entries they rest on.
fn listed(store: &dyn Store, orders: Vec<(&OrderId, Vec<Entry>)>) -> Result<Vec<(OrderId, Listed)>, LaboratoryError> {
    let folded: Vec<(&OrderId, Vec<Entry>, Result<State, FoldFault>)> = orders
        .into_par_iter()
        .map(|(order, entries)| {
            let mut state = State::default();
            let folded = entries.iter().try_for_each(|entry| state.fold(entry));
            (order, entries, folded.map(|()| state))
        })
        .collect();
    let mut with_pulses = Vec::with_capacity(folded.len());
    for (order, entries, state) in folded {
        let (state, package) = match state {
            Ok(state) => {
                let package = match pulses_of(store, &state, order) {
                    Ok(pulses) => Ok(state.package(order, pulses)),
                    Err(missing @ LaboratoryError::PulseMissing { .. }) => Err(missing.to_string()),
                    Err(other) => return Err(other),
                };
                (state, package)
            }
            Err(fault) => (State::default(), Err(fault.to_string())),
        };
        with_pulses.push((order, entries, state, package));
    }
    let listed = with_pulses.into_par_iter().map(|(order, entries, state, package)| {
        let (stage, waits) = match package {
            Ok(_) if !state.orders.contains_key(order) && state.restored.contains_key(order) => {
                (Some(Stage::Issued), Waits::Nothing)
            }
            Ok(None) => (Some(Stage::Open), Waits::Opening),
            Ok(Some(package)) => match evaluate(&package, &state.decisions_of(order)) {
                Ok(outcome) => {
                    let known = &state.orders[order];
                    let stage = stage_of(known, &outcome);
                    (Some(stage), Waits::of(known, stage, &outcome, is_archived(&entries, order)))
                }
                Err(fault) => (None, Waits::Repair { why: fault.to_string() }),
            },
            Err(why) => (None, Waits::Repair { why }),
        };
        (order.clone(), line(order, &entries, &state, stage, waits))
    });
    Ok(listed.collect())
}

/// Whether an archive was written after the last report.
fn is_archived(entries: &[Entry], order: &OrderId) -> bool {
    let mut is_archived = false;
    for act in entries.iter().filter_map(|entry| Act::read(entry).ok()) {
        match act {
            Act::Issue { order: of, .. } if of == *order => is_archived = false,
            Act::Archive { order: of, .. } if of == *order => is_archived = true,
            _ => {}
        }
    }
    is_archived
}

fn line(order: &OrderId, entries: &[Entry], state: &State, stage: Option<Stage>, waits: Waits) -> Listed {
    let known = state.orders.get(order);
    let restored = state.restored.get(order).filter(|_| known.is_none());
    let last = entries.last();
    let reported = known.and_then(|known| known.issues.last()).map(|issue| issue.report.clone());
    Listed {
        customer: known.map_or_else(String::new, |known| known.order.customer.clone()),
        received: known.map_or_else(String::new, |known| known.order.received.to_string()),
        due: known.and_then(|known| known.order.due.clone()),
        state: stage,
        waits,
        n_remarks: known.map_or(0, |known| known.open_remarks().len()),
        n_signatures: known.map_or(0, |known| known.signatures.len()),
        report: reported.or_else(|| restored.map(|restored| restored.report.clone())),
        restored_from: restored.map(|restored| restored.log.clone()),
        first_entry: entries.first().map_or(0, |entry| entry.number),
        last_entry: last.map_or(0, |entry| entry.number),
        last_at: last.map_or_else(String::new, |entry| entry.at.to_string()),
        last_by: last.map_or_else(String::new, |entry| entry.by.to_string()),
        last_act: last.and_then(|entry| Act::read(entry).ok()).map_or_else(String::new, |act| act.kind().to_owned()),
    }
}
