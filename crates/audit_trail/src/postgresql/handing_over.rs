//! Handing over: a bench that worked on its own brings its log into the database.
//!
//! Entries, checkpoints, devices and keys are copied as they are, checkpoint by checkpoint, so that the copy is at any
//! moment a log that verifies; a hand-over that was cut off goes on where it stopped. What is there already must be the
//! beginning of what comes: the root at its size is asked of both.

use std::ops::ControlFlow;
use std::sync::PoisonError;

use super::rows::{Statements, enrol};
use super::{PostgresStore, edge_in};
use crate::{BlobDigest, Checkpoint, Entry, LogId, Store, StoreError, Timestamp};

/// So many bytes of blobs are brought in one step.
const STEP_BYTES: usize = 8 << 20;

/// What a hand-over brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandedOver {
    /// The log.
    pub log: LogId,
    /// Entries that were not there yet.
    pub n_entries: u64,
    /// Blobs that were brought; those that were there already count too.
    pub n_blobs: u64,
    /// The newest checkpoint of the log, now here too.
    pub newest: Checkpoint,
}

impl PostgresStore {
    /// Takes over what a bench has appended to its own log since the last time.
    ///
    /// # Arguments
    /// * `bench`: the store of the bench; its own log is taken over, which is another than the one this store appends to.
    ///
    /// # Errors
    /// [`StoreError::NotTheBeginning`]: what is here is not the beginning of the bench's log; [`StoreError::OwnLog`];
    /// [`StoreError::NoCheckpoint`]: the bench has no entries. Faults of either store. What was taken over before stays.
    pub fn take_over(&mut self, bench: &dyn Store) -> Result<HandedOver, StoreError> {
        self.writable()?;
        let log = bench.log().clone();
        if log == self.log {
            return Err(StoreError::OwnLog { log });
        }
        let newest = bench.last_checkpoint(&log)?.ok_or_else(|| StoreError::NoCheckpoint { log: log.clone() })?;
        let n_blobs = self.take_over_blobs(bench)?;
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
        Ok(HandedOver { log, n_entries: newest.size.saturating_sub(there), n_blobs, newest })
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

    fn take_over_blobs(&mut self, bench: &dyn Store) -> Result<u64, StoreError> {
        let mut digests: Vec<BlobDigest> = Vec::new();
        bench.blob_digests(&mut |digest| {
            digests.push(digest);
            ControlFlow::Continue(())
        })?;
        let mut step: Vec<Vec<u8>> = Vec::new();
        for (place, digest) in digests.iter().enumerate() {
            step.extend(bench.blob(digest)?);
            let is_full = step.iter().map(Vec::len).sum::<usize>() >= STEP_BYTES;
            if is_full || place + 1 == digests.len() {
                let blobs: Vec<&[u8]> = step.iter().map(Vec::as_slice).collect();
                self.put_blobs(&blobs)?;
                step.clear();
            }
        }
        Ok(digests.len() as u64)
    }
}
