//! The tables of a trail file and the guards that keep them append-only.
//!
//! A file holds one log. Every rule that one row can break is written into the file itself, so
//! that another program that opens it meets the same guards: numbers without a gap, identities
//! once, sizes of checkpoints only growing, no change and no removal. A guard that is gone or
//! altered is found by [`faults`].
//!
//! The names, types and meanings of the columns are the format, number [`FORMAT`]; a program that
//! wants to check a trail without this crate needs the columns of `entry`, `checkpoint`, `device`
//! and `trail`, and the forms told in `entry.rs` and `checkpoint.rs`.

use rusqlite::Connection;

/// "DkLn" in the file's head tells it from every other SQLite database.
pub(super) const APPLICATION: i64 = 0x446b_4c6e;
/// The number of this form.
pub(super) const FORMAT: i64 = 1;

/// Every table and guard by its name, in the words in which SQLite keeps them.
#[rustfmt::skip]
pub(super) const PARTS: [(&str, &str); 21] = [
("trail", "CREATE TABLE trail (
  only_row INTEGER PRIMARY KEY CHECK (only_row = 0),
  log TEXT NOT NULL,
  made_at TEXT NOT NULL
) STRICT"),
("device", "CREATE TABLE device (
  place INTEGER PRIMARY KEY,
  fingerprint TEXT NOT NULL UNIQUE,
  public_key BLOB NOT NULL CHECK (length(public_key) = 32),
  enrolled_at TEXT NOT NULL
) STRICT"),
// subtree: the root of the largest complete subtree of the tree that ends with this entry.
("entry", "CREATE TABLE entry (
  number INTEGER PRIMARY KEY CHECK (number >= 0),
  id TEXT NOT NULL UNIQUE CHECK (length(id) = 32),
  person TEXT NOT NULL,
  at TEXT NOT NULL,
  bytes BLOB NOT NULL,
  leaf BLOB NOT NULL CHECK (length(leaf) = 32),
  subtree BLOB NOT NULL CHECK (length(subtree) = 32)
) STRICT"),
("checkpoint", "CREATE TABLE checkpoint (
  size INTEGER PRIMARY KEY CHECK (size > 0),
  root BLOB NOT NULL CHECK (length(root) = 32),
  at TEXT NOT NULL,
  key TEXT NOT NULL,
  signature BLOB NOT NULL CHECK (length(signature) = 64)
) STRICT"),
("blob", "CREATE TABLE blob (
  digest BLOB NOT NULL UNIQUE CHECK (length(digest) = 32),
  bytes BLOB NOT NULL
) STRICT"),
("key", "CREATE TABLE key (
  person TEXT NOT NULL PRIMARY KEY,
  pem TEXT NOT NULL
) STRICT"),
// The rows of an INSERT OR REPLACE leave without a DELETE guard being asked, so what is already
// there is guarded on INSERT too.
("entry_follows", "CREATE TRIGGER entry_follows BEFORE INSERT ON entry BEGIN
  SELECT RAISE(ABORT, 'entries are numbered without a gap')
  WHERE NEW.number IS NOT (SELECT coalesce(max(number) + 1, 0) FROM entry);
  SELECT RAISE(ABORT, 'an identity is used once')
  WHERE EXISTS (SELECT 1 FROM entry WHERE id = NEW.id);
END"),
("entry_stays", "CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN
  SELECT RAISE(ABORT, 'entries are never changed');
END"),
("entry_remains", "CREATE TRIGGER entry_remains BEFORE DELETE ON entry BEGIN
  SELECT RAISE(ABORT, 'entries are never removed');
END"),
("checkpoint_follows", "CREATE TRIGGER checkpoint_follows BEFORE INSERT ON checkpoint BEGIN
  SELECT RAISE(ABORT, 'a checkpoint covers all entries and is made once')
  WHERE NEW.size IS NOT (SELECT max(number) + 1 FROM entry)
  OR EXISTS (SELECT 1 FROM checkpoint WHERE size = NEW.size);
END"),
("checkpoint_stays", "CREATE TRIGGER checkpoint_stays BEFORE UPDATE ON checkpoint BEGIN
  SELECT RAISE(ABORT, 'checkpoints are never changed');
END"),
("checkpoint_remains", "CREATE TRIGGER checkpoint_remains BEFORE DELETE ON checkpoint BEGIN
  SELECT RAISE(ABORT, 'checkpoints are never removed');
END"),
("blob_follows", "CREATE TRIGGER blob_follows BEFORE INSERT ON blob BEGIN
  SELECT RAISE(ABORT, 'a blob is kept once')
  WHERE EXISTS (SELECT 1 FROM blob WHERE digest = NEW.digest);
END"),
("blob_stays", "CREATE TRIGGER blob_stays BEFORE UPDATE ON blob BEGIN
  SELECT RAISE(ABORT, 'blobs are never changed');
END"),
("blob_remains", "CREATE TRIGGER blob_remains BEFORE DELETE ON blob BEGIN
  SELECT RAISE(ABORT, 'blobs are never removed');
END"),
("device_follows", "CREATE TRIGGER device_follows BEFORE INSERT ON device BEGIN
  SELECT RAISE(ABORT, 'devices are enrolled once')
  WHERE NEW.place IS NOT (SELECT coalesce(max(place) + 1, 0) FROM device)
  OR EXISTS (SELECT 1 FROM device WHERE fingerprint = NEW.fingerprint);
END"),
("device_stays", "CREATE TRIGGER device_stays BEFORE UPDATE ON device BEGIN
  SELECT RAISE(ABORT, 'devices are never changed');
END"),
("device_remains", "CREATE TRIGGER device_remains BEFORE DELETE ON device BEGIN
  SELECT RAISE(ABORT, 'devices are never removed');
END"),
("trail_follows", "CREATE TRIGGER trail_follows BEFORE INSERT ON trail BEGIN
  SELECT RAISE(ABORT, 'a trail holds one log')
  WHERE EXISTS (SELECT 1 FROM trail);
END"),
("trail_stays", "CREATE TRIGGER trail_stays BEFORE UPDATE ON trail BEGIN
  SELECT RAISE(ABORT, 'the log is never renamed');
END"),
("trail_remains", "CREATE TRIGGER trail_remains BEFORE DELETE ON trail BEGIN
  SELECT RAISE(ABORT, 'the log is never removed');
END"),
];

/// Makes all tables and guards and marks the file; inside the caller's transaction.
pub(super) fn make(connection: &Connection) -> rusqlite::Result<()> {
    for (_, text) in PARTS {
        connection.execute_batch(text)?;
    }
    connection.pragma_update(None, "application_id", APPLICATION)?;
    connection.pragma_update(None, "user_version", FORMAT)
}

/// The tables and guards that are missing, altered or not ours; one sentence each.
pub(super) fn faults(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    // Indexes of UNIQUE have no text; SQLite makes them by itself.
    let mut parts = connection.prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")?;
    let found = parts
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<Vec<(String, String)>>>()?;
    let mut faults = Vec::new();
    for (name, text) in PARTS {
        match found.iter().find(|(found_name, _)| found_name == name) {
            None => faults.push(format!("the {} is missing", kind_of(name, text))),
            Some((_, found_text)) if found_text != text => {
                faults.push(format!("the {} was altered", kind_of(name, text)));
            }
            Some(_) => {}
        }
    }
    for (name, text) in &found {
        if !PARTS.iter().any(|(part, _)| part == name) {
            faults.push(format!("the {} does not belong to a trail", kind_of(name, text)));
        }
    }
    Ok(faults)
}

fn kind_of(name: &str, text: &str) -> String {
    let kind = match text {
        _ if text.starts_with("CREATE TRIGGER") => "guard",
        _ if text.starts_with("CREATE TABLE") => "table",
        _ => "part",
    };
    format!("{kind} {name}")
}
