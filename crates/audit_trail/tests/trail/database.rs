//! A trail in a database: several benches, lines that break, servers that are killed, accounts that may less.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{
    AddressFault, EntryId, Fault, Known, LogId, PostgresStore, Store, StoreError, hand_over, verify_trail,
    verify_trail_knowing,
};

use crate::home::Home;
use crate::millrace::{Bench, Dice, checkpoints, device, draft, entries, log};
use crate::server::{Server, Wire, address, shared};

fn open(at: &str) -> PostgresStore {
    PostgresStore::open(address(at), &log()).unwrap().sign_with(device()).unwrap()
}

fn log_of(name: &str) -> LogId {
    LogId::new(name).unwrap()
}

#[test]
fn one_database_holds_a_log_for_every_bench_and_each_is_read_from_all() {
    let at = shared().address(&shared().database());
    let names = ["bench-1", "bench-2", "laboratory"];
    let mut stores: Vec<_> = (0..)
        .zip(names)
        .map(|(seed, name)| {
            PostgresStore::create(address(&at), &log_of(name), SigningKey::from_seed(&[seed; 32])).unwrap()
        })
        .collect();
    for number in 0..30 {
        let place = usize::try_from(number % 3).unwrap();
        // The same act may stand in two logs: an identity is used once a log.
        assert_eq!(stores[place].append(&[draft(number / 3)]).unwrap(), [number / 3]);
    }
    let reader = PostgresStore::open(address(&at), &log_of("laboratory")).unwrap();
    assert_eq!(reader.logs().unwrap(), names.map(log_of));
    for name in names {
        let report = verify_trail(&reader, &log_of(name)).unwrap();
        assert!(report.is_intact(), "{:?}", report.faults);
        assert_eq!(report.n_entries, 10);
    }
    let fault = reader.size(&log_of("bench-9")).unwrap_err();
    assert!(matches!(fault, StoreError::NoSuchLog { .. }), "{fault}");
    let fault = PostgresStore::create(address(&at), &log_of("bench-1"), SigningKey::from_seed(&[9; 32])).unwrap_err();
    assert!(matches!(fault, StoreError::LogThere { .. }), "{fault}");
    // Asked again with the same key, because the answer was lost: it is the same log.
    assert!(PostgresStore::create(address(&at), &log_of("bench-1"), SigningKey::from_seed(&[0; 32])).is_ok());
}

#[test]
fn what_is_no_trail_is_named_and_nothing_is_made() {
    let at = shared().address(&shared().database());
    let fault = PostgresStore::open(address(&at), &log()).unwrap_err();
    assert!(matches!(fault, StoreError::NoFile { .. }), "{fault}");
    let name = at.rsplit('/').next().unwrap();
    shared().client(name).batch_execute("CREATE SCHEMA darkline; CREATE TABLE darkline.notes (text text)").unwrap();
    for fault in [
        PostgresStore::open(address(&at), &log()).unwrap_err(),
        PostgresStore::create(address(&at), &log(), device()).unwrap_err(),
    ] {
        assert!(matches!(fault, StoreError::NotATrail { what: "a schema darkline of another program", .. }), "{fault}");
    }
    let nowhere = address(&shared().address("no_such_database"));
    let fault = PostgresStore::open(nowhere, &log()).unwrap_err();
    assert!(fault.to_string().contains("no_such_database"), "{fault}");
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let mut client = shared().client(at.rsplit('/').next().unwrap());
    let alter = "ALTER TABLE darkline.form DISABLE TRIGGER ALL; UPDATE darkline.form SET format = 2;
        ALTER TABLE darkline.form ENABLE ALWAYS TRIGGER form_stays";
    client.batch_execute(alter).unwrap();
    let fault = PostgresStore::open(address(&at), &log()).unwrap_err();
    assert!(matches!(fault, StoreError::NewerFormat { found: 2, known: 1, .. }), "{fault}");
}

/// Four writers on two logs, each with a line of its own, all at once.
#[test]
fn benches_that_append_at_the_same_time_share_one_row_of_numbers_a_log() {
    const DRAFTS: u64 = 40;
    let at = shared().address(&shared().database());
    for name in ["bench-1", "bench-2"] {
        PostgresStore::create(address(&at), &log_of(name), device()).unwrap();
    }
    let start = std::sync::Barrier::new(4);
    std::thread::scope(|scope| {
        for writer in 0..4_u64 {
            let (at, start) = (&at, &start);
            scope.spawn(move || {
                let log = log_of(if writer < 2 { "bench-1" } else { "bench-2" });
                let mut store = PostgresStore::open(address(at), &log).unwrap().sign_with(device()).unwrap();
                start.wait();
                for counter in 0..DRAFTS {
                    let sent = draft(writer * 1000 + counter);
                    let numbers = store.append(std::slice::from_ref(&sent)).unwrap();
                    assert_eq!(store.entry(&log, numbers[0]).unwrap().unwrap().id, sent.id);
                }
            });
        }
    });
    for (name, first) in [("bench-1", 0), ("bench-2", 2)] {
        let store = PostgresStore::open(address(&at), &log_of(name)).unwrap();
        let report = verify_trail(&store, &log_of(name)).unwrap();
        assert!(report.is_intact(), "{:?}", report.faults);
        assert_eq!(report.n_entries, 2 * DRAFTS);
        let row: Vec<bool> = {
            let of_first: BTreeSet<EntryId> = (0..DRAFTS).map(|counter| draft(first * 1000 + counter).id).collect();
            entries(&store).iter().map(|entry| of_first.contains(&entry.id)).collect()
        };
        let n_changes = row.windows(2).filter(|pair| pair[0] != pair[1]).count();
        assert!(n_changes > 4, "they took turns {n_changes} times");
    }
}

/// Cut at every place of an append: in the question, in the answer, between commit and answer.
#[test]
fn a_line_that_is_cut_in_the_middle_loses_nothing_and_doubles_nothing() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let wire = Wire::to(shared().port);
    let through = at.replace(&format!(":{}/", shared().port), &format!(":{}/", wire.port));
    let mut store = open(&through);
    let mut dice = Dice(11);
    let mut next = 0;
    for _ in 0..60 {
        let n = 1 + dice.below(4);
        let drafts: Vec<_> = (next..next + n).map(draft).collect();
        wire.cut_after(1 + dice.below(900));
        let numbers = store.append(&drafts).unwrap();
        assert_eq!(numbers, (next..next + n).collect::<Vec<_>>());
        next += n;
    }
    wire.cut_after(0);
    let stored = entries(&store);
    assert_eq!(stored.len() as u64, next);
    assert!(stored.iter().zip(0..).all(|(entry, number)| entry.id == draft(number).id));
    let report = verify_trail(&store, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
}

#[test]
fn a_network_that_is_down_is_said_in_time_and_the_same_append_goes_on_when_it_is_back() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let wire = Wire::to(shared().port);
    let through = at.replace(&format!(":{}/", shared().port), &format!(":{}/", wire.port));
    let mut store = open(&through).with_patience(Duration::from_millis(300));
    assert_eq!(store.append(&[draft(0)]).unwrap(), [0]);
    wire.cut();
    let began = Instant::now();
    let fault = store.append(&[draft(1)]).unwrap_err();
    assert!(matches!(fault, StoreError::Unreachable { .. }), "{fault}");
    assert!(fault.to_string().contains("nothing is done twice"), "{fault}");
    assert!(began.elapsed() < Duration::from_secs(8));
    assert!(matches!(store.size(&log()), Err(StoreError::Unreachable { .. })));
    wire.mend();
    assert_eq!(store.append(&[draft(1)]).unwrap(), [1]);
    assert_eq!(store.append(&[draft(1), draft(2)]).unwrap(), [1, 2]);
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
}

#[test]
fn a_client_goes_over_to_the_second_host_of_its_address() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let (first, second) = (Wire::to(shared().port), Wire::to(shared().port));
    let database = at.rsplit('/').next().unwrap();
    let both = format!(
        "postgresql://laboratory@127.0.0.1:{},127.0.0.1:{}/{database}?target_session_attrs=read-write",
        first.port, second.port
    );
    let mut store = open(&both);
    assert_eq!(store.append(&[draft(0)]).unwrap(), [0]);
    first.cut();
    assert_eq!(store.append(&[draft(1)]).unwrap(), [1]);
    second.cut();
    first.mend();
    assert_eq!(store.append(&[draft(2)]).unwrap(), [2]);
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
}

/// A stand-by that took over without the last commits is noticed by whoever got them acknowledged.
#[test]
fn a_server_that_lost_what_it_acknowledged_is_not_written_on() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let mut store = open(&at);
    for number in 0..3 {
        store.append(&[draft(number)]).unwrap();
    }
    let mut client = shared().client(at.rsplit('/').next().unwrap());
    client
        .batch_execute(
            "BEGIN; ALTER TABLE darkline.entry DISABLE TRIGGER USER; ALTER TABLE darkline.checkpoint DISABLE TRIGGER USER;
             DELETE FROM darkline.entry WHERE number = 2; DELETE FROM darkline.checkpoint WHERE size = 3;
             DO $$ DECLARE g record; BEGIN
               FOR g IN SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
                 WHERE c.relnamespace = 'darkline'::regnamespace AND NOT t.tgisinternal LOOP
                 EXECUTE format('ALTER TABLE darkline.%I ENABLE ALWAYS TRIGGER %I', g.relname, g.tgname);
               END LOOP; END $$; COMMIT",
        )
        .unwrap();
    let fault = store.append(&[draft(3)]).unwrap_err();
    assert!(fault.to_string().contains("acknowledged 3 entries of bench-2 to this bench and has 2 now"), "{fault}");
    let known = Known { checkpoints: Vec::new(), devices: None };
    assert!(verify_trail_knowing(&open(&at), &log(), &known).unwrap().is_intact());
}

/// Killed while benches append; what was acknowledged is there when it runs again, and the benches go on by themselves.
#[test]
fn a_server_that_is_killed_keeps_what_it_acknowledged() {
    const KILLS: usize = 3;
    let server = Server::start(&[]);
    let at = server.address(&server.database());
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let stop = std::sync::atomic::AtomicBool::new(false);
    let acknowledged: BTreeMap<u64, EntryId> = std::thread::scope(|scope| {
        let writers: Vec<_> = (0..2_u64)
            .map(|writer| {
                let (at, stop) = (&at, &stop);
                scope.spawn(move || {
                    let mut store = open(at).with_patience(Duration::from_secs(60));
                    let mut acknowledged = Vec::new();
                    let mut counter = writer * 1_000_000;
                    while !stop.load(std::sync::atomic::Ordering::SeqCst) {
                        let numbers = store.append(&[draft(counter)]).unwrap();
                        acknowledged.push((numbers[0], draft(counter).id));
                        counter += 1;
                    }
                    acknowledged
                })
            })
            .collect();
        for _ in 0..KILLS {
            std::thread::sleep(Duration::from_millis(300));
            server.kill_and_run_again();
        }
        std::thread::sleep(Duration::from_millis(200));
        stop.store(true, std::sync::atomic::Ordering::SeqCst);
        writers.into_iter().flat_map(|writer| writer.join().unwrap()).collect()
    });
    let store = open(&at);
    let stored = entries(&store);
    assert!(acknowledged.len() > 10);
    assert_eq!(stored.len(), acknowledged.len(), "nothing is there that nobody was told of, nothing twice");
    for (number, id) in acknowledged {
        assert_eq!(stored[usize::try_from(number).unwrap()].id, id);
    }
    let report = verify_trail(&store, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
}

#[test]
fn another_writer_is_waited_for_and_then_named() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let mut store = open(&at).with_patience(Duration::from_millis(80));
    let mut other = shared().client(at.rsplit('/').next().unwrap());
    other.batch_execute("BEGIN; SELECT * FROM darkline.log FOR UPDATE").unwrap();
    let fault = store.append(&[draft(0)]).unwrap_err();
    assert!(matches!(fault, StoreError::Locked { .. }), "{fault}");
    assert!(entries(&store).is_empty(), "readers are not held up");
    other.batch_execute("ROLLBACK").unwrap();
    assert_eq!(store.append(&[draft(0)]).unwrap(), [0]);
}

#[test]
fn no_command_changes_or_removes_what_is_there() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let mut store = open(&at);
    store.append(&[draft(0), draft(1)]).unwrap();
    store.append(&[draft(2)]).unwrap();
    store.put_blob(b"a pulse").unwrap();
    let (entries_before, checkpoints_before) = (entries(&store), checkpoints(&store));
    let mut client = shared().client(at.rsplit('/').next().unwrap());
    let id = "0".repeat(32);
    let row =
        |number: &str, id: &str| format!("('bench-2', {number}, '{id}', 'j.alder', '', '', sha256(''), sha256(''))");
    let old = draft(1).id.to_string();
    for (command, guard) in [
        ("UPDATE darkline.entry SET bytes = ''".to_owned(), "rows of the table entry are never changed"),
        ("DELETE FROM darkline.entry WHERE number = 2".to_owned(), "rows of the table entry are never changed"),
        ("TRUNCATE darkline.entry".to_owned(), "rows of the table entry are never changed"),
        ("TRUNCATE darkline.log CASCADE".to_owned(), "are never changed"),
        ("SET session_replication_role = replica; DELETE FROM darkline.entry".to_owned(), "are never changed"),
        (format!("INSERT INTO darkline.entry VALUES {}", row("4", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO darkline.entry VALUES {}", row("2", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO darkline.entry VALUES {}", row("-1", &id)), "entries are numbered without a gap"),
        (format!("INSERT INTO darkline.entry VALUES {}", row("3", &old)), "entry_log_id_key"),
        (
            format!(
                "INSERT INTO darkline.entry VALUES {} ON CONFLICT (log, number) DO UPDATE SET bytes = 'x'",
                row("2", &id)
            ),
            "entries are numbered without a gap",
        ),
        ("UPDATE darkline.checkpoint SET root = sha256('')".to_owned(), "rows of the table checkpoint"),
        ("DELETE FROM darkline.checkpoint".to_owned(), "rows of the table checkpoint"),
        (
            "INSERT INTO darkline.checkpoint SELECT log, 4, root, at, key, signature FROM darkline.checkpoint LIMIT 1"
                .to_owned(),
            "a checkpoint covers all entries",
        ),
        ("UPDATE darkline.blob SET bytes = ''".to_owned(), "rows of the table blob"),
        ("DELETE FROM darkline.blob".to_owned(), "rows of the table blob"),
        ("INSERT INTO darkline.blob VALUES (sha256('a'), 'b')".to_owned(), "blob_check"),
        ("UPDATE darkline.device SET place = 7".to_owned(), "rows of the table device"),
        ("DELETE FROM darkline.device".to_owned(), "rows of the table device"),
        ("UPDATE darkline.log SET log = 'bench-3'".to_owned(), "rows of the table log"),
        ("DELETE FROM darkline.log".to_owned(), "rows of the table log"),
        ("UPDATE darkline.form SET format = 2".to_owned(), "rows of the table form"),
    ] {
        let refused = client.batch_execute(&command).unwrap_err();
        let words = refused.as_db_error().map(|said| said.message().to_owned()).unwrap_or_default();
        assert!(words.contains(guard), "{command}: {words}");
        client.batch_execute("ROLLBACK; RESET ALL").unwrap();
    }
    assert_eq!((entries(&store), checkpoints(&store)), (entries_before, checkpoints_before));
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
}

#[test]
fn a_guard_that_was_removed_altered_or_put_to_sleep_is_named_and_stops_writing() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap();
    let mut client = shared().client(at.rsplit('/').next().unwrap());
    for (alter, mend, fault) in [
        (
            "DROP TRIGGER entry_remains ON darkline.entry",
            "CREATE TRIGGER entry_remains BEFORE TRUNCATE ON darkline.entry EXECUTE FUNCTION darkline.stays();
             ALTER TABLE darkline.entry ENABLE ALWAYS TRIGGER entry_remains",
            "the guard entry_remains is missing",
        ),
        (
            "ALTER TABLE darkline.entry DISABLE TRIGGER entry_stays",
            "ALTER TABLE darkline.entry ENABLE ALWAYS TRIGGER entry_stays",
            "the guard entry_stays was altered",
        ),
        (
            "ALTER TABLE darkline.blob ENABLE TRIGGER blob_stays",
            "ALTER TABLE darkline.blob ENABLE ALWAYS TRIGGER blob_stays",
            "the guard blob_stays was altered",
        ),
        (
            "CREATE TRIGGER also AFTER INSERT ON darkline.entry EXECUTE FUNCTION darkline.stays()",
            "DROP TRIGGER also ON darkline.entry",
            "the guard also does not belong to a trail",
        ),
        (
            "CREATE RULE also AS ON INSERT TO darkline.entry DO INSTEAD NOTHING",
            "DROP RULE also ON darkline.entry",
            "the rule also does not belong to a trail",
        ),
        (
            "CREATE TABLE darkline.notes (x int)",
            "DROP TABLE darkline.notes",
            "the table notes does not belong to a trail",
        ),
        ("ALTER TABLE darkline.key ADD note text", "ALTER TABLE darkline.key DROP note", "the table key was altered"),
        (
            "ALTER TABLE darkline.blob DROP CONSTRAINT blob_check",
            "ALTER TABLE darkline.blob ADD CHECK (digest = sha256(bytes))",
            "the conditions of the table blob were altered",
        ),
    ] {
        client.batch_execute(alter).unwrap();
        let mut store = open(&at);
        let report = verify_trail(&store, &log()).unwrap();
        assert_eq!(report.faults, [Fault::Form { what: fault.to_owned() }]);
        let refused = store.append(&[draft(0)]).unwrap_err();
        assert!(matches!(&refused, StoreError::Damaged { what, .. } if what == fault), "{refused}");
        assert!(store.put_blob(b"x").is_err());
        client.batch_execute(mend).unwrap();
        assert!(verify_trail(&open(&at), &log()).unwrap().is_intact());
    }
    assert_eq!(open(&at).append(&[draft(0)]).unwrap(), [0]);
}

/// What the file of one bench tells, a database tells too: the changed entry, the changed hash, what cannot be read.
#[test]
fn a_changed_entry_of_a_database_is_named_and_the_rest_is_checked() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    let mut store = PostgresStore::create(address(&at), &log(), device()).unwrap();
    for batch in 0..5 {
        store.append(&[draft(2 * batch), draft(2 * batch + 1)]).unwrap();
    }
    let mut client = shared().client(at.rsplit('/').next().unwrap());
    client
        .batch_execute(
            "ALTER TABLE darkline.entry DISABLE TRIGGER entry_stays;
             UPDATE darkline.entry SET leaf = sha256('another') WHERE number = 1;
             UPDATE darkline.entry SET bytes = 'another' WHERE number IN (3, 8);
             UPDATE darkline.entry SET at = 'noon' WHERE number = 6;
             ALTER TABLE darkline.entry ENABLE ALWAYS TRIGGER entry_stays",
        )
        .unwrap();
    let faults = verify_trail(&open(&at), &log()).unwrap().faults;
    assert!(
        matches!(&faults[0], Fault::EntryUnreadable { number: 6, what } if what.contains("\"noon\"")),
        "{faults:?}"
    );
    assert_eq!(
        faults[1..],
        [Fault::StoredHashChanged { number: 1 }, Fault::EntryChanged { number: 3 }, Fault::EntryChanged { number: 8 }]
    );
}

#[test]
fn an_account_that_may_only_read_reads_and_verifies() {
    let Home::Database(at) = Home::in_a_database() else { unreachable!() };
    PostgresStore::create(address(&at), &log(), device()).unwrap().append(&[draft(0)]).unwrap();
    let database = at.rsplit('/').next().unwrap();
    shared()
        .client(database)
        .batch_execute(&format!(
            "CREATE ROLE auditor_{database} LOGIN; GRANT USAGE ON SCHEMA darkline TO auditor_{database};
             GRANT SELECT ON ALL TABLES IN SCHEMA darkline TO auditor_{database}"
        ))
        .unwrap();
    let at = at.replace("laboratory@", &format!("auditor_{database}@"));
    let mut store = open(&at);
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
    for refused in [store.append(&[draft(1)]).map(|_| ()), store.put_blob(b"x").map(|_| ())] {
        assert!(matches!(refused, Err(StoreError::ReadOnly { .. })), "{refused:?}");
    }
}

#[test]
fn a_server_that_does_not_wait_for_its_disk_is_told_and_not_written_on() {
    let server = Server::start(&["fsync=off"]);
    let at = server.address(&server.database());
    let mut store = PostgresStore::create(address(&at), &log(), device()).unwrap();
    let fault = store.append(&[draft(0)]).unwrap_err();
    assert!(fault.to_string().contains("the server runs with fsync off"), "{fault}");
}

#[test]
fn a_commit_is_waited_for_whatever_the_server_is_set_to_and_a_socket_serves_as_well() {
    let server = Server::start(&["synchronous_commit=off"]);
    let at = server.address_by_socket(&server.database());
    let mut store = PostgresStore::create(address(&at), &log(), device()).unwrap();
    store.append(&[draft(0)]).unwrap();
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
    // What another session of the server is set to shows that the setting was off here too at first.
    let row = server.client("postgres").query_one("SHOW synchronous_commit", &[]).unwrap();
    assert_eq!(row.get::<_, String>(0), "off");
    server.kill_and_run_again();
    assert_eq!(entries(&store).len(), 1);
}

fn openssl(folder: &Path, arguments: &[&str]) {
    let output = Command::new("openssl").args(arguments).current_dir(folder).output();
    let output = output.expect("these tests need the program openssl");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// An authority, and a certificate of it for a server.
fn certificates(folder: &Path) {
    let made = |name: &str, subject: &str, more: &[&str]| {
        let (key, certificate) = (format!("{name}.key"), format!("{name}.pem"));
        let common = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "30"];
        let rest = ["-subj", subject, "-keyout", &key, "-out", &certificate];
        openssl(folder, &[&common[..], &rest, more].concat());
    };
    made("authority", "/CN=Millrace authority", &["-addext", "keyUsage=critical,keyCertSign"]);
    made("stranger", "/CN=Another authority", &["-addext", "keyUsage=critical,keyCertSign"]);
    let name = ["-addext", "subjectAltName=DNS:db.millrace.example", "-addext", "basicConstraints=critical,CA:FALSE"];
    made(
        "server",
        "/CN=db.millrace.example",
        &[&name[..], &["-CA", "authority.pem", "-CAkey", "authority.key"]].concat(),
    );
}

/// The name of another machine that leads to this one, so that the line is locked.
#[test]
fn another_machine_is_spoken_to_under_its_own_certificate_only() {
    let folder = tempfile::tempdir().unwrap();
    certificates(folder.path());
    let server = Server::start(&[]);
    for name in ["server.key", "server.pem"] {
        let place = server.folder().join("data").join(name);
        std::fs::copy(folder.path().join(name), &place).unwrap();
        let like = std::fs::metadata(server.folder()).unwrap();
        use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
        std::os::unix::fs::chown(&place, Some(like.uid()), Some(like.gid())).unwrap();
        std::fs::set_permissions(&place, std::fs::Permissions::from_mode(0o600)).unwrap();
    }
    let database = server.database();
    for command in [
        "ALTER SYSTEM SET ssl_key_file = 'server.key'",
        "ALTER SYSTEM SET ssl_cert_file = 'server.pem'",
        "ALTER SYSTEM SET ssl = on",
        "SELECT pg_reload_conf()",
    ] {
        server.client("postgres").batch_execute(command).unwrap();
    }
    let at = |host: &str, authority: &str| {
        let authority = folder.path().join(authority);
        address(&format!(
            "postgresql://laboratory@{host}:{}/{database}?hostaddr=127.0.0.1&sslrootcert={}",
            server.port,
            authority.display()
        ))
    };
    let began = Instant::now();
    let mut store = loop {
        match PostgresStore::create(at("db.millrace.example", "authority.pem"), &log(), device()) {
            Ok(store) => break store,
            Err(fault) => assert!(began.elapsed() < Duration::from_secs(20), "{fault}"),
        }
    };
    store.append(&[draft(0)]).unwrap();
    assert!(verify_trail(&store, &log()).unwrap().is_intact());
    let row = server
        .client("postgres")
        .query_one("SELECT count(*) FROM pg_stat_ssl s JOIN pg_stat_activity a USING (pid) WHERE s.ssl", &[])
        .unwrap();
    assert!(row.get::<_, i64>(0) >= 1, "the line is locked");
    for (host, authority) in [("db.millrace.example", "stranger.pem"), ("db2.millrace.example", "authority.pem")] {
        let refused = PostgresStore::open(at(host, authority), &log()).unwrap_err();
        assert!(matches!(refused, StoreError::Unreachable { .. }), "{refused}");
        assert!(refused.to_string().contains("certificate"), "{refused}");
    }
    let refused = PostgresStore::open(at("db.millrace.example", "authority.key"), &log()).unwrap_err();
    assert!(matches!(refused, StoreError::Address(AddressFault::Authority { .. })), "{refused}");
}

#[test]
fn a_bench_works_on_and_hands_over_later() {
    let bench = Bench::with_batches(&[2, 3]);
    let mut own = bench.open();
    let pulse = own.put_blob(&[7; 5000]).unwrap();
    let at = shared().address(&shared().database());
    let laboratory = log_of("laboratory");
    let mut central = PostgresStore::create(address(&at), &laboratory, SigningKey::from_seed(&[1; 32])).unwrap();
    let brought = hand_over(&own, &mut central).unwrap();
    assert_eq!((brought.n_entries, brought.n_blobs), (5, 1));
    assert_eq!(Some(&brought.newest), own.last_checkpoint(&log()).unwrap().as_ref());
    // Nothing new, nothing brought; then what was appended since.
    assert_eq!(hand_over(&own, &mut central).unwrap().n_entries, 0);
    own.append(&[draft(5)]).unwrap();
    own.append(&[draft(6), draft(7)]).unwrap();
    assert_eq!(hand_over(&own, &mut central).unwrap().n_entries, 3);
    let report = verify_trail(&central, &log()).unwrap();
    assert!(report.is_intact(), "{:?}", report.faults);
    assert_eq!((report.n_entries, report.n_checkpoints, report.n_blobs), (8, 4, 1));
    assert_eq!(central.blob(&pulse).unwrap(), Some(vec![7; 5000]));
    let copied = PostgresStore::open(address(&at), &log()).unwrap();
    assert_eq!((entries(&copied), checkpoints(&copied)), (entries(&own), checkpoints(&own)));
    // Another log under the same name is not its continuation.
    let other = Bench::new();
    let mut other = other.create();
    (20..32).for_each(|number| drop(other.append(&[draft(number)]).unwrap()));
    let fault = hand_over(&other, &mut central).unwrap_err();
    assert!(matches!(fault, StoreError::NotTheBeginning { size: 8, .. }), "{fault}");
    let fault = hand_over(&own, &mut copied.sign_with(device()).unwrap()).unwrap_err();
    assert!(matches!(fault, StoreError::OwnLog { .. }), "{fault}");
    let fault = hand_over(&own, &mut other).unwrap_err();
    assert!(matches!(fault, StoreError::OneLog { .. }), "{fault}");
    let nothing = Bench::new();
    let fault = hand_over(&nothing.create(), &mut central).unwrap_err();
    assert!(matches!(fault, StoreError::NoCheckpoint { .. }), "{fault}");
}

/// The line is cut again and again while a bench hands over; what is there always verifies, and at the end it is all.
#[test]
fn a_hand_over_that_is_cut_off_goes_on_where_it_stopped() {
    let bench = Bench::with_batches(&[3; 30]);
    let own = bench.open();
    let at = shared().address(&shared().database());
    let wire = Wire::to(shared().port);
    let through = at.replace(&format!(":{}/", shared().port), &format!(":{}/", wire.port));
    let laboratory = log_of("laboratory");
    let central = PostgresStore::create(address(&through), &laboratory, SigningKey::from_seed(&[1; 32])).unwrap();
    let mut central = central.with_patience(Duration::ZERO);
    let mut dice = Dice(5);
    let mut n_cut = 0;
    loop {
        wire.cut_after(3000 + dice.below(6000));
        match hand_over(&own, &mut central) {
            Ok(_) => break,
            Err(fault) => assert!(matches!(fault, StoreError::Unreachable { .. }), "{fault}"),
        }
        n_cut += 1;
        let there = PostgresStore::open(address(&at), &laboratory).unwrap();
        if there.logs().unwrap().contains(&log()) {
            let report = verify_trail(&there, &log()).unwrap();
            assert!(report.is_intact(), "{:?}", report.faults);
        }
    }
    assert!(n_cut > 2, "{n_cut}");
    wire.cut_after(0);
    let central = central.with_patience(Duration::from_secs(10));
    assert_eq!(verify_trail(&central, &log()).unwrap().n_entries, 90);
}
