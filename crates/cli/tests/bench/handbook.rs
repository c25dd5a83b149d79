//! Looking things up: an element in full, limits of a matrix on a day, the element of a line, and what is not there.

use std::path::Path;

use crate::program::run;

/// What is printed about a question that has an answer.
fn look_up(line: &str) -> String {
    run(Path::new("."), line).ends(0).out
}

#[test]
fn an_element_is_shown_in_full_with_the_source_of_each_figure() {
    insta::assert_snapshot!(look_up("handbook cadmium --on 2026-11-25"));
}

#[test]
fn limits_are_those_of_the_day_asked_for() {
    let before = look_up("handbook Pb --regulation 2020/2184 --on 2036-01-11");
    let after = look_up("handbook Pb --regulation 2020/2184 --on 2036-01-12");
    // Directive (EU) 2020/2184, Annex I part B: lead 10 µg/L until 11 January 2036, 5 µg/L from then on.
    let in_force = |text: &str| text.split("Not in force").next().unwrap().to_owned();
    assert!(in_force(&before).contains("Pb  10  µg/L"), "{before}");
    assert!(in_force(&after).contains("Pb  5  µg/L"), "{after}");
    insta::assert_snapshot!(after);
}

#[test]
fn a_wavelength_finds_its_element_and_what_lies_beside_it() {
    insta::assert_snapshot!(look_up("handbook --line 324.7"));
}

#[test]
fn what_the_handbook_does_not_hold_is_told_with_what_it_does() {
    let mut text = String::new();
    for line in [
        "handbook leed",
        "handbook --line 500.123",
        "handbook Pb --line 500",
        "handbook --matrix moonlight",
        "handbook --on yesterday Pb",
    ] {
        let ended = run(Path::new("."), line).ends(2);
        text.push_str(&format!("$ darkline {line}\n{}\n", ended.told));
    }
    insta::assert_snapshot!(text);
}

#[test]
fn every_element_is_one_json_object_and_one_page() {
    let list = look_up("handbook --json");
    assert_eq!(list.lines().count(), 47);
    for line in list.lines() {
        let row: serde_json::Value = serde_json::from_str(line).unwrap();
        let symbol = row["symbol"].as_str().unwrap();
        let element: serde_json::Value = serde_json::from_str(&look_up(&format!("handbook {symbol} --json"))).unwrap();
        assert_eq!(element["element"]["name"], row["name"]);
        // Every figure names a publication that the same object describes.
        for figure in element["element"]["value"].as_array().unwrap() {
            let source = figure["source"].as_str().unwrap();
            assert!(element["sources"][source]["title"].is_string(), "{symbol}: {source}");
        }
    }
}
