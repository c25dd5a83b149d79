//! The bench: where the record is, and who acts.

use std::path::{Path, PathBuf};

use darkline_audit_trail::keys::{KeyFileFault, SigningKey};
use darkline_audit_trail::{BlobPlace, LogId, PersonId, RecordElsewhere, SqliteStore, Store, StoreError, open_record};
use darkline_laboratory::Laboratory;

use crate::command_line::Everywhere;
use crate::ending::Failure;
use crate::new_file::NewFile;

/// The file of the record where none is named.
pub const USUAL_TRAIL: &str = "laboratory.trail";

/// Where the record is: `--trail`, or `DARKLINE_TRAIL`, or the usual place.
pub fn trail(everywhere: &Everywhere) -> PathBuf {
    let surrounding = || std::env::var_os("DARKLINE_TRAIL").filter(|path| !path.is_empty()).map(PathBuf::from);
    everywhere.trail.clone().or_else(surrounding).unwrap_or_else(|| PathBuf::from(USUAL_TRAIL))
}

/// The bench's own key stands beside the record.
pub fn device_file(trail: &Path) -> PathBuf {
    beside(trail, ".key")
}

/// What is kept apart from the record lies beside it.
pub fn apart_folder(trail: &Path) -> PathBuf {
    beside(trail, ".apart")
}

/// The list of orders is kept beside the record; it can be deleted at any time.
pub fn orders_file(trail: &Path) -> PathBuf {
    beside(trail, ".orders")
}

fn beside(trail: &Path, ending: &str) -> PathBuf {
    let mut name = trail.file_name().map_or_else(Default::default, std::ffi::OsStr::to_os_string);
    name.push(ending);
    trail.with_file_name(name)
}

fn over(everywhere: &Everywhere, store: Box<dyn Store>) -> Result<Laboratory, Failure> {
    Ok(Laboratory::over(store)?.with_apart(apart_folder(&trail(everywhere))))
}

/// The program that reports name.
pub const PROGRAM: &str = concat!("darkline ", env!("CARGO_PKG_VERSION"));

/// Begins a record with a new key for this bench: a new file, or a new log in a database and a new file that leads there.
///
/// # Errors
/// Something stands there already; the database cannot be reached.
pub fn begin(everywhere: &Everywhere, log: &LogId, database: Option<Database<'_>>) -> Result<Laboratory, Failure> {
    let trail = trail(everywhere);
    let key = SigningKey::random().map_err(|_| Failure::told("the operating system gave no random bytes"))?;
    let device = device_file(&trail);
    if let Some(folder) = trail.parent().filter(|folder| !folder.as_os_str().is_empty() && !folder.is_dir()) {
        return Err(Failure::with_hint(
            format!("there is no folder {}", folder.display()),
            "make it first, or name another",
        ));
    }
    if device.exists() {
        return Err(Failure::with_hint(
            format!("the key of another bench is at {}", device.display()),
            "name another record with --trail PATH, or move that key away together with its record",
        ));
    }
    let already_there = |fault: StoreError| match fault {
        StoreError::AlreadyThere { .. } => Failure::with_hint(fault.to_string(), "name another file with --trail PATH"),
        other => Failure::told(other),
    };
    let Some(Database { address, pulses }) = database else {
        // The record first: where one stands already, no key is left behind.
        let store = SqliteStore::create(&trail, log, key.clone()).map_err(already_there)?;
        key.write_device_file(&device).map_err(Failure::told)?;
        return over(everywhere, Box::new(store));
    };
    if trail.exists() {
        return Err(already_there(StoreError::AlreadyThere { path: trail }));
    }
    let address = address.parse().map_err(Failure::told)?;
    let pulses = pulses.map(BlobPlace::read).transpose().map_err(Failure::told)?;
    let elsewhere = RecordElsewhere { address, log: log.clone(), pulses };
    let store = elsewhere.create(key.clone()).map_err(Failure::told)?;
    key.write_device_file(&device).map_err(Failure::told)?;
    NewFile::at(&trail)?.fill(elsewhere.to_text().as_bytes())?;
    over(everywhere, store)
}

/// The database that a new record is to be kept in.
#[derive(Clone, Copy, Debug)]
pub struct Database<'a> {
    /// Its address.
    pub address: &'a str,
    /// The folder or bucket for pulses, where they are not kept in the database.
    pub pulses: Option<&'a Path>,
}

/// Opens the record for reading.
///
/// # Errors
/// There is none, or it cannot be read.
pub fn read(everywhere: &Everywhere) -> Result<Laboratory, Failure> {
    over(everywhere, store(everywhere)?)
}

/// Opens the record for acts.
///
/// # Errors
/// As [`read`]; the bench's key is missing.
pub fn write(everywhere: &Everywhere) -> Result<Laboratory, Failure> {
    let device = device_file(&trail(everywhere));
    let mut store = store(everywhere)?;
    let key = SigningKey::read_device_file(&device).map_err(|fault| match fault {
        KeyFileFault::File { source, .. } if source.kind() == std::io::ErrorKind::NotFound => Failure::with_hint(
            format!("the key of this bench is not at {}", device.display()),
            "without it nothing can be appended: bring it back beside the record, or work where it is",
        ),
        other => Failure::told(other),
    })?;
    store.append_with(key).map_err(Failure::told)?;
    over(everywhere, store)
}

/// Opens the record without reading what it says.
///
/// # Errors
/// As [`read`].
pub fn store(everywhere: &Everywhere) -> Result<Box<dyn Store>, Failure> {
    open_record(&trail(everywhere)).map_err(|error| match error {
        StoreError::NoFile { .. } => Failure::with_hint(
            error.to_string(),
            "begin one: darkline begin --as NAME --full-name \"…\", or name another with --trail PATH",
        ),
        StoreError::Unreachable { .. } => Failure::with_hint(
            error.to_string(),
            "the network or the server is down: a bench with a record of its own works on and hands over later",
        ),
        StoreError::NotATrail { .. } => {
            Failure::with_hint(error.to_string(), "name the file of a record with --trail PATH, or in DARKLINE_TRAIL")
        }
        other => Failure::told(other),
    })
}

/// Who acts: `--as`, or `DARKLINE_PERSON`.
///
/// # Errors
/// Nobody is named.
pub fn person(everywhere: &Everywhere) -> Result<PersonId, Failure> {
    let surrounding = || std::env::var("DARKLINE_PERSON").ok().filter(|name| !name.is_empty());
    let name = everywhere.person.clone().or_else(surrounding).ok_or_else(|| {
        Failure::with_hint("nobody is named for this act", "name the person with --as NAME, or set DARKLINE_PERSON")
    })?;
    PersonId::new(&name).map_err(Failure::told)
}
