//! What one customer's order shows, and what it does not show of the other's.

use std::collections::BTreeSet;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::Role;
use darkline_audit_trail::{LogId, PersonId, SqliteStore};
use darkline_evaluation::outcome::Reported;
use darkline_exchange::folder::read_folder;
use darkline_laboratory::act::Attached;
use darkline_laboratory::archive::EntryLine;
use darkline_laboratory::deciding::Wish;
use darkline_laboratory::{Laboratory, LaboratoryError, SignatureMeaning};
use darkline_record::decision::Reason;
use darkline_record::identity::OrderId;

use crate::documents::{READINGS, lay_out};

pub const PASSPHRASE: &str = "catkins before leaves";

pub fn person(name: &str) -> PersonId {
    PersonId::new(name).unwrap()
}

pub fn order(name: &str) -> OrderId {
    name.parse().unwrap()
}

/// The key of its bench.
pub fn bench_key() -> SigningKey {
    SigningKey::from_seed(&[7; 32])
}

/// A laboratory with three people in which both orders are open and the run has been read.
pub fn laboratory(folder: &std::path::Path) -> Laboratory {
    let store = SqliteStore::create(&folder.join("trail"), &LogId::new("bench-1").unwrap(), bench_key());
    let mut laboratory = Laboratory::over(Box::new(store.unwrap())).unwrap();
    laboratory
        .begin(&person("k.willow"), "K. Willow", PASSPHRASE, "Millrace Laboratory", &["1 Weir Lane".into()])
        .unwrap();
    for (name, roles) in [("j.alder", vec![Role::Analyst]), ("m.rowan", vec![Role::Reviewer, Role::QualityManager])] {
        let roles: BTreeSet<Role> = roles.into_iter().collect();
        laboratory.add_person(&person("k.willow"), &person(name), name, roles, PASSPHRASE).unwrap();
    }
    for (name, sample) in [("A-1", "a"), ("B-1", "b")] {
        let documents = folder.join(name);
        std::fs::create_dir(&documents).unwrap();
        lay_out(&documents, name, sample);
        let opened = laboratory.open(&person("j.alder"), &read_folder(&documents).unwrap()).unwrap();
        // The second order brings one new document; batch, method and run are in the record already.
        assert_eq!(opened.taken.len(), if name == "A-1" { 4 } else { 1 });
    }
    let table = Attached { file_name: "readings.csv".into(), text: READINGS.into() };
    let imported =
        laboratory.import(&person("j.alder"), &order("A-1"), None, table.clone(), None, &mut |_| {}).unwrap();
    assert_eq!(imported.n_readings, 12);
    // One run, two orders: the same file in the light of the other order is the same file.
    assert_eq!(
        laboratory.import(&person("j.alder"), &order("B-1"), None, table, None, &mut |_| {}).unwrap().entry,
        None
    );
    laboratory
}

#[test]
fn one_run_gives_each_order_its_own_samples() {
    let folder = tempfile::tempdir().unwrap();
    let laboratory = laboratory(folder.path());
    let mut values = Vec::new();
    for name in ["A-1", "B-1"] {
        let outcome = laboratory.evaluate(&order(name)).unwrap().outcome;
        assert_eq!(outcome.results.len(), 1);
        assert!(outcome.controls_passed);
        let Reported::Value { result } = &outcome.results[0].reported else { panic!("measured and nothing stops it") };
        values.push(result.value);
    }
    // A line through (0, 0.0008), (5, 0.15045), (10, 0.2998) reads 0.0900 as 2.98 and 0.21105 as 7.03.
    assert!((values[0] - 2.98).abs() < 0.02 && (values[1] - 7.03).abs() < 0.02, "{values:?}");
}

#[test]
fn a_decision_in_one_order_counts_in_the_other_and_overtakes_its_signature() {
    let folder = tempfile::tempdir().unwrap();
    let mut laboratory = laboratory(folder.path());
    let before = laboratory.evaluate(&order("B-1")).unwrap().outcome;
    laboratory.sign(&person("j.alder"), &order("B-1"), SignatureMeaning::Measured, PASSPHRASE).unwrap();
    // A standard that both orders stand on is rejected in the light of order A.
    let reason = Reason::new("bubble in the capillary").unwrap();
    laboratory.decide(&person("j.alder"), &order("A-1"), &[Wish::Reject("R1/6".parse().unwrap())], &reason).unwrap();
    let after = laboratory.evaluate(&order("B-1")).unwrap().outcome;
    assert_ne!(before.digest(), after.digest());
    assert_eq!(laboratory.next_meaning(&order("B-1"), &after.digest()).unwrap(), SignatureMeaning::Measured);
}

#[test]
fn nobody_reviews_what_they_measured() {
    let folder = tempfile::tempdir().unwrap();
    let mut laboratory = laboratory(folder.path());
    laboratory.sign(&person("j.alder"), &order("A-1"), SignatureMeaning::Measured, PASSPHRASE).unwrap();
    let refused = laboratory.sign(&person("j.alder"), &order("A-1"), SignatureMeaning::Reviewed, PASSPHRASE);
    assert!(matches!(refused, Err(LaboratoryError::Refused(_))), "{refused:?}");
    let wrong = laboratory.sign(&person("m.rowan"), &order("A-1"), SignatureMeaning::Reviewed, "another passphrase");
    assert!(matches!(wrong, Err(LaboratoryError::WrongPassphrase { in_a_row: 1, .. })), "{wrong:?}");
    laboratory.sign(&person("m.rowan"), &order("A-1"), SignatureMeaning::Reviewed, PASSPHRASE).unwrap();
}

#[test]
fn an_archive_holds_the_other_order_by_its_hash_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut laboratory = laboratory(folder.path());
    for (name, meaning) in [("j.alder", SignatureMeaning::Measured), ("m.rowan", SignatureMeaning::Reviewed)] {
        laboratory.sign(&person(name), &order("A-1"), meaning, PASSPHRASE).unwrap();
    }
    let draft = laboratory.draft_issue(&person("m.rowan"), &order("A-1"), "test", "setting", None).unwrap();
    laboratory.issue(&draft, b"{}", b"%PDF", PASSPHRASE).unwrap();
    let files = laboratory.archive(&person("m.rowan"), &order("A-1")).unwrap().files;
    let lines: Vec<EntryLine> = std::str::from_utf8(&files["entries.jsonl"])
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(lines.len() as u64, laboratory.state().n_entries);
    // Opening order B-1 took two entries: its document, and that it was opened.
    assert_eq!(lines.iter().filter(|line| line.stored.is_none()).count(), 2);
    assert!(!lines.iter().any(|line| line.stored.as_ref().is_some_and(|stored| stored.contains("customer of B-1"))));
}
