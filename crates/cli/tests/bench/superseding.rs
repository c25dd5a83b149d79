//! A report that turns out to need a change: it is superseded, never taken back.

use crate::laboratory::{Bench, CADMIUM, Stage};

fn sign_and_issue(bench: &Bench, output: &str) -> crate::program::Ran {
    for who in ["j.alder", "m.rowan"] {
        bench.run(&format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who}")).ends(0);
    }
    bench
        .run(&format!(
            "issue {CADMIUM} --because \"a decision changed\" --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o {output}"
        ))
        .ends(0)
}

/// A standard with a replicate less is flagged; the analyst says why two are enough.
fn justify(bench: &Bench) {
    let line =
        format!("decide {CADMIUM} --justify replicate-missing:row:R1/5 --reason \"the others agree\" --as j.alder");
    bench.run(&line).ends(0).says("replicate-missing:row:R1/5 justified by j.alder");
}

#[test]
fn a_changed_decision_gives_a_report_that_supersedes() {
    let bench = Bench::at(Stage::Archived);
    let first = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
    // Nothing has changed: the same report, byte for byte, and no entry more.
    let n = bench.n_entries();
    bench
        .run(&format!("issue {CADMIUM} --as m.rowan -o again.pdf"))
        .ends(0)
        .says("issued already, as report 2026-052-1 by m.rowan");
    assert_eq!(std::fs::read(bench.path("again.pdf")).unwrap(), std::fs::read(bench.path("report.pdf")).unwrap());
    bench.run(&format!("sign {CADMIUM} --as j.alder")).ends(0).says("has signed these results already");
    bench.run(&format!("sign {CADMIUM} --as m.rowan")).ends(0).says("has signed these results already");
    assert_eq!(bench.n_entries(), n);

    bench
        .run(&format!("decide {CADMIUM} --reject 14 --reason \"the nebuliser spat, seen at the bench\" --as j.alder"))
        .ends(0)
        .says("reading R1/14 rejected by j.alder")
        .says("1 of 17 readings is now rejected");
    bench.run(&format!("evaluate {CADMIUM}")).ends(1).says("1 flag stops this report").says("2 of 3 replicates count");
    justify(&bench);
    bench.run("verify").ends(0).says("changed since its last report: 2026-052");
    let issue = format!(
        "issue {CADMIUM} --because \"it was another reading\" --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o second.pdf"
    );
    bench.run(&issue).ends(1).says("something changed after it was signed");
    bench
        .run(&format!("archive {CADMIUM} --as m.rowan -o second.zip"))
        .ends(1)
        .says("something changed after report 2026-052-1 was issued");
    assert!(!bench.path("second.pdf").exists() && !bench.path("second.zip").exists());
    assert!(!bench.path("second.pdf.unfinished").exists() && !bench.path("second.zip.unfinished").exists());

    let issued = sign_and_issue(&bench, "second.pdf")
        .says("As m.rowan you approve these results and issue report 2026-052-2, which supersedes 2026-052-1;");
    assert!(issued.told.contains("report 2026-052-2 issued by m.rowan"), "{}", issued.told);
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o second.zip")).ends(0);
    let verified =
        bench.run("verify second.zip --report second.pdf").ends(0).says("report 2026-052-2 of order 2026-052");
    assert!(verified.out.contains("6 signatures and 2 issues"), "{}", verified.out);
    // The first archive still holds what was issued first.
    bench.run("verify archive.zip --report report.pdf").ends(0).says("report 2026-052-1 of order 2026-052");
    bench.run("verify archive.zip --report second.pdf").ends(1);
    bench.run("verify").ends(0).says("6 signatures and 2 issues");
    let second = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
    assert_ne!(first[0]["outcome"], second[0]["outcome"]);

    // A decision taken back gives the first results again, under the first outcome; their report is not the last one.
    bench
        .run(&format!("decide {CADMIUM} --reinstate 14 --reason \"it was reading 13\" --as j.alder"))
        .ends(0)
        .says("0 of 17");
    let third = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
    assert_eq!(first[0]["outcome"], third[0]["outcome"]);
    bench.run(&issue.replace("second", "third")).ends(0).says("report 2026-052-3, which supersedes 2026-052-2");
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o third.zip")).ends(0);
    bench.run("verify third.zip").ends(0).says("report 2026-052-3 of order 2026-052");
}

/// Reports that were issued keep what they say of laboratory and people, and verify, whatever is said later.
#[test]
fn a_laboratory_that_moved_says_so_on_reports_to_come() {
    let bench = Bench::at(Stage::Archived);
    bench.run("laboratory").ends(0).says("Millrace Laboratory (invented)\n1 Weir Lane\n");
    let moved = "laboratory --name \"Millrace Laboratory (invented)\" --address \"2 Weir Lane\" --address Millrace --as k.willow --json";
    let line = bench.run(moved).ends(0).says("reports to come say").json().remove(0);
    assert_eq!(
        (line["schema"].as_str(), line["address"][0].as_str()),
        (Some("darkline/laboratory/1"), Some("2 Weir Lane"))
    );
    bench.run("verify").ends(0).says("1 report with 1 result, every digit as reported");
    std::fs::remove_file(bench.path("archive.zip")).unwrap();
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o archive.zip")).ends(0);
    bench.run("verify archive.zip --report report.pdf").ends(0);

    bench.run(&format!("decide {CADMIUM} --reject 14 --reason \"the nebuliser spat\" --as j.alder")).ends(0);
    justify(&bench);
    sign_and_issue(&bench, "second.pdf");
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o second.zip")).ends(0);
    bench.run("verify second.zip --report second.pdf").ends(0);
    let record = |name: &str| {
        let unpacked = darkline_exchange::bag::read(&std::fs::read(bench.path(name)).unwrap()).unwrap();
        String::from_utf8(unpacked.payload["record.json"].clone()).unwrap()
    };
    assert!(record("archive.zip").contains("1 Weir Lane") && record("second.zip").contains("2 Weir Lane"));
}

/// A laboratory that could not say where it is would learn it only when the report is issued: it is asked at the beginning.
#[test]
fn a_record_is_not_begun_without_what_every_report_has_to_say() {
    let bench = Bench::without_record();
    bench
        .run("begin --as k.willow --full-name \"K. Willow\" --laboratory L --key-file keys/k.willow")
        .ends(2)
        .says("--address <TEXT> is missing");
    bench
        .run("begin --as k.willow --full-name \"K. Willow\" --address A --key-file keys/k.willow")
        .ends(2)
        .says("--laboratory <TEXT> is missing");
    let blank = "begin --as k.willow --full-name \" \" --laboratory L --address A --key-file keys/k.willow";
    bench.run(blank).ends(2).says("write a text that says something");
    assert!(!bench.path("laboratory.trail").exists());
}
