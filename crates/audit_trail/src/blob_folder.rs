//! Blobs in a folder: where a laboratory keeps its pulses beside the database, on a disk of their own.
//!
//! A blob is a file named by the digest of its bytes, in a folder named by the first two digits: `3f/3fa2…`. It is
//! written under another name, brought to the disk, and then renamed, so that a file with a digest for a name is whole.
//! A second writer of the same bytes does no harm. Whatever object store a laboratory mounts as a folder serves as well.
//!
//! Everything else stays with the store below.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use crate::keys::{PublicKey, SigningKey};
use crate::merkle::Frontier;
use crate::store::LARGEST_KEPT;
use crate::{BlobDigest, Checkpoint, Draft, Entry, EntryId, Form, Hash, LogId, PersonId, Recounted, Store, StoreError};

/// A store whose blobs stand in a folder.
pub struct BlobsInFolder {
    below: Box<dyn Store>,
    folder: PathBuf,
}

impl BlobsInFolder {
    /// Keeps the blobs of a store in a folder, which is made where it is not there.
    ///
    /// # Errors
    /// [`StoreError::Io`]: it cannot be made.
    pub fn over(below: Box<dyn Store>, folder: &Path) -> Result<Self, StoreError> {
        fs::create_dir_all(folder).map_err(|error| fault(folder, &error))?;
        Ok(Self { below, folder: folder.to_owned() })
    }

    fn place(&self, digest: &BlobDigest) -> PathBuf {
        let name = digest.to_string();
        self.folder.join(&name[..2]).join(name)
    }

    fn keep(&self, digest: &BlobDigest, bytes: &[u8]) -> Result<(), StoreError> {
        let place = self.place(digest);
        if place.exists() {
            return Ok(());
        }
        let within = place.parent().unwrap_or(&self.folder);
        fs::create_dir_all(within).map_err(|error| fault(within, &error))?;
        let unique =
            EntryId::random().map_err(|error| StoreError::Io { path: place.clone(), what: error.to_string() })?;
        let unfinished = within.join(format!("unfinished-{unique}"));
        let written = (|| {
            let mut file = OpenOptions::new().write(true).create_new(true).open(&unfinished)?;
            file.write_all(bytes)?;
            file.sync_all()?;
            fs::rename(&unfinished, &place)?;
            sync(within)?;
            sync(&self.folder)
        })();
        written.map_err(|error: std::io::Error| {
            let _ = fs::remove_file(&unfinished);
            fault(&place, &error)
        })
    }
}

/// Makes the names in a folder outlast a power cut.
fn sync(folder: &Path) -> std::io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

fn fault(path: &Path, error: &std::io::Error) -> StoreError {
    let path = path.to_owned();
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => StoreError::DiskFull { path },
        ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied => StoreError::ReadOnly { path },
        _ => StoreError::Io { path, what: error.to_string() },
    }
}

impl Store for BlobsInFolder {
    fn log(&self) -> &LogId {
        self.below.log()
    }

    fn logs(&self) -> Result<Vec<LogId>, StoreError> {
        self.below.logs()
    }

    fn append_with(&mut self, device: SigningKey) -> Result<(), StoreError> {
        self.below.append_with(device)
    }

    fn enrol_device(&mut self, device: &PublicKey) -> Result<(), StoreError> {
        self.below.enrol_device(device)
    }

    fn append(&mut self, drafts: &[Draft]) -> Result<Vec<u64>, StoreError> {
        self.below.append(drafts)
    }

    fn scan(&self, log: &LogId, from: u64, visit: &mut dyn FnMut(&Entry) -> ControlFlow<()>) -> Result<(), StoreError> {
        self.below.scan(log, from, visit)
    }

    fn size(&self, log: &LogId) -> Result<u64, StoreError> {
        self.below.size(log)
    }

    fn leaves(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(u64, Hash) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        self.below.leaves(log, from, visit)
    }

    fn recount(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(Recounted) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        self.below.recount(log, from, visit)
    }

    fn reader(&self) -> Option<Box<dyn Store + Send>> {
        self.below.reader()
    }

    fn form(&self) -> Result<Form, StoreError> {
        self.below.form()
    }

    fn frontier(&self, log: &LogId, size: u64) -> Result<Option<Frontier>, StoreError> {
        self.below.frontier(log, size)
    }

    fn checkpoints(
        &self,
        log: &LogId,
        from: u64,
        visit: &mut dyn FnMut(&Checkpoint) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        self.below.checkpoints(log, from, visit)
    }

    fn last_checkpoint(&self, log: &LogId) -> Result<Option<Checkpoint>, StoreError> {
        self.below.last_checkpoint(log)
    }

    fn devices(&self) -> Result<Vec<PublicKey>, StoreError> {
        self.below.devices()
    }

    fn devices_of(&self, log: &LogId) -> Result<Vec<PublicKey>, StoreError> {
        self.below.devices_of(log)
    }

    fn put_blobs(&mut self, blobs: &[&[u8]]) -> Result<Vec<BlobDigest>, StoreError> {
        if let Some(large) = blobs.iter().find(|bytes| bytes.len() > LARGEST_KEPT) {
            return Err(StoreError::TooLarge { what: "a blob", bytes: large.len() });
        }
        blobs
            .iter()
            .map(|bytes| {
                let digest = BlobDigest::of(bytes);
                self.keep(&digest, bytes)?;
                Ok(digest)
            })
            .collect()
    }

    fn blob(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError> {
        let place = self.place(digest);
        let bytes = match fs::read(&place) {
            Ok(bytes) => bytes,
            // Blobs from the time before there was a folder.
            Err(error) if error.kind() == ErrorKind::NotFound => return self.below.blob(digest),
            Err(error) => return Err(fault(&place, &error)),
        };
        let found = BlobDigest::of(&bytes);
        if found != *digest {
            return Err(StoreError::DamagedBlob { wanted: *digest, found });
        }
        Ok(Some(bytes))
    }

    fn blob_digests(&self, visit: &mut dyn FnMut(BlobDigest) -> ControlFlow<()>) -> Result<(), StoreError> {
        let mut digests = Vec::new();
        self.below.blob_digests(&mut |digest| {
            digests.push(digest);
            ControlFlow::Continue(())
        })?;
        for within in fs::read_dir(&self.folder).map_err(|error| fault(&self.folder, &error))?.flatten() {
            for file in fs::read_dir(within.path()).into_iter().flatten().flatten() {
                digests.extend(file.file_name().to_str().and_then(|name| name.parse::<BlobDigest>().ok()));
            }
        }
        digests.sort_unstable();
        digests.dedup();
        for digest in digests {
            if visit(digest).is_break() {
                break;
            }
        }
        Ok(())
    }

    fn put_key(&mut self, person: &PersonId, encrypted_pem: &str) -> Result<(), StoreError> {
        self.below.put_key(person, encrypted_pem)
    }

    fn key(&self, person: &PersonId) -> Result<Option<String>, StoreError> {
        self.below.key(person)
    }

    fn take_over_log(&mut self, bench: &dyn Store) -> Result<u64, StoreError> {
        self.below.take_over_log(bench)
    }

    fn form_faults(&self) -> Result<Vec<String>, StoreError> {
        self.below.form_faults()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Fault, SqliteStore, verify_trail};

    #[test]
    fn blobs_stand_in_the_folder_once_and_a_changed_one_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let (trail, pulses) = (folder.path().join("millrace.trail"), folder.path().join("pulses"));
        let log = LogId::new("bench-2").unwrap();
        let mut below = SqliteStore::create(&trail, &log, SigningKey::from_seed(&[7; 32])).unwrap();
        let before = below.put_blob(b"from before").unwrap();
        let mut store = BlobsInFolder::over(Box::new(below), &pulses).unwrap();
        let digests = store.put_blobs(&[b"a pulse", b"another", b"a pulse"]).unwrap();
        assert_eq!(digests[0], digests[2]);
        assert_eq!(store.blob(&digests[1]).unwrap().as_deref(), Some(&b"another"[..]));
        assert_eq!(store.blob(&before).unwrap().as_deref(), Some(&b"from before"[..]));
        assert_eq!(store.blob(&BlobDigest::of(b"nobody's")).unwrap(), None);
        let report = verify_trail(&store, &log).unwrap();
        assert!(report.is_intact());
        assert_eq!(report.n_blobs, 3);
        let place = store.place(&digests[1]);
        fs::write(&place, b"changed").unwrap();
        assert_eq!(verify_trail(&store, &log).unwrap().faults, [Fault::BlobChanged { digest: digests[1] }]);
        // What a writer left unfinished when it was cut off is not a blob.
        fs::rename(&place, place.with_file_name("unfinished-0")).unwrap();
        assert_eq!(verify_trail(&store, &log).unwrap().n_blobs, 2);
    }
}
