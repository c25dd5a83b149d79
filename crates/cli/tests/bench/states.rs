//! The states of an order, returns with remarks, approval, and reports that supersede; searching the entries of all that.

use crate::laboratory::{Bench, CADMIUM, Stage};
use crate::program::Ran;

fn sign(bench: &Bench, who: &str, more: &str) -> Ran {
    bench.run(&format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who} {more}"))
}

fn state(bench: &Bench) -> String {
    bench.run(&format!("orders {CADMIUM} --json")).ends(0).json()[0]["state"].as_str().unwrap().to_owned()
}

/// 21 CFR 11.10(f), in our words in part11.toml: each step out of order is refused with the reason.
#[test]
fn an_order_goes_through_its_states_and_no_step_is_left_out() {
    let bench = Bench::at(Stage::Open);
    assert_eq!(state(&bench), "open");
    let mut told = String::new();
    let mut refused = |line: String, code: i32| {
        let (before, refused) = (bench.n_entries(), bench.n_refused());
        told.push_str(&bench.run(&line).ends(code).seen());
        // A step out of turn is an entry; a word that means nothing is none.
        let noted = u64::from(code == 1);
        assert_eq!((bench.n_entries(), bench.n_refused()), (before + noted, refused + noted), "{line}");
    };
    let (issue, archive) = (
        format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o report.pdf"),
        format!("archive {CADMIUM} --as m.rowan -o a.zip"),
    );
    let back = format!("return {CADMIUM} --reason \"a doubt\" --as m.rowan");
    let decide = format!("decide {CADMIUM} --reject 14 --reason \"a doubt\" --as j.alder");
    refused(issue.clone(), 1);
    refused(back.clone(), 1);
    bench.run(&format!("import {CADMIUM} cadmium/readings.csv --as j.alder")).ends(0);
    assert_eq!(state(&bench), "measured");
    refused(archive.clone(), 1);
    refused(format!("sign {CADMIUM} --meaning reviewed --as m.rowan"), 1);
    refused(format!("sign {CADMIUM} --meaning seen --as m.rowan"), 2);
    sign(&bench, "j.alder", "").ends(0);
    assert_eq!(state(&bench), "in review");
    refused(decide.clone(), 1);
    refused(format!("import {CADMIUM} cadmium/readings.csv --as j.alder"), 1);
    refused(format!("sign {CADMIUM} --meaning approved --as m.rowan"), 1);
    refused(issue.clone(), 1);
    sign(&bench, "m.rowan", "").ends(0);
    sign(&bench, "m.rowan", "--meaning approved")
        .ends(0)
        .says("You sign 1 result as quality manager m.rowan: approved.");
    assert_eq!(state(&bench), "approved");
    refused(decide, 1);
    bench.run(&issue).ends(0).says("As m.rowan you issue report 2026-052-1;");
    assert_eq!(state(&bench), "issued");
    refused(back, 1);
    bench.run(&archive).ends(0);
    bench.run("verify a.zip").ends(0).says("3 signatures and 1 issue");
    insta::assert_snapshot!(told);
}

/// A return goes to the state before, with remarks item by item; signatures since are set aside.
#[test]
fn a_return_goes_to_the_state_it_came_from_with_remarks() {
    let bench = Bench::at(Stage::SignedByAnalyst);
    bench
        .run(&format!("return {CADMIUM} --on reading:R1/99 --remark x --reason y --as m.rowan"))
        .ends(2)
        .says("order 2026-052 has no reading:R1/99");
    bench
        .run(&format!("return {CADMIUM} --on sample:dish-1 --reason y --as m.rowan"))
        .ends(2)
        .says("1 item named and 0 remarks");
    bench.run(&format!("return {CADMIUM} --reason y --as j.alder")).ends(2).says("to return an order takes");
    bench
        .run(&format!(
            "return {CADMIUM} --on reading:R1/14 --remark \"look at the tail\" --on sample:dish-1 --remark \"which dish?\" --reason \"two doubts\" --as m.rowan"
        ))
        .ends(0)
        .says("order 2026-052 returned by m.rowan from in review to measured, with 2 remarks");
    assert_eq!(state(&bench), "measured");
    bench.run("orders").ends(0).says("2 remarks open");
    bench
        .run(&format!("orders {CADMIUM}"))
        .ends(0)
        .says_in_a_paragraph("set aside by the return in entry 12")
        .says_in_a_paragraph("on reading:R1/14: look at the tail");
    sign(&bench, "j.alder", "").ends(0).says("Remark on reading:R1/14: look at the tail");
    sign(&bench, "m.rowan", "").ends(0);
    sign(&bench, "m.rowan", "--meaning approved").ends(0);
    // From approved it goes back to in review: the analyst's word stands.
    bench
        .run(&format!("return {CADMIUM} --reason \"the limit of another category\" --as m.rowan"))
        .ends(0)
        .says("from approved to in review");
    assert_eq!(state(&bench), "in review");
    let signatures = bench.run(&format!("orders {CADMIUM} --json")).ends(0).json()[0]["signatures"].clone();
    let stands: Vec<&str> =
        signatures.as_array().unwrap().iter().map(|line| line["stands"].as_str().unwrap()).collect();
    assert_eq!(stands[1], "stands");
    assert!(stands[2].starts_with("set aside") && stands[3].starts_with("set aside"), "{stands:?}");
    sign(&bench, "m.rowan", "").ends(0);
    bench.run(&format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o r.pdf")).ends(0);
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o a.zip")).ends(0);
    bench.run("verify a.zip").ends(0);
    bench.run("verify").ends(0);
    let found = bench.run("entries --reading R1/14 --details").ends(0);
    assert!(found.out.contains("reading:R1/14: look at the tail"), "{}", found.out);
}

/// EU GMP Annex 11, 9; 21 CFR 11.10(e): searched, printed with old and new and why, and the review is an entry.
#[test]
fn entries_are_searched_printed_and_their_review_is_an_entry() {
    let bench = Bench::at(Stage::Issued);
    bench
        .run(&format!("decide {CADMIUM} --reject 14 --reason \"the nebuliser spat, seen at the bench\" --as j.alder"))
        .ends(0);
    bench.run(&format!("decide {CADMIUM} --reinstate 14 --reason \"it was reading 13\" --as j.alder")).ends(0);
    let lines = bench.run("entries --reading R1/14 --json").ends(0).json();
    let told: Vec<[Option<&str>; 4]> =
        lines.iter().map(|line| ["what", "old", "new", "why"].map(|key| line[key].as_str())).collect();
    assert_eq!(told[0][0], Some("import"));
    assert_eq!(
        told[1..],
        [
            [Some("decide"), Some("counts"), Some("rejected"), Some("the nebuliser spat, seen at the bench")],
            [Some("decide"), Some("rejected"), Some("counts"), Some("it was reading 13")],
        ]
    );
    let csv = bench.run("entries --what decide -o -").ends(0);
    assert!(csv.out.starts_with("entry,at,by,what,act,about,old,new,why,leaf\n"), "{}", csv.out);
    assert!(csv.out.contains("\"the nebuliser spat, seen at the bench\""), "{}", csv.out);
    assert_eq!(csv.out.lines().count(), 3);
    assert_eq!(bench.run("entries --person k.willow --what laboratory --json").ends(0).json().len(), 1);
    assert!(bench.run("entries --to 2020-01-01 --json").ends(0).json().is_empty());
    assert_eq!(bench.run("entries --from 2020-01-01 --what decide --json").ends(0).json().len(), 2);
    assert_eq!(bench.run(&format!("entries --order {CADMIUM} --changes --what decide --json")).ends(0).json().len(), 2);
    bench.run("entries --what decision").ends(2).says("there are no entries of the kind \"decision\"").says("decide");
    bench.run("entries --from yesterday").ends(2);

    bench
        .run(&format!("entries {CADMIUM} --reviewed \"nothing to object\" --as j.alder"))
        .ends(2)
        .says("to review entries");
    bench
        .run(&format!("entries {CADMIUM} --changes --reviewed \"nothing to object\" --as m.rowan"))
        .ends(0)
        .says("reviewed by m.rowan: nothing to object");
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph("none since");
    bench.run(&format!("decide {CADMIUM} --reject 13 --reason \"that one\" --as j.alder")).ends(0);
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph("1 entry since, so the review is open again");
    bench.run("entries --what review").ends(0).says("nothing to object");
}

/// ISO/IEC 17025:2017, 7.8.8: the report names the one it replaces, what changed, and why; signatures before are overtaken.
#[test]
fn a_corrected_report_says_what_it_replaces_and_why() {
    let bench = Bench::at(Stage::Archived);
    bench.run(&format!("decide {CADMIUM} --reject 14 --reason \"the nebuliser spat\" --as j.alder")).ends(0);
    bench
        .run(&format!(
            "decide {CADMIUM} --justify replicate-missing:row:R1/5 --reason \"the others agree\" --as j.alder"
        ))
        .ends(0);
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph("overtaken: the results have changed since");
    for who in ["j.alder", "m.rowan"] {
        sign(&bench, who, "").ends(0);
    }
    let issue = format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o second.pdf");
    bench.run(&issue).ends(2).says("this report supersedes 2026-052-1 and has to say why").says("--because");
    bench.run(&format!("{issue} --because \"reading 14 was a spurt of the nebuliser\"")).ends(0);
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o second.zip")).ends(0);
    bench.run("verify second.zip --report second.pdf").ends(0);
    let unpacked = darkline_exchange::bag::read(&std::fs::read(bench.path("second.zip")).unwrap()).unwrap();
    let record = String::from_utf8(unpacked.payload["record.json"].clone()).unwrap();
    for said in [
        "\"because\":\"reading 14 was a spurt of the nebuliser\"",
        "\"supersedes\":\"2026-052-1\"",
        "reading R1/14 rejected: the nebuliser spat",
        "\"replicate-missing:row:R1/5\":\"J. Alder (j.alder), 20",
    ] {
        assert!(record.contains(said), "{said} in {record}");
    }
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph("superseded by 2026-052-2");
    let readable = String::from_utf8(unpacked.payload["record.txt"].clone()).unwrap();
    assert!(readable.contains("reading R1/14 rejected") && readable.contains("supersedes 2026-052-1"), "{readable}");
    // The value for people has the digits of the value for programs.
    let outcome: serde_json::Value = serde_json::from_slice(&unpacked.payload["outcome.json"]).unwrap();
    let value = outcome["results"][0]["reported"]["result"]["value"].to_string();
    assert!(readable.contains(&value), "{value} in {readable}");
}

/// 21 CFR 11.10(e): why, by a code of the method's own list and a remark.
#[test]
fn a_method_with_a_list_of_reasons_takes_no_other() {
    let bench = Bench::at(Stage::People);
    let method = bench.read("cadmium/method.toml");
    bench.write(
        "cadmium/method.toml",
        format!("{method}\n[[reason]]\ncode = \"spat\"\ntext = \"the nebuliser spat\"\n\n[[reason]]\ncode = \"bubble\"\ntext = \"bubble in the capillary\"\n"),
    );
    bench.run("open cadmium --as j.alder").ends(0);
    bench.run(&format!("import {CADMIUM} cadmium/readings.csv --as j.alder")).ends(0);
    let decide = format!("decide {CADMIUM} --reject 14 --as j.alder --reason");
    bench
        .run(&format!("{decide} \"looks odd\""))
        .ends(2)
        .says("\"looks odd\" is no reason of this method's list; it has spat (the nebuliser spat), bubble (bubble in the capillary)");
    bench.run(&format!("{decide} spat --remark \"seen at 09:41\"")).ends(0);
    let line = bench.run("entries --what decide --json").ends(0).json().remove(0);
    assert_eq!(line["why"], "spat: the nebuliser spat; seen at 09:41");
    bench.run("verify").ends(0);
}
