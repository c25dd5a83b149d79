//! A trail of a million entries verified as a whole, held against a loop of Python's hashlib over the same entries.
//!
//! Both read the entries from the same SQLite file, hash each and work out the root. What is verified besides (every
//! signature, identity, clock and stored hash) only this side does. One thread first, then all.
//!
//! Told are seconds of the clock and, on Linux, of the processor, which other programs on the machine do not lengthen.
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

/// How long something took.
#[derive(Clone, Copy)]
struct Took {
    /// Seconds of the clock.
    clock: f64,
    /// Seconds of the processor, of all threads together.
    processor: f64,
}

impl Took {
    const LONGEST: Self = Self { clock: f64::MAX, processor: f64::MAX };

    fn or_less(self, other: Self) -> Self {
        Self { clock: self.clock.min(other.clock), processor: self.processor.min(other.processor) }
    }

    fn read(words: &str) -> Option<(Self, &str)> {
        let (clock, rest) = words.trim().split_once(' ')?;
        let (processor, rest) = rest.split_once(' ').unwrap_or((rest, ""));
        Some((Self { clock: clock.parse().ok()?, processor: processor.parse().ok()? }, rest))
    }
}

/// Seconds of the processor that this program has taken, in ticks of a hundredth; none where the system does not say.
fn processor() -> f64 {
    let said = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<&str> = said.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |place: usize| fields.get(place).and_then(|field| field.parse::<f64>().ok()).unwrap_or(0.0);
    // Fields 14 and 15 of the page proc(5): user and system.
    (ticks(11) + ticks(12)) / 100.0
}

/// What the loop took, and the root it came to.
fn hashlib(path: &Path) -> Option<(Took, String)> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/verify_hashlib.py");
    let output = Command::new(python).arg(script).arg(path).output().ok().filter(|output| output.status.success())?;
    let said = String::from_utf8(output.stdout).ok()?;
    Took::read(&said).map(|(took, root)| (took, root.to_owned()))
}

/// What this program takes in a process of its own, which has so many threads.
fn verified_by(path: &Path, threads: usize) -> Result<Took, Box<dyn Error>> {
    let output = Command::new(std::env::current_exe()?)
        .env(VERIFY, path)
        .env("RAYON_NUM_THREADS", threads.to_string())
        .output()?;
    let said = String::from_utf8(output.stdout)?;
    Ok(Took::read(&said).ok_or("it ended without an answer")?.0)
}

fn main() -> Result<(), Box<dyn Error>> {
    let log = LogId::new("bench-2")?;
    if let Some(path) = std::env::var_os(VERIFY) {
        let store = SqliteStore::open(Path::new(&path))?;
        let (began, spent) = (Instant::now(), processor());
        assert!(verify_trail(&store, &log)?.is_intact());
        println!("{} {}", began.elapsed().as_secs_f64(), processor() - spent);
        return Ok(());
    }
    let n = std::env::var("ENTRIES").ok().and_then(|n| n.parse().ok()).unwrap_or(1_000_000);
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("millrace.trail");
    fill(&path, &log, n)?;
    let cores = std::thread::available_parallelism()?.get();
    let [mut one, mut all, mut theirs] = [Took::LONGEST; 3];
    let root = verify_trail(&SqliteStore::open(&path)?, &log)?.root.map(|root| root.to_string());
    for _ in 0..ROUNDS {
        one = one.or_less(verified_by(&path, 1)?);
        all = all.or_less(verified_by(&path, cores)?);
        if let Some((took, found)) = hashlib(&path) {
            assert_eq!(Some(found), root, "both come to one root");
            theirs = theirs.or_less(took);
        }
    }
    println!("a trail of {n} entries verified, the least of {ROUNDS} rounds: by the clock, and by the processor");
    let told = |what: &str, figure: &dyn Fn(fn(&Took) -> f64) -> f64| {
        println!("  {what:<36} {:6.2}  {:6.2}", figure(|took| took.clock), figure(|took| took.processor));
    };
    told("one thread, µs an entry", &|of| of(&one) * 1e6 / n as f64);
    told(&format!("one thread ÷ {cores} threads"), &|of| of(&one) / of(&all));
    if theirs.clock < f64::MAX {
        told("hashlib ÷ one thread (goal 1.5)", &|of| of(&theirs) / of(&one));
        told(&format!("hashlib ÷ {cores} threads"), &|of| of(&theirs) / of(&all));
    }
    Ok(())
}
