//! Blobs in a bucket of a store that speaks S3, through the library `object_store`.
//!
//! The address says where, `s3://pulses/millrace?endpoint=https://store.millrace.example&region=north`; how the bench proves
//! itself stands in its surroundings, by the names that every program for such stores reads: `AWS_ACCESS_KEY_ID`,
//! `AWS_SECRET_ACCESS_KEY`. A store answers when an object is there whole, and its own network faults are tried again.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use object_store::aws::{AmazonS3, AmazonS3Builder};
use object_store::path::Path;
use object_store::{ObjectStore, ObjectStoreExt, PutPayload, RetryConfig};
use tokio::runtime::Runtime;
use tokio::task::JoinSet;
use tokio_stream::StreamExt;

use super::Place;
use crate::{BlobDigest, StoreError};

/// So many blobs are on their way at once.
const AT_ONCE: usize = 16;
/// So long is a fault of the network met by trying again.
const PATIENCE: Duration = Duration::from_secs(20);

/// Where a bucket is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BucketAddress {
    bucket: String,
    /// What stands before the name of every blob; empty where nothing does.
    prefix: String,
    endpoint: Option<String>,
    region: Option<String>,
}

/// What is the matter with the address of a bucket.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is no address of a bucket: {why}; write s3://BUCKET/FOLDER?endpoint=https://HOST&region=NAME")]
pub struct BucketAddressFault {
    /// The address, cut after 200 characters.
    pub found: String,
    /// What is the matter.
    pub why: &'static str,
}

impl FromStr for BucketAddress {
    type Err = BucketAddressFault;

    fn from_str(text: &str) -> Result<Self, BucketAddressFault> {
        let fault = |why| BucketAddressFault { found: text.chars().take(200).collect(), why };
        let rest = text.strip_prefix("s3://").ok_or_else(|| fault("it does not begin with s3://"))?;
        let (place, more) = rest.split_once('?').unwrap_or((rest, ""));
        let (bucket, prefix) = place.split_once('/').unwrap_or((place, ""));
        let prefix = prefix.trim_matches('/');
        let is_plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '_' | '.' | '/');
        if bucket.is_empty() || !place.chars().all(is_plain) {
            return Err(fault("bucket and folder are written with a to z, 0 to 9, -, _ and full stop"));
        }
        let (mut endpoint, mut region) = (None, None);
        for (key, value) in
            more.split('&').filter(|pair| !pair.is_empty()).map(|pair| pair.split_once('=').unwrap_or((pair, "")))
        {
            let known = match key {
                "endpoint" if value.contains('@') => return Err(fault("an address never holds a password")),
                "endpoint" if value.starts_with("https://") || is_of_this_machine(value) => &mut endpoint,
                "endpoint" => return Err(fault("the line to another machine is locked: https://")),
                "region" => &mut region,
                _ => return Err(fault("behind the question mark stand endpoint and region alone")),
            };
            *known = Some(value.to_owned()).filter(|value| !value.is_empty());
        }
        Ok(Self { bucket: bucket.into(), prefix: prefix.into(), endpoint, region })
    }
}

/// Whether a line that is not locked goes no further than this machine.
fn is_of_this_machine(endpoint: &str) -> bool {
    let Some(host) = endpoint.strip_prefix("http://") else { return false };
    let name = host.split(['/', ':']).next().unwrap_or_default();
    matches!(name, "localhost" | "127.0.0.1")
}

impl fmt::Display for BucketAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "s3://{}", self.bucket)?;
        if !self.prefix.is_empty() {
            write!(f, "/{}", self.prefix)?;
        }
        let mut sign = '?';
        for (key, value) in [("endpoint", &self.endpoint), ("region", &self.region)] {
            if let Some(value) = value {
                write!(f, "{sign}{key}={value}")?;
                sign = '&';
            }
        }
        Ok(())
    }
}

/// A bucket of blobs.
pub(super) struct Bucket {
    store: Arc<AmazonS3>,
    address: BucketAddress,
    runtime: Runtime,
}

impl Bucket {
    /// The bucket at an address. Nothing is asked of it yet.
    pub fn at(address: &BucketAddress) -> Result<Self, StoreError> {
        // Where a program has chosen its ciphers already, that choice stays.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let retry = RetryConfig { max_retries: 5, retry_timeout: PATIENCE, ..RetryConfig::default() };
        let mut builder = AmazonS3Builder::from_env().with_bucket_name(&address.bucket).with_retry(retry);
        if let Some(endpoint) = &address.endpoint {
            builder = builder.with_endpoint(endpoint).with_allow_http(endpoint.starts_with("http://"));
        }
        if let Some(region) = &address.region {
            builder = builder.with_region(region);
        }
        let io = |what: String| StoreError::Io { path: PathBuf::from(address.to_string()), what };
        let store = builder.build().map_err(|error| io(error.to_string()))?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
        Ok(Self {
            store: Arc::new(store),
            address: address.clone(),
            runtime: runtime.map_err(|error| io(error.to_string()))?,
        })
    }

    fn name(&self, digest: &BlobDigest) -> Path {
        let name = digest.to_string();
        let within = [self.address.prefix.as_str(), &name[..2], &name];
        Path::from_iter(within.into_iter().flat_map(|part| part.split('/')).filter(|part| !part.is_empty()))
    }

    fn fault(&self, error: &object_store::Error) -> StoreError {
        StoreError::Unreachable { place: self.address.to_string(), what: in_one_line(error) }
    }
}

/// An error with what caused it, as one line.
fn in_one_line(error: &dyn std::error::Error) -> String {
    let mut words = error.to_string();
    let mut cause = error.source();
    while let Some(deeper) = cause {
        let more = deeper.to_string();
        if !words.contains(&more) {
            words.push_str(": ");
            words.push_str(&more);
        }
        cause = deeper.source();
    }
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Place for Bucket {
    fn keep(&self, blobs: &[(BlobDigest, &[u8])]) -> Result<(), StoreError> {
        let sent = self.runtime.block_on(async {
            let mut on_the_way = JoinSet::new();
            for (digest, bytes) in blobs {
                if on_the_way.len() >= AT_ONCE {
                    answered(&mut on_the_way).await?;
                }
                let (store, name, bytes) = (self.store.clone(), self.name(digest), PutPayload::from(bytes.to_vec()));
                on_the_way.spawn(async move {
                    // What is there already is not sent again.
                    match store.head(&name).await {
                        Err(object_store::Error::NotFound { .. }) => store.put(&name, bytes).await.map(|_| ()),
                        answer => answer.map(|_| ()),
                    }
                });
            }
            while !on_the_way.is_empty() {
                answered(&mut on_the_way).await?;
            }
            Ok(())
        });
        sent.map_err(|error| self.fault(&error))
    }

    fn read(&self, digest: &BlobDigest) -> Result<Option<Vec<u8>>, StoreError> {
        let answer = self.runtime.block_on(async {
            match self.store.get(&self.name(digest)).await {
                Err(object_store::Error::NotFound { .. }) => Ok(None),
                answer => answer?.bytes().await.map(|bytes| Some(bytes.to_vec())),
            }
        });
        answer.map_err(|error| self.fault(&error))
    }

    fn digests(&self) -> Result<Vec<BlobDigest>, StoreError> {
        let prefix = (!self.address.prefix.is_empty()).then(|| Path::from(self.address.prefix.as_str()));
        let answer = self.runtime.block_on(async {
            let mut listed = self.store.list(prefix.as_ref());
            let mut digests = Vec::new();
            while let Some(object) = listed.next().await {
                digests.extend(object?.location.filename().and_then(|name| name.parse::<BlobDigest>().ok()));
            }
            Ok(digests)
        });
        answer.map_err(|error| self.fault(&error))
    }
}

/// Waits for one of the answers.
async fn answered(on_the_way: &mut JoinSet<Result<(), object_store::Error>>) -> Result<(), object_store::Error> {
    match on_the_way.join_next().await {
        Some(Ok(answer)) => answer,
        Some(Err(error)) => Err(object_store::Error::JoinError { source: error }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_reads_back_and_leaves_no_room_for_a_password_or_an_open_line() {
        for text in [
            "s3://pulses",
            "s3://pulses/millrace/bench-2",
            "s3://pulses?region=north",
            "s3://pulses/millrace?endpoint=https://store.millrace.example&region=north",
            "s3://pulses?endpoint=http://127.0.0.1:9000",
        ] {
            assert_eq!(text.parse::<BucketAddress>().unwrap().to_string(), text);
        }
        for (text, why) in [
            ("/srv/pulses", "does not begin"),
            ("s3://", "bucket and folder"),
            ("s3://pul ses", "bucket and folder"),
            ("s3://pulses?endpoint=http://store.millrace.example", "is locked"),
            ("s3://pulses?endpoint=https://a:b@c", "never holds a password"),
            ("s3://pulses?secret=x", "alone"),
        ] {
            let fault = text.parse::<BucketAddress>().unwrap_err().to_string();
            assert!(fault.contains(why), "{fault}");
        }
    }

    #[test]
    fn a_blob_is_named_by_its_digest_below_the_folder_of_the_address() {
        let digest = BlobDigest::of(b"a pulse");
        for (address, before) in
            [("s3://pulses?region=north", ""), ("s3://pulses/of/millrace?region=north", "of/millrace/")]
        {
            let bucket = Bucket::at(&address.parse().unwrap()).unwrap();
            let name = digest.to_string();
            assert_eq!(bucket.name(&digest).to_string(), format!("{before}{}/{name}", &name[..2]));
        }
    }
}
