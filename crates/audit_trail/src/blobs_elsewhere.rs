//! Blobs beside the database: a laboratory keeps its pulses in a folder on a disk of their own, or in a store that speaks S3.
//!
//! A blob is named by the digest of its bytes, below the first two digits of it: `3f/3fa2…`. It is there whole or not at
//! all, and a second writer of the same bytes does no harm. Everything else stays with the store below.

use std::fmt;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use crate::keys::{PublicKey, SigningKey};
use crate::merkle::Frontier;
use crate::store::LARGEST_KEPT;
use crate::{BlobDigest, Checkpoint, Draft, Entry, Form, Hash, LogId, PersonId, Recounted, Store, StoreError};
use bucket::Bucket;
use folder::Folder;

pub use bucket::{BucketAddress, BucketAddressFault};

mod bucket;
mod folder;

/// Where blobs stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BlobPlace {
    /// In a folder, which is made where it is not there.
    Folder(PathBuf),
    /// In a bucket of a store that speaks S3.
    Bucket(BucketAddress),
}

impl BlobPlace {
    /// What a person writes: the address of a bucket, `s3://…`, or else a folder.
    ///
    /// # Errors
    /// [`BucketAddressFault`].
    pub fn read(text: &Path) -> Result<Self, BucketAddressFault> {
        match text.to_str().filter(|text| text.starts_with("s3://")) {
            Some(address) => address.parse().map(Self::Bucket),
            None => Ok(Self::Folder(text.to_owned())),
        }
    }
}

impl fmt::Display for BlobPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder(folder) => folder.display().fmt(f),
            Self::Bucket(address) => address.fmt(f),
        }
    }
}

/// A place that keeps bytes by their digest.
trait Place: Send {
    /// Keeps blobs for good; those that are there already stay as they are.
    fn keep(&self, blobs: &[(BlobDigest, &[u8])]) -> Result<(), StoreError>;
    /// The bytes as they are there now.
    fn read(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError>;
    /// The digests of all that is there.
    fn digests(&self) -> Result<Vec<BlobDigest>, StoreError>;
}

/// A store whose blobs stand elsewhere.
pub struct BlobsElsewhere {
    below: Box<dyn Store>,
    place: Box<dyn Place>,
}

impl BlobsElsewhere {
    /// Keeps the blobs of a store elsewhere.
    ///
    /// # Errors
    /// [`StoreError::Io`]: the folder cannot be made, or nothing can be called by what the bucket needs.
    pub fn over(below: Box<dyn Store>, place: &BlobPlace) -> Result<Self, StoreError> {
        let place: Box<dyn Place> = match place {
            BlobPlace::Folder(folder) => Box::new(Folder::at(folder)?),
            BlobPlace::Bucket(address) => Box::new(Bucket::at(address)?),
        };
        Ok(Self { below, place })
    }
}

impl Store for BlobsElsewhere {
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
        let named: Vec<(BlobDigest, &[u8])> = blobs.iter().map(|bytes| (BlobDigest::of(bytes), *bytes)).collect();
        self.place.keep(&named)?;
        Ok(named.into_iter().map(|(digest, _)| digest).collect())
    }

    fn blob(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError> {
        // Blobs from the time before there was such a place stand below.
        let Some(bytes) = self.place.read(digest)? else { return self.below.blob(digest) };
        let found = BlobDigest::of(&bytes);
        if found != *digest {
            return Err(StoreError::DamagedBlob { wanted: *digest, found });
        }
        Ok(Some(bytes))
    }

    fn blob_digests(&self, visit: &mut dyn FnMut(BlobDigest) -> ControlFlow<()>) -> Result<(), StoreError> {
        let mut digests = self.place.digests()?;
        self.below.blob_digests(&mut |digest| {
            digests.push(digest);
            ControlFlow::Continue(())
        })?;
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
