//! Single rows of a trail database: written, read back, and put together to the edge of the tree.
//!
//! Reading a row checks every field, since another program may have written it; what is the matter is said in words,
//! and the caller adds which entry or checkpoint it was.

use std::collections::BTreeMap;

use postgres::types::ToSql;
use postgres::{GenericClient, Row, Statement};

use super::connecting::{Session, Trouble, in_words};
use crate::keys::{PublicKey, Signature};
use crate::merkle::Frontier;
use crate::{BlobDigest, Checkpoint, Draft, Entry, EntryId, Hash, LogId, PersonId, StoreError, Timestamp};

/// What appending asks, prepared before the transaction begins.
pub(super) struct Statements {
    lock: Statement,
    size: Statement,
    newest: Statement,
    known: Statement,
    insert: Statement,
    checkpoint: Statement,
}

impl Statements {
    pub fn prepare(session: &mut Session) -> Result<Self, postgres::Error> {
        Ok(Self {
            lock: session.prepared("SELECT log FROM darkline.log WHERE log = $1 FOR UPDATE")?,
            size: session.prepared(SIZE)?,
            newest: session.prepared(NEWEST)?,
            known: session
                .prepared("SELECT number, id, person, at, bytes FROM darkline.entry WHERE log = $1 AND id = ANY($2)")?,
            // In the order of their numbers, which the guard asks for.
            insert: session.prepared(
                "INSERT INTO darkline.entry (log, number, id, person, at, bytes, leaf, subtree)
                 SELECT $1, n, i, p, a, b, l, s
                 FROM unnest($2::bigint[], $3::text[], $4::text[], $5::text[], $6::bytea[], $7::bytea[], $8::bytea[])
                 AS new (n, i, p, a, b, l, s) ORDER BY n",
            )?,
            checkpoint: session.prepared(
                "INSERT INTO darkline.checkpoint (log, size, root, at, key, signature) VALUES ($1, $2, $3, $4, $5, $6)",
            )?,
        })
    }

    /// Keeps other writers of this log out until the transaction ends; whether the log is there.
    pub fn lock(&self, client: &mut impl GenericClient, log: &LogId) -> Result<bool, postgres::Error> {
        Ok(client.query_opt(&self.lock, &[&log.as_str()])?.is_some())
    }

    pub fn size(&self, client: &mut impl GenericClient, log: &LogId) -> Result<u64, Trouble> {
        let row = client.query_one(&self.size, &[&log.as_str()])?;
        Ok(number_in(&row)?)
    }

    pub fn newest(&self, client: &mut impl GenericClient, log: &LogId) -> Result<Option<Checkpoint>, Trouble> {
        newest_in(client.query_opt(&self.newest, &[&log.as_str()])?, log)
    }

    /// The entries that have the identities of these drafts already.
    pub fn known(
        &self,
        client: &mut impl GenericClient,
        log: &LogId,
        drafts: &[Draft],
    ) -> Result<BTreeMap<EntryId, Entry>, Trouble> {
        let ids: Vec<String> = drafts.iter().map(|draft| draft.id.to_string()).collect();
        let mut known = BTreeMap::new();
        for row in client.query(&self.known, &[&log.as_str(), &ids])? {
            let number = number_in(&row)?;
            let entry = entry_in(&row, log, number).map_err(|what| StoreError::DamagedEntry { number, what })?;
            known.insert(entry.id, entry);
        }
        Ok(known)
    }

    /// Puts entries behind those that are there.
    pub fn insert(
        &self,
        client: &mut impl GenericClient,
        log: &LogId,
        edge: &mut Frontier,
        entries: &[Entry],
    ) -> Result<(), Trouble> {
        let (mut numbers, mut ids, mut people, mut times) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let (mut bytes, mut leaves, mut subtrees): (Vec<&[u8]>, _, _) = (Vec::new(), Vec::new(), Vec::new());
        for entry in entries {
            let leaf = entry.leaf_hash();
            numbers.push(to_sql(entry.number));
            ids.push(entry.id.to_string());
            people.push(entry.by.as_str());
            times.push(entry.at.as_str());
            bytes.push(&entry.bytes);
            leaves.push(*leaf.as_bytes());
            subtrees.push(*edge.push(leaf).as_bytes());
        }
        let leaves: Vec<&[u8]> = leaves.iter().map(|hash| &hash[..]).collect();
        let subtrees: Vec<&[u8]> = subtrees.iter().map(|hash| &hash[..]).collect();
        let log = log.as_str();
        let values: [&(dyn ToSql + Sync); 8] = [&log, &numbers, &ids, &people, &times, &bytes, &leaves, &subtrees];
        client.execute(&self.insert, &values)?;
        Ok(())
    }

    pub fn checkpoint(&self, client: &mut impl GenericClient, checkpoint: &Checkpoint) -> Result<(), postgres::Error> {
        let Checkpoint { log, size, root, at, key, signature } = checkpoint;
        let values: [&(dyn ToSql + Sync); 6] = [
            &log.as_str(),
            &to_sql(*size),
            &&root.as_bytes()[..],
            &at.as_str(),
            &key.to_digits(),
            &&signature.as_bytes()[..],
        ];
        client.execute(&self.checkpoint, &values).map(|_| ())
    }
}

const SIZE: &str = "SELECT coalesce(max(number) + 1, 0) FROM darkline.entry WHERE log = $1";
const NEWEST: &str =
    "SELECT size, root, at, key, signature FROM darkline.checkpoint WHERE log = $1 ORDER BY size DESC LIMIT 1";

/// PostgreSQL counts in signed numbers; what lies beyond them lies beyond every log.
pub(super) fn to_sql(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// The number or size in the first column of a row.
pub(super) fn number_in(row: &Row) -> Result<u64, StoreError> {
    let number: i64 = row.get(0);
    u64::try_from(number)
        .map_err(|_| StoreError::Damaged { path: "the database".into(), what: format!("it counts {number} entries") })
}

pub(super) fn size_of(session: &mut Session, log: &LogId) -> Result<u64, Trouble> {
    let statement = session.prepared(SIZE)?;
    Ok(number_in(&session.client.query_one(&statement, &[&log.as_str()])?)?)
}

pub(super) fn newest_checkpoint(session: &mut Session, log: &LogId) -> Result<Option<Checkpoint>, Trouble> {
    let statement = session.prepared(NEWEST)?;
    newest_in(session.client.query_opt(&statement, &[&log.as_str()])?, log)
}

fn newest_in(row: Option<Row>, log: &LogId) -> Result<Option<Checkpoint>, Trouble> {
    let Some(row) = row else { return Ok(None) };
    let size = number_in(&row)?;
    let checkpoint = checkpoint_in(&row, log, size).map_err(|what| StoreError::DamagedCheckpoint { size, what })?;
    Ok(Some(checkpoint))
}

/// The edge of the tree of the first entries, from what was stored with them.
pub(super) fn edge_in(client: &mut impl GenericClient, log: &LogId, size: u64) -> Result<Option<Frontier>, Trouble> {
    let ends: Vec<i64> = Frontier::peak_ends(size).into_iter().map(to_sql).collect();
    let query = "SELECT number, subtree FROM darkline.entry WHERE log = $1 AND number = ANY($2) ORDER BY number";
    let mut peaks = Vec::new();
    for row in client.query(query, &[&log.as_str(), &ends])? {
        match hash(&row, 1) {
            Ok(peak) => peaks.push(peak),
            Err(_) => return Ok(None),
        }
    }
    Ok(Frontier::from_peaks(size, peaks))
}

fn text(row: &Row, column: usize) -> Result<String, String> {
    row.try_get(column).map_err(|error| in_words(&error))
}

fn bytes<const N: usize>(row: &Row, column: usize) -> Result<[u8; N], String> {
    let bytes: &[u8] = row.try_get(column).map_err(|error| in_words(&error))?;
    bytes.try_into().map_err(|_| format!("{} bytes stand where {N} should", bytes.len()))
}

pub(super) fn hash(row: &Row, column: usize) -> Result<Hash, String> {
    bytes(row, column).map(Hash::from_bytes)
}

/// Reads number, id, person, at, bytes.
pub(super) fn entry_in(row: &Row, log: &LogId, number: u64) -> Result<Entry, String> {
    Ok(Entry {
        log: log.clone(),
        number,
        id: EntryId::new(&text(row, 1)?).map_err(|why| why.to_string())?,
        by: PersonId::new(&text(row, 2)?).map_err(|why| why.to_string())?,
        at: Timestamp::new(&text(row, 3)?).map_err(|why| why.to_string())?,
        bytes: row.try_get(4).map_err(|error| in_words(&error))?,
    })
}

/// Reads size, root, at, key, signature.
pub(super) fn checkpoint_in(row: &Row, log: &LogId, size: u64) -> Result<Checkpoint, String> {
    Ok(Checkpoint {
        log: log.clone(),
        size,
        root: hash(row, 1)?,
        at: Timestamp::new(&text(row, 2)?).map_err(|why| why.to_string())?,
        key: text(row, 3)?.parse().map_err(|why: crate::HexFault| why.to_string())?,
        signature: Signature::from_bytes(bytes(row, 4)?),
    })
}

pub(super) fn digest_in(row: &Row) -> Result<BlobDigest, String> {
    bytes(row, 0).map(BlobDigest::from_bytes)
}

pub(super) fn devices_in(rows: &[Row]) -> Result<Vec<PublicKey>, String> {
    rows.iter().map(|row| bytes(row, 0).map(PublicKey::from_bytes)).collect()
}

pub(super) fn enrol(
    client: &mut impl GenericClient,
    log: &LogId,
    device: &PublicKey,
    at: &Timestamp,
) -> Result<(), postgres::Error> {
    let command = "INSERT INTO darkline.device (log, place, fingerprint, public_key, enrolled_at)
        SELECT $1, count(*), $2, $3, $4 FROM darkline.device WHERE log = $1";
    let fingerprint = device.fingerprint().to_digits();
    client.execute(command, &[&log.as_str(), &fingerprint, &&device.as_bytes()[..], &at.as_str()]).map(|_| ())
}
