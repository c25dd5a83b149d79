//! Bringing an archive back: the record keeps it whole, and everything about its order is read from it.
//!
//! An archive holds the entries of other orders by their hash alone, so it cannot become a log again. It is kept as it is,
//! under its digest, and read by the same reader that verifies it: every value, entry and signature check is that of the
//! laboratory that wrote it. New work on such an order is turned back.

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{BlobDigest, Entry, Hash, PersonId, read_tree};
use darkline_exchange::bag;
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;

use crate::act::Act;
use crate::archive::{ArchiveFault, EntryLine};
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::verification::{self, Check, Contents};

/// An archive that was brought back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The entry.
    pub entry: u64,
    /// The order.
    pub order: OrderId,
    /// The report.
    pub report: String,
    /// The log it comes from.
    pub log: String,
    /// The bench that signed its entries.
    pub bench: String,
}

impl Laboratory {
    /// Brings an archive back, where it is in order and the record does not have its order.
    ///
    /// # Arguments
    /// * `told`: gets each check as soon as it is made.
    ///
    /// # Errors
    /// [`LaboratoryError::NotRestored`]; [`LaboratoryError::HasOrder`]; [`LaboratoryError::Refused`].
    pub fn restore(
        &mut self,
        by: &PersonId,
        archive: &[u8],
        told: &mut dyn FnMut(&Check),
    ) -> Result<Restored, LaboratoryError> {
        self.admit(by, Verb::KeepCopies, None)?;
        let not_restored = |fault: String| LaboratoryError::NotRestored { fault };
        let found = verification::verify(archive, told).map_err(|fault| not_restored(fault.to_string()))?;
        if let Some(fault) = found.checks.iter().flat_map(|check| &check.faults).next() {
            return Err(not_restored(fault.clone()));
        }
        let (Some(contents), Some(bench)) = (found.contents, found.signed_by) else {
            return Err(not_restored("it cannot be read to its end".into()));
        };
        let order = contents.order.clone();
        if self.state.orders.contains_key(&order) || self.state.restored.contains_key(&order) {
            return Err(LaboratoryError::HasOrder { order });
        }
        let issue = contents.state.orders.get(&order).and_then(|known| known.issues.last());
        let report = issue.map(|issue| issue.report.clone()).unwrap_or_default();
        let log = entries_of(archive)?.first().map(|entry| entry.log.to_string()).unwrap_or_default();
        self.store.put_blob(archive)?;
        let at = self.now();
        let act = Act::Restore {
            order: order.clone(),
            report: report.clone(),
            log: log.clone(),
            bench: bench.to_string(),
            archive: Digest::of(archive),
        };
        let entry = self.append(by, &at, &[act])?[0];
        Ok(Restored { entry, order, report, log, bench: bench.to_string() })
    }

    /// The archive that stands for an order, where it was brought back.
    ///
    /// # Errors
    /// [`LaboratoryError::Archive`]: its bytes are not there.
    pub fn restored_archive(&self, order: &OrderId) -> Result<Option<Vec<u8>>, LaboratoryError> {
        match self.state.restored.get(order) {
            Some(restored) => self.kept(&restored.archive, "the archive that was restored").map(Some),
            None => Ok(None),
        }
    }

    /// What such an archive holds.
    pub(crate) fn restored_contents(&self, order: &OrderId) -> Result<Option<Contents>, LaboratoryError> {
        let Some(bytes) = self.restored_archive(order)? else { return Ok(None) };
        let damaged = || ArchiveFault::BlobMissing { what: "the archive that was restored".into() };
        let found = verification::verify(&bytes, &mut |_| {}).map_err(|_| damaged())?;
        Ok(Some(found.contents.ok_or_else(damaged)?))
    }

    /// The archives that were brought back, each with the checks that were made of it now.
    ///
    /// # Errors
    /// [`LaboratoryError::Archive`]: one is not there.
    pub fn check_restored(&self) -> Result<Vec<(OrderId, Vec<String>)>, LaboratoryError> {
        let mut checked = Vec::new();
        for (order, restored) in &self.state.restored {
            let blob = BlobDigest::from_bytes(*restored.archive.as_bytes());
            let mut faults = Vec::new();
            match self.store.blob(&blob)?.map(|bytes| verification::verify(&bytes, &mut |_| {})) {
                Some(Ok(found)) => {
                    faults.extend(found.checks.into_iter().flat_map(|check| check.faults));
                    if found.signed_by.map(|key| key.to_string()).as_deref() != Some(restored.bench.as_str()) {
                        faults.push(format!("bench {} did not sign it", restored.bench));
                    }
                }
                Some(Err(fault)) => faults.push(fault.to_string()),
                None => faults.push("its bytes are not in the record".into()),
            }
            checked.push((order.clone(), faults));
        }
        Ok(checked)
    }
}

impl Laboratory {
    /// Asks whether somebody may copy the record and try copies; a refusal is appended.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    pub fn may_copy(&mut self, by: &PersonId) -> Result<(), LaboratoryError> {
        self.admit(by, Verb::KeepCopies, None)
    }

    /// The root of the first entries of the log.
    ///
    /// # Errors
    /// The store cannot be read, or has fewer entries.
    pub fn root_at(&self, size: u64) -> Result<Hash, LaboratoryError> {
        let tree = read_tree(self.store(), self.store().log())?;
        tree.root_at(size).map_err(|_| ArchiveFault::NoCheckpoint { size }.into())
    }

    /// Appends that a copy was made.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    pub fn backed_up(&mut self, by: &PersonId, size: u64, root: Hash, place: &str) -> Result<u64, LaboratoryError> {
        self.may_copy(by)?;
        // Others may have gone on working while it was made.
        self.catch_up()?;
        let at = self.now();
        Ok(self.append(by, &at, &[Act::BackUp { size, root, place: place.into() }])?[0])
    }

    /// Appends that a copy was tried, and what came of it.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    pub fn drilled(&mut self, by: &PersonId, size: u64, root: Hash, faults: &[String]) -> Result<u64, LaboratoryError> {
        self.may_copy(by)?;
        self.catch_up()?;
        let at = self.now();
        Ok(self.append(by, &at, &[Act::Drill { size, root, faults: faults.to_vec() }])?[0])
    }
}

/// The entries that stand whole in an archive.
pub(crate) fn entries_of(archive: &[u8]) -> Result<Vec<Entry>, LaboratoryError> {
    let damaged = |why: String| LaboratoryError::NotRestored { fault: why };
    let bag = bag::read(archive).map_err(|faults| damaged(faults.to_string()))?;
    let lines = bag.payload.get("entries.jsonl").ok_or_else(|| damaged("entries.jsonl is missing".into()))?;
    let lines = std::str::from_utf8(lines).map_err(|_| damaged("entries.jsonl is not text".into()))?;
    let mut entries = Vec::new();
    for line in lines.lines() {
        let line: EntryLine = serde_json::from_str(line).map_err(|error| damaged(error.to_string()))?;
        let Some(stored) = line.stored else { continue };
        entries.push(Entry::from_stored_bytes(stored.as_bytes()).map_err(|fault| damaged(fault.to_string()))?);
    }
    Ok(entries)
}
