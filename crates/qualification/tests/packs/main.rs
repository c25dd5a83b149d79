//! Every pack through the functions of the program: each figure agrees, or differs for a reason that is named.

mod odd_cases;

use darkline_qualification::{Outcome, Qualification, Verdict, shipped};

/// Runs a pack and tells everything that does not agree.
fn run(pack: &str) -> Qualification {
    let found = shipped::run(pack, &|_, _| {});
    let mut told = Vec::new();
    told.extend(found.all_faults().map(ToString::to_string));
    for case in &found.cases {
        match &case.outcome {
            Outcome::UnknownKind => told.push(format!("{}:{}: nothing runs {}", case.file, case.line, case.kind)),
            Outcome::Fault(_) => {}
            Outcome::Compared(comparisons) => {
                if comparisons.is_empty() {
                    told.push(format!("{}:{}: {} compares nothing", case.file, case.line, case.case));
                }
                for comparison in comparisons {
                    let at = format!("{} {} {}", case.file, case.case, comparison.key);
                    match &comparison.verdict {
                        Verdict::Agrees | Verdict::Difference(_) => {}
                        Verdict::Disagrees => told.push(format!(
                            "{at}: expected {}, found {:?}, {:?}",
                            comparison.written, comparison.found, comparison.tolerance
                        )),
                        Verdict::NotFound(why) => told.push(format!("{at}: {why}")),
                    }
                }
            }
        }
    }
    assert!(told.is_empty(), "{} of {pack}:\n{}", told.len(), told.join("\n"));
    found
}

/// The publications stand in each case of `reference/calibration`.
#[test]
fn all_cases_of_the_calibration_pack_agree() {
    let counts = run("calibration/").counts();
    assert_eq!((counts.cases, counts.differ), (67, 0));
}

/// The publications stand in each case of `reference/uncertainty`; one figure of its own is known to be misprinted.
#[test]
fn all_cases_of_the_uncertainty_pack_agree() {
    let counts = run("uncertainty/").counts();
    assert_eq!((counts.cases, counts.differ), (63, 1));
}

/// The publications stand in each case of `reference/quality`.
#[test]
fn all_cases_of_the_quality_pack_agree() {
    let counts = run("quality/").counts();
    assert_eq!((counts.cases, counts.differ), (109, 0));
}

/// Each limit and case of `reference/limits` names its regulation.
#[test]
fn all_limits_and_cases_of_the_limits_pack_agree() {
    let counts = run("limits/").counts();
    assert_eq!(counts.differ, 0);
    assert!(counts.cases >= 57 + 198 + 24, "{counts:?}");
}

/// RFC 3339, 8032, 8493, 8785, 9106 and 9162, as `reference/records` has their vectors.
#[test]
fn all_vectors_of_the_records_pack_agree() {
    let counts = run("records/").counts();
    assert_eq!(counts.differ, 0);
    assert!(counts.cases >= 100, "{counts:?}");
}

/// The literature stands in each module that computes; 869 values in nine files.
#[test]
fn all_cases_of_the_physics_pack_agree() {
    let counts = run("physics/").counts();
    assert_eq!((counts.cases, counts.differ), (74, 0));
}

/// The checks that the README of `reference/handbook` names.
#[test]
fn the_recomputed_rows_of_the_handbook_pack_agree() {
    let counts = run("handbook/").counts();
    assert_eq!(counts.differ, 0);
    assert!(counts.cases >= 29 + 24 + 47, "{counts:?}");
}

/// NIST Statistical Reference Datasets; the section is written by `cargo xtask accuracy nist`.
#[test]
fn the_page_on_accuracy_says_the_digits_that_are_found() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/reference/accuracy.md");
    let page = std::fs::read_to_string(path).expect("the page is part of the repository");
    let wanted = darkline_qualification::certified_table();
    assert!(page.contains(wanted.trim()), "run cargo xtask accuracy nist; the section is\n{wanted}");
}
