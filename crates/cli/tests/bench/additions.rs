//! Standard additions from files to results: the cadmium example with additions to the leachate in each of the four forms.

use crate::laboratory::{Bench, CADMIUM, Stage};

/// The leachate holds 0.26 mg/L; 0.1 µg, 0.2 µg and 0.3 µg are added to 1 mL of it, in 0.05 mL each where volume counts.
fn with(form: &str) -> Bench {
    let bench = Bench::at(Stage::People);
    bench.edit(
        "cadmium/method.toml",
        "weights = \"equal\"",
        &format!("weights = \"equal\"\nof_samples = \"standard additions\"\nadditions = \"{form}\""),
    );
    let steps = if form == "single" { 1 } else { 3 };
    let (mut portions, mut rows, mut readings) = (
        bench.read("cadmium/preparation.toml"),
        bench.read("cadmium/run-order.csv"),
        bench.read("cadmium/readings.csv"),
    );
    for step in 1..=steps {
        let grown = 0.05 * f64::from(step);
        portions.push_str(&format!(
            "\n[[portion]]\nid = \"P1-{n}\"\nrole = \"spike\"\nof = \"P1-1\"\nadded = {{ value = \"0.{step} µg\", u = \"0.0005 µg\", \
             shared = \"standard\" }}\nvolume = {{ value = \"1.00 mL\", u = \"0.002 mL\" }}\n",
            n = step + 1
        ));
        if form == "successive" {
            portions.push_str(&format!("added_volume = \"{grown} mL\"\n"));
        }
        rows.push_str(&format!("{row},{row},dish-1 + {step},portion,,P1,P1-{n},1,2\n", row = 6 + step, n = step + 1));
        // 0.25 an absorbance per mg/L, and less of it in a solution that has grown; a scatter of a few 0.0001.
        let full = 0.0087 + 0.2410 * (0.26 + 0.1 * f64::from(step)) - 0.0013;
        let seen = if form == "successive" { full / (1.0 + grown) } else { full };
        for (replicate, off) in [(1, -0.0004), (2, 0.0003)] {
            let at = format!("2026-03-12T10:{:02}:{}0+01:00", 5 + step, replicate);
            readings.push_str(&format!("{row},{replicate},{at},{:.5}\n", seen + off, row = 6 + step));
        }
    }
    bench.write("cadmium/preparation.toml", portions);
    bench.write("cadmium/run-order.csv", rows);
    bench.write("cadmium/readings.csv", readings);
    bench
}

#[test]
fn each_form_of_standard_additions_reads_the_leachate() {
    for form in ["constant volume", "plain", "successive", "single"] {
        let bench = with(form);
        bench.run("open cadmium --as j.alder").ends(0);
        bench.run(&format!("import {CADMIUM} cadmium/readings.csv --as j.alder")).ends(0);
        let json = bench.run(&format!("evaluate {CADMIUM} --json")).ends(0).json();
        let result = json.iter().find(|line| line["line"] == "result").unwrap();
        let (value, u) = (
            result["reported"]["result"]["value"].as_f64().unwrap(),
            result["reported"]["result"]["u"].as_f64().unwrap(),
        );
        // 0.0714 over the slope 0.241: 0.296 mg/L, times 0.332 L over 5.73 dm².
        let released = 0.0714 / 0.241 * 0.332 / 5.73;
        // A single addition of 0.1 mg/L raises 0.071 by 0.024, each known to 0.0055/√2 as the method states.
        let most = if form == "single" { 0.4 } else { 0.15 };
        assert!((value - released).abs() < 2.0 * u && u < most * value, "{form}: {value} {released} {u}");
        let explained = bench.run(&format!("explain {CADMIUM} dish-1")).ends(0);
        for told in ["c_added(dish-1 + 1)", "c(dish-1)"] {
            assert!(explained.out.contains(told), "{form}: {told}\n{}", explained.out);
        }
    }
}

#[test]
fn a_form_of_additions_is_told_where_it_cannot_stand() {
    let bench = Bench::at(Stage::People);
    bench.edit("cadmium/method.toml", "weights = \"equal\"", "weights = \"equal\"\nadditions = \"single\"");
    let ran = bench.run("open cadmium --as j.alder --dry-run");
    assert_eq!(ran.code, Some(2));
    assert!(
        ran.told.contains("samples are read from the calibration function, which has no additions"),
        "{}",
        ran.told
    );
    let bench = with("in rows");
    let ran = bench.run("open cadmium --as j.alder --dry-run");
    assert!(ran.told.contains("\"in rows\" is no form of standard additions"), "{}", ran.told);
}
