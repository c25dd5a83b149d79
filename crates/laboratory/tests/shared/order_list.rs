//! The list of orders says what working everything out says, whether it was made at once or act by act.

use std::path::Path;

use darkline_audit_trail::SqliteStore;
use darkline_audit_trail::people::Stage;
use darkline_laboratory::act::Remark;
use darkline_laboratory::deciding::Wish;
use darkline_laboratory::listing::{OrderList, Waits};
use darkline_laboratory::{Laboratory, SignatureMeaning};
use darkline_record::decision::Reason;

use crate::two_orders::{PASSPHRASE, laboratory, order, person};

/// Holds the kept list against one from nothing and against the laboratory itself.
fn holds(folder: &Path, laboratory: &Laboratory) -> OrderList {
    let beside = folder.join("orders");
    let kept = OrderList::of(laboratory.store(), &beside).unwrap();
    let anew = OrderList::of(laboratory.store(), &folder.join("nowhere/orders")).unwrap();
    assert_eq!(kept.orders(), anew.orders());
    assert_eq!(kept.size(), laboratory.state().n_entries);
    assert_eq!(kept.orders().len(), laboratory.state().orders.len());
    for (order, listed) in kept.orders() {
        let known = &laboratory.state().orders[order];
        assert_eq!(listed.state, Some(laboratory.stage(order).unwrap()), "{order}");
        assert_eq!(listed.customer, known.order.customer);
        assert_eq!(listed.n_signatures, known.signatures.len());
        assert_eq!(listed.report.as_ref(), known.issues.last().map(|issue| &issue.report));
        assert_eq!(listed.n_remarks, known.open_remarks().len());
    }
    kept
}

#[test]
fn the_list_is_right_after_every_act() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut laboratory = laboratory(folder);
    let reason = |text: &str| Reason::new(text).unwrap();
    let states = |list: &OrderList| ["A-1", "B-1"].map(|name| list.orders()[&order(name)].state.unwrap());
    let waits = |list: &OrderList, name: &str| list.orders()[&order(name)].waits.clone();
    let list = holds(folder, &laboratory);
    assert_eq!(states(&list), [Stage::Measured; 2]);
    assert_eq!(list.orders()[&order("A-1")].due.as_ref().unwrap().as_str(), "2026-03-20");
    assert_eq!(waits(&list, "A-1"), Waits::Analyst { again: false });

    for name in ["A-1", "B-1"] {
        laboratory.sign(&person("j.alder"), &order(name), SignatureMeaning::Measured, PASSPHRASE).unwrap();
    }
    let list = holds(folder, &laboratory);
    assert_eq!((states(&list), waits(&list, "B-1")), ([Stage::InReview; 2], Waits::Reviewer));

    let remark = Remark { on: "order".into(), remark: reason("say which flask") };
    laboratory.return_order(&person("m.rowan"), &order("A-1"), &[remark], &reason("not yet")).unwrap();
    let list = holds(folder, &laboratory);
    assert_eq!(states(&list), [Stage::Measured, Stage::InReview]);
    assert_eq!(waits(&list, "A-1"), Waits::Analyst { again: true });

    // A decision in the light of order A about a standard of both takes order B back as well.
    let wish = [Wish::Reject("R1/6".parse().unwrap())];
    laboratory.decide(&person("j.alder"), &order("A-1"), &wish, &reason("bubble in the capillary")).unwrap();
    let list = holds(folder, &laboratory);
    assert!(states(&list)[1] < Stage::InReview, "{:?}", states(&list));

    let wish = [Wish::Reinstate("R1/6".parse().unwrap())];
    laboratory.decide(&person("j.alder"), &order("A-1"), &wish, &reason("it was another one")).unwrap();
    assert_eq!(states(&holds(folder, &laboratory)), [Stage::Measured, Stage::InReview]);

    laboratory.sign(&person("m.rowan"), &order("B-1"), SignatureMeaning::Reviewed, PASSPHRASE).unwrap();
    let list = holds(folder, &laboratory);
    assert_eq!((states(&list)[1], waits(&list, "B-1")), (Stage::InReview, Waits::QualityManager));
    let draft = laboratory.draft_issue(&person("m.rowan"), &order("B-1"), "test", "setting", None).unwrap();
    laboratory.issue(&draft, b"{}", b"%PDF", PASSPHRASE).unwrap();
    let list = holds(folder, &laboratory);
    assert_eq!((states(&list)[1], waits(&list, "B-1")), (Stage::Issued, Waits::Archive));
    laboratory.archive(&person("m.rowan"), &order("B-1")).unwrap();
    assert_eq!(waits(&holds(folder, &laboratory), "B-1"), Waits::Nothing);
}

#[test]
fn a_list_that_does_not_belong_to_the_record_is_made_anew() {
    let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let laboratory = laboratory(folder.path());
    let beside = folder.path().join("orders");
    let list = OrderList::of(laboratory.store(), &beside).unwrap();
    let text = std::fs::read_to_string(&beside).unwrap();
    // Rubbish; half of it; of another build, which says something else.
    let of_another_build = text.replacen("\"program\":\"", "\"program\":\"another ", 1).replace("measured", "issued");
    assert_ne!(of_another_build, text);
    for kept in ["", "{}\n{}", &text[..text.len() / 3], &of_another_build] {
        std::fs::write(&beside, kept).unwrap();
        assert_eq!(OrderList::of(laboratory.store(), &beside).unwrap().orders(), list.orders());
    }
    // Where only what orders rest on is lost, that is missed when something is appended, and made anew then.
    let (known, _) = text.split_once('\n').unwrap();
    std::fs::write(&beside, format!("{known}\nlost")).unwrap();
    assert_eq!(OrderList::of(laboratory.store(), &beside).unwrap().orders(), list.orders());
    // Another record of the same name and length: the root tells.
    let another = crate::two_orders::laboratory(other.path());
    let there = other.path().join("orders");
    std::fs::write(&there, &text).unwrap();
    assert_eq!(another.state().n_entries, laboratory.state().n_entries);
    assert_ne!(another.root().unwrap(), laboratory.root().unwrap());
    let made = OrderList::of(another.store(), &there).unwrap();
    let anew = OrderList::of(another.store(), &other.path().join("none/orders")).unwrap();
    assert_eq!(made.orders(), anew.orders());
    assert_ne!(std::fs::read_to_string(&there).unwrap(), text);
}

#[test]
fn a_list_whose_index_is_lost_is_made_anew_with_the_next_entry() {
    let folder = tempfile::tempdir().unwrap();
    let mut laboratory = laboratory(folder.path());
    let beside = folder.path().join("orders");
    OrderList::of(laboratory.store(), &beside).unwrap();
    let text = std::fs::read_to_string(&beside).unwrap();
    std::fs::write(&beside, text.split_once('\n').unwrap().0.to_owned() + "\nlost").unwrap();
    laboratory.sign(&person("j.alder"), &order("A-1"), SignatureMeaning::Measured, PASSPHRASE).unwrap();
    assert_eq!(holds(folder.path(), &laboratory).orders()[&order("A-1")].state, Some(Stage::InReview));
}

#[test]
fn an_order_that_cannot_be_worked_out_is_told_and_the_others_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    drop(laboratory(folder.path()));
    // An entry that opens an order with an edition that this program does not have, as a later program would write it.
    let (name, path) = ("C-1", folder.path().join("trail"));
    let mut store = SqliteStore::open(&path).unwrap();
    let key = crate::two_orders::bench_key();
    darkline_audit_trail::Store::append_with(&mut store, key).unwrap();
    let documents = folder.path().join(name);
    std::fs::create_dir(&documents).unwrap();
    crate::documents::lay_out(&documents, name, "c");
    let acts = [
        darkline_laboratory::act::Act::OpenDocument {
            kind: darkline_laboratory::act::DocumentKind::Order,
            file_name: "order.toml".into(),
            text: std::fs::read_to_string(documents.join("order.toml")).unwrap(),
            rows: None,
        },
        darkline_laboratory::act::Act::OpenOrder {
            order: order(name),
            edition: darkline_record::identity::Edition(77),
        },
    ];
    let drafts: Vec<_> = acts
        .iter()
        .map(|act| darkline_audit_trail::Draft {
            id: darkline_audit_trail::EntryId::random().unwrap(),
            by: person("j.alder"),
            at: darkline_audit_trail::Timestamp::now(),
            bytes: act.bytes(),
        })
        .collect();
    darkline_audit_trail::Store::append(&mut store, &drafts).unwrap();
    let list = OrderList::of(&store, &folder.path().join("orders")).unwrap();
    let listed = &list.orders()[&order(name)];
    assert_eq!(listed.state, None);
    assert!(listed.waits.to_string().contains("edition 77"), "{}", listed.waits);
    assert_eq!(list.orders()[&order("A-1")].state, Some(Stage::Measured));
}
