//! From an order to the bench: can we, a method from the handbook, the day, and on through the virtual bench to results.

use crate::laboratory::{Bench, Stage, copy, repository};
use crate::program::Ran;

/// A bench with the folder of the example copied as `water`.
fn with_order() -> Bench {
    let bench = Bench::at(Stage::People);
    copy(&repository().join("examples/drinking-water"), &bench.path("water"));
    bench
}

/// The commands of the example's README, in order.
fn commands() -> Vec<String> {
    let readme = std::fs::read_to_string(repository().join("examples/drinking-water/README.md")).unwrap();
    let blocks = readme.split("```sh\n").skip(1).map(|block| block.split("```").next().unwrap());
    blocks.flat_map(str::lines).map(|line| line.strip_prefix("darkline ").unwrap().to_owned()).collect()
}

/// The bench with its methods drafted.
fn with_methods() -> Bench {
    let bench = with_order();
    for line in commands().iter().filter(|line| line.starts_with("method")) {
        bench.run(line).ends(0);
    }
    bench
}

const WRITE: &str = "plan water --write --start 2026-05-05T08:00:00+02:00 --as j.alder";

#[test]
fn five_drinking_waters_go_from_the_order_to_results_in_one_sitting() {
    let bench = with_order();
    let ran: Vec<(String, Ran)> = commands().into_iter().map(|line| (line.clone(), bench.run(&line))).collect();
    for (line, ran) in &ran {
        assert!(matches!(ran.code, Some(0 | 1)), "{line}\n{}{}", ran.out, ran.told);
    }
    let of = |what: &str| &ran.iter().find(|(line, _)| line.contains(what)).unwrap().1;
    assert_eq!(of("--check").code, Some(0), "each element can be done");
    for wanted in ["furnace: meets everything demanded", "flame: meets everything demanded", "keep samples: HNO3"] {
        assert!(of("--check").out.contains(wanted), "{wanted}\n{}", of("--check").out);
    }
    let planned = of("--write");
    assert!(planned.told.contains("pipette P5000-1, its calibration was due on 2026-04-30"), "{}", planned.told);
    for name in ["bench-sheet.pdf", "labels.pdf"] {
        assert!(std::fs::read(bench.path(&format!("water/{name}"))).unwrap().starts_with(b"%PDF"), "{name}");
    }
    assert!(bench.read("water/bench-sheet.csv").contains("Pb intermediate"));
    assert!(bench.read("water/labels.csv").contains("P-2026-071-01"));
    // What came of it: the truth of tap-2 is 12.6 µg/L of lead, above the limit; that of tap-4 1.62 mg/L of iron.
    let results = bench.run("evaluate 2026-071 --json").json();
    let value = |sample: &str, element: &str| {
        let of = |line: &&serde_json::Value| line["sample"] == sample && line["element"] == element;
        let line = results.iter().find(of).unwrap_or_else(|| panic!("{sample} {element}\n{results:#?}"));
        line["reported"]["result"]["value"].as_f64().unwrap_or_else(|| panic!("{line:#}"))
    };
    assert!((value("tap-2", "Pb") - 12.6).abs() < 1.0);
    assert!((value("tap-5", "Ni") - 66.0).abs() < 5.0);
    assert!((value("tap-4", "Fe") - 1.62).abs() < 0.15);
    // The stock of lead: its orders, and what they would say if it held 15 % less.
    let uses = bench.run("lots Pb-1000-17 --json").json();
    assert_eq!(uses.len(), 1, "{uses:?}");
    assert_eq!((&uses[0]["run"], &uses[0]["order"]), (&"R-2026-071-Pb".into(), &"2026-071".into()));
    let then = bench.run("lots Pb-1000-17 --what-if -15% --json").json();
    for line in &then {
        let (now, then) = (line["value"].as_f64().unwrap(), line["value_then"].as_f64().unwrap());
        let wanted = if line["element"] == "Pb" { 0.85 } else { 1.0 };
        assert!((then / now - wanted).abs() < 1e-6, "{line}");
    }
    assert_eq!(then.len(), 20);
    // Who read the cautions is an entry; a flame needs five points looked at, and no acetylene above its limit.
    let shown = bench.run("start 2026-071").ends(0);
    assert!(shown.out.contains("Never let acetylene leave the regulator"), "{}", shown.out);
    bench.run("start 2026-071 --read --as j.alder").ends(2).says("--looked-at");
    bench.run("start 2026-071 --read --looked-at --acetylene 110 --as j.alder").ends(2).says("acetylene-setpoint");
    let entries = bench.n_entries();
    bench.run("start 2026-071 --read --looked-at --acetylene 80 --as j.alder").ends(0).says("cautions read by j.alder");
    assert_eq!(bench.n_entries(), entries + 1);
    let found = bench.run("entries 2026-071 --what start --details").ends(0);
    assert!(found.out.contains("acetylene 80 kPa"), "{}", found.out);
    let unknown = bench.run("lots Pb-9").ends(2);
    assert!(unknown.told.contains("lots that runs name: Cd-1000-09"), "{}", unknown.told);
}

#[test]
fn a_plan_is_the_same_for_the_same_seed_and_writes_over_nothing() {
    let (one, other) = (with_methods(), with_methods());
    one.run(WRITE).ends(0);
    other.run(WRITE).ends(0);
    for name in ["preparation.toml", "run-order-pb.csv", "bench-sheet.pdf", "labels.pdf"] {
        let read = |bench: &Bench| std::fs::read(bench.path(&format!("water/{name}"))).unwrap();
        assert_eq!(read(&one), read(&other), "{name}");
    }
    one.run(WRITE).ends(2);
    let third = with_methods();
    third.run(&format!("{WRITE} --seed 2")).ends(0);
    assert_ne!(third.read("water/run-order-pb.csv"), one.read("water/run-order-pb.csv"));
}

#[test]
fn what_ends_too_late_is_refused_with_what_would_fit() {
    let bench = with_methods();
    let late = bench.run(&format!("{WRITE} --must-end-by 2026-05-05T13:00:00+02:00")).ends(2);
    assert!(late.told.contains("what fits is"), "{}", late.told);
    assert!(late.told.contains("nothing was written"), "{}", late.told);
    assert!(!bench.path("water/preparation.toml").exists());
    bench.run(&format!("{WRITE} --must-end-by 2026-05-05T20:00:00+02:00")).ends(0);
}

#[test]
fn what_stands_in_the_way_of_a_plan_is_told_with_what_would_work() {
    let told = |edit: &dyn Fn(&Bench)| {
        let bench = with_methods();
        edit(&bench);
        bench.run(WRITE).ends(2).told
    };
    let cases: [(&str, &str, &str, &str); 7] = [
        (
            "water/bench.toml",
            "expires = \"2027-01-31\"\n\n[[lot]]\nid = \"Cd",
            "expires = \"2026-05-01\"\n\n[[lot]]\nid = \"Cd",
            "lot Pb-1000-17 expired on 2026-05-01",
        ),
        ("water/bench.toml", "tray_places = 60", "tray_places = 12", "the tray has 12 places"),
        (
            "water/bench.toml",
            "cup_volume = \"1.5 mL\"",
            "cup_volume = \"0.25 mL\"",
            "take larger cups or fewer replicates",
        ),
        (
            "water/bench.toml",
            "element = \"Pb\"\nmaterial",
            "element = \"Cu\"\nmaterial",
            "add a [[control]] with its value",
        ),
        ("water/bench.toml", "to = \"100 µL\"\nincrement", "too = \"100 µL\"\nincrement", "bench.toml:"),
        (
            "water/order.toml",
            "method = \"fe-water-flame\"",
            "method = \"fe-water\"",
            "draft it with darkline method Fe",
        ),
        (
            "water/method-pb.toml",
            "most_between_checks = 10",
            "most_between_checks = 0",
            "most_between_checks = 1 or more",
        ),
    ];
    for (file, old, new, wanted) in cases {
        let told = told(&|bench| bench.edit(file, old, new));
        assert!(told.contains(wanted), "{wanted}\n{told}");
    }
}

#[test]
fn a_method_is_drafted_compared_and_refused() {
    let bench = Bench::without_record();
    let drafted = bench.run("method lead --matrix \"drinking water\" --limit \"10 µg/L\"").ends(0);
    for wanted in ["format = \"darkline/method/1\"", "characteristic_mass = \"15 pg\"", "ISO 15586", "1250 °C"] {
        assert!(drafted.out.contains(wanted), "{wanted}\n{}", drafted.out);
    }
    bench.write("method.toml", &drafted.out);
    let same = bench.run("method lead --matrix \"drinking water\" --limit \"10 µg/L\" --compare method.toml").ends(0);
    assert!(same.told.contains("0 differences"), "{}", same.told);
    let other = bench.run("method lead --matrix \"drinking water\" --limit \"5 µg/L\" --compare method.toml").ends(0);
    assert!(other.out.contains("limits.injected_volume"), "{}", other.out);
    for (line, wanted) in [
        ("method Zz --matrix water", "Zz is no element of the handbook"),
        ("method Pb --matrix water --limit 10", "write it with its unit"),
        ("method Pb --matrix moondust", "write the limit the method has to serve"),
        (
            "method Pb --matrix water --limit \"10 µg/L\" --technique laser",
            "write flame, furnace, reduced-field or solid",
        ),
    ] {
        let told = bench.run(line).ends(2).told;
        assert!(told.contains(wanted), "{line}\n{told}");
    }
}
