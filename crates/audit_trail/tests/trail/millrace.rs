//! The invented bench of these tests: Millrace Laboratory, bench-2, analyst j.alder.

use std::ops::ControlFlow;
use std::path::PathBuf;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{Checkpoint, Draft, Entry, EntryId, LogId, PersonId, SqliteStore, Store, Timestamp};
use tempfile::TempDir;

/// A folder with the place for a trail in it; removed when dropped.
pub struct Bench {
    pub folder: TempDir,
}

impl Bench {
    /// A bench without a trail.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// Where the trail is or will be.
    pub fn path(&self) -> PathBuf {
        self.folder.path().join("millrace.trail")
    }

    /// A new trail, ready for entries.
    pub fn create(&self) -> SqliteStore {
        SqliteStore::create(&self.path(), &log(), device()).unwrap()
    }

    /// The trail that is there, ready for entries.
    pub fn open(&self) -> SqliteStore {
        SqliteStore::open(&self.path()).unwrap().sign_with(device()).unwrap()
    }

    /// A trail whose appends had these numbers of drafts, closed.
    pub fn with_batches(sizes: &[u64]) -> Self {
        let bench = Self::new();
        let mut store = bench.create();
        let mut first = 0;
        for size in sizes {
            let drafts: Vec<Draft> = (first..first + size).map(draft).collect();
            assert_eq!(store.append(&drafts).unwrap(), (first..first + size).collect::<Vec<_>>());
            first += size;
        }
        bench
    }

    /// Another program's connection to the file.
    pub fn stranger(&self) -> rusqlite::Connection {
        rusqlite::Connection::open(self.path()).unwrap()
    }
}

/// The log of the bench.
pub fn log() -> LogId {
    LogId::new("bench-2").unwrap()
}

/// The key of the bench.
pub fn device() -> SigningKey {
    SigningKey::from_seed(&[7; 32])
}

/// A made draft; the same number always gives the same one.
pub fn draft(number: u64) -> Draft {
    let mut dice = Dice(number);
    let mut id = [0; 16];
    id[..8].copy_from_slice(&dice.next().to_be_bytes());
    id[8..].copy_from_slice(&number.to_be_bytes());
    let n_bytes = dice.below(600);
    let (minute, second) = (number / 60 % 60, number % 60);
    Draft {
        id: EntryId::from_bytes(id),
        by: PersonId::new("j.alder").unwrap(),
        at: Timestamp::new(&format!("2026-03-14T09:{minute:02}:{second:02}.000+01:00")).unwrap(),
        bytes: (0..n_bytes).map(|_| dice.next().to_be_bytes()[0]).collect(),
    }
}

/// All entries, in order.
pub fn entries(store: &dyn Store) -> Vec<Entry> {
    let mut entries = Vec::new();
    store
        .scan(store.log(), 0, &mut |entry| {
            entries.push(entry.clone());
            ControlFlow::Continue(())
        })
        .unwrap();
    entries
}

/// All checkpoints, in order.
pub fn checkpoints(store: &dyn Store) -> Vec<Checkpoint> {
    let mut checkpoints = Vec::new();
    store
        .checkpoints(store.log(), 0, &mut |checkpoint| {
            checkpoints.push(checkpoint.clone());
            ControlFlow::Continue(())
        })
        .unwrap();
    checkpoints
}

/// Numbers that look thrown and are the same in every run (SplitMix64, public domain).
pub struct Dice(pub u64);

impl Dice {
    /// The next 64 bits.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `end`.
    pub fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }
}
