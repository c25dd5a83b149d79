//! The file by which a bench finds its record: the record itself, or a few lines that say in which database it is.
//!
//! # The lines
//!
//! UTF-8 text, each line ended by one line feed:
//!
//! ```text
//! darkline/record/1
//! database postgresql://laboratory@db.millrace.example/record?sslrootcert=/etc/millrace.pem
//! log bench-2
//! pulses /srv/millrace/pulses          optional: large bytes go into this folder, or this bucket (s3://…), instead of the
//!                                      database
//! ```
//!
//! The bench's key stands beside such a file as it stands beside a record that is a file, and everything that is asked
//! of the one can be asked of the other. Whoever has no key reads.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::keys::SigningKey;
use crate::{Address, BlobPlace, BlobsElsewhere, LogId, PostgresStore, SqliteStore, Store, StoreError};

const FIRST_LINE: &str = "darkline/record/1";
/// Longer than any such file.
const LONGEST: u64 = 16 << 10;

/// In which database a record is.
#[derive(Debug, Clone)]
pub struct RecordElsewhere {
    /// The database.
    pub address: Address,
    /// The log in it.
    pub log: LogId,
    /// Where large bytes stand, where they are not kept in the database.
    pub pulses: Option<BlobPlace>,
}

/// Why such a file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordFileFault {
    /// A line does not hold what it should.
    #[error("{}, line {line}: {why}", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What is the matter.
        why: String,
    },
    /// A line is missing.
    #[error("{} has no line that begins with {wanted:?}", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
        /// The word.
        wanted: &'static str,
    },
}

impl RecordElsewhere {
    /// The lines of the file.
    pub fn to_text(&self) -> String {
        let pulses = self.pulses.as_ref().map_or(String::new(), |place| format!("pulses {place}\n"));
        format!("{FIRST_LINE}\ndatabase {}\nlog {}\n{pulses}", self.address.as_str(), self.log)
    }

    /// Reads the lines back.
    ///
    /// # Errors
    /// [`RecordFileFault`]: which line, and what is the matter with it.
    pub fn from_text(path: &Path, text: &str) -> Result<Self, RecordFileFault> {
        let (mut address, mut log, mut pulses) = (None, None, None);
        for (place, line) in text.lines().enumerate().skip(1) {
            let fault = |why: String| RecordFileFault::Line { path: path.to_owned(), line: place + 1, why };
            match line.split_once(' ') {
                Some(("database", value)) => {
                    address = Some(value.trim().parse::<Address>().map_err(|why| fault(why.to_string()))?);
                }
                Some(("log", value)) => log = Some(LogId::new(value.trim()).map_err(|why| fault(why.to_string()))?),
                Some(("pulses", value)) => {
                    let place = BlobPlace::read(Path::new(value.trim())).map_err(|why| fault(why.to_string()))?;
                    pulses = Some(place);
                }
                _ => return Err(fault("it begins with none of database, log, pulses".to_owned())),
            }
        }
        let missing = |wanted| RecordFileFault::Missing { path: path.to_owned(), wanted };
        Ok(Self {
            address: address.ok_or_else(|| missing("database"))?,
            log: log.ok_or_else(|| missing("log"))?,
            pulses,
        })
    }

    /// Makes the log in the database, and the tables where it has none.
    ///
    /// # Errors
    /// As [`PostgresStore::create`]; the folder for pulses cannot be made.
    pub fn create(&self, device: SigningKey) -> Result<Box<dyn Store>, StoreError> {
        self.with_place(PostgresStore::create(self.address.clone(), &self.log, device)?)
    }

    /// Opens the log in the database for reading; [`Store::append_with`] makes it ready for entries.
    ///
    /// # Errors
    /// As [`PostgresStore::open`].
    pub fn open(&self) -> Result<Box<dyn Store>, StoreError> {
        self.with_place(PostgresStore::open(self.address.clone(), &self.log)?)
    }

    fn with_place(&self, store: PostgresStore) -> Result<Box<dyn Store>, StoreError> {
        Ok(match &self.pulses {
            Some(place) => Box::new(BlobsElsewhere::over(Box::new(store), place)?),
            None => Box::new(store),
        })
    }
}

/// What the file at a path says about a record elsewhere; nothing where it is something else.
///
/// # Errors
/// [`StoreError::RecordFile`]: it begins as such a file and goes on otherwise.
pub fn record_elsewhere(path: &Path) -> Result<Option<RecordElsewhere>, StoreError> {
    let Ok(file) = fs::File::open(path) else { return Ok(None) };
    let mut bytes = Vec::new();
    // What cannot be read here is told by whoever opens it as a record.
    if file.take(LONGEST).read_to_end(&mut bytes).is_err() || !bytes.starts_with(FIRST_LINE.as_bytes()) {
        return Ok(None);
    }
    let text = String::from_utf8_lossy(&bytes);
    Ok(Some(RecordElsewhere::from_text(path, &text)?))
}

/// Opens the record that a file is or leads to, for reading.
///
/// # Errors
/// As [`SqliteStore::open`] and [`PostgresStore::open`]; [`StoreError::RecordFile`].
pub fn open_record(path: &Path) -> Result<Box<dyn Store>, StoreError> {
    match record_elsewhere(path)? {
        Some(elsewhere) => elsewhere.open(),
        None => Ok(Box::new(SqliteStore::open(path)?)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PATH: &str = "laboratory.trail";

    #[test]
    fn what_is_written_reads_back() {
        let folder = BlobPlace::read(Path::new("/srv/millrace/pulses of all benches")).unwrap();
        let bucket = BlobPlace::read(Path::new("s3://pulses/millrace?endpoint=https://store.example")).unwrap();
        for pulses in [None, Some(folder), Some(bucket)] {
            let address: Address = "postgresql://laboratory@%2Frun%2Fpostgresql/record".parse().unwrap();
            let elsewhere = RecordElsewhere { address, log: LogId::new("bench-2").unwrap(), pulses };
            let text = elsewhere.to_text();
            let read = RecordElsewhere::from_text(Path::new(PATH), &text).unwrap();
            assert_eq!(read.to_text(), text);
        }
    }

    #[test]
    fn a_line_that_says_something_else_is_told_with_its_number() {
        let fault = |rest: &str| {
            RecordElsewhere::from_text(Path::new(PATH), &format!("{FIRST_LINE}\n{rest}")).unwrap_err().to_string()
        };
        assert_eq!(fault("log bench-2\n"), "laboratory.trail has no line that begins with \"database\"");
        assert!(fault("log Bench 2\n").starts_with("laboratory.trail, line 2: the name of a log"));
        assert!(fault("log b\ndatabase postgresql://a:b@c/d\n").contains("line 3: an address never holds a password"));
        assert!(fault("password secret\n").contains("line 2: it begins with none of"));
    }

    #[test]
    fn other_files_are_no_such_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(PATH);
        assert!(record_elsewhere(&path).unwrap().is_none());
        fs::write(&path, "sample;Cd\n").unwrap();
        assert!(record_elsewhere(&path).unwrap().is_none());
        assert!(matches!(open_record(&path), Err(StoreError::NotATrail { what: "a text file", .. })));
        fs::write(&path, "darkline/record/1\nlog x\n").unwrap();
        assert!(matches!(open_record(&path), Err(StoreError::RecordFile(_))));
    }
}
