//! What a check of the trail says about every way to tamper with it, place by place.
//!
//! The tamperer here knows the format: guards are lifted and put back, so that only what the tree
//! and the signatures show is left.

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::merkle::Frontier;
use darkline_audit_trail::{
    Fault, Known, SqliteStore, Store, StoreError, Timestamp, TrailReport, verify_trail, verify_trail_knowing,
};

use crate::millrace::{Bench, checkpoints, device, draft, entries, log};

/// Ten entries; checkpoints at 1, 4, 5, 7 and 10.
fn ten() -> Bench {
    Bench::with_batches(&[1, 3, 1, 2, 3])
}

/// Runs commands with all guards lifted, and puts the guards back.
fn tamper(bench: &Bench, commands: &str) {
    let connection = bench.stranger();
    let guards: Vec<(String, String)> = connection
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .collect::<rusqlite::Result<_>>()
        .unwrap();
    for (name, _) in &guards {
        connection.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    connection.execute_batch(commands).unwrap();
    for (_, guard) in &guards {
        connection.execute_batch(guard).unwrap();
    }
}

/// Works out all stored hashes anew from entry `first` on, as the format says.
fn rehash(bench: &Bench, first: u64) {
    let entries = entries(&bench.open());
    let mut frontier = Frontier::new();
    let mut commands = String::new();
    for entry in entries {
        let leaf = entry.leaf_hash();
        let subtree = frontier.push(leaf);
        if entry.number >= first {
            commands +=
                &format!("UPDATE entry SET leaf = x'{leaf}', subtree = x'{subtree}' WHERE number = {};", entry.number);
        }
    }
    tamper(bench, &commands);
}

fn report(bench: &Bench) -> TrailReport {
    verify_trail(&SqliteStore::open(&bench.path()).unwrap(), &log()).unwrap()
}

fn faults(bench: &Bench) -> Vec<Fault> {
    report(bench).faults
}

fn known(checkpoint: &darkline_audit_trail::Checkpoint) -> Known {
    Known { checkpoints: vec![checkpoint.clone()], devices: None }
}

#[test]
fn any_changed_field_of_an_entry_names_that_entry() {
    for field in [
        "person = 'm.rowan'",
        "at = '2026-03-14T09:00:05.001+01:00'",
        "id = '00000000000000000000000000000000'",
        "bytes = x'00'",
        "bytes = CAST(bytes || x'0a' AS BLOB)",
    ] {
        let bench = ten();
        tamper(&bench, &format!("UPDATE entry SET {field} WHERE number = 5"));
        assert_eq!(faults(&bench), [Fault::EntryChanged { number: 5 }], "{field}");
    }
}

#[test]
fn every_changed_entry_is_named_not_only_the_first() {
    let bench = ten();
    tamper(&bench, "UPDATE entry SET bytes = x'00' WHERE number IN (0, 2, 3, 9)");
    let changed = [0, 2, 3, 9].map(|number| Fault::EntryChanged { number });
    assert_eq!(faults(&bench), changed);
    assert_eq!(report(&bench).n_entries, 10);
}

#[test]
fn two_entries_that_changed_places_are_both_named() {
    let bench = ten();
    tamper(
        &bench,
        "UPDATE entry SET number = 99 WHERE number = 1; UPDATE entry SET number = 1 WHERE number = 2;
         UPDATE entry SET number = 2 WHERE number = 99;",
    );
    // Their stored hashes went with them, so these do not give the signed root either.
    assert_eq!(
        faults(&bench),
        [
            Fault::EntryChanged { number: 1 },
            Fault::EntryChanged { number: 2 },
            Fault::RootDiffers { first: 1, last: 3 },
        ]
    );
}

#[test]
fn an_entry_that_cannot_be_read_is_named_and_the_rest_is_checked() {
    let bench = ten();
    tamper(
        &bench,
        "UPDATE entry SET at = 'noon' WHERE number = 4; UPDATE entry SET person = 'J. Alder' WHERE number = 6;
         UPDATE entry SET bytes = x'00' WHERE number = 8;",
    );
    let found = faults(&bench);
    assert!(matches!(&found[0], Fault::EntryUnreadable { number: 4, what } if what.contains("\"noon\"")));
    assert!(matches!(&found[1], Fault::EntryUnreadable { number: 6, .. }));
    assert_eq!(found[2..], [Fault::EntryChanged { number: 8 }]);
}

#[test]
fn a_changed_hash_is_told_apart_from_a_changed_entry() {
    let bench = ten();
    let other = format!("x'{}'", "00".repeat(32));
    tamper(&bench, &format!("UPDATE entry SET leaf = {other} WHERE number = 2"));
    assert_eq!(faults(&bench), [Fault::StoredHashChanged { number: 2 }]);
    // Entry 7 ends the complete subtree of eight that the next append builds on.
    let bench = ten();
    tamper(&bench, &format!("UPDATE entry SET subtree = {other} WHERE number = 7"));
    assert_eq!(faults(&bench), [Fault::EdgeChanged]);
    let fault = bench.open().append(&[draft(10)]).unwrap_err();
    assert!(matches!(fault, StoreError::Damaged { .. }), "{fault}");
}

/// Entry 5 and its stored hash changed together: the batch it was signed with is named, and the
/// check goes on from the next signed root.
#[test]
fn an_entry_changed_with_its_hash_is_narrowed_down_to_its_batch() {
    let bench = ten();
    tamper(&bench, "UPDATE entry SET bytes = x'00' WHERE number = 5");
    let leaf = entries(&bench.open())[5].leaf_hash();
    tamper(&bench, &format!("UPDATE entry SET leaf = x'{leaf}' WHERE number = 5"));
    assert_eq!(faults(&bench), [Fault::RootDiffers { first: 5, last: 6 }]);
    tamper(&bench, "UPDATE entry SET bytes = x'00' WHERE number = 9");
    assert_eq!(faults(&bench), [Fault::RootDiffers { first: 5, last: 6 }, Fault::EntryChanged { number: 9 }]);
}

#[test]
fn a_trail_hashed_anew_from_an_entry_on_no_longer_fits_any_root_from_there_on() {
    let bench = ten();
    tamper(&bench, "UPDATE entry SET bytes = x'00' WHERE number = 2");
    rehash(&bench, 2);
    assert_eq!(faults(&bench), [Fault::RootDiffers { first: 1, last: 9 }]);
    let fault = bench.open().append(&[draft(10)]).unwrap_err();
    assert!(matches!(fault, StoreError::Damaged { .. }), "{fault}");
}

#[test]
fn entries_taken_out_of_the_middle_are_missed_by_number() {
    let bench = ten();
    tamper(&bench, "DELETE FROM entry WHERE number IN (5, 6)");
    let found = faults(&bench);
    assert_eq!(found[0], Fault::EntriesMissing { first: 5, last: 6 });
    // Entry 6 carried a hash on which the next signed root can be resumed: it is gone too.
    assert_eq!(found[1..], [Fault::RootDiffers { first: 5, last: 9 }]);
    let bench = ten();
    tamper(&bench, "DELETE FROM entry WHERE number = 2");
    assert_eq!(faults(&bench), [Fault::EntriesMissing { first: 2, last: 2 }, Fault::RootDiffers { first: 1, last: 3 }]);
    assert_eq!(report(&bench).n_entries, 9);
}

#[test]
fn a_gap_closed_by_renumbering_no_longer_fits_the_signed_roots() {
    let bench = ten();
    tamper(&bench, "DELETE FROM entry WHERE number = 4; UPDATE entry SET number = number - 1 WHERE number > 4;");
    rehash(&bench, 4);
    assert_eq!(
        faults(&bench),
        [
            Fault::RootDiffers { first: 4, last: 6 },
            Fault::EntriesUnsigned { first: 7, last: 8 },
            Fault::EndMissing { size: 10, n_entries: 9 }
        ]
    );
}

#[test]
fn an_end_that_was_cut_off_shows_in_the_checkpoints_left_or_in_one_kept_elsewhere() {
    let bench = ten();
    let newest = checkpoints(&bench.open()).pop().unwrap();
    tamper(&bench, "DELETE FROM entry WHERE number > 7");
    assert_eq!(
        faults(&bench),
        [Fault::EntriesUnsigned { first: 7, last: 7 }, Fault::EndMissing { size: 10, n_entries: 8 }]
    );
    // Cut back to an older state as a whole: sound in itself.
    tamper(&bench, "DELETE FROM entry WHERE number > 6; DELETE FROM checkpoint WHERE size > 7;");
    assert!(report(&bench).is_intact());
    let store = SqliteStore::open(&bench.path()).unwrap();
    let knowing = verify_trail_knowing(&store, &log(), &known(&newest)).unwrap();
    assert_eq!(knowing.faults, [Fault::EndMissing { size: 10, n_entries: 7 }]);
}

#[test]
fn entries_without_a_checkpoint_are_signed_by_nobody() {
    let bench = ten();
    tamper(&bench, "DELETE FROM checkpoint WHERE size = 10");
    assert_eq!(faults(&bench), [Fault::EntriesUnsigned { first: 7, last: 9 }]);
    let fault = bench.open().append(&[draft(10)]).unwrap_err();
    assert!(matches!(fault, StoreError::Damaged { .. }), "{fault}");
    tamper(&bench, "DELETE FROM checkpoint");
    assert_eq!(faults(&bench), [Fault::EntriesUnsigned { first: 0, last: 9 }]);
    let fault = bench.open().append(&[draft(10)]).unwrap_err();
    assert!(matches!(fault, StoreError::Damaged { .. }), "{fault}");
}

#[test]
fn any_changed_field_of_a_checkpoint_breaks_its_signature() {
    for field in [
        format!("root = x'{}'", "00".repeat(32)),
        format!("signature = x'{}'", "00".repeat(64)),
        "at = '2026-03-14T09:30:00+01:00'".to_owned(),
        "key = '0000000000000000'".to_owned(),
    ] {
        let bench = ten();
        tamper(&bench, &format!("UPDATE checkpoint SET {field} WHERE size = 5"));
        let found = faults(&bench);
        assert!(matches!(found[..], [Fault::CheckpointNotSigned { size: 5, .. }]), "{field}: {found:?}");
        // The newest checkpoint is what the next append builds on.
        tamper(&bench, &format!("UPDATE checkpoint SET {field} WHERE size = 10"));
        let fault = bench.open().append(&[draft(10)]).unwrap_err();
        assert!(matches!(fault, StoreError::Damaged { .. }), "{field}: {fault}");
    }
    let bench = ten();
    tamper(&bench, "UPDATE checkpoint SET at = 'noon' WHERE size = 5");
    let found = faults(&bench);
    assert!(matches!(found[..], [Fault::CheckpointUnreadable { size: 5, .. }]), "{found:?}");
}

/// Somebody who may write the file can make a whole new trail with a key of their own; only what
/// is known from elsewhere tells.
#[test]
fn a_trail_made_anew_with_another_key_is_told_by_what_is_known_from_elsewhere() {
    let bench = ten();
    let genuine = checkpoints(&bench.open());
    std::fs::remove_file(bench.path()).unwrap();
    let forger = SigningKey::from_seed(&[66; 32]);
    let mut forged = SqliteStore::create(&bench.path(), &log(), forger.clone()).unwrap();
    let mut drafts: Vec<_> = (0..10).map(draft).collect();
    drafts[4].bytes = b"a better result".to_vec();
    forged.append(&drafts).unwrap();
    assert!(verify_trail(&forged, &log()).unwrap().is_intact());

    let keys = Known { checkpoints: Vec::new(), devices: Some(vec![device().public_key()]) };
    let report = verify_trail_knowing(&forged, &log(), &keys).unwrap();
    assert!(
        matches!(
            report.faults[..],
            [Fault::CheckpointNotSigned { size: 10, .. }, Fault::EntriesUnsigned { first: 0, last: 9 }]
        ),
        "{:?}",
        report.faults
    );

    // A checkpoint from a report, with the genuine key known: entry 4 is under it from size 5 on.
    for checkpoint in genuine {
        let both = Known {
            checkpoints: vec![checkpoint.clone()],
            devices: Some(vec![device().public_key(), forger.public_key()]),
        };
        let report = verify_trail_knowing(&forged, &log(), &both).unwrap();
        let differs = Fault::KnownRootDiffers { size: checkpoint.size, at: checkpoint.at };
        assert_eq!(report.faults, if checkpoint.size > 4 { vec![differs] } else { vec![] });
    }
}

#[test]
fn a_known_checkpoint_that_nobody_signed_is_said() {
    let bench = ten();
    let store = bench.open();
    let mut altered = checkpoints(&store).pop().unwrap();
    altered.at = Timestamp::new("2026-03-14T09:30:00+01:00").unwrap();
    let report = verify_trail_knowing(&store, &log(), &known(&altered)).unwrap();
    assert!(matches!(report.faults[..], [Fault::CheckpointNotSigned { size: 10, .. }]));
    // One of another log is passed over.
    altered.log = darkline_audit_trail::LogId::new("bench-3").unwrap();
    assert!(verify_trail_knowing(&store, &log(), &known(&altered)).unwrap().is_intact());
}

#[test]
fn a_changed_blob_is_named_and_not_given_out() {
    let bench = ten();
    let digests = bench.open().put_blobs(&[b"one pulse", b"another"]).unwrap();
    tamper(&bench, &format!("UPDATE blob SET bytes = x'00' WHERE digest = x'{}'", digests[0]));
    assert_eq!(faults(&bench), [Fault::BlobChanged { digest: digests[0] }]);
    let fault = bench.open().blob(&digests[0]).unwrap_err();
    assert!(matches!(fault, StoreError::DamagedBlob { wanted, .. } if wanted == digests[0]), "{fault}");
    assert_eq!(bench.open().blob(&digests[1]).unwrap().unwrap(), b"another");
}

/// The table without its rule that identities are used once.
#[test]
fn an_identity_in_two_entries_is_named() {
    let bench = ten();
    tamper(
        &bench,
        "CREATE TABLE other AS SELECT * FROM entry; DROP TABLE entry; ALTER TABLE other RENAME TO entry;
         UPDATE entry SET id = (SELECT id FROM entry WHERE number = 3) WHERE number = 8;",
    );
    let found = faults(&bench);
    assert!(found.contains(&Fault::Form { what: "the table entry was altered".to_owned() }), "{found:?}");
    assert!(found.contains(&Fault::IdentityTwice { id: draft(3).id, first: 3, second: 8 }));
    assert!(found.contains(&Fault::EntryChanged { number: 8 }));
}

#[test]
fn a_clock_that_was_set_back_is_reported_and_is_no_fault() {
    fn yesterday() -> Timestamp {
        Timestamp::new("2020-01-01T08:00:00+01:00").unwrap()
    }
    let bench = Bench::with_batches(&[2]);
    let mut late = draft(2);
    // The same instant in another zone is no step back; an hour earlier is.
    late.at = Timestamp::new("2026-03-14T08:00:01.000Z").unwrap();
    let mut early = draft(3);
    early.at = Timestamp::new("2026-03-14T08:00:01.000+01:00").unwrap();
    let mut store = bench.open();
    store.append(&[late.clone()]).unwrap();
    let mut store = store.with_clock(yesterday);
    store.append(&[early.clone()]).unwrap();
    let report = verify_trail(&store, &log()).unwrap();
    assert!(report.is_intact());
    let steps: Vec<_> = report.clock_steps.iter().map(|step| step.at.as_str()).collect();
    assert_eq!(steps, ["entry 3", "the checkpoint of 4 entries"]);
    assert_eq!((&report.clock_steps[0].before, &report.clock_steps[0].after), (&late.at, &early.at));
    assert_eq!(
        report.clock_steps[0].to_string(),
        "the clock went back at entry 3: from 2026-03-14T08:00:01.000Z to 2026-03-14T08:00:01.000+01:00"
    );
}

#[test]
fn the_report_goes_into_json() {
    let bench = ten();
    tamper(&bench, "UPDATE entry SET bytes = x'00' WHERE number = 5");
    let text = serde_json::to_value(report(&bench)).unwrap();
    assert_eq!(text["faults"][0], serde_json::json!({ "fault": "entry-changed", "number": 5 }));
    assert_eq!(text["n_entries"], 10);
    assert_eq!(text["log"], "bench-2");
    assert_eq!(text["newest"]["size"], 10);
}
