//! A copy of a whole trail while others go on writing it.
//!
//! SQLite's own online backup reads all pages within one read of the write-ahead log, so the copy is the record as it stood at
//! one moment, between two appends and never within one.

use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use super::SqliteStore;
use crate::{Store, StoreError};

impl SqliteStore {
    /// Copies the whole trail into a new file: entries, checkpoints, blobs, encrypted keys, guards. The bench's own key is not
    /// in a trail and so not in the copy.
    ///
    /// # Errors
    /// * [`StoreError::AlreadyThere`]: something stands there.
    /// * [`StoreError::Locked`], [`StoreError::DiskFull`], [`StoreError::Io`]: what was written is taken away again.
    pub fn back_up(&self, to: &Path) -> Result<u64, StoreError> {
        if to.symlink_metadata().is_ok() {
            return Err(StoreError::AlreadyThere { path: to.to_owned() });
        }
        let copied = self.copy_pages(to);
        if copied.is_err() {
            let _ = std::fs::remove_file(to);
        }
        copied.map_err(|error| self.place.fault(error))?;
        let copy = Self::open(to)?;
        copy.size(copy.log())
    }

    fn copy_pages(&self, to: &Path) -> rusqlite::Result<()> {
        let mut copy = Connection::open(to)?;
        copy.pragma_update(None, "synchronous", "FULL")?;
        // All pages in one step: another writer would make a stepwise copy begin again and again.
        let backup = Backup::new(&self.connection, &mut copy)?;
        backup.run_to_completion(i32::MAX, Duration::from_millis(50), None)?;
        drop(backup);
        // One file by itself, without a log beside it.
        copy.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::SigningKey;
    use crate::{Draft, EntryId, LogId, PersonId, Timestamp, verify_trail};

    fn draft() -> Draft {
        Draft {
            id: EntryId::random().unwrap(),
            by: PersonId::new("j.alder").unwrap(),
            at: Timestamp::now(),
            bytes: b"a reading".to_vec(),
        }
    }

    #[test]
    fn a_copy_is_the_trail_of_one_moment_while_another_goes_on_appending() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("millrace.trail");
        let (log, key) = (LogId::new("bench-1").unwrap(), SigningKey::from_seed(&[7; 32]));
        let mut store = SqliteStore::create(&path, &log, key.clone()).unwrap();
        store.append(&[draft(), draft()]).unwrap();
        store.put_blob(b"a pulse").unwrap();
        let writer = std::thread::spawn({
            let path = path.clone();
            move || {
                let mut store = SqliteStore::open(&path).unwrap().sign_with(key).unwrap();
                for _ in 0..60 {
                    store.append(&[draft()]).unwrap();
                }
            }
        });
        let reader = SqliteStore::open(&path).unwrap();
        let mut last = 0;
        for n in 0..8 {
            let to = folder.path().join(format!("copy-{n}"));
            let size = reader.back_up(&to).unwrap();
            let copy = SqliteStore::open(&to).unwrap();
            let report = verify_trail(&copy, &log).unwrap();
            assert!(report.is_intact(), "{:?}", report.faults);
            assert_eq!((report.n_entries, report.n_blobs), (size, 1));
            assert!(size >= last && size >= 2);
            last = size;
        }
        writer.join().unwrap();
        let again = reader.back_up(&folder.path().join("copy-0")).unwrap_err();
        assert!(matches!(again, StoreError::AlreadyThere { .. }), "{again}");
        assert!(reader.back_up(&folder.path().join("none/copy")).is_err());
    }
}
