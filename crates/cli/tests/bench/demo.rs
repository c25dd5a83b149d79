//! The demo from end to end, on two days at the bench.

use crate::laboratory::{copy, repository};
use crate::program::{Ran, run};

fn demo(folder: &std::path::Path, line: &str) -> Ran {
    run(folder, line).ends(0).says("2026-041.zip: report 2026-041-1 of order 2026-041 is as it was issued")
}

#[test]
fn the_demo_goes_from_the_order_to_a_verified_archive_and_names_each_command() {
    let folder = tempfile::tempdir().unwrap();
    let ran = demo(folder.path(), "demo --folder there");
    let there = folder.path().join("there");
    for verb in [
        "begin", "people", "open", "plan", "simulate", "import", "evaluate", "decide", "explain", "sign", "issue",
        "archive", "verify",
    ] {
        assert!(ran.out.contains(&format!("$ darkline {verb} ")), "{verb}");
    }
    assert!(
        ran.out.contains("withheld: replicate-outlier") && ran.out.contains("2 flags stop this report"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("values within 2 u of the truth"), "{}", ran.out);
    assert!(std::fs::read(there.join("2026-041.pdf")).unwrap().starts_with(b"%PDF-1."));
    run(&there, "verify").ends(0).says("1 report with 12 results, every digit as reported");
    let widest = ran
        .out
        .lines()
        .filter(|line| !line.starts_with("$ ") && !line.contains("darkline decide"))
        .map(|line| line.chars().count());
    assert!(widest.clone().max().unwrap() <= 120, "{:?}", widest.max());

    // The archive goes to another machine, with nothing but itself.
    let elsewhere = tempfile::tempdir().unwrap();
    std::fs::copy(there.join("2026-041.zip"), elsewhere.path().join("a.zip")).unwrap();
    run(elsewhere.path(), "verify a.zip").ends(0).says("94 pulses as digested");
    run(folder.path(), "demo --folder there").ends(2).says("there is there already").says("name another folder");

    // Judged for programs: 12 samples, one of them below, and the one thing that went wrong.
    let judged = run(&there, "simulate 2026-041 --truth truth.toml --judge --json").ends(0);
    let lines = judged.json();
    let (results, faults): (Vec<_>, Vec<_>) = lines.iter().partition(|line| line["schema"] == "darkline/judgement/1");
    assert_eq!(results.len(), 12);
    let [fault] = faults[..] else { panic!("{faults:?}") };
    assert_eq!((fault["fault"].as_str(), fault["has_to_be_found"].as_bool()), (Some("bad-injection@13.2"), Some(true)));
    assert_eq!(fault["found_by"][0], "replicate-outlier:reading:R1/38");
}

#[test]
fn another_day_at_the_bench_ends_as_well() {
    let folder = tempfile::tempdir().unwrap();
    let ran = demo(folder.path(), "demo --folder seven --seed 7");
    assert!(folder.path().join("seven/readings-2.parquet").is_file(), "{}", ran.out);
    let quiet = run(folder.path(), "demo --folder eight --seed 8 --quiet").ends(0);
    assert_eq!(quiet.out.lines().count(), 2, "{}", quiet.out);
    assert!(quiet.told.is_empty(), "{}", quiet.told);
}

#[test]
fn the_documents_of_the_demo_are_opened_by_hand_just_as_well() {
    let folder = tempfile::tempdir().unwrap();
    copy(&repository().join("demo"), folder.path());
    run(folder.path(), "open . --dry-run").ends(0).says("order 2026-041: nothing is at fault");
}
