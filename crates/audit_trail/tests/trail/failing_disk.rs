//! Disks that fail: a sync that is answered with an error, room that runs out in the middle, pages that are torn.
//!
//! Errors of the disk are made by `strace`, which lets a call of the system fail in a program it watches: SQLite gets the
//! very answer that a failing disk gives. Where the system does not allow to watch a program, the test says so.

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;

use darkline_audit_trail::{Store, StoreError, verify_trail};

use crate::kill::{Acknowledged, ONLY_THE_WRITER, Task, WRITER, check, order, write_on};
use crate::millrace::{Bench, Dice, draft, entries, log};

/// Whether programs can be watched here.
fn may_watch() -> bool {
    let probe = Command::new("strace").args(["-f", "-qq", "-o", "/dev/null", "true"]).output();
    let probe = probe.expect("these tests need the program strace (on Debian: apt-get install strace)");
    if !probe.status.success() {
        eprintln!("not tried, since no program may be watched here: {}", String::from_utf8_lossy(&probe.stderr).trim());
    }
    probe.status.success()
}

/// A writer whose calls of these names fail from the `when`-th on; what it acknowledged and what it complained about.
fn write_while(bench: &Bench, calls: &str, error: &str, when: &str, first: u64) -> Acknowledged {
    let inject = format!("inject={calls}:error={error}:when={when}");
    let output = Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null", "-e", &format!("trace={calls}"), "-e", &inject])
        .arg(std::env::current_exe().unwrap())
        .args(ONLY_THE_WRITER)
        .env(WRITER, order(&bench.path(), Task { writer: 0, first, n: 400, pause: 0 }))
        .output()
        .unwrap();
    let mut acknowledged = Acknowledged::default();
    acknowledged.read(std::str::from_utf8(&output.stdout).unwrap());
    acknowledged
}

/// What was acknowledged before stays, the failure is said, and when the disk answers again the bench goes on.
fn goes_on_after(calls: &str, error: &str, places: &[u64], said: &[&str]) {
    if !may_watch() {
        return;
    }
    let bench = Bench::new();
    drop(bench.create());
    let mut acknowledged = Acknowledged::default();
    let mut first = 0;
    let mut n_faults = 0;
    for place in places {
        let of_this = write_while(&bench, calls, error, &format!("{place}"), first);
        assert!(of_this.faults.len() <= 1, "{:?}", of_this.faults);
        for fault in &of_this.faults {
            assert!(said.iter().any(|words| fault.contains(words)), "{fault}");
            n_faults += 1;
        }
        first = of_this.next_counter.unwrap_or(first);
        acknowledged.entries.extend(of_this.entries);
        acknowledged.blobs.extend(of_this.blobs);
        check(&bench.open(), &acknowledged);
    }
    assert!(n_faults * 2 > places.len(), "{n_faults} of {}", places.len());
    // Drafts whose answer was an error are sent again; nothing is there twice.
    let mut store = bench.open();
    let mut again = Vec::new();
    write_on(&mut store, &mut again, Task { writer: 0, first, n: 20, pause: 0 });
    acknowledged.read(std::str::from_utf8(&again).unwrap());
    check(&store, &acknowledged);
    assert_eq!(store.size(&log()).unwrap(), acknowledged.entries.len() as u64);
}

/// While it is opened, a file beside which nothing can be written is one that can only be read.
const OPENING: &str = "can only be read";

#[test]
fn a_disk_that_answers_a_sync_with_an_error_loses_nothing_acknowledged() {
    goes_on_after("fdatasync,fsync", "EIO", &[1, 2, 3, 5, 9, 17, 33], &["could not be read or written"]);
}

#[test]
fn a_disk_that_runs_full_in_the_middle_of_a_write_loses_nothing_acknowledged() {
    goes_on_after(
        "pwrite64",
        "ENOSPC",
        &[2, 7, 11, 24, 47, 90, 133],
        &["is full; nothing of this was written", OPENING],
    );
}

#[test]
fn a_disk_that_fails_to_write_loses_nothing_acknowledged() {
    goes_on_after("pwrite64", "EIO", &[3, 8, 19, 36, 71], &["could not be read or written", OPENING]);
}

const PAGE: usize = 4096;
const FRAME: usize = 24 + PAGE;
/// Of the write-ahead log, before its first frame.
const HEAD: usize = 32;

/// A copy of a trail in the middle of its life: the file and its write-ahead log, as a power cut leaves them.
fn in_use(n: u64) -> (Vec<u8>, Vec<Vec<u8>>) {
    let bench = Bench::new();
    let mut store = bench.create();
    let wal = bench.folder.path().join("millrace.trail-wal");
    let mut logs = vec![fs::read(&wal).unwrap_or_default()];
    for number in 0..n {
        store.append(&[draft(number)]).unwrap();
        logs.push(fs::read(&wal).unwrap());
    }
    (fs::read(bench.path()).unwrap(), logs)
}

fn laid_out(file: &[u8], wal: &[u8]) -> Bench {
    let bench = Bench::new();
    fs::write(bench.path(), file).unwrap();
    fs::write(bench.folder.path().join("millrace.trail-wal"), wal).unwrap();
    bench
}

/// The power goes while the last commit is written: cut at any byte of it, or with a sector that never arrived.
#[test]
fn a_torn_last_page_takes_nothing_with_it_but_what_was_not_acknowledged() {
    const COMMITTED: usize = 12;
    let (file, logs) = in_use(COMMITTED as u64 + 1);
    let (before, whole) = (&logs[COMMITTED], &logs[COMMITTED + 1]);
    assert!(whole.starts_with(before), "nothing was brought into the file in between");
    let mut dice = Dice(14);
    let mut torn: Vec<Vec<u8>> = (0..60)
        .map(|_| {
            let end = before.len() + usize::try_from(dice.below((whole.len() - before.len()) as u64)).unwrap();
            whole[..end].to_vec()
        })
        .collect();
    for _ in 0..60 {
        let mut bytes = whole.clone();
        let n_sectors = (whole.len() - before.len()) / 512;
        let sector = before.len() + 512 * usize::try_from(dice.below(n_sectors as u64)).unwrap();
        bytes[sector..sector + 512].iter_mut().for_each(|byte| *byte = dice.next().to_be_bytes()[0]);
        torn.push(bytes);
    }
    for (place, wal) in torn.iter().enumerate() {
        let bench = laid_out(&file, wal);
        let mut store = bench.open();
        assert_eq!(store.size(&log()).unwrap(), COMMITTED as u64, "{place}");
        assert!(verify_trail(&store, &log()).unwrap().is_intact(), "{place}");
        assert_eq!(store.append(&[draft(COMMITTED as u64)]).unwrap(), [COMMITTED as u64], "{place}");
        assert!(verify_trail(&store, &log()).unwrap().is_intact(), "{place}");
    }
}

/// The power goes while the write-ahead log is brought into the file: pages of the file are half old, half new, or rubbish.
#[test]
fn a_page_torn_in_the_file_is_mended_from_the_write_ahead_log() {
    const COMMITTED: u64 = 12;
    let (file, logs) = in_use(COMMITTED);
    let wal = logs.last().unwrap();
    let mut newest: BTreeMap<usize, &[u8]> = BTreeMap::new();
    for frame in wal[HEAD..].chunks_exact(FRAME) {
        let page = usize::try_from(u32::from_be_bytes(frame[..4].try_into().unwrap())).unwrap();
        newest.insert(page, &frame[24..]);
    }
    assert!(newest.len() > 4);
    let mut dice = Dice(15);
    for _ in 0..40 {
        let mut torn = file.clone();
        for (page, content) in &newest {
            let at = (page - 1) * PAGE;
            if torn.len() < at + PAGE {
                torn.resize(at + PAGE, 0);
            }
            match dice.below(3) {
                // Half of the page is the new one.
                0 => torn[at..at + PAGE / 2].copy_from_slice(&content[..PAGE / 2]),
                1 => torn[at + 512..at + PAGE].iter_mut().for_each(|byte| *byte = dice.next().to_be_bytes()[0]),
                _ => {}
            }
        }
        // The first page is recognised by its first bytes, which a disk writes as one sector.
        torn[..512].copy_from_slice(newest.get(&1).map_or(&file[..512], |page| &page[..512]));
        let bench = laid_out(&torn, wal);
        let store = bench.open();
        assert_eq!(entries(&store).len() as u64, COMMITTED);
        assert!(verify_trail(&store, &log()).unwrap().is_intact());
    }
}

#[test]
fn a_write_ahead_log_that_was_taken_away_is_told_by_a_checkpoint_kept_elsewhere() {
    let bench = Bench::with_batches(&[2, 2]);
    let mut store = bench.open();
    store.append(&[draft(4)]).unwrap();
    let kept = store.last_checkpoint(&log()).unwrap().unwrap();
    let file = fs::read(bench.path()).unwrap();
    let alone = laid_out(&file, b"");
    let known = darkline_audit_trail::Known { checkpoints: vec![kept], devices: None };
    match darkline_audit_trail::SqliteStore::open(&alone.path()) {
        Ok(cut) => {
            let report = darkline_audit_trail::verify_trail_knowing(&cut, &log(), &known).unwrap();
            assert!(!report.is_intact());
        }
        Err(fault) => assert!(matches!(fault, StoreError::Damaged { .. } | StoreError::NotATrail { .. }), "{fault}"),
    }
}
