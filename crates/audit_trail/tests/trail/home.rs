//! Where a trail of these tests is at home: in a file, or in a database. Every test of the suite runs in both.

use darkline_audit_trail::{PostgresStore, SqliteStore, Store, Timestamp};

use crate::millrace::{Bench, device, draft, log};
use crate::server::{self, address};

/// A place for one trail.
pub enum Home {
    File(Bench),
    Database(String),
}

impl Home {
    pub fn in_a_file() -> Self {
        Home::File(Bench::new())
    }

    pub fn in_a_database() -> Self {
        let server = server::shared();
        Home::Database(server.address(&server.database()))
    }

    /// A new trail, ready for entries.
    pub fn create(&self) -> Box<dyn Store> {
        match self {
            Home::File(bench) => Box::new(bench.create()),
            Home::Database(at) => Box::new(PostgresStore::create(address(at), &log(), device()).unwrap()),
        }
    }

    /// The trail that is there, for reading only.
    pub fn reader(&self) -> Box<dyn Store> {
        match self {
            Home::File(bench) => Box::new(SqliteStore::open(&bench.path()).unwrap()),
            Home::Database(at) => Box::new(PostgresStore::open(address(at), &log()).unwrap()),
        }
    }

    /// The trail that is there, ready for entries.
    pub fn open(&self) -> Box<dyn Store> {
        let mut store = self.reader();
        store.append_with(device()).unwrap();
        store
    }

    /// The trail that is there, whose checkpoints take their time from this clock.
    pub fn with_clock(&self, clock: fn() -> Timestamp) -> Box<dyn Store> {
        match self {
            Home::File(bench) => Box::new(bench.open().with_clock(clock)),
            Home::Database(at) => {
                let store = PostgresStore::open(address(at), &log()).unwrap();
                Box::new(store.with_clock(clock).sign_with(device()).unwrap())
            }
        }
    }

    /// Appends with these numbers of drafts.
    pub fn fill(&self, sizes: &[u64]) {
        let mut store = self.create();
        let mut first = 0;
        for size in sizes {
            let drafts: Vec<_> = (first..first + size).map(draft).collect();
            assert_eq!(store.append(&drafts).unwrap(), (first..first + size).collect::<Vec<_>>());
            first += size;
        }
    }
}

/// Makes each of these functions a test in both homes.
macro_rules! in_both_homes {
    ($($test:ident),* $(,)?) => {
        mod in_a_file {
            $(#[test] fn $test() { super::$test(&crate::home::Home::in_a_file()) })*
        }
        mod in_a_database {
            $(#[test] fn $test() { super::$test(&crate::home::Home::in_a_database()) })*
        }
    };
}
pub(crate) use in_both_homes;
