//! Identities and the documents of the job, their canonical bytes and digests; no arithmetic, no files.
