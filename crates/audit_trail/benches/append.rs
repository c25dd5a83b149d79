//! Durable appends held against bare SQLite inserts of the same bytes, in one run.
//!
//! Only ratios are printed, because figures of one disk say nothing about another; the goals stand
//! beside them. Rounds alternate, so that a disk that gets slower does so for both; the ratio is
//! that of the medians.
//!
//! `cargo bench -p darkline-audit-trail`

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{Draft, EntryId, LogId, PersonId, SqliteStore, Store, Timestamp};
use rusqlite::Connection;

const ROUNDS: usize = 15;
const ONE_BY_ONE: usize = 64;
const BYTES: usize = 400;
const BATCH: usize = 32;

/// SQLite with nothing but a table: write-ahead log, `synchronous` FULL, one commit a row.
fn bare(path: &Path) -> rusqlite::Result<Connection> {
    let connection = Connection::open(path)?;
    connection.execute_batch(
        "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
        CREATE TABLE entry (number INTEGER PRIMARY KEY, bytes BLOB NOT NULL) STRICT",
    )?;
    Ok(connection)
}

fn drafts(n: usize) -> Result<Vec<Draft>, Box<dyn Error>> {
    let by = PersonId::new("j.alder")?;
    let draft = |_| {
        let (id, at) = (EntryId::random()?, Timestamp::now());
        Ok(Draft { id, by: by.clone(), at, bytes: vec![7; BYTES] })
    };
    (0..n).map(draft).collect()
}

/// The time that each of `n` took.
fn each<E>(n: usize, work: impl FnOnce() -> Result<(), E>) -> Result<f64, E> {
    let began = Instant::now();
    work()?;
    Ok(began.elapsed().as_secs_f64() / n as f64)
}

fn median(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let connection = bare(&folder.path().join("bare.db"))?;
    let log = LogId::new("bench-2")?;
    let path = folder.path().join("millrace.trail");
    let mut store = SqliteStore::create(&path, &log, SigningKey::random()?)?;
    let [mut inserts, mut alone, mut together] = [[0.0; ROUNDS]; 3];
    for round in 0..ROUNDS {
        let bytes = vec![7; BYTES];
        inserts[round] = each(ONE_BY_ONE, || {
            let mut insert = connection.prepare("INSERT INTO entry (bytes) VALUES (?1)")?;
            (0..ONE_BY_ONE).try_for_each(|_| insert.execute([&bytes]).map(|_| ()))
        })?;
        let one_by_one = drafts(ONE_BY_ONE)?;
        alone[round] = each(ONE_BY_ONE, || one_by_one.chunks(1).try_for_each(|draft| store.append(draft).map(|_| ())))?;
        let in_batches = drafts(8 * BATCH)?;
        together[round] =
            each(8 * BATCH, || in_batches.chunks(BATCH).try_for_each(|batch| store.append(batch).map(|_| ())))?;
    }
    let bare = median(&mut inserts);
    println!("durable appends a second, bare inserts = 1");
    println!("  one draft an append   {:5.2}   (goal 0.8)", bare / median(&mut alone));
    println!("  {BATCH} drafts an append  {:5.2}   (goal 10)", bare / median(&mut together));
    Ok(())
}
