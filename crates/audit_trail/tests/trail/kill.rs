//! Writers that are killed, writers that write at once, writers that run out of room.
//!
//! A writer is this test program started once more as a process of its own, with the variable
//! [`WRITER`] set: it appends drafts one batch after the other and writes a line for each entry
//! that was acknowledged. After `SIGKILL` the file is opened again: every acknowledged entry must
//! be there, once, with its number.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use darkline_audit_trail::{BlobDigest, EntryId, SqliteStore, Store, StoreError, verify_trail};

use crate::millrace::{Bench, Dice, device, draft, entries, log};

/// `path` on the first line, then the number of the writer, of the first draft, how many, and
/// the longest pause after an append in microseconds.
pub const WRITER: &str = "DARKLINE_TEST_WRITER";
/// A writer puts at most so many drafts into one append.
const LARGEST_BATCH: u64 = 6;

/// The drafts of two writers never meet.
fn draft_of(writer: u64, counter: u64) -> darkline_audit_trail::Draft {
    draft(writer * 1_000_000_000 + counter)
}

/// What a writer is to do: drafts `first`, `first + 1` … `n` of them.
#[derive(Clone, Copy)]
pub struct Task {
    pub writer: u64,
    pub first: u64,
    pub n: u64,
    /// The longest pause after an append, in microseconds.
    pub pause: u64,
}

/// Appends drafts and acknowledges each by a line; stops at the last one or at the first fault,
/// which gets a line of its own.
pub fn write_on(store: &mut SqliteStore, out: &mut dyn Write, task: Task) {
    let Task { writer, first, n, pause } = task;
    let mut dice = Dice(writer + first);
    let mut counter = first;
    while counter < first + n {
        let end = (counter + 1 + dice.below(LARGEST_BATCH)).min(first + n);
        let drafts: Vec<_> = (counter..end).map(|counter| draft_of(writer, counter)).collect();
        let answer = patiently(store, &drafts).and_then(|numbers| {
            // A pulse now and then, so that blobs are in the way of the axe too.
            let pulse = (counter % 5 == 0).then(|| vec![counter.to_be_bytes()[7]; 2000]);
            Ok((numbers, pulse.map(|pulse| store.put_blob(&pulse)).transpose()?))
        });
        let mut lines = String::new();
        match answer {
            Ok((numbers, blob)) => {
                for (number, draft) in numbers.iter().zip(&drafts) {
                    lines += &format!("entry {number} {} {counter}\n", draft.id);
                    counter += 1;
                }
                lines += &blob.map_or(String::new(), |digest| format!("blob {digest}\n"));
            }
            Err(fault) => {
                lines = format!("fault {fault}\n");
                counter = first + n;
            }
        }
        out.write_all(lines.as_bytes()).and_then(|()| out.flush()).unwrap();
        std::thread::sleep(Duration::from_micros(dice.below(pause + 1)));
    }
}

/// Appends, and where another writer was at it all the time asks again with the same drafts, as the answer says: on a slow
/// disk one that never pauses can keep the file from another for longer than that one waits.
fn patiently(store: &mut SqliteStore, drafts: &[darkline_audit_trail::Draft]) -> Result<Vec<u64>, StoreError> {
    for _ in 0..12 {
        match store.append(drafts) {
            Err(StoreError::Locked { .. }) => {}
            answer => return answer,
        }
    }
    store.append(drafts)
}

/// What a writer acknowledged before it ended.
#[derive(Debug, Default)]
pub struct Acknowledged {
    pub entries: BTreeMap<u64, EntryId>,
    pub blobs: BTreeSet<BlobDigest>,
    /// The counter after the last draft that was acknowledged.
    pub next_counter: Option<u64>,
    pub faults: Vec<String>,
}

impl Acknowledged {
    /// Reads the lines of a writer. What follows the last line feed was never said.
    pub fn read(&mut self, said: &str) {
        let whole_lines = said.rfind('\n').map_or("", |end| &said[..end]);
        for line in whole_lines.lines() {
            let words: Vec<&str> = line.split(' ').collect();
            match words[..] {
                ["entry", number, id, counter] => {
                    let (number, id) = (number.parse().unwrap(), id.parse().unwrap());
                    let before = self.entries.insert(number, id);
                    assert!(before.is_none_or(|before| before == id), "two entries {number}");
                    self.next_counter = Some(counter.parse::<u64>().unwrap() + 1);
                }
                ["blob", digest] => {
                    self.blobs.insert(digest.parse().unwrap());
                }
                ["fault", ..] => self.faults.push(line["fault ".len()..].to_owned()),
                // The test harness of the child says what it runs.
                _ => {}
            }
        }
    }
}

/// The order to a writer process.
pub fn order(path: &Path, task: Task) -> String {
    let Task { writer, first, n, pause } = task;
    format!("{}\n{writer}\n{first}\n{n}\n{pause}", path.display())
}

/// The arguments that make this test program run nothing but the writer.
pub const ONLY_THE_WRITER: [&str; 4] =
    ["--exact", "kill::a_writer_acknowledges_what_it_appended", "--nocapture", "--test-threads=1"];

fn start(path: &Path, task: Task) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(ONLY_THE_WRITER)
        .env(WRITER, order(path, task))
        .stdout(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Both the check of the writer itself and, with [`WRITER`] set, the process that gets killed.
#[test]
fn a_writer_acknowledges_what_it_appended() {
    if let Ok(order) = std::env::var(WRITER) {
        let words: Vec<&str> = order.split('\n').collect();
        let [path, rest @ ..] = &words[..] else { panic!("{order}") };
        let numbers: Vec<u64> = rest.iter().map(|word| word.parse().unwrap()).collect();
        let [writer, first, n, pause] = numbers[..] else { panic!("{order}") };
        let store = SqliteStore::open(Path::new(path)).unwrap();
        let mut store = store.sign_with(device()).unwrap();
        // Not `println!`: the harness of the tests would keep that to itself. It has begun a line
        // of its own, which has to be ended first.
        std::io::stdout().write_all(b"\n").unwrap();
        write_on(&mut store, &mut std::io::stdout().lock(), Task { writer, first, n, pause });
        return;
    }
    let bench = Bench::new();
    let mut store = bench.create();
    let mut said = Vec::new();
    write_on(&mut store, &mut said, Task { writer: 0, first: 0, n: 20, pause: 0 });
    let mut acknowledged = Acknowledged::default();
    acknowledged.read(std::str::from_utf8(&said).unwrap());
    assert_eq!(acknowledged.next_counter, Some(20));
    assert!(acknowledged.faults.is_empty());
    let stored: BTreeMap<_, _> = entries(&store).into_iter().map(|it| (it.number, it.id)).collect();
    assert_eq!(acknowledged.entries, stored);
    assert_eq!(stored.len(), 20);
}

/// How many times as much as in an ordinary run (`cargo xtask torture`).
fn factor() -> u64 {
    std::env::var("DARKLINE_TORTURE").ok().and_then(|factor| factor.parse().ok()).unwrap_or(1)
}

/// 420 kills, at thrown moments: while opening, while appending, with one writer or two. A new writer begins with the
/// drafts whose answer was lost. A new file every 140 kills, so that none grows too long to be checked often.
#[test]
fn no_acknowledged_entry_is_lost_when_the_writer_is_killed() {
    (0..3 * factor()).for_each(|round| kill_writers(2026 + round));
}

fn kill_writers(seed: u64) {
    const KILLS: u64 = 140;
    let bench = Bench::new();
    drop(bench.create());
    let mut dice = Dice(seed);
    let mut acknowledged = Acknowledged::default();
    let mut next_counters = [0_u64; 2];
    let (mut n_kills, mut n_kills_with_answers, mut n_answers_lost) = (0, 0, 0);
    while n_kills < KILLS {
        // Every third round two writers are at it at once, and are killed one after the other.
        let writers: &[u64] = if n_kills % 3 == 2 { &[0, 1] } else { &[0] };
        let children: Vec<_> = writers
            .iter()
            .map(|writer| {
                let first = next_counters[usize::try_from(*writer).unwrap()];
                let task = Task { writer: *writer, first, n: 1_000_000, pause: 0 };
                let mut child = start(&bench.path(), task);
                let out = BufReader::new(child.stdout.take().unwrap());
                (*writer, child, out)
            })
            .collect();
        for (writer, mut child, mut out) in children {
            let mut said = String::new();
            if dice.below(4) > 0 {
                // Most writers get as far as their first answer.
                while !said.contains("entry ") && out.read_line(&mut said).unwrap() > 0 {}
            }
            std::thread::sleep(Duration::from_micros(dice.below(5_000)));
            child.kill().unwrap();
            child.wait().unwrap();
            out.read_to_string(&mut said).unwrap();
            let mut of_this_round = Acknowledged::default();
            of_this_round.read(&said);
            n_kills += 1;
            n_kills_with_answers += u64::from(!of_this_round.entries.is_empty());
            assert!(of_this_round.faults.is_empty(), "{:?}", of_this_round.faults);
            if let Some(next) = of_this_round.next_counter {
                next_counters[usize::try_from(writer).unwrap()] = next;
            }
            for (number, id) in of_this_round.entries {
                let before = acknowledged.entries.insert(number, id);
                assert!(before.is_none_or(|before| before == id), "two entries {number}");
            }
            acknowledged.blobs.extend(of_this_round.blobs);
        }
        let store = SqliteStore::open(&bench.path()).unwrap();
        let stored = store.size(&log()).unwrap();
        let newest = store.last_checkpoint(&log()).unwrap();
        assert_eq!(newest.map_or(0, |checkpoint| checkpoint.size), stored);
        n_answers_lost += u64::from(stored > acknowledged.entries.len() as u64);
        if n_kills % 33 == 0 {
            check(&store, &acknowledged);
        }
    }
    let store = bench.open();
    check(&store, &acknowledged);
    assert!(n_kills_with_answers > KILLS / 2, "{n_kills_with_answers} of {n_kills}");
    // At the end each writer may have one batch whose answer was lost; they are sent again.
    let unanswered = store.size(&log()).unwrap() - acknowledged.entries.len() as u64;
    assert!(unanswered <= 2 * LARGEST_BATCH, "{unanswered}");
    let mut store = store;
    for (writer, next) in [0, 1].into_iter().zip(next_counters) {
        let mut said = Vec::new();
        let task = Task { writer, first: next, n: 2 * LARGEST_BATCH, pause: 0 };
        write_on(&mut store, &mut said, task);
        acknowledged.read(std::str::from_utf8(&said).unwrap());
    }
    check(&store, &acknowledged);
    assert_eq!(store.size(&log()).unwrap(), acknowledged.entries.len() as u64);
    eprintln!(
        "{n_kills} kills, {n_kills_with_answers} after an answer, {n_answers_lost} with an answer \
         lost, {} entries",
        acknowledged.entries.len()
    );
}

/// Every acknowledged entry and blob is there; nothing is there twice; the trail verifies.
pub fn check(store: &SqliteStore, acknowledged: &Acknowledged) {
    let stored = entries(store);
    let mut identities = BTreeSet::new();
    for (place, entry) in stored.iter().enumerate() {
        assert_eq!(entry.number, place as u64);
        assert!(identities.insert(entry.id), "entry {place} is there twice");
    }
    for (number, id) in &acknowledged.entries {
        let entry = stored.get(usize::try_from(*number).unwrap());
        assert_eq!(entry.map(|entry| entry.id), Some(*id), "entry {number} was acknowledged");
    }
    for digest in &acknowledged.blobs {
        assert!(store.blob(digest).unwrap().is_some(), "blob {digest} was acknowledged");
    }
    let report = verify_trail(store, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
}

/// Three processes and two connections of this one, all at once. They pause now and then, so that
/// none runs through before the others have begun.
#[test]
fn writers_at_the_same_time_share_one_row_of_numbers() {
    const DRAFTS: u64 = 60;
    let bench = Bench::new();
    drop(bench.create());
    let task = |writer| Task { writer, first: 0, n: DRAFTS, pause: 12_000 };
    let children: Vec<_> = (0..3).map(|writer| start(&bench.path(), task(writer))).collect();
    let threads: Vec<_> = (3..5)
        .map(|writer| {
            let mut store = bench.open();
            std::thread::spawn(move || {
                let mut said = Vec::new();
                write_on(&mut store, &mut said, task(writer));
                String::from_utf8(said).unwrap()
            })
        })
        .collect();
    let mut acknowledged = Acknowledged::default();
    for child in children {
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success());
        acknowledged.read(std::str::from_utf8(&output.stdout).unwrap());
    }
    for thread in threads {
        acknowledged.read(&thread.join().unwrap());
    }
    assert!(acknowledged.faults.is_empty(), "{:?}", acknowledged.faults);
    let store = bench.open();
    check(&store, &acknowledged);
    assert_eq!(store.size(&log()).unwrap(), 5 * DRAFTS);
    assert_eq!(acknowledged.entries.len() as u64, 5 * DRAFTS);
    // They were really at it together: five writers one after the other change four times.
    let writers: BTreeMap<EntryId, u64> =
        (0..5).flat_map(|writer| (0..DRAFTS).map(move |counter| (draft_of(writer, counter).id, writer))).collect();
    let row: Vec<u64> = entries(&store).iter().map(|entry| writers[&entry.id]).collect();
    let n_changes = row.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(n_changes > 8, "{n_changes}");
}

/// A limit on the size of files stands in for a disk that can take no more: the write fails in
/// the middle, is said, and what was acknowledged before stays.
#[cfg(unix)]
#[test]
fn a_file_that_cannot_grow_any_more_loses_nothing() {
    let bench = Bench::new();
    drop(bench.create());
    let size = std::fs::metadata(bench.path()).unwrap().len();
    // The shell counts in blocks of 512 or of 1024 bytes; either leaves room for some entries.
    let blocks = size / 512 + 300;
    let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\"");
    let output = Command::new("sh")
        .args(["-c", &script, "sh"])
        .arg(std::env::current_exe().unwrap())
        .args(ONLY_THE_WRITER)
        .env(WRITER, order(&bench.path(), Task { writer: 0, first: 0, n: 100_000, pause: 0 }))
        .output()
        .unwrap();
    let mut acknowledged = Acknowledged::default();
    acknowledged.read(std::str::from_utf8(&output.stdout).unwrap());
    assert!(acknowledged.entries.len() > 5, "{output:?}");
    let [fault] = &acknowledged.faults[..] else { panic!("{output:?}") };
    assert!(fault.contains("could not be read or written") || fault.contains("is full"), "{fault}");

    let mut store = bench.open();
    check(&store, &acknowledged);
    let mut said = Vec::new();
    let first = acknowledged.next_counter.unwrap();
    write_on(&mut store, &mut said, Task { writer: 0, first, n: 30, pause: 0 });
    acknowledged.faults.clear();
    acknowledged.read(std::str::from_utf8(&said).unwrap());
    assert!(acknowledged.faults.is_empty(), "{:?}", acknowledged.faults);
    check(&store, &acknowledged);
    assert_eq!(store.size(&log()).unwrap(), acknowledged.entries.len() as u64);
}

/// The answer was lost on its way, not the entry: the same drafts again are told the old numbers.
#[test]
fn an_append_whose_answer_was_lost_can_be_repeated() {
    let bench = Bench::new();
    let mut store = bench.create();
    let drafts: Vec<_> = (0..4).map(draft).collect();
    assert_eq!(store.append(&drafts).unwrap(), [0, 1, 2, 3]);
    drop(store);
    let mut store = bench.open();
    assert_eq!(store.append(&drafts).unwrap(), [0, 1, 2, 3]);
    let mut altered = drafts.clone();
    altered[2].bytes.push(0);
    assert!(matches!(store.append(&altered), Err(StoreError::OtherContent { number: 2, .. })));
    assert_eq!(store.size(&log()).unwrap(), 4);
}
