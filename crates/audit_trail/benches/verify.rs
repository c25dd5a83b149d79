//! A trail of a million entries verified as a whole, held against a loop of Python's hashlib over the same entries.
//!
//! Both read the entries from the same SQLite file, hash each and work out the root. What is verified besides (every
//! signature, identity, clock and stored hash) only this side does. One thread first, then all.
//!
//! `cargo bench -p darkline-audit-trail --bench verify`; `ENTRIES=100000` makes it smaller, `PYTHON=…` names the Python.

use std::error::Error;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{Draft, EntryId, LogId, PersonId, SqliteStore, Store, Timestamp, verify_trail};

const BYTES: usize = 400;
const BATCH: usize = 1000;
const ROUNDS: usize = 3;
/// The trail that a child of this program verifies.
const VERIFY: &str = "DARKLINE_BENCH_VERIFY";

fn fill(path: &Path, log: &LogId, n: usize) -> Result<(), Box<dyn Error>> {
    let mut store = SqliteStore::create(path, log, SigningKey::random()?)?;
    let (by, at) = (PersonId::new("j.alder")?, Timestamp::now());
    for first in (0..n).step_by(BATCH) {
        let drafts: Result<Vec<Draft>, Box<dyn Error>> = (first..(first + BATCH).min(n))
            .map(|_| Ok(Draft { id: EntryId::random()?, by: by.clone(), at: at.clone(), bytes: vec![b'7'; BYTES] }))
            .collect();
        store.append(&drafts?)?;
    }
    Ok(())
}

/// Seconds of the loop, and the root it came to.
fn hashlib(path: &Path) -> Option<(f64, String)> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/verify_hashlib.py");
    let output = Command::new(python).arg(script).arg(path).output().ok().filter(|output| output.status.success())?;
    let said = String::from_utf8(output.stdout).ok()?;
    let (seconds, root) = said.trim().split_once(' ')?;
    Some((seconds.parse().ok()?, root.to_owned()))
}

/// Seconds that this program takes in a process of its own, which has so many threads.
fn verified_by(path: &Path, threads: usize) -> Result<f64, Box<dyn Error>> {
    let output = Command::new(std::env::current_exe()?)
        .env(VERIFY, path)
        .env("RAYON_NUM_THREADS", threads.to_string())
        .output()?;
    Ok(String::from_utf8(output.stdout)?.trim().parse()?)
}

fn main() -> Result<(), Box<dyn Error>> {
    let log = LogId::new("bench-2")?;
    if let Some(path) = std::env::var_os(VERIFY) {
        let store = SqliteStore::open(Path::new(&path))?;
        let began = Instant::now();
        assert!(verify_trail(&store, &log)?.is_intact());
        println!("{}", began.elapsed().as_secs_f64());
        return Ok(());
    }
    let n = std::env::var("ENTRIES").ok().and_then(|n| n.parse().ok()).unwrap_or(1_000_000);
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("millrace.trail");
    fill(&path, &log, n)?;
    let cores = std::thread::available_parallelism()?.get();
    let [mut one, mut all, mut theirs] = [f64::MAX; 3];
    let root = verify_trail(&SqliteStore::open(&path)?, &log)?.root.map(|root| root.to_string());
    for _ in 0..ROUNDS {
        one = one.min(verified_by(&path, 1)?);
        all = all.min(verified_by(&path, cores)?);
        if let Some((seconds, found)) = hashlib(&path) {
            assert_eq!(Some(found), root, "both come to one root");
            theirs = theirs.min(seconds);
        }
    }
    println!("a trail of {n} entries verified, the fastest of {ROUNDS} rounds");
    println!("  one thread   {:6.2} µs an entry", one * 1e6 / n as f64);
    println!("  {cores} threads    {:6.2} × one thread", one / all);
    if theirs < f64::MAX {
        println!("  one thread   {:6.2} × the hashlib loop   (goal 1.5)", theirs / one);
        println!("  {cores} threads    {:6.2} × the hashlib loop", theirs / all);
    }
    Ok(())
}
