//! The line to the database: made when it is needed, made again when it broke, and what to say when it cannot be.
//!
//! Everything a store does is either reading or can be repeated without doing it twice, so what was cut off in the
//! middle is simply done again over a new line, with any of the hosts of the address, until the patience is at an end.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use postgres::error::{ErrorPosition, SqlState};
use postgres::{Client, Statement};

use super::address::{Address, Refused};
use crate::StoreError;

/// How long to wait for another writer, or for a server that does not answer.
const PATIENCE: Duration = Duration::from_secs(10);
/// Between two attempts.
const PAUSE: Duration = Duration::from_millis(50);

/// A database and the line to it.
pub(super) struct Line {
    pub address: Address,
    pub patience: Duration,
    session: Option<Session>,
}

/// One connection with the statements it knows.
pub(super) struct Session {
    pub client: Client,
    statements: BTreeMap<&'static str, Statement>,
}

/// What went wrong: something to say, or something the database reported.
#[derive(Debug)]
pub(super) enum Trouble {
    Store(StoreError),
    Database(postgres::Error),
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Trouble::Store(error)
    }
}

impl From<postgres::Error> for Trouble {
    fn from(error: postgres::Error) -> Self {
        Trouble::Database(error)
    }
}

impl std::fmt::Debug for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Line").field("address", &self.address.as_str()).field("up", &self.session.is_some()).finish()
    }
}

impl Session {
    /// The statement with this text, prepared once a connection.
    pub fn prepared(&mut self, text: &'static str) -> Result<Statement, postgres::Error> {
        if let Some(known) = self.statements.get(text) {
            return Ok(known.clone());
        }
        let statement = self.client.prepare(text)?;
        self.statements.insert(text, statement.clone());
        Ok(statement)
    }
}

impl Line {
    pub fn new(address: Address) -> Self {
        Self { address, patience: PATIENCE, session: None }
    }

    /// The place as it is named in faults.
    pub fn place(&self) -> PathBuf {
        PathBuf::from(self.address.as_str())
    }

    pub fn damaged(&self, what: String) -> StoreError {
        StoreError::Damaged { path: self.place(), what }
    }

    /// Does something over the line, and again over a new one where it broke.
    ///
    /// # Arguments
    /// * `work`: what may be done again after it was cut off, because it only reads or does nothing twice.
    pub fn with<T>(&mut self, mut work: impl FnMut(&mut Session) -> Result<T, Trouble>) -> Result<T, StoreError> {
        let began = Instant::now();
        loop {
            let answer = match self.up() {
                Ok(session) => work(session),
                Err(trouble) => Err(trouble),
            };
            let error = match answer {
                Ok(answer) => return Ok(answer),
                Err(Trouble::Store(error)) => return Err(error),
                Err(Trouble::Database(error)) => error,
            };
            let (broken, repeat) = passes(&error);
            if broken {
                self.session = None;
            }
            if !repeat || began.elapsed() >= self.patience {
                return Err(self.fault(&error));
            }
            std::thread::sleep(PAUSE);
        }
    }

    fn up(&mut self) -> Result<&mut Session, Trouble> {
        if self.session.as_ref().is_some_and(|session| session.client.is_closed()) {
            self.session = None;
        }
        match self.session {
            Some(ref mut session) => Ok(session),
            None => {
                let session = self.connect()?;
                Ok(self.session.insert(session))
            }
        }
    }

    fn connect(&self) -> Result<Session, Trouble> {
        let mut client = self.address.connect().map_err(|refused| match refused {
            Refused::Address(fault) => Trouble::Store(fault.into()),
            Refused::Database(error) => Trouble::Database(error),
        })?;
        // A commit is answered when it is on the disk, whatever the server's own setting; stronger ones stay.
        client.batch_execute(&format!(
            "SELECT set_config('synchronous_commit', 'on', false)
             WHERE current_setting('synchronous_commit') IN ('off', 'local');
             SET lock_timeout = {}; SET client_min_messages = warning; SET bytea_output = hex;
             SET idle_in_transaction_session_timeout = '60s'",
            self.patience.as_millis().max(1)
        ))?;
        Ok(Session { client, statements: BTreeMap::new() })
    }

    /// Says what the database reported in terms of the trail.
    pub fn fault(&self, error: &postgres::Error) -> StoreError {
        let path = self.place();
        let what = in_words(error);
        let Some(state) = error.code() else {
            return StoreError::Unreachable { place: self.address.as_str().to_owned(), what };
        };
        match *state {
            SqlState::LOCK_NOT_AVAILABLE => StoreError::Locked { path, waited: self.patience },
            SqlState::DISK_FULL => StoreError::DiskFull { path },
            SqlState::READ_ONLY_SQL_TRANSACTION | SqlState::INSUFFICIENT_PRIVILEGE => StoreError::ReadOnly { path },
            SqlState::RAISE_EXCEPTION
            | SqlState::UNIQUE_VIOLATION
            | SqlState::CHECK_VIOLATION
            | SqlState::FOREIGN_KEY_VIOLATION
            | SqlState::UNDEFINED_TABLE
            | SqlState::UNDEFINED_COLUMN
            | SqlState::UNDEFINED_FUNCTION
            | SqlState::INVALID_SCHEMA_NAME
            | SqlState::DATA_CORRUPTED
            | SqlState::INDEX_CORRUPTED => StoreError::Damaged { path, what },
            _ if passes(error).1 => StoreError::Unreachable { place: self.address.as_str().to_owned(), what },
            _ => StoreError::Io { path, what },
        }
    }
}

/// Whether the connection is of no more use, and whether the same again may do better.
fn passes(error: &postgres::Error) -> (bool, bool) {
    let Some(state) = error.code() else {
        // Without a code it did not come from the server: the line, or a value that cannot be read.
        let is_line =
            error.is_closed() || std::error::Error::source(error).is_some_and(|source| source.is::<std::io::Error>());
        let is_connecting = error.to_string().starts_with("error connecting to server");
        return (is_line || is_connecting, is_line || is_connecting);
    };
    match *state {
        // The server goes down, comes up, or recovers; or it changed its part with another one.
        SqlState::ADMIN_SHUTDOWN | SqlState::CRASH_SHUTDOWN | SqlState::CANNOT_CONNECT_NOW => (true, true),
        SqlState::READ_ONLY_SQL_TRANSACTION => (true, false),
        SqlState::T_R_DEADLOCK_DETECTED | SqlState::T_R_SERIALIZATION_FAILURE => (false, true),
        SqlState::TOO_MANY_CONNECTIONS => (true, true),
        _ if state.code().starts_with("08") => (true, true),
        _ => (false, false),
    }
}

/// What the database reports, in its own words but on one line.
pub(super) fn in_words(error: &postgres::Error) -> String {
    match error.as_db_error() {
        Some(said) => {
            let place = match said.position() {
                Some(ErrorPosition::Original(place)) => format!(" (character {place} of the command)"),
                _ => String::new(),
            };
            format!("{}{place}", said.message())
        }
        None => {
            let mut words = error.to_string();
            let mut source = std::error::Error::source(error);
            while let Some(below) = source {
                let text = below.to_string();
                if !words.contains(&text) {
                    words = format!("{words}: {text}");
                }
                source = below.source();
            }
            words
        }
    }
}
