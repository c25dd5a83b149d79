//! Handing over: a bench that worked on its own brings its record into that of the laboratory.
//!
//! Blobs first, then the log, so that no entry arrives before what it speaks of. Whatever was cut off is done by handing
//! over again: what is there already stays as it is.

use std::ops::ControlFlow;

use crate::{BlobDigest, Checkpoint, LogId, Store, StoreError};

/// So many bytes of blobs are brought in one step.
const STEP_BYTES: usize = 8 << 20;

/// What a hand-over brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandedOver {
    /// The log.
    pub log: LogId,
    /// Entries that were not there yet.
    pub n_entries: u64,
    /// Blobs of the bench, all of which are in the laboratory's record now.
    pub n_blobs: u64,
    /// The newest checkpoint of the log, now there too.
    pub newest: Checkpoint,
}

/// Brings the log of a bench, with its blobs, into the record of the laboratory.
///
/// # Arguments
/// * `bench`: its own log is handed over, which is another than the one that `laboratory` appends to.
/// * `laboratory`: a record that holds several logs.
///
/// # Errors
/// [`StoreError::NotTheBeginning`]: what is there is not the beginning of the bench's log; [`StoreError::OwnLog`];
/// [`StoreError::OneLog`]: the record is a file; [`StoreError::NoCheckpoint`]: the bench has no entries. Faults of either
/// store. What was brought before stays.
pub fn hand_over(bench: &dyn Store, laboratory: &mut dyn Store) -> Result<HandedOver, StoreError> {
    let log = bench.log().clone();
    let newest = bench.last_checkpoint(&log)?.ok_or_else(|| StoreError::NoCheckpoint { log: log.clone() })?;
    let n_blobs = bring_blobs(bench, laboratory)?;
    let n_entries = laboratory.take_over_log(bench)?;
    Ok(HandedOver { log, n_entries, n_blobs, newest })
}

fn bring_blobs(bench: &dyn Store, laboratory: &mut dyn Store) -> Result<u64, StoreError> {
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
            laboratory.put_blobs(&blobs)?;
            step.clear();
        }
    }
    Ok(digests.len() as u64)
}
