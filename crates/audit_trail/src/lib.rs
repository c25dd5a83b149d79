//! Entries as opaque bytes, a Merkle tree over them, keys, signatures, people; stored in SQLite.
