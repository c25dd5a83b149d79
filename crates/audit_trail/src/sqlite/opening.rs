//! Opening and making a trail file: what stands at the path, and what to say when it is no trail.
//!
//! Opening never makes a file and never changes what is not a trail. A file that is marked
//! read-only is opened for reading only, also by an account that could write to it all the same.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

use super::{rows, schema};
use crate::keys::PublicKey;
use crate::{LogId, StoreError, Timestamp};

/// How long to wait for another writer. A write takes milliseconds; who waits longer than this
/// waits for a program that hangs.
const PATIENCE: Duration = Duration::from_secs(10);

/// Where the file is and how long to wait for it: what the words of a fault need.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub path: PathBuf,
    pub patience: Duration,
}

impl Place {
    fn new(path: &Path) -> Self {
        Self { path: path.to_owned(), patience: PATIENCE }
    }

    /// Says what SQLite reported in terms of the trail.
    pub fn fault(&self, error: rusqlite::Error) -> StoreError {
        let path = self.path.clone();
        let what = in_words(&error);
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                StoreError::Locked { path, waited: self.patience }
            }
            Some(ErrorCode::DiskFull) => StoreError::DiskFull { path },
            Some(ErrorCode::ReadOnly) => StoreError::ReadOnly { path },
            Some(
                ErrorCode::DatabaseCorrupt
                | ErrorCode::NotADatabase
                | ErrorCode::ConstraintViolation
                | ErrorCode::Unknown,
            )
            | None => StoreError::Damaged { path, what },
            Some(_) => StoreError::Io { path, what },
        }
    }

    pub fn damaged(&self, what: String) -> StoreError {
        StoreError::Damaged { path: self.path.clone(), what }
    }

    fn io(&self, error: &std::io::Error) -> StoreError {
        StoreError::Io { path: self.path.clone(), what: error.to_string() }
    }
}

/// What SQLite or its binding reports, in the words of this house.
pub(super) fn in_words(error: &rusqlite::Error) -> String {
    match error {
        rusqlite::Error::SqliteFailure(_, Some(said)) => said.clone(),
        rusqlite::Error::InvalidColumnType(_, column, kind) => {
            format!("the column {column} holds a value of kind {kind}")
        }
        rusqlite::Error::FromSqlConversionFailure(column, _, why) => {
            format!("column {column} cannot be read: {why}")
        }
        rusqlite::Error::QueryReturnedNoRows => "a row is missing".to_owned(),
        other => other.to_string(),
    }
}

/// An open trail file and what was found on opening it.
pub(super) struct Opened {
    pub connection: Connection,
    pub place: Place,
    pub log: LogId,
    /// Tables and guards that are not as they were made.
    pub form_faults: Vec<String>,
}

/// Makes a new trail file with its log and its first device.
pub(super) fn create(path: &Path, log: &LogId, device: &PublicKey, at: &Timestamp) -> Result<Opened, StoreError> {
    let place = Place::new(path);
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            return Err(StoreError::AlreadyThere { path: path.to_owned() });
        }
        Err(error) => return Err(place.io(&error)),
    }
    let made = fill(&place, log, device, at);
    if made.is_err() {
        // The file is ours and holds nothing yet; it would be in the way of the next attempt.
        let _ = fs::remove_file(path);
    }
    made
}

fn fill(place: &Place, log: &LogId, device: &PublicKey, at: &Timestamp) -> Result<Opened, StoreError> {
    let fault = |error| place.fault(error);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(&place.path, flags).map_err(fault)?;
    connection.busy_timeout(place.patience).map_err(fault)?;
    // In the rollback journal first: the file appears whole or stays empty.
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate);
    let transaction = transaction.map_err(fault)?;
    schema::make(&transaction).map_err(fault)?;
    transaction
        .execute("INSERT INTO trail (only_row, log, made_at) VALUES (0, ?1, ?2)", (log.as_str(), at.as_str()))
        .map_err(fault)?;
    rows::enrol(&transaction, device, at).map_err(fault)?;
    transaction.commit().map_err(fault)?;
    configure(&connection, place)?;
    sync_folder(&place.path).map_err(|error| place.io(&error))?;
    Ok(Opened { connection, place: place.clone(), log: log.clone(), form_faults: Vec::new() })
}

/// Makes the name of a new file outlast a power cut.
fn sync_folder(path: &Path) -> std::io::Result<()> {
    if cfg!(unix) {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
    }
    Ok(())
}

/// Opens a trail file that is there.
pub(super) fn open(path: &Path) -> Result<Opened, StoreError> {
    let place = Place::new(path);
    let marked_read_only = look_at(&place)?;
    let mut flags = OpenFlags::SQLITE_OPEN_NO_MUTEX;
    flags |= if marked_read_only { OpenFlags::SQLITE_OPEN_READ_ONLY } else { OpenFlags::SQLITE_OPEN_READ_WRITE };
    let connection = Connection::open_with_flags(path, flags).map_err(|error| place.fault(error))?;
    match recognise(connection, &place) {
        // A disc or a folder where nothing can be written: SQLite cannot keep its index of the
        // write-ahead log there. If that log is empty, the file alone is the whole trail.
        Err(StoreError::ReadOnly { .. } | StoreError::Io { .. }) if !has_write_ahead_log(path) => {
            recognise(open_unchanging(&place)?, &place)
        }
        answer => answer,
    }
}

/// Tells what is no trail before SQLite sees it; whether the file is marked read-only.
fn look_at(place: &Place) -> Result<bool, StoreError> {
    let path = place.path.clone();
    let metadata = match fs::metadata(&path) {
        Ok(metadata) => metadata,
        Err(error) if error.kind() == ErrorKind::NotFound => {
            return Err(StoreError::NoFile { path });
        }
        Err(error) => return Err(place.io(&error)),
    };
    if metadata.is_dir() {
        return Err(StoreError::NotATrail { path, what: "a folder" });
    }
    if !metadata.is_file() {
        return Err(StoreError::NotATrail { path, what: "a device or a pipe" });
    }
    if metadata.len() == 0 {
        return Err(StoreError::NotATrail { path, what: "an empty file" });
    }
    let mut beginning = Vec::new();
    let file = File::open(&path).map_err(|error| place.io(&error))?;
    file.take(512).read_to_end(&mut beginning).map_err(|error| place.io(&error))?;
    if !beginning.starts_with(b"SQLite format 3\0") {
        let is_text = |byte: &u8| matches!(byte, b'\t' | b'\n' | b'\r' | 0x20..);
        let what = if beginning.iter().all(is_text) { "a text file" } else { "a file of another kind" };
        return Err(StoreError::NotATrail { path, what });
    }
    Ok(metadata.permissions().readonly())
}

fn has_write_ahead_log(path: &Path) -> bool {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    fs::metadata(name).is_ok_and(|metadata| metadata.len() > 0)
}

/// Opens a file of which SQLite may assume that nobody changes it.
fn open_unchanging(place: &Place) -> Result<Connection, StoreError> {
    let path = place.path.to_str().ok_or_else(|| StoreError::Io {
        path: place.path.clone(),
        what: "nothing can be written beside it, and its path is not UTF-8".to_owned(),
    })?;
    let path = path.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(format!("file:{path}?immutable=1"), flags).map_err(|error| place.fault(error))
}

/// Checks that an open database is a trail in a format that is read here.
fn recognise(connection: Connection, place: &Place) -> Result<Opened, StoreError> {
    let fault = |error| place.fault(error);
    connection.busy_timeout(place.patience).map_err(fault)?;
    let number = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let path = place.path.clone();
    if number("application_id").map_err(fault)? != schema::APPLICATION {
        return Err(StoreError::NotATrail { path, what: "a SQLite database of another program" });
    }
    match number("user_version").map_err(fault)? {
        schema::FORMAT => {}
        newer if newer > schema::FORMAT => {
            return Err(StoreError::NewerFormat { path, found: newer, known: schema::FORMAT });
        }
        older => {
            return Err(place.damaged(format!("it states the format {older}, which never was")));
        }
    }
    configure(&connection, place)?;
    let form_faults = schema::faults(&connection).map_err(fault)?;
    let log: String =
        connection.query_row("SELECT log FROM trail WHERE only_row = 0", [], |row| row.get(0)).map_err(fault)?;
    let log = LogId::new(&log).map_err(|why| place.damaged(why.to_string()))?;
    Ok(Opened { connection, place: place.clone(), log, form_faults })
}

/// What every connection sets for itself, since SQLite does not keep it in the file.
fn configure(connection: &Connection, place: &Place) -> Result<(), StoreError> {
    let fault = |error| place.fault(error);
    let set = |name: &str, value: &str| connection.pragma_update(None, name, value).map_err(fault);
    // One fsync for each commit; where the system has a stronger one, the stronger one.
    set("synchronous", "FULL")?;
    set("fullfsync", "ON")?;
    set("checkpoint_fullfsync", "ON")?;
    // A file from outside must not run anything but our own guards.
    set("trusted_schema", "OFF")?;
    set("cell_size_check", "ON")?;
    // An old key text under an old passphrase is wiped, not only let go.
    set("secure_delete", "ON")?;
    if !connection.is_readonly(rusqlite::MAIN_DB).map_err(fault)? {
        let mode: String =
            connection.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0)).map_err(fault)?;
        if mode != "wal" {
            let what = format!("no write-ahead log can be kept beside it (mode {mode})");
            return Err(StoreError::Io { path: place.path.clone(), what });
        }
    }
    Ok(())
}
