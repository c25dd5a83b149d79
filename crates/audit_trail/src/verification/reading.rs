//! Entries read and hashed in blocks, by as many readers as there are cores, in the order of their numbers.

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::{Fault, damage};
use crate::{Form, Recounted};
use crate::{LogId, Store, StoreError};

/// A block holds at most so many numbers, and so many bytes.
const BLOCK_ENTRIES: u64 = 2048;
const BLOCK_BYTES: usize = 32 << 20;

/// Reads the log of a store block by block.
pub(super) struct Reader<'a> {
    log: &'a LogId,
    /// Where the next block begins; nothing at the end.
    from: Option<u64>,
    /// How many numbers a block holds; fewer where entries are large.
    length: u64,
    /// One for each thread; none where the store itself reads.
    others: Vec<Box<dyn Store + Send>>,
}

/// Some entries in the order of their numbers, and what was wrong on the way.
pub(super) struct Block {
    pub entries: Vec<Recounted>,
    pub faults: Vec<Fault>,
    /// The first entry behind it; nothing at the end.
    next: Option<u64>,
}

impl<'a> Reader<'a> {
    /// Begins at the first entry.
    pub fn new(store: &dyn Store, log: &'a LogId) -> Self {
        let n_threads = rayon::current_num_threads();
        let is_worth_it = n_threads > 1 && store.size(log).is_ok_and(|size| size > 2 * BLOCK_ENTRIES);
        let mut others: Vec<_> =
            if is_worth_it { (0..n_threads).map_while(|_| store.reader()).collect() } else { Vec::new() };
        if others.len() < n_threads {
            others.clear();
        }
        Self { log, from: Some(0), length: BLOCK_ENTRIES, others }
    }

    /// Whether blocks are read by other readers than the store itself.
    pub fn has_others(&self) -> bool {
        !self.others.is_empty()
    }

    /// The next blocks, read by the store itself.
    ///
    /// # Errors
    /// There was nothing to read.
    pub fn next(&mut self, store: &dyn Store) -> Result<Vec<Block>, StoreError> {
        let Some(from) = self.from else { return Ok(Vec::new()) };
        let block = block(store, self.log, from, from.saturating_add(self.length))?;
        Ok(self.in_order(vec![block]))
    }

    /// The next blocks, read by all readers at once.
    ///
    /// # Errors
    /// There was nothing to read.
    pub fn next_of_all(&mut self) -> Result<Vec<Block>, StoreError> {
        let Some(from) = self.from else { return Ok(Vec::new()) };
        let (log, length) = (self.log, self.length);
        let begins = |place: usize| from.saturating_add((place as u64).saturating_mul(length));
        let others = self.others.par_iter_mut().enumerate();
        let blocks = others.map(|(place, other)| block(&**other, log, begins(place), begins(place + 1)));
        let blocks = blocks.collect::<Result<Vec<_>, _>>()?;
        Ok(self.in_order(blocks))
    }

    /// Blocks up to the first that was cut short or ended, and where to go on.
    fn in_order(&mut self, blocks: Vec<Block>) -> Vec<Block> {
        let mut kept = Vec::with_capacity(blocks.len());
        let mut end = self.from.unwrap_or_default();
        for block in blocks {
            end = end.saturating_add(self.length);
            let next = block.next;
            let n_entries = block.entries.len() as u64;
            kept.push(block);
            self.from = next;
            if next.is_none_or(|next| next < end) {
                if next.is_some() {
                    self.length = n_entries.clamp(1, self.length);
                }
                break;
            }
        }
        kept
    }
}

/// The entries with numbers from `from` to before `to`.
fn block(store: &dyn Store, log: &LogId, from: u64, to: u64) -> Result<Block, StoreError> {
    let room = usize::try_from((to - from).min(BLOCK_ENTRIES)).unwrap_or_default();
    let mut block = Block { entries: Vec::with_capacity(room), faults: Vec::new(), next: None };
    let mut n_bytes = 0;
    let answer = store.recount(log, from, &mut |found| {
        if found.number >= to || n_bytes >= BLOCK_BYTES {
            block.next = Some(found.number);
            return ControlFlow::Break(());
        }
        match &found.now {
            Ok(now) => n_bytes += now.n_bytes,
            Err(what) => block.faults.push(Fault::EntryUnreadable { number: found.number, what: what.clone() }),
        }
        block.entries.push(found);
        ControlFlow::Continue(())
    });
    if let Err(error) = answer {
        let from = block.entries.last().map_or(from, |found| found.number.saturating_add(1));
        block.faults.push(Fault::Unreadable { from, what: damage(error)? });
        block.next = None;
    }
    Ok(block)
}

/// The form of a store, where damage is one of its faults.
pub(super) fn form(store: &dyn Store) -> Result<Form, StoreError> {
    store.form().or_else(|error| Ok(Form { faults: vec![damage(error)?], index: None }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::SigningKey;
    use crate::{Draft, EntryId, PersonId, SqliteStore, Timestamp, TrailReport, verify_trail};
    use std::path::Path;

    fn verified_on(n_threads: usize, path: &Path, log: &LogId) -> TrailReport {
        let threads = rayon::ThreadPoolBuilder::new().num_threads(n_threads).build().unwrap();
        threads.install(|| verify_trail(&SqliteStore::open(path).unwrap(), log).unwrap())
    }

    #[test]
    fn the_report_is_the_same_on_one_thread_and_on_several() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("millrace.trail");
        let log = LogId::new("bench-2").unwrap();
        let mut store = SqliteStore::create(&path, &log, SigningKey::from_seed(&[7; 32])).unwrap();
        for _ in 0..10 {
            let draft = |_| Draft {
                id: EntryId::random().unwrap(),
                by: PersonId::new("j.alder").unwrap(),
                at: Timestamp::new("2026-03-14T09:30:00+01:00").unwrap(),
                bytes: b"opaque".to_vec(),
            };
            store.append(&(0..1300).map(draft).collect::<Vec<_>>()).unwrap();
        }
        drop(store);
        let sound = verified_on(1, &path, &log);
        assert!(sound.is_intact());
        assert_eq!(format!("{sound:?}"), format!("{:?}", verified_on(3, &path, &log)));

        let altered = rusqlite::Connection::open(&path).unwrap();
        altered
            .execute_batch(
                "DROP TRIGGER entry_stays; DROP TRIGGER entry_remains;
                UPDATE entry SET bytes = x'00' WHERE number IN (3, 2048, 6000);
                UPDATE entry SET leaf = zeroblob(32) WHERE number = 4095;
                UPDATE entry SET at = 'noon' WHERE number = 9000;
                DELETE FROM entry WHERE number BETWEEN 9500 AND 9504;",
            )
            .unwrap();
        drop(altered);
        let told = verified_on(1, &path, &log);
        assert!(told.faults.iter().any(|fault| matches!(fault, Fault::EntryChanged { number: 6000 })));
        assert!(told.faults.iter().any(|fault| matches!(fault, Fault::EntryUnreadable { number: 9000, .. })));
        assert!(told.faults.iter().any(|fault| matches!(fault, Fault::EntriesMissing { first: 9500, last: 9504 })));
        assert_eq!(format!("{told:?}"), format!("{:?}", verified_on(3, &path, &log)));
    }
}
