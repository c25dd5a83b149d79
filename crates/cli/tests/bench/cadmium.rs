//! The published cadmium example, command by command.

use serde_json::Value;

use crate::laboratory::{Bench, CADMIUM, Stage, repository};

/// A case of the reference pack.
fn published(name: &str) -> toml::Table {
    toml::from_str(&std::fs::read_to_string(repository().join("reference").join(name)).unwrap()).unwrap()
}

/// The figure that the source prints, without its unit and with a point.
fn printed(case: &toml::Table, key: &str) -> String {
    case["printed"][key].as_str().unwrap().split(' ').next().unwrap().replace(',', ".")
}

#[track_caller]
fn agrees(case: &toml::Table, key: &str, found: &Value) {
    let (expected, tolerance) = (case["expected"][key].as_float().unwrap(), case["tolerance"][key].as_float().unwrap());
    let found = found.as_f64().unwrap();
    assert!((found - expected).abs() <= tolerance, "{key}: found {found}, published {expected}");
}

#[test]
fn opening_says_what_the_order_spans_and_opening_again_changes_nothing() {
    let bench = Bench::at(Stage::People);
    bench.run("open cadmium --dry-run").ends(0).says("nothing is at fault; nothing was appended");
    assert_eq!(bench.n_entries(), 4);
    let opened = bench.run("open cadmium --as j.alder --json").ends(0).says("1 sample, 1 portion, 6 rows");
    let [line] = &opened.json()[..] else { panic!("{}", opened.out) };
    assert_eq!((line["schema"].as_str(), line["order"].as_str()), (Some("darkline/opened/1"), Some(CADMIUM)));
    let n = bench.n_entries();
    bench.run("open cadmium --as j.alder").ends(0).says("is open already; nothing was appended");
    assert_eq!(bench.n_entries(), n);
}

#[test]
fn importing_the_same_file_again_changes_nothing() {
    let bench = Bench::at(Stage::Open);
    let line = format!("import {CADMIUM} cadmium/readings.csv --as j.alder --json");
    let first = bench.run(&line).ends(0).says("17 readings of run R1 imported by j.alder as 1 to 17");
    assert_eq!(first.json()[0]["schema"], "darkline/import/1");
    assert_eq!(first.json()[0]["readings"], 17);
    let n = bench.n_entries();
    let again = bench.run(&line).ends(0).says("in the record already, word for word; nothing was appended");
    assert_eq!(again.json()[0]["entry"], Value::Null);
    assert_eq!(bench.n_entries(), n);
}

/// Eurachem/CITAC QUAM:2012.P1, example A5, Tables A5.1 and A5.4: 0.015 mg/dm², u = 0.0015 mg/dm², U = 0.003 mg/dm² (k = 2).
#[test]
fn quam_a5_release_per_area_in_the_evaluation() {
    let case = published("uncertainty/quam-a5-2012-cadmium-release.toml");
    let bench = Bench::at(Stage::Imported);
    let evaluated = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0);
    let lines = evaluated.json();
    assert!(lines.iter().all(|line| line["schema"] == "darkline/outcome/1"));
    let result = lines.iter().find(|line| line["line"] == "result").unwrap();
    assert_eq!((result["sample"].as_str(), result["unit"].as_str()), (Some("dish-1"), Some("mg/dm²")));
    let value = &result["reported"]["result"];
    agrees(&case, "y", &value["value"]);
    agrees(&case, "u", &value["u"]);
    agrees(&case, "U", &value["expanded_u"]);
    // The table shows one digit more than the guide prints.
    let table =
        bench.run(&format!("evaluate {CADMIUM}")).ends(0).says("complies").says("at most 0.07 mg/dm² (guard band U)");
    let row = table.out.lines().find(|line| line.starts_with("dish-1")).unwrap();
    assert!(row.split_whitespace().nth(1).unwrap().starts_with(&printed(&case, "y")), "{row}");
}

/// Eurachem/CITAC QUAM:2012.P1, example A5, Table A5.3 and A5.5: slope 0.2410(50), intercept 0.0087(29), residual standard
/// deviation 0.005486, correlation 0.997, 0.26 mg/L in the leachate with u = 0.018 mg/L.
#[test]
fn quam_a5_calibration_line_in_the_details_and_in_the_explanation() {
    let case = published("uncertainty/quam-a5-calibration-line.toml");
    let bench = Bench::at(Stage::Imported);
    let lines = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
    let calibration = &lines.iter().find(|line| line["line"] == "run").unwrap()["calibration"];
    for (key, name) in [
        ("B0", "intercept"),
        ("u_B0", "u_intercept"),
        ("B1", "slope"),
        ("u_B1", "u_slope"),
        ("S", "residual_sd"),
        ("r_B0_B1", "correlation"),
        ("correlation_coefficient", "r"),
    ] {
        agrees(&case, key, &calibration[name]);
    }
    let explained = bench.run(&format!("explain {CADMIUM} dish-1")).ends(0);
    let c0 = explained.out.lines().skip_while(|line| !line.starts_with("  c(dish-1)")).nth(2).unwrap();
    assert!(c0.trim().starts_with(&format!("= {}", printed(&case, "c0"))), "{c0}");
    assert!(c0.ends_with(&format!("u = {} mg/L", printed(&case, "u_c0"))), "{c0}");
    let line = bench.run(&format!("explain {CADMIUM} dish-1 --element Cd --json")).ends(0).json().remove(0);
    assert_eq!(line["schema"], "darkline/explanation/1");
    let step = |name: &str| line["steps"].as_array().unwrap().iter().find(|step| step["name"] == name).unwrap().clone();
    agrees(&case, "c0", &step("c(dish-1)")["value"]);
    agrees(&case, "u_c0", &step("c(dish-1)")["u"]);
}

#[test]
fn what_an_analyst_reads_of_the_evaluation_and_of_how_it_came_about() {
    let bench = Bench::at(Stage::Imported);
    insta::assert_snapshot!("details", bench.run(&format!("evaluate {CADMIUM} --details")).ends(0).seen());
    insta::assert_snapshot!("explanation", bench.run(&format!("explain {CADMIUM} dish-1")).ends(0).seen());
    insta::assert_snapshot!("run_order", bench.run(&format!("plan {CADMIUM}")).ends(0).seen());
}

#[test]
fn results_go_into_a_new_file_or_to_standard_output() {
    let bench = Bench::at(Stage::Imported);
    let csv = bench.run(&format!("evaluate {CADMIUM} -o -")).ends(0);
    assert!(csv.told.is_empty(), "{}", csv.told);
    assert!(
        csv.out.starts_with("sample,element,kind,unit,state,value,u,expanded_u,coverage_factor,limit,statement\n"),
        "{}",
        csv.out
    );
    bench.run(&format!("evaluate {CADMIUM} -o out.csv")).ends(0).says("out.csv written");
    assert_eq!(bench.read("out.csv"), csv.out);
    bench.run(&format!("evaluate {CADMIUM} -o out.csv")).ends(2).says("out.csv is there already");
    bench.run(&format!("evaluate {CADMIUM} --json -o out.jsonl")).ends(0);
    assert_eq!(bench.read("out.jsonl"), bench.run(&format!("evaluate {CADMIUM} --json")).out);
    bench.run(&format!("plan {CADMIUM} -o none/plan.csv")).ends(2).says("there is no such file or folder");
}

#[test]
fn signing_issuing_archiving_and_verifying_each_say_what_comes_next() {
    let bench = Bench::at(Stage::Imported);
    let sign = |who: &str| format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who} --json");
    let signed = bench.run(&sign("j.alder")).ends(0).says("You sign 1 result as analyst").says("Next: a reviewer");
    assert_eq!(signed.json()[0]["schema"], "darkline/signature/1");
    assert_eq!(signed.json()[0]["meaning"], "responsible for the measurement");
    bench.run(&sign("m.rowan")).ends(0).says("reviewed").says(&format!("Next: darkline issue {CADMIUM}"));
    let issue =
        format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o report.pdf --json");
    let issued = bench.run(&issue).ends(0).says("report 2026-052-1 issued by m.rowan").says("Next: darkline archive");
    assert_eq!(issued.json()[0]["schema"], "darkline/issue/1");
    assert!(std::fs::read(bench.path("report.pdf")).unwrap().starts_with(b"%PDF-1."));
    let archived = bench
        .run(&format!("archive {CADMIUM} --as m.rowan -o archive.zip --json"))
        .ends(0)
        .says("Next: darkline verify archive.zip");
    assert_eq!(archived.json()[0]["schema"], "darkline/archive/1");
    let verified = bench.run("verify archive.zip --report report.pdf").ends(0).says("is as it was issued");
    let checks: Vec<&str> = verified.out.lines().map(|line| line.split_whitespace().nth(1).unwrap()).collect();
    assert_eq!(
        checks,
        [
            "manifest",
            "entries",
            "root",
            "held",
            "pulses",
            "evaluation",
            "signatures",
            "report",
            "files",
            "digits",
            "in"
        ],
        "{}",
        verified.out
    );
    bench.run("verify").ends(0).says("1 report with 1 result, every digit as reported");
}

#[test]
fn a_stranger_verifies_the_archive_with_the_program_alone() {
    let bench = Bench::at(Stage::Archived);
    let elsewhere = tempfile::tempdir().unwrap();
    std::fs::copy(bench.path("archive.zip"), elsewhere.path().join("a.zip")).unwrap();
    let verified = crate::program::run(elsewhere.path(), "verify a.zip --json").ends(0);
    let lines = verified.json();
    let last = lines.last().unwrap();
    assert_eq!(last["schema"], "darkline/verification/1");
    assert_eq!((last["intact"].as_bool(), last["report"].as_str()), (Some(true), Some("2026-052-1")));
    let key = last["bench_key"].as_str().unwrap();
    crate::program::run(elsewhere.path(), &format!("verify a.zip --bench-key \"{key}\"")).ends(0);
    crate::program::run(elsewhere.path(), &format!("verify a.zip --bench-key {}", key.replace(' ', ""))).ends(0);
    crate::program::run(elsewhere.path(), "verify a.zip --bench-key 0011223344556677")
        .ends(1)
        .says("signed this archive, not");
    std::fs::write(elsewhere.path().join("other.pdf"), "%PDF-1.7 another one").unwrap();
    crate::program::run(elsewhere.path(), "verify a.zip --report other.pdf")
        .ends(1)
        .says("is another file than report.pdf");
}

#[test]
fn archiving_again_into_the_same_file_tells_what_is_there() {
    let bench = Bench::at(Stage::Archived);
    let (line, before) = (format!("archive {CADMIUM} --as m.rowan -o archive.zip"), bench.n_entries());
    bench
        .run(&line)
        .ends(0)
        .says("archive.zip is there already and holds report 2026-052-1")
        .says("Nothing was appended");
    bench.write("other.zip", "something else");
    bench.run(&line.replace("archive.zip", "other.zip")).ends(2).says("other.zip is there already");
    bench.run(&line.replace("archive.zip", "-")).ends(2).says("this goes into a file, not to standard output");
    assert_eq!(bench.n_entries(), before);
    bench.run(&line.replace("archive.zip", "second.zip")).ends(0);
    bench.run("verify second.zip").ends(0);
}

#[test]
fn what_is_printed_for_programs_names_its_schema() {
    let bench = Bench::at(Stage::Archived);
    for (line, schema) in [
        ("people --json", "darkline/person/1"),
        ("plan 2026-052 --json", "darkline/row/1"),
        ("evaluate 2026-052 --json", "darkline/outcome/1"),
        ("explain 2026-052 dish-1 --json", "darkline/explanation/1"),
        ("entries --json", "darkline/entry/1"),
        ("entries 2026-052 --json", "darkline/entry/1"),
        ("sign 2026-052 --as j.alder --json", "darkline/signature/1"),
        ("issue 2026-052 --as m.rowan -o report.pdf --json", "darkline/issue/1"),
        ("open cadmium --dry-run --json", "darkline/opened/1"),
    ] {
        let lines = bench.run(line).ends(0).json();
        assert!(!lines.is_empty() && lines.iter().all(|object| object["schema"] == schema), "{line}");
    }
    let bench = Bench::without_record();
    let begun = bench
        .run("begin --as k.willow --full-name \"K. Willow\" --laboratory L --address A --key-file keys/k.willow --json")
        .ends(0);
    assert_eq!(begun.json()[0]["schema"], "darkline/record/1");
    let added = bench
        .run("people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow --key-file keys/j.alder --json");
    assert_eq!(added.ends(0).json()[0]["schema"], "darkline/person/1");
}

#[test]
fn tables_and_texts_fit_a_hundred_columns() {
    let bench = Bench::at(Stage::Archived);
    for line in [
        "people",
        "entries",
        "plan 2026-052",
        "evaluate 2026-052 --details",
        "verify",
        "verify archive.zip",
        "--help",
        "explain --help",
    ] {
        let ran = bench.run(line).ends(0);
        let widest = ran.out.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(widest <= 100, "{line}: {widest}\n{}", ran.out);
    }
}
