//! Copies: archives brought back, backups while others work, drills, retention, and whose order it was.

use crate::laboratory::{Bench, CADMIUM, Stage};
use crate::program::start;

/// Values, entries and signature checks of an order as programs read them.
fn read(bench: &Bench) -> [String; 3] {
    [
        bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).out,
        bench.run(&format!("entries {CADMIUM} --json")).ends(0).out,
        bench.run(&format!("explain {CADMIUM} dish-1 --json")).ends(0).out,
    ]
}

/// 21 CFR 11.10(b), in our words in part11.toml: re-import on a clean installation: every value, entry and check is identical.
#[test]
fn an_archive_comes_back_into_an_empty_installation_with_everything_equal() {
    let (bench, empty) = (Bench::at(Stage::Archived), Bench::at(Stage::People));
    std::fs::copy(bench.path("archive.zip"), empty.path("archive.zip")).unwrap();
    empty
        .run("restore archive.zip --as j.alder")
        .ends(2)
        .says("takes one of these roles: quality manager, administrator");
    let restored = empty.run("restore archive.zip --as k.willow").ends(0).says("restored by k.willow from log bench-1");
    assert!(restored.out.contains("3 signatures and 1 issue"), "{}", restored.out);
    assert_eq!(read(&bench), read(&empty));
    empty.run("orders").ends(0).says("restored from log bench-1");
    empty.run("verify").ends(0).says("1 archive as issued, each checked by itself");
    empty.run(&format!("archive {CADMIUM} --as k.willow -o again.zip")).ends(0).says("byte for byte");
    assert_eq!(std::fs::read(bench.path("archive.zip")).unwrap(), std::fs::read(empty.path("again.zip")).unwrap());
    for line in [
        format!("decide {CADMIUM} --reject 14 --reason x --as j.alder"),
        format!("sign {CADMIUM} --as j.alder --confirm {CADMIUM} --key-file keys/j.alder"),
        "open cadmium --as j.alder".to_owned(),
    ] {
        empty.run(&line).ends(2).says("was restored from an archive of log bench-1");
    }
    empty.run("restore archive.zip --as k.willow").ends(2).says("the record has order 2026-052 already");
    bench.run("restore archive.zip --as k.willow").ends(2).says("the record has order 2026-052 already");
    let mut bytes = std::fs::read(bench.path("archive.zip")).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    let other = Bench::at(Stage::People);
    other.write("broken.zip", bytes);
    let before = other.n_entries();
    other.run("restore broken.zip --as k.willow").ends(2).says("not restored");
    assert_eq!(other.n_entries(), before);
}

/// EU GMP Annex 11, 7.2, in our words in annex11.toml: signed heads and counts equal the original; a cut copy is refused.
#[test]
fn a_backup_is_made_while_others_work_and_a_drill_tells_whether_it_holds() {
    let bench = Bench::at(Stage::Issued);
    bench.run("backup copy --as j.alder").ends(2).says("takes one of these roles: quality manager, administrator");
    let working = start(bench.folder(), &format!("decide {CADMIUM} --reject 14 --reason \"a doubt\" --as j.alder"));
    let mut made = bench.run("backup copy --as k.willow");
    if made.code != Some(0) {
        // The other act came between copy and entry; the copy is whole all the same.
        assert!(made.told.contains("in the meantime"), "{}", made.told);
        std::fs::remove_dir_all(bench.path("copy")).unwrap();
        made = bench.run("backup copy --as k.willow");
    }
    made.ends(0).says("entries copied to copy").says("The key of this bench is not in the copy");
    working.wait_with_output().unwrap();
    assert!(!bench.path("copy/laboratory.trail.key").exists());
    bench.run("backup copy --as k.willow").ends(2).says("copy is there already; a copy is never written over");
    let drilled = bench.run("drill copy --as k.willow").ends(0);
    for said in
        ["restored aside, verified, worked out again", "the copy is the beginning of this record", "all in order"]
    {
        assert!(drilled.out.contains(said), "{}", drilled.out);
    }
    bench.run("entries --what backup --what drill").ends(0).says("copied to copy").says("restored aside: all in order");
    // The copy is a record by itself.
    crate::program::run(&bench.path("copy"), "verify").ends(0);

    let whole = std::fs::read(bench.path("copy/laboratory.trail")).unwrap();
    std::fs::create_dir(bench.path("altered")).unwrap();
    let mut altered = whole.clone();
    let place = whole.windows(10).rposition(|window| window == b"Flat dish,").unwrap();
    altered[place] = b'f';
    std::fs::write(bench.path("altered/laboratory.trail"), altered).unwrap();
    bench.run("drill altered --as k.willow").ends(1).says("this copy is not to be relied on");
    std::fs::create_dir(bench.path("cut")).unwrap();
    std::fs::write(bench.path("cut/laboratory.trail"), &whole[..whole.len() / 2]).unwrap();
    assert_ne!(bench.run("drill cut --as k.willow").code, Some(0));
    bench.run("drill none --as k.willow").ends(2).says("there is no copy of a record in none");
    let other = Bench::at(Stage::Open);
    crate::laboratory::copy(&bench.path("copy"), &other.path("copy"));
    other.run("drill copy --as k.willow").ends(1).says("the copy has");
    bench.run("verify").ends(0);
}

/// Whose order it is lies beside the record, is refused to be erased before its time, and erased changes no digit.
#[test]
fn whose_order_it_was_is_erased_after_its_retention_and_everything_keeps_verifying() {
    let bench = Bench::at(Stage::People);
    bench
        .run("open cadmium --identity-apart --as j.alder")
        .ends(0)
        .says("Whose order it is lies in laboratory.trail.apart, not in the record");
    bench.run("open cadmium --as j.alder").ends(0).says("in the record already, word for word");
    bench.run(&format!("import {CADMIUM} cadmium/readings.csv --as j.alder")).ends(0);
    for who in ["j.alder", "m.rowan"] {
        bench.run(&format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who}")).ends(0);
    }
    let issue = format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o");
    bench.run(&format!("{issue} report.pdf")).ends(0);
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o archive.zip")).ends(0);
    bench.run("verify archive.zip --report report.pdf").ends(0);
    let unpacked = darkline_exchange::bag::read(&std::fs::read(bench.path("archive.zip")).unwrap()).unwrap();
    let identity = String::from_utf8(unpacked.payload["identity.json"].clone()).unwrap();
    assert!(identity.contains("Kiln Lane Pottery"));
    // An archive whose names were changed is refused.
    let mut files = unpacked.payload.clone();
    files.insert("identity.json".into(), identity.replace("Kiln Lane Pottery", "Kiln Lane Potters").into_bytes());
    std::fs::write(bench.path("renamed.zip"), darkline_exchange::bag::write(&files, &unpacked.info).unwrap()).unwrap();
    bench.run("verify renamed.zip").ends(1).says("identity.json is not what the order was opened with");
    for name in ["laboratory.trail", "laboratory.trail-wal"] {
        let bytes = std::fs::read(bench.path(name)).unwrap_or_default();
        for word in ["Kiln Lane", "pots@", "Flat dish, glazed"] {
            let found = bytes.windows(word.len()).any(|window| window == word.as_bytes());
            // What the customer said stands on the first page of the tables of other documents, if at all; not here.
            assert!(!found, "{word} stands in {name}");
        }
    }

    let erase = format!("erase-identity {CADMIUM} --reason \"retention ended\" --as m.rowan --confirm {CADMIUM}");
    bench.run(&erase).ends(2).says("nobody has said how long it has to be kept").says("says that it was wanted");
    let keep =
        |until: &str| bench.run(&format!("keep {CADMIUM} --until {until} --reason \"by contract\" --as m.rowan"));
    keep("2020-12-31").ends(0);
    keep("2019-12-31").ends(2).says("is kept until 2020-12-31 already; that day can be put off, not brought forward");
    bench.run(&erase.replace("m.rowan", "j.alder")).ends(2).says("takes one of these roles: quality manager");
    bench.run(&erase).ends(0).says("whose order 2026-052 was is erased by m.rowan");
    assert_eq!(std::fs::read_dir(bench.path("laboratory.trail.apart")).unwrap().count(), 0);
    bench.run(&erase).ends(2).says("is erased already");
    bench.run("verify").ends(0).says("1 report with 1 result, every digit as reported");
    bench.run(&format!("evaluate {CADMIUM}")).ends(0).says("0.0151");
    bench.run(&format!("orders {CADMIUM}")).ends(0).says("whose order it was is erased");
    bench.run(&format!("{issue} again.pdf")).ends(2).says("whose order 2026-052 was is erased");
    bench
        .run(&format!("archive {CADMIUM} --as m.rowan -o later.zip"))
        .ends(2)
        .says("whose order 2026-052 was is erased");
    // What was given out before verifies by itself.
    bench.run("verify archive.zip --report report.pdf").ends(0);
    bench.run("entries --what erase --what retention").ends(0).says("erasing whose order 2026-052 was is refused");
}

/// 21 CFR 11.10(c), in our words in part11.toml: try to delete a record under retention: refused and logged.
#[test]
fn what_has_to_be_kept_is_not_erased_and_the_wish_is_an_entry() {
    let bench = Bench::at(Stage::Issued);
    bench.run(&format!("keep {CADMIUM} --until 2099-12-31 --reason \"by contract\" --as m.rowan")).ends(0);
    let before = bench.n_entries();
    bench
        .run(&format!("erase-identity {CADMIUM} --reason \"asked for\" --as m.rowan --confirm {CADMIUM}"))
        .ends(2)
        .says("it has to be kept until 2099-12-31");
    assert_eq!(bench.n_entries(), before + 1);
    bench.run("verify").ends(0);
}

/// Annex 11, 10: two editions run side by side; an unknown one is refused with what there is.
#[test]
fn an_order_is_worked_out_by_another_edition_beside_its_own() {
    let bench = Bench::at(Stage::Archived);
    let own = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
    let other =
        bench.run(&format!("evaluate {CADMIUM} --edition 900 --json")).ends(0).says("Edition 900 instead of 0").json();
    assert_eq!((own[0]["edition"].as_u64(), other[0]["edition"].as_u64()), (Some(0), Some(900)));
    assert_eq!(own[1]["reported"]["result"]["value"], other[1]["reported"]["result"]["value"]);
    bench
        .run(&format!("evaluate {CADMIUM} --edition 7"))
        .ends(2)
        .says("this program has the editions 0, 900")
        .says("install, beside this one, a darkline that has it");
    bench.run("--version").ends(0).says("editions of the arithmetic: 0, 900");
    bench.run("verify archive.zip").ends(0).says("edition 0, outcome");
}
