//! Who may what, with which passphrase: refused in words, and nothing appended but that it was refused.

use crate::laboratory::{Bench, CADMIUM, Stage, only_mine};

fn sign(who: &str) -> String {
    format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who}")
}

/// Runs lines that are all refused, and gives what was seen.
fn refused(bench: &Bench, lines: &[&str]) -> String {
    let before = bench.n_entries() - bench.n_refused();
    let text = lines.iter().map(|line| bench.run(line).ends(2).seen()).collect();
    assert_eq!(bench.n_entries() - bench.n_refused(), before);
    text
}

#[test]
fn roles_that_do_not_have_the_right() {
    let bench = Bench::at(Stage::Imported);
    let text = refused(
        &bench,
        &[
            "open cadmium --as k.willow",
            "import 2026-052 cadmium/readings.csv --as m.rowan",
            "decide 2026-052 --reject 1 --reason \"no right\" --as m.rowan",
            "sign 2026-052 --as k.willow --confirm 2026-052 --key-file keys/k.willow",
            "issue 2026-052 --as j.alder --confirm 2026-052 --key-file keys/j.alder",
            "archive 2026-052 --as j.alder",
            "people add p.birch --full-name \"P. Birch\" --role analyst --as j.alder --key-file keys/j.alder",
            "laboratory --name \"Another Laboratory\" --address \"Elsewhere\" --as m.rowan",
            "sign 2026-052 --as p.birch",
            "sign 2026-052 --as \"J. Alder\"",
            "sign 2026-052",
        ],
    );
    insta::assert_snapshot!(text);
    // Who is entered and wanted what they have no right to stands in the record; who is nobody here has no entries.
    let lines = bench.run("entries --what refused --json").ends(0).json();
    let by: Vec<&str> = lines.iter().map(|line| line["by"].as_str().unwrap()).collect();
    assert_eq!(
        by,
        ["k.willow", "m.rowan", "m.rowan", "k.willow", "j.alder", "j.alder", "j.alder", "m.rowan"],
        "{lines:?}"
    );
    bench.run("entries --what refused --person j.alder").ends(0).says_in_a_paragraph(
        "to issue a report, order 2026-052, was refused: to issue a report takes one of these roles",
    );
}

#[test]
fn who_measured_does_not_review_whatever_roles_they_have() {
    let bench = Bench::at(Stage::Open);
    bench.write("keys/r.birch", "white bark\n");
    only_mine(&bench.path("keys/r.birch"));
    bench
        .run("people add r.birch --full-name \"R. Birch\" --role analyst --role reviewer --as k.willow --key-file keys/r.birch")
        .ends(0);
    bench.run(&format!("import {CADMIUM} cadmium/readings.csv --as r.birch")).ends(0);
    bench.run(&sign("r.birch")).ends(0).says("signed by r.birch, responsible for the measurement");
    let text = refused(&bench, &[&sign("r.birch"), &sign("j.alder")]);
    bench.run(&sign("m.rowan")).ends(0).says("signed by m.rowan, reviewed");
    insta::assert_snapshot!(text);
}

#[test]
fn one_analyst_signs_once() {
    let bench = Bench::at(Stage::SignedByAnalyst);
    let before = bench.n_entries();
    bench
        .run(&sign("j.alder"))
        .ends(0)
        .says("has signed these results already")
        .says("nothing was appended")
        .says("Next: a reviewer");
    assert_eq!(bench.n_entries(), before);
}

#[test]
fn passphrases_and_the_files_they_stand_in() {
    let bench = Bench::at(Stage::Imported);
    bench.write("keys/wrong", "catkins last\n");
    bench.write("keys/empty", "");
    bench.write("keys/open", "catkins first\n");
    bench.write("keys/short", "weir\n");
    for name in ["wrong", "empty", "short"] {
        only_mine(&bench.path(&format!("keys/{name}")));
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(bench.path("keys/open"), std::fs::Permissions::from_mode(0o644)).unwrap();
        std::fs::set_permissions(bench.path("keys"), std::fs::Permissions::from_mode(0o700)).unwrap();
    }
    // A passphrase that opens nothing is an entry, and nothing else is.
    let mut text = String::new();
    for (n, name) in (1..).zip(["wrong", "m.rowan"]) {
        let before = bench.n_entries();
        let line = format!("sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys/{name} --quiet");
        text.push_str(&bench.run(&line).ends(2).says(&format!("{n} in a row")).seen());
        assert_eq!(bench.n_entries(), before + 1);
    }
    text += &refused(
        &bench,
        &[
            "sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys/empty --quiet",
            "sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys/open --quiet",
            "sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys/none --quiet",
            "sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys --quiet",
            "people add p.birch --full-name \"P. Birch\" --role analyst --as k.willow --key-file keys/short",
            "people add j.alder --full-name \"Another Alder\" --role analyst --as k.willow --key-file keys/j.alder",
            "people add p.birch --full-name \"P. Birch\" --role chemist --as k.willow --key-file keys/j.alder",
            "people add P.Birch --full-name \"P. Birch\" --role analyst --as k.willow --key-file keys/j.alder",
        ],
    );
    insta::assert_snapshot!(text);
}

#[test]
fn without_a_terminal_nothing_is_asked_and_the_option_that_answers_is_named() {
    let bench = Bench::at(Stage::Signed);
    let begin = Bench::without_record();
    let mut text = refused(
        &bench,
        &[
            "issue 2026-052 --as m.rowan",
            "issue 2026-052 --as m.rowan --confirm 2026-052",
            "issue 2026-052 --as m.rowan --confirm 2026-052 --no-input",
            "people add p.birch --full-name \"P. Birch\" --role analyst --as k.willow",
        ],
    );
    assert!(!bench.path("2026-052-1.pdf").exists() && !bench.path("2026-052-1.pdf.unfinished").exists());
    text.push_str(
        &begin.run("begin --as k.willow --full-name \"K. Willow\" --laboratory L --address A").ends(2).seen(),
    );
    begin.write("keys/short", "weir\n");
    only_mine(&begin.path("keys/short"));
    text.push_str(
        &begin
            .run("begin --as k.willow --full-name \"K. Willow\" --laboratory L --address A --key-file keys/short")
            .ends(2)
            .seen(),
    );
    assert!(!begin.path("laboratory.trail").exists() && !begin.path("laboratory.trail.key").exists());
    insta::assert_snapshot!(text);
}
