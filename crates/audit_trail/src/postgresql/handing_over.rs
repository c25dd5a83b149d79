//! Handing over: a bench that worked on its own brings its log into the database.
//!
//! Entries, checkpoints, devices and keys are copied as they are, checkpoint by checkpoint, so that the copy is at any
//! moment a log that verifies; a hand-over that was cut off goes on where it stopped. What is there already must be the
//! beginning of what comes: the root at its size is asked of both.

use std::ops::ControlFlow;
use std::sync::PoisonError;

use super::rows::{Statements, enrol};
use super::{PostgresStore, edge_in};
use crate::{Checkpoint, Entry, LogId, Store, StoreError, Timestamp};

impl PostgresStore {
    /// As [`Store::take_over_log`].
    pub(super) fn take_over(&mut self, bench: &dyn Store) -> Result<u64, StoreError> {
        self.writable()?;
        let log = bench.log().clone();
        if log == self.log {
            return Err(StoreError::OwnLog { log });
        }
        let newest = bench.last_checkpoint(&log)?.ok_or_else(|| StoreError::NoCheckpoint { log: log.clone() })?;
        self.take_over_devices(bench, &log)?;
        let there = self.size(&log)?;
        if there > 0 {
            let here = self.last_checkpoint(&log)?.filter(|checkpoint| checkpoint.size == there);
            let beginning = bench.frontier(&log, there)?.map(|edge| edge.root());
            if here.is_none_or(|here| Some(here.root) != beginning) {
                return Err(StoreError::NotTheBeginning { log, size: there });
            }
        }
        let mut open: Vec<Checkpoint> = Vec::new();
        bench.checkpoints(&log, there + 1, &mut |checkpoint| {
            open.push(checkpoint.clone());
            ControlFlow::Continue(())
        })?;
        let mut from = there;
        for checkpoint in open {
            let mut entries = Vec::new();
            bench.scan(&log, from, &mut |entry| {
                if entry.number >= checkpoint.size {
                    return ControlFlow::Break(());
                }
                entries.push(entry.clone());
                ControlFlow::Continue(())
            })?;
            self.take_over_step(&entries, &checkpoint)?;
            from = checkpoint.size;
        }
        Ok(newest.size.saturating_sub(there))
    }

    /// Puts entries with the checkpoint over them behind what is here; nothing where they are here already.
    fn take_over_step(&mut self, entries: &[Entry], checkpoint: &Checkpoint) -> Result<(), StoreError> {
        let log = &checkpoint.log;
        let line = self.line.get_mut().unwrap_or_else(PoisonError::into_inner);
        let place = line.place();
        line.with(|session| {
            let statements = Statements::prepare(session)?;
            let mut transaction = session.client.transaction()?;
            statements.lock(&mut transaction, log)?;
            let size = statements.size(&mut transaction, log)?;
            if size >= checkpoint.size {
                return Ok(());
            }
            let edge = edge_in(&mut transaction, log, size)?;
            let mut edge =
                edge.filter(|_| entries.first().is_some_and(|first| first.number == size)).ok_or_else(|| {
                    let what = format!("somebody else brought entries of {log} at the same time");
                    StoreError::Damaged { path: place.clone(), what }
                })?;
            statements.insert(&mut transaction, log, &mut edge, entries)?;
            if edge.root() != checkpoint.root || edge.size() != checkpoint.size {
                return Err(StoreError::NotTheBeginning { log: log.clone(), size: checkpoint.size }.into());
            }
            statements.checkpoint(&mut transaction, checkpoint)?;
            transaction.commit()?;
            Ok(())
        })
    }

    fn take_over_devices(&mut self, bench: &dyn Store, log: &LogId) -> Result<(), StoreError> {
        let devices = bench.devices_of(log)?;
        let at: Timestamp = (self.clock)();
        let line = self.line.get_mut().unwrap_or_else(PoisonError::into_inner);
        line.with(|session| {
            let mut transaction = session.client.transaction()?;
            let command = "INSERT INTO darkline.log (log, made_at) VALUES ($1, $2) ON CONFLICT DO NOTHING";
            transaction.execute(command, &[&log.as_str(), &at.as_str()])?;
            for device in &devices {
                let known = transaction.query_opt(
                    "SELECT 1 FROM darkline.device WHERE log = $1 AND public_key = $2",
                    &[&log.as_str(), &&device.as_bytes()[..]],
                )?;
                if known.is_none() {
                    enrol(&mut transaction, log, device, &at)?;
                }
            }
            transaction.commit()?;
            Ok(())
        })
    }
}
