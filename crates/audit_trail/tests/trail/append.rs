//! Appending, reading, blobs and keys: what holds when nothing goes wrong, in a file as in a database.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicU64, Ordering};

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{BlobDigest, EntryId, LogId, PersonId, Store, StoreError, Timestamp, verify_trail};

use crate::home::{Home, in_both_homes};
use crate::millrace::{Bench, checkpoints, device, draft, entries, log};

in_both_homes!(
    numbers_start_at_nought_and_every_batch_has_its_checkpoint,
    the_same_act_sent_again_is_stored_once,
    an_identity_with_another_content_is_refused_and_nothing_of_the_batch_is_stored,
    reading_starts_and_ends_where_the_reader_says,
    two_connections_that_take_turns_continue_each_others_tree,
    only_an_enrolled_device_appends,
    a_checkpoint_carries_the_time_of_the_bench_and_not_of_the_entry,
    blobs_are_kept_once_under_their_digest,
    a_large_entry_and_an_empty_one_read_back,
    a_thousand_entries_in_uneven_batches_verify,
);

fn numbers_start_at_nought_and_every_batch_has_its_checkpoint(home: &Home) {
    let mut store = home.create();
    assert_eq!(store.size(&log()).unwrap(), 0);
    assert_eq!(store.last_checkpoint(&log()).unwrap(), None);
    assert_eq!(store.append(&[draft(0)]).unwrap(), [0]);
    assert_eq!(store.append(&[draft(1), draft(2), draft(3)]).unwrap(), [1, 2, 3]);
    assert!(store.append(&[]).unwrap().is_empty());
    assert_eq!(checkpoints(&*store).iter().map(|it| it.size).collect::<Vec<_>>(), [1, 4]);
    assert_eq!(store.last_checkpoint(&log()).unwrap().as_ref(), checkpoints(&*store).last());
    for (number, entry) in entries(&*store).into_iter().enumerate() {
        let sent = draft(number as u64);
        assert_eq!((entry.number, entry.log), (number as u64, log()));
        assert_eq!((entry.id, entry.by, entry.at, entry.bytes), (sent.id, sent.by, sent.at, sent.bytes));
    }
    assert!(verify_trail(&*store, &log()).unwrap().is_intact());
}

fn the_same_act_sent_again_is_stored_once(home: &Home) {
    let mut store = home.create();
    assert_eq!(store.append(&[draft(0), draft(1)]).unwrap(), [0, 1]);
    assert_eq!(store.append(&[draft(1)]).unwrap(), [1]);
    // Some known, some new, one of them twice.
    assert_eq!(store.append(&[draft(1), draft(2), draft(0), draft(2)]).unwrap(), [1, 2, 0, 2]);
    drop(store);
    assert_eq!(home.open().append(&[draft(0), draft(2)]).unwrap(), [0, 2]);
    let store = home.open();
    assert_eq!(store.size(&log()).unwrap(), 3);
    // Nothing new, no checkpoint.
    assert_eq!(checkpoints(&*store).len(), 2);
    assert!(verify_trail(&*store, &log()).unwrap().is_intact());
}

fn an_identity_with_another_content_is_refused_and_nothing_of_the_batch_is_stored(home: &Home) {
    home.fill(&[3]);
    let mut store = home.open();
    let mut other_person = draft(1);
    other_person.by = PersonId::new("m.rowan").unwrap();
    let mut other_time = draft(1);
    other_time.at = Timestamp::new("2026-03-14T09:00:01.000+02:00").unwrap();
    let mut other_content = draft(1);
    other_content.bytes.push(0);
    for (altered, what) in [(other_person, "person"), (other_time, "time"), (other_content, "content")] {
        let refused = store.append(&[draft(8), altered, draft(9)]).unwrap_err();
        assert!(
            matches!(refused, StoreError::OtherContent { id, number: 1, differs } if id == draft(1).id && differs == what),
            "{refused}"
        );
        assert_eq!(store.size(&log()).unwrap(), 3);
    }
    assert_eq!(store.append(&[draft(8)]).unwrap(), [3]);
    assert!(verify_trail(&*store, &log()).unwrap().is_intact());
}

fn reading_starts_and_ends_where_the_reader_says(home: &Home) {
    home.fill(&[2, 3, 5]);
    let store = home.open();
    let read_from = |from, at_most| {
        let mut numbers = Vec::new();
        store
            .scan(&log(), from, &mut |entry| {
                numbers.push(entry.number);
                if numbers.len() < at_most { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
            })
            .unwrap();
        numbers
    };
    assert_eq!(read_from(0, 3), [0, 1, 2]);
    assert_eq!(read_from(8, 99), [8, 9]);
    assert!(read_from(10, 99).is_empty());
    assert!(read_from(u64::MAX, 99).is_empty());
    assert_eq!(store.entry(&log(), 7).unwrap().unwrap().id, draft(7).id);
    assert_eq!(store.entry(&log(), 10).unwrap(), None);
    assert_eq!(store.frontier(&log(), 7).unwrap().unwrap().size(), 7);
    assert_eq!(store.frontier(&log(), 11).unwrap(), None);
    assert_eq!(store.frontier(&log(), u64::MAX).unwrap(), None);
}

#[test]
fn a_file_holds_one_log() {
    let bench = Bench::with_batches(&[1]);
    let store = bench.open();
    let other = LogId::new("bench-3").unwrap();
    let refused = verify_trail(&store, &other).unwrap_err();
    assert!(matches!(&refused, StoreError::OtherLog { .. }), "{refused}");
    assert_eq!(refused.to_string(), "the log bench-3 is not here, but bench-2");
    assert!(matches!(store.size(&other), Err(StoreError::OtherLog { .. })));
}

fn two_connections_that_take_turns_continue_each_others_tree(home: &Home) {
    let mut first = home.create();
    let mut second = home.open();
    for number in 0..40 {
        let store = if number % 3 == 0 { &mut first } else { &mut second };
        assert_eq!(store.append(&[draft(number)]).unwrap(), [number]);
    }
    assert!(verify_trail(&*first, &log()).unwrap().is_intact());
}

fn only_an_enrolled_device_appends(home: &Home) {
    home.fill(&[2]);
    let mut reader = home.reader();
    let refused = reader.append(&[draft(2)]).unwrap_err();
    assert!(matches!(refused, StoreError::NoDeviceKey { .. }), "{refused}");
    let new_computer = SigningKey::from_seed(&[9; 32]);
    let refused = reader.append_with(new_computer.clone()).unwrap_err();
    assert!(
        matches!(&refused, StoreError::UnknownDevice { key, enrolled, .. }
            if *key == new_computer.public_key().fingerprint()
            && *enrolled == [device().public_key().fingerprint()]),
        "{refused}"
    );

    let mut store = home.open();
    store.enrol_device(&new_computer.public_key()).unwrap();
    store.enrol_device(&new_computer.public_key()).unwrap();
    assert_eq!(store.devices().unwrap(), [device().public_key(), new_computer.public_key()]);
    let mut store = home.reader();
    store.append_with(new_computer.clone()).unwrap();
    assert_eq!(store.append(&[draft(2)]).unwrap(), [2]);
    assert_eq!(home.open().append(&[draft(3)]).unwrap(), [3]);
    let report = verify_trail(&*store, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
    let keys = [device(), new_computer].map(|key| key.public_key().fingerprint());
    assert_eq!(report.devices, keys);
}

fn a_checkpoint_carries_the_time_of_the_bench_and_not_of_the_entry(home: &Home) {
    static SECONDS: AtomicU64 = AtomicU64::new(10);
    fn clock() -> Timestamp {
        let second = SECONDS.fetch_add(1, Ordering::Relaxed);
        Timestamp::new(&format!("2026-05-02T08:00:{second}+02:00")).unwrap()
    }
    home.create();
    let mut store = home.with_clock(clock);
    store.append(&[draft(0)]).unwrap();
    store.append(&[draft(1)]).unwrap();
    let times: Vec<_> = checkpoints(&*store).into_iter().map(|it| it.at.to_string()).collect();
    // Both homes ask this clock, so that only their order is known.
    assert!(times.iter().all(|at| at.starts_with("2026-05-02T08:00:1")), "{times:?}");
    assert!(times[0] < times[1]);
}

fn blobs_are_kept_once_under_their_digest(home: &Home) {
    let mut store = home.create();
    let pulse = vec![3; 10_000];
    let digest = store.put_blob(&pulse).unwrap();
    assert_eq!(digest, BlobDigest::of(&pulse));
    // SHA-256 of nothing, as RFC 9162 prints it for the empty tree.
    let empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
    let digests = store.put_blobs(&[b"", &pulse, b"", b"x"]).unwrap();
    assert_eq!(digests[0].to_string(), empty);
    assert_eq!(digests[1..3], [digest, digests[0]]);
    let store = home.open();
    assert_eq!(store.blob(&digest).unwrap(), Some(pulse));
    assert_eq!(store.blob(&digests[0]).unwrap(), Some(Vec::new()));
    assert_eq!(store.blob(&BlobDigest::of(b"y")).unwrap(), None);
    let mut listed = Vec::new();
    store
        .blob_digests(&mut |digest| {
            listed.push(digest);
            ControlFlow::Continue(())
        })
        .unwrap();
    assert_eq!(listed.len(), 3);
    assert!(listed.is_sorted());
    assert_eq!(verify_trail(&*store, &log()).unwrap().n_blobs, 3);
}

#[test]
fn a_persons_key_is_kept_encrypted_and_a_new_passphrase_takes_the_place_of_the_old() {
    let bench = Bench::new();
    let mut store = bench.create();
    let alder = PersonId::new("j.alder").unwrap();
    assert_eq!(store.key(&alder).unwrap(), None);
    let key = SigningKey::from_seed(&[1; 32]);
    let refused = store.put_key(&alder, &key.to_plain_pem()).unwrap_err();
    assert!(matches!(refused, StoreError::PlainKey { .. }), "{refused}");
    let old = key.to_encrypted_pem("the first passphrase").unwrap();
    let new = key.to_encrypted_pem("the second passphrase").unwrap();
    store.put_key(&alder, &old).unwrap();
    store.put_key(&alder, &new).unwrap();
    drop(store);
    let kept = bench.open().key(&alder).unwrap().unwrap();
    assert_eq!(kept, *new);
    let opened = SigningKey::from_encrypted_pem(&kept, "the second passphrase").unwrap();
    assert_eq!(opened.public_key(), key.public_key());
    // The old text is wiped from the file, not only let go.
    let line = old.lines().nth(2).unwrap();
    let file = std::fs::read(bench.path()).unwrap();
    assert!(!file.windows(line.len()).any(|window| window == line.as_bytes()));
    let line = new.lines().nth(2).unwrap();
    assert!(file.windows(line.len()).any(|window| window == line.as_bytes()));
}

fn a_large_entry_and_an_empty_one_read_back(home: &Home) {
    let mut store = home.create();
    let mut large = draft(0);
    large.bytes = vec![0xa5; 3 << 20];
    let mut empty = draft(1);
    empty.bytes = Vec::new();
    store.append(&[large.clone(), empty]).unwrap();
    assert_eq!(store.entry(&log(), 0).unwrap().unwrap().bytes, large.bytes);
    assert!(store.entry(&log(), 1).unwrap().unwrap().bytes.is_empty());
    assert!(verify_trail(&*store, &log()).unwrap().is_intact());
}

fn a_thousand_entries_in_uneven_batches_verify(home: &Home) {
    let mut store = home.create();
    let mut first = 0;
    for size in (1..=70).cycle() {
        let drafts: Vec<_> = (first..first + size).map(draft).collect();
        store.append(&drafts).unwrap();
        first += size;
        if first > 2500 {
            break;
        }
    }
    let report = verify_trail(&*store, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
    assert_eq!((report.n_entries, report.newest.as_ref().map(|it| it.size)), (first, Some(first)));
    assert_eq!(report.root, report.newest.map(|it| it.root));
}

#[test]
fn a_store_can_be_handed_to_another_thread() {
    let bench = Bench::new();
    let mut store = bench.create();
    let numbers = std::thread::spawn(move || store.append(&[draft(0)]).unwrap()).join().unwrap();
    assert_eq!(numbers, [0]);
    assert!(EntryId::random().is_ok());
}
