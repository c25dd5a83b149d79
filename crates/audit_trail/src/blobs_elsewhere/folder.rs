//! Blobs in a folder. Whatever store a laboratory mounts as a folder serves as well.
//!
//! A blob is written under another name, brought to the disk, and then renamed, so that a file with a digest for a name is
//! whole.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use super::Place;
use crate::{BlobDigest, EntryId, StoreError};

/// A folder of blobs.
pub(super) struct Folder {
    folder: PathBuf,
}

impl Folder {
    /// The folder at a path, which is made where it is not there.
    pub fn at(folder: &Path) -> Result<Self, StoreError> {
        fs::create_dir_all(folder).map_err(|error| fault(folder, &error))?;
        Ok(Self { folder: folder.to_owned() })
    }

    fn place(&self, digest: &BlobDigest) -> PathBuf {
        let name = digest.to_string();
        self.folder.join(&name[..2]).join(name)
    }

    fn keep_one(&self, digest: &BlobDigest, bytes: &[u8]) -> Result<(), StoreError> {
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

impl Place for Folder {
    fn keep(&self, blobs: &[(BlobDigest, &[u8])]) -> Result<(), StoreError> {
        blobs.iter().try_for_each(|(digest, bytes)| self.keep_one(digest, bytes))
    }

    fn read(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError> {
        let place = self.place(digest);
        match fs::read(&place) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(fault(&place, &error)),
        }
    }

    fn digests(&self) -> Result<Vec<BlobDigest>, StoreError> {
        let mut digests = Vec::new();
        for within in fs::read_dir(&self.folder).map_err(|error| fault(&self.folder, &error))?.flatten() {
            for file in fs::read_dir(within.path()).into_iter().flatten().flatten() {
                digests.extend(file.file_name().to_str().and_then(|name| name.parse::<BlobDigest>().ok()));
            }
        }
        Ok(digests)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::SigningKey;
    use crate::{BlobPlace, BlobsElsewhere, Fault, LogId, SqliteStore, Store, verify_trail};

    #[test]
    fn blobs_stand_in_the_folder_once_and_a_changed_one_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let (trail, pulses) = (folder.path().join("millrace.trail"), folder.path().join("pulses"));
        let log = LogId::new("bench-2").unwrap();
        let mut below = SqliteStore::create(&trail, &log, SigningKey::from_seed(&[7; 32])).unwrap();
        let before = below.put_blob(b"from before").unwrap();
        let mut store = BlobsElsewhere::over(Box::new(below), &BlobPlace::Folder(pulses.clone())).unwrap();
        let digests = store.put_blobs(&[b"a pulse", b"another", b"a pulse"]).unwrap();
        assert_eq!(digests[0], digests[2]);
        assert_eq!(store.blob(&digests[1]).unwrap().as_deref(), Some(&b"another"[..]));
        assert_eq!(store.blob(&before).unwrap().as_deref(), Some(&b"from before"[..]));
        assert_eq!(store.blob(&BlobDigest::of(b"nobody's")).unwrap(), None);
        let report = verify_trail(&store, &log).unwrap();
        assert!(report.is_intact());
        assert_eq!(report.n_blobs, 3);
        let place = Folder::at(&pulses).unwrap().place(&digests[1]);
        fs::write(&place, b"changed").unwrap();
        assert_eq!(verify_trail(&store, &log).unwrap().faults, [Fault::BlobChanged { digest: digests[1] }]);
        // What a writer left unfinished when it was cut off is not a blob.
        fs::rename(&place, place.with_file_name("unfinished-0")).unwrap();
        assert_eq!(verify_trail(&store, &log).unwrap().n_blobs, 2);
    }
}
