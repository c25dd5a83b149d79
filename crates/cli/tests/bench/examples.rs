//! The examples with a virtual bench: every command of their READMEs, as it stands there.

use crate::laboratory::{Bench, Stage, repository};
use crate::program::Ran;

/// Runs the commands of an example's README; what the last of each verb said.
fn walk(example: &str) -> Vec<(String, Ran)> {
    let bench = Bench::at(Stage::People);
    let folder = repository().join("examples").join(example);
    let readme = std::fs::read_to_string(folder.join("README.md")).unwrap();
    let commands = readme.split("```sh\n").nth(1).unwrap().split("```").next().unwrap();
    let there = folder.canonicalize().unwrap();
    let ran = commands.lines().map(|line| {
        let words = line.strip_prefix("darkline ").unwrap();
        let words = words.replace(&format!("../darkline/examples/{example}"), there.to_str().unwrap());
        (line.to_owned(), bench.run(&words))
    });
    ran.collect()
}

fn of<'a>(ran: &'a [(String, Ran)], what: &str) -> &'a Ran {
    &ran.iter().find(|(line, _)| line.contains(what)).unwrap().1
}

#[track_caller]
fn shows(ran: &Ran, text: &str) {
    assert!(ran.out.contains(text), "{text}\n{}", ran.out);
}

#[test]
fn copper_in_tap_water_is_read_in_the_flame_and_judged() {
    let ran = walk("copper-water");
    for (line, ran) in &ran {
        // A flag stops the report: an air bubble.
        assert!(matches!(ran.code, Some(0 | 1)), "{line}\n{}{}", ran.out, ran.told);
    }
    assert_eq!(of(&ran, "evaluate").code, Some(1));
    let judged = of(&ran, "--judge");
    // Beyond 2 u: tap-4, whose bubble still counts, and by a little the lowest two (see the README).
    shows(judged, "5 of 7 values within 2 u of the truth");
    shows(judged, "air-bubble@14.3=40 %: found by");
}

#[test]
fn cadmium_in_cocoa_is_weighed_into_the_tube_and_judged() {
    let ran = walk("cadmium-cocoa");
    for (line, ran) in &ran {
        assert!(matches!(ran.code, Some(0 | 1)), "{line}\n{}{}", ran.out, ran.told);
    }
    let details = of(&ran, "--details");
    shows(details, "mass fraction");
    shows(details, "powders and solutions do not agree");
    shows(of(&ran, "explain"), "heterogeneity");
    shows(of(&ran, "--judge"), "spilled-portion@12.4=50 %: found by portion-outlier:reading:R71/");
}

/// Directive 84/500/EEC, Article 2(3): vessel and lid are added; below its quantification limit the lid counts as nothing and as
/// that limit.
#[test]
fn cadmium_of_jar_and_lid_is_added_and_both_bounds_are_judged() {
    let ran = walk("cadmium-lid");
    for (line, ran) in &ran {
        assert_eq!(ran.code, Some(0), "{line}\n{}{}", ran.out, ran.told);
    }
    let details = of(&ran, "--details");
    shows(details, "sum: Cd of jar and lid");
    shows(details, "inconclusive: lower bound complies");
    shows(details, "Cd of jar and lid, upper bound");
    shows(of(&ran, "explain"), "calibration of run R71: straight line, weights: equal");
}

/// The sum in all that is written of an order: results for programs, the table, the report and the archive.
#[test]
fn a_sum_stands_in_every_form_of_the_results() {
    let bench = Bench::at(Stage::People);
    let folder = repository().join("examples/cadmium-lid").canonicalize().unwrap();
    let folder = folder.to_str().unwrap();
    bench.run(&format!("open {folder} --as j.alder")).ends(0);
    bench.run(&format!("import 2026-071 {folder}/readings.csv --as j.alder")).ends(0);
    let json = bench.run("evaluate 2026-071 --json").ends(0).json();
    let sum = json.iter().find(|line| line["line"] == "sum").unwrap();
    assert_eq!(sum["statement"], "inconclusive");
    assert_eq!(sum["lower"]["statement"]["statement"], "complies");
    assert_eq!(sum["upper"]["statement"]["statement"], "does-not-comply");
    let between = sum["upper"]["value"]["value"].as_f64().unwrap() - sum["lower"]["value"]["value"].as_f64().unwrap();
    assert!((between - 0.05).abs() < 1e-12, "{between}");
    bench.run("evaluate 2026-071 -o results.csv").ends(0);
    let table = bench.read("results.csv");
    assert!(
        table.contains("jar-1 + lid-1,Cd of jar and lid,mass concentration,mg/L,lower bound (Cd in lid-1 below LOQ)"),
        "{table}"
    );
    for line in [
        "sign 2026-071 --as j.alder --confirm 2026-071 --key-file keys/j.alder",
        "sign 2026-071 --as m.rowan --confirm 2026-071 --key-file keys/m.rowan",
        "issue 2026-071 --as m.rowan --confirm 2026-071 --key-file keys/m.rowan -o report.pdf",
        "archive 2026-071 --as m.rowan -o archive.zip",
        "verify archive.zip --report report.pdf",
    ] {
        bench.run(line).ends(0);
    }
    // Poppler reads the report as a stranger would.
    let read = |program: &str, arguments: &[&str]| {
        let ran = std::process::Command::new(program).args(arguments).current_dir(bench.folder()).output().unwrap();
        assert!(ran.status.success(), "{program}");
        String::from_utf8(ran.stdout).unwrap()
    };
    let shown = read("pdftotext", &["-layout", "report.pdf", "-"]);
    for told in ["Sum: Cd of jar and lid, in mg/L", "jar-1 + lid-1", "lower bound complies", "risk of the"] {
        assert!(shown.contains(told), "{told}\n{shown}");
    }
    read("pdfdetach", &["-save", "1", "-o", "record.json", "report.pdf"]);
    let record: serde_json::Value = serde_json::from_str(&bench.read("record.json")).unwrap();
    assert_eq!(record["sums"][0]["statement"], "inconclusive");
}
