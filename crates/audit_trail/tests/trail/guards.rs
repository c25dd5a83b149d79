//! The guards in the file itself: another program that opens it cannot change what is there.

use darkline_audit_trail::{Fault, SqliteStore, Store, StoreError, verify_trail};

use crate::millrace::{Bench, checkpoints, draft, entries, log};

/// Every way SQL has to change, remove or slip in a row, for every table that only grows.
#[test]
fn no_command_changes_or_removes_what_is_there() {
    let bench = Bench::with_batches(&[2, 1]);
    let digest = bench.open().put_blob(b"a pulse").unwrap();
    let (entries_before, checkpoints_before) = (entries(&bench.open()), checkpoints(&bench.open()));
    let stranger = bench.stranger();
    let hash = format!("x'{}'", "0".repeat(64));
    let signature = format!("x'{}'", "0".repeat(128));
    let id = "0".repeat(32);
    let old_id = draft(1).id;
    let row = |number: &str, id: &str| format!("({number}, '{id}', 'j.alder', '', x'', {hash}, {hash})");
    let commands = [
        ("UPDATE entry SET bytes = x''".to_owned(), "entries are never changed"),
        ("UPDATE entry SET number = 9 WHERE number = 1".to_owned(), "entries are never changed"),
        ("UPDATE OR REPLACE entry SET number = 0 WHERE number = 1".to_owned(), "entries are never changed"),
        ("DELETE FROM entry".to_owned(), "entries are never removed"),
        ("DELETE FROM entry WHERE number = 2".to_owned(), "entries are never removed"),
        (format!("INSERT INTO entry VALUES {}", row("4", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO entry VALUES {}", row("1", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO entry VALUES {}", row("-1", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO entry VALUES {}", row("NULL", &id)), "entries are numbered without a gap"),
        (format!("INSERT OR REPLACE INTO entry VALUES {}", row("1", &id)), "entries are numbered without a gap"),
        (format!("INSERT OR REPLACE INTO entry VALUES {}", row("3", &old_id.to_string())), "an identity is used once"),
        (format!("INSERT OR IGNORE INTO entry VALUES {}", row("3", &old_id.to_string())), "an identity is used once"),
        (
            format!("INSERT INTO entry VALUES {} ON CONFLICT DO UPDATE SET bytes = x'00'", row("2", &id)),
            "entries are numbered without a gap",
        ),
        (format!("UPDATE checkpoint SET root = {hash}"), "checkpoints are never changed"),
        ("DELETE FROM checkpoint WHERE size = 3".to_owned(), "checkpoints are never removed"),
        (
            format!("INSERT OR REPLACE INTO checkpoint VALUES (3, {hash}, '', '', {signature})"),
            "a checkpoint covers all entries and is made once",
        ),
        (
            format!("INSERT INTO checkpoint VALUES (4, {hash}, '', '', {signature})"),
            "a checkpoint covers all entries and is made once",
        ),
        ("UPDATE blob SET bytes = x''".to_owned(), "blobs are never changed"),
        ("DELETE FROM blob".to_owned(), "blobs are never removed"),
        (format!("INSERT OR REPLACE INTO blob VALUES (x'{digest}', x'')"), "a blob is kept once"),
        (format!("UPDATE device SET public_key = {hash}"), "devices are never changed"),
        ("DELETE FROM device".to_owned(), "devices are never removed"),
        (
            format!("INSERT OR REPLACE INTO device SELECT 0, fingerprint, {hash}, '' FROM device"),
            "devices are enrolled once",
        ),
        ("UPDATE trail SET log = 'bench-3'".to_owned(), "the log is never renamed"),
        ("DELETE FROM trail".to_owned(), "the log is never removed"),
        ("INSERT OR REPLACE INTO trail VALUES (0, 'bench-3', '')".to_owned(), "a trail holds one log"),
    ];
    for (command, guard) in commands {
        let refused = stranger.execute_batch(&command).unwrap_err();
        assert!(refused.to_string().contains(guard), "{command}: {refused}");
    }
    // Text where bytes belong is refused by STRICT, whatever the guards say.
    let loose = format!("INSERT INTO blob VALUES (x'{}', 'text')", "1".repeat(64));
    assert!(stranger.execute_batch(&loose).is_err());
    drop(stranger);
    let store = bench.open();
    assert_eq!(entries(&store), entries_before);
    assert_eq!(checkpoints(&store), checkpoints_before);
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
}

#[test]
fn a_guard_that_was_removed_or_altered_is_named_and_stops_writing() {
    let bench = Bench::with_batches(&[2]);
    let alter = |command: &str| bench.stranger().execute_batch(command).unwrap();
    let form_faults = || {
        let report = verify_trail(&SqliteStore::open(&bench.path()).unwrap(), &log()).unwrap();
        let faults = report.faults.into_iter().map(|fault| match fault {
            Fault::Form { what } => what,
            other => panic!("{other}"),
        });
        faults.collect::<Vec<_>>()
    };
    let guard: String = bench
        .stranger()
        .query_row("SELECT sql FROM sqlite_schema WHERE name = 'entry_remains'", [], |row| row.get(0))
        .unwrap();

    alter("DROP TRIGGER entry_remains");
    assert_eq!(form_faults(), ["the guard entry_remains is missing"]);
    let mut store = bench.open();
    for refused in [store.append(&[draft(2)]).map(|_| ()), store.put_blob(b"x").map(|_| ())] {
        let refused = refused.unwrap_err();
        assert!(matches!(&refused, StoreError::Damaged { what, .. } if what == "the guard entry_remains is missing"));
    }
    drop(store);

    alter(&guard.replace("BEFORE DELETE ON entry BEGIN", "BEFORE DELETE ON entry WHEN 0 BEGIN"));
    assert_eq!(form_faults(), ["the guard entry_remains was altered"]);
    alter(&format!("DROP TRIGGER entry_remains; {guard}"));
    assert!(form_faults().is_empty());

    alter("CREATE TRIGGER also AFTER INSERT ON entry BEGIN DELETE FROM key; END");
    assert_eq!(form_faults(), ["the guard also does not belong to a trail"]);
    alter("DROP TRIGGER also; CREATE TABLE notes (text TEXT)");
    assert_eq!(form_faults(), ["the table notes does not belong to a trail"]);
    alter("DROP TABLE notes; CREATE INDEX by_person ON entry (person)");
    assert_eq!(form_faults(), ["the part by_person does not belong to a trail"]);
    alter("DROP INDEX by_person");
    assert_eq!(bench.open().append(&[draft(2)]).unwrap(), [2]);
}
