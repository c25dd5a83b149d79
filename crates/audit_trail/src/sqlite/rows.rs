//! Single rows of a trail file: written, read back, and put together to the edge of the tree.
//!
//! Reading a row checks every field, since another program may have written it; what is the matter
//! is said in words, and the caller adds which entry or checkpoint it was.

use rusqlite::{Connection, OptionalExtension, Row};

use super::opening::{Place, in_words};
use crate::entry::leaf_of;
use crate::keys::{PublicKey, Signature};
use crate::merkle::Frontier;
use crate::store::same_act;
use crate::{
    BlobDigest, Checkpoint, Draft, Entry, EntryId, Hash, LogId, Now, NumberById, PersonId, Recounted, StoreError,
    Timestamp,
};

/// SQLite counts in signed numbers; a log never comes near their end.
pub(super) fn to_sql(number: u64) -> rusqlite::Result<i64> {
    i64::try_from(number).map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))
}

/// The number or size in the first column of a row.
pub(super) fn number_in(row: &Row<'_>) -> rusqlite::Result<u64> {
    let number: i64 = row.get(0)?;
    u64::try_from(number).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(0, number))
}

pub(super) fn size_of(connection: &Connection) -> rusqlite::Result<u64> {
    connection.prepare_cached("SELECT coalesce(max(number) + 1, 0) FROM entry")?.query_row([], number_in)
}

pub(super) fn number_of(connection: &Connection, id: EntryId) -> rusqlite::Result<Option<u64>> {
    connection
        .prepare_cached("SELECT number FROM entry WHERE id = ?1")?
        .query_row([id.to_string()], number_in)
        .optional()
}

/// The edge of the tree as it stands, taken from memory if nobody else has appended since, and
/// in any case with the root that the newest checkpoint signs.
pub(super) fn current_edge(
    connection: &Connection,
    place: &Place,
    log: &LogId,
    remembered: &Frontier,
) -> Result<Frontier, StoreError> {
    let fault = |error| place.fault(error);
    let size = size_of(connection).map_err(fault)?;
    let Some(checkpoint) = newest_checkpoint(connection, place, log)? else {
        return match size {
            0 => Ok(Frontier::new()),
            _ => Err(place.damaged(format!("its {size} entries have no checkpoint"))),
        };
    };
    if checkpoint.size != size {
        let covered = checkpoint.size;
        return Err(place.damaged(format!("the newest checkpoint is of {covered} entries, there are {size}")));
    }
    if remembered.size() == size && remembered.root() == checkpoint.root {
        return Ok(remembered.clone());
    }
    let devices = enrolled(connection).map_err(fault)?;
    let device = devices.iter().find(|device| device.fingerprint() == checkpoint.key);
    let device = device.ok_or_else(|| {
        place.damaged(format!("its newest checkpoint is signed with {}, a key never enrolled", checkpoint.key))
    })?;
    checkpoint.verify(device).map_err(|why| place.damaged(why.to_string()))?;
    let edge = stored_edge(connection, size).map_err(fault)?;
    edge.filter(|edge| edge.root() == checkpoint.root).ok_or_else(|| {
        place.damaged("the hashes kept with the entries do not lead to the root of the newest checkpoint".to_owned())
    })
}

pub(super) fn stored_edge(connection: &Connection, size: u64) -> rusqlite::Result<Option<Frontier>> {
    let mut subtree = connection.prepare_cached("SELECT subtree FROM entry WHERE number = ?1")?;
    let mut peaks = Vec::new();
    for end in Frontier::peak_ends(size) {
        // A size that SQLite cannot count has no entries, so no edge either.
        let Ok(end) = i64::try_from(end) else {
            return Ok(None);
        };
        let Some(peak) = subtree.query_row([end], |row| row.get(0)).optional()? else {
            return Ok(None);
        };
        peaks.push(Hash::from_bytes(peak));
    }
    Ok(Frontier::from_peaks(size, peaks))
}

pub(super) fn insert(
    connection: &Connection,
    log: &LogId,
    edge: &mut Frontier,
    draft: &Draft,
) -> rusqlite::Result<u64> {
    let number = edge.size();
    let Draft { id, by, at, bytes } = draft.clone();
    let entry = Entry { log: log.clone(), number, id, by, at, bytes };
    let leaf = entry.leaf_hash();
    let subtree = edge.push(leaf);
    let command = "INSERT INTO entry (number, id, person, at, bytes, leaf, subtree)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    connection.prepare_cached(command)?.execute((
        to_sql(number)?,
        entry.id.to_string(),
        entry.by.as_str(),
        entry.at.as_str(),
        &entry.bytes,
        leaf.as_bytes(),
        subtree.as_bytes(),
    ))?;
    Ok(number)
}

/// The number of an entry that is there already, if the draft is the same act.
pub(super) fn already_there(
    connection: &Connection,
    place: &Place,
    log: &LogId,
    number: u64,
    draft: &Draft,
) -> Result<u64, StoreError> {
    let query = "SELECT number, id, person, at, bytes FROM entry WHERE number = ?1";
    let stored = connection
        .prepare_cached(query)
        .and_then(|mut statement| statement.query_row([to_sql(number)?], |row| Ok(entry_in(row, log, number))))
        .map_err(|error| place.fault(error))?;
    let stored = stored.map_err(|what| StoreError::DamagedEntry { number, what })?;
    same_act(&stored, draft)
}

/// Reads number, id, person, at, bytes.
pub(super) fn entry_in(row: &Row<'_>, log: &LogId, number: u64) -> Result<Entry, String> {
    let text = |column| row.get::<_, String>(column).map_err(|error| in_words(&error));
    Ok(Entry {
        log: log.clone(),
        number,
        id: EntryId::new(&text(1)?).map_err(|why| why.to_string())?,
        by: PersonId::new(&text(2)?).map_err(|why| why.to_string())?,
        at: Timestamp::new(&text(3)?).map_err(|why| why.to_string())?,
        bytes: row.get(4).map_err(|error| in_words(&error))?,
    })
}

/// What a check keeps from one row to the next.
#[derive(Default)]
pub(super) struct Recount {
    head: Vec<u8>,
    person: Option<PersonId>,
    /// Entries that were appended together have one time.
    at: Option<Timestamp>,
}

impl Recount {
    /// Reads number, id, person, at, bytes, leaf, and hashes them where they stand.
    pub fn of(&mut self, row: &Row<'_>, log: &LogId, number: u64) -> Recounted {
        let now = match self.now(row, log, number) {
            Some(now) => Ok(now),
            // The way of every reader: it says what is the matter.
            None => entry_in(row, log, number).map(|entry| Now::of(&entry)),
        };
        Recounted { number, now, kept: row.get(5).ok().map(Hash::from_bytes) }
    }

    fn now(&mut self, row: &Row<'_>, log: &LogId, number: u64) -> Option<Now> {
        let text = |column| row.get_ref(column).ok()?.as_str().ok();
        let texts: [&str; 3] = [text(1)?, text(2)?, text(3)?];
        let bytes = row.get_ref(4).ok()?.as_blob().ok()?;
        let id = EntryId::new(texts[0]).ok()?;
        if self.person.as_ref().is_none_or(|person| person.as_str() != texts[1]) {
            self.person = Some(PersonId::new(texts[1]).ok()?);
        }
        let at = match &self.at {
            Some(at) if at.as_str() == texts[2] => at.clone(),
            _ => self.at.insert(Timestamp::new(texts[2]).ok()?).clone(),
        };
        let leaf = leaf_of(&mut self.head, log, number, texts, bytes);
        Some(Now { id, at, leaf, n_bytes: bytes.len() })
    }
}

/// The numbers by identity as the index of the file has them; what cannot be read there is said in words.
pub(super) fn by_identity(connection: &Connection) -> rusqlite::Result<(Vec<NumberById>, Vec<String>)> {
    let query = "SELECT number, id FROM entry INDEXED BY sqlite_autoindex_entry_1 ORDER BY id";
    let mut statement = connection.prepare(query)?;
    let mut rows = statement.query([])?;
    let (mut found, mut faults) = (Vec::new(), Vec::new());
    while let Some(row) = rows.next()? {
        let id = row.get_ref(1)?.as_str().ok().and_then(|text| EntryId::new(text).ok());
        match (id, number_in(row)) {
            (Some(id), Ok(number)) => found.push((id, number)),
            _ => faults.push("the index of identities holds what is no identity of an entry".to_owned()),
        }
    }
    // As the index has them already, unless it was altered.
    found.sort_unstable();
    faults.truncate(20);
    Ok((found, faults))
}

pub(super) fn newest_checkpoint(
    connection: &Connection,
    place: &Place,
    log: &LogId,
) -> Result<Option<Checkpoint>, StoreError> {
    let query = "SELECT size, root, at, key, signature FROM checkpoint ORDER BY size DESC LIMIT 1";
    let found = connection
        .prepare_cached(query)
        .and_then(|mut statement| {
            let read = |row: &Row<'_>| {
                let size = number_in(row)?;
                Ok((size, checkpoint_in(row, log, size)))
            };
            statement.query_row([], read).optional()
        })
        .map_err(|error| place.fault(error))?;
    let Some((size, checkpoint)) = found else {
        return Ok(None);
    };
    checkpoint.map(Some).map_err(|what| StoreError::DamagedCheckpoint { size, what })
}

/// Reads size, root, at, key, signature.
pub(super) fn checkpoint_in(row: &Row<'_>, log: &LogId, size: u64) -> Result<Checkpoint, String> {
    let text = |column| row.get::<_, String>(column).map_err(|error| in_words(&error));
    Ok(Checkpoint {
        log: log.clone(),
        size,
        root: Hash::from_bytes(row.get(1).map_err(|error| in_words(&error))?),
        at: Timestamp::new(&text(2)?).map_err(|why| why.to_string())?,
        key: text(3)?.parse().map_err(|why: crate::HexFault| why.to_string())?,
        signature: Signature::from_bytes(row.get(4).map_err(|error| in_words(&error))?),
    })
}

pub(super) fn insert_checkpoint(connection: &Connection, checkpoint: &Checkpoint) -> rusqlite::Result<()> {
    let command = "INSERT INTO checkpoint (size, root, at, key, signature) VALUES (?1, ?2, ?3, ?4, ?5)";
    connection.prepare_cached(command)?.execute((
        to_sql(checkpoint.size)?,
        checkpoint.root.as_bytes(),
        checkpoint.at.as_str(),
        checkpoint.key.to_digits(),
        checkpoint.signature.as_bytes(),
    ))?;
    Ok(())
}

pub(super) fn insert_blob(connection: &Connection, digest: &BlobDigest, bytes: &[u8]) -> rusqlite::Result<()> {
    let there = connection.prepare_cached("SELECT 1 FROM blob WHERE digest = ?1")?.exists([digest.as_bytes()])?;
    if !there {
        connection
            .prepare_cached("INSERT INTO blob (digest, bytes) VALUES (?1, ?2)")?
            .execute((digest.as_bytes(), bytes))?;
    }
    Ok(())
}

pub(super) fn enrolled(connection: &Connection) -> rusqlite::Result<Vec<PublicKey>> {
    connection
        .prepare_cached("SELECT public_key FROM device ORDER BY place")?
        .query_map([], |row| row.get(0).map(PublicKey::from_bytes))?
        .collect()
}

pub(super) fn enrol(connection: &Connection, device: &PublicKey, at: &Timestamp) -> rusqlite::Result<()> {
    let command = "INSERT INTO device (place, fingerprint, public_key, enrolled_at)
        VALUES ((SELECT count(*) FROM device), ?1, ?2, ?3)";
    let fingerprint = device.fingerprint().to_digits();
    connection.execute(command, (fingerprint, device.as_bytes(), at.as_str()))?;
    Ok(())
}
