//! ISO/IEC 17025:2017, 7.8.2.1: each of the sixteen items has its place, and a report that lacks one is refused by name.
//!
//! The items are read from `reference/records/iso17025.toml` by their letters; their words there are our own.

use crate::{order, outside_reader};
use darkline_report::test_report::{Finding, Sampling, TestReport, Uncertainty};
use darkline_report::{REPORT_ITEMS, ReportError, render};
use std::fs;

fn items() -> Vec<toml::Table> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../reference/records/iso17025.toml");
    let reference: toml::Table = fs::read_to_string(path).unwrap().parse().unwrap();
    reference["certificate_item"].as_array().unwrap().iter().map(|item| item.as_table().unwrap().clone()).collect()
}

/// What a reader finds for each item in the order of `examples/millrace_order`.
fn found_for(letter: &str) -> &'static [&'static str] {
    match letter {
        "a" => &["Test report 2026-031-2"],
        "b" => &["Millrace Laboratory", "3 Weir Lane, Lower Millrace", "reports@millrace.example"],
        "c" => &["Place of work dry mass: Millrace field station, Upper Weir"],
        "d" => &["2026-031-2", "page 1 of 4", "page 4 of 4", "— End of test report 2026-031-2 —"],
        "e" => {
            &["Customer Parish of Lower Millrace", "1 Bridge Street, Lower Millrace", "clerk@millrace-parish.example"]
        }
        "f" => &["cadmium-furnace, version 7", "dry-mass, version 3"],
        "g" => &[
            "description, from the customer",
            "well-04",
            "Well behind the mill, cold tap",
            "condition on receipt",
            "210 g, moist",
        ],
        "h" => &["Received", "2026-03-09T11:20:00+01:00", "taken, from the customer", "2026-03-08"],
        "i" => &["Measured", "2026-03-12T09:41:07+01:00 to 2026-03-12T13:05:52+01:00"],
        "j" => &["Issued", "2026-03-14T09:30:00+01:00"],
        "k" => &["The customer took the samples; the results apply to the samples as received."],
        "l" => &["The results relate only to the items tested."],
        "m" => {
            &["Mass concentration, in µg/L", "0.41", "0.04", "Mass fraction, in mg/kg, referred to dry mass", "1.84"]
        }
        "n" => &["Deviations from the methods", "silt-02 was digested from 0.1 g instead of 0.5 g"],
        "o" => &["Authorised by", "M. Rowan, reviewer reviewed and authorised", "2026-03-14T09:12:40+01:00"],
        "p" => &["measured by an external provider: Weir Valley Analysts, report W-204"],
        "note" => &["This report may be reproduced only in full, except with the written approval of the laboratory."],
        _ => &[],
    }
}

#[test]
fn every_item_of_7_8_2_1_is_found_in_the_text_of_a_filled_report() {
    let pdf = render(&order::report(), order::RECORD).unwrap();
    let text = outside_reader::text(&pdf);
    let items = items();
    assert_eq!(items.len(), 17, "the items a to p and the note");
    for item in items {
        let letter = item["id"].as_str().unwrap();
        let wanted = found_for(letter);
        assert!(!wanted.is_empty(), "item {letter}, {}, has no place named", item["item"]);
        for wanted in wanted {
            assert!(text.contains(wanted), "item {letter}: {wanted:?} is not in\n{text}");
        }
    }
}

#[test]
fn our_items_carry_the_letters_and_words_of_the_reference() {
    let ours: Vec<_> = REPORT_ITEMS.iter().map(|item| (item.letter.to_string(), item.text.to_owned())).collect();
    let text = |item: &toml::Table, key: &str| item[key].as_str().unwrap().to_owned();
    let theirs: Vec<_> = items().iter().map(|item| (text(item, "id"), text(item, "item"))).take(16).collect();
    assert_eq!(ours, theirs);
}

/// The test `certificate-completeness` of the reference asks for sixteen refusals.
///
/// DIFFERENCE: a and l are words of the layout and cannot be taken out; c is only printed where it applies and n prints "None."
/// when nothing is listed, so that these two have an empty form that is complete. Twelve items can be missing.
#[test]
fn a_report_without_an_item_is_refused_and_the_item_named() {
    type Without = fn(&mut TestReport);
    let without: [(char, Without); 15] = [
        ('b', |report| report.laboratory.name.clear()),
        ('b', |report| report.laboratory.lines.clear()),
        ('d', |report| report.number = " ".to_owned()),
        ('e', |report| report.customer.lines = vec![String::new()]),
        ('f', |report| report.methods.clear()),
        ('g', |report| report.samples.retain(|sample| sample.id != "well-05")),
        ('h', |report| report.received.clear()),
        ('i', |report| report.measured.last.clear()),
        ('j', |report| report.issued.clear()),
        ('k', |report| report.sampling = Sampling::Laboratory { plan: "P-4".to_owned(), method: String::new() }),
        ('m', |report| report.results[0].unit.clear()),
        ('m', |report| report.results.clear()),
        ('n', |report| report.deviations.push("\n".to_owned())),
        ('o', |report| report.signatures[1].name.clear()),
        ('p', |report| report.results[5].external = Some(String::new())),
    ];
    for (letter, take) in without {
        let mut report = order::report();
        take(&mut report);
        match render(&report, order::RECORD) {
            Err(ReportError::Incomplete { missing, .. }) => {
                assert!(missing.iter().all(|missing| missing.item.letter == letter), "without {letter}: {missing:?}");
            }
            other => panic!("without {letter}: {:?}", other.map(|pdf| pdf.len())),
        }
    }
}

#[test]
fn the_refusal_says_what_is_missing_and_where() {
    let mut report = order::report();
    report.results[2].unit.clear();
    let refusal = render(&report, order::RECORD).unwrap_err().to_string();
    assert_eq!(refusal, "report 2026-031-2 lacks item m, results with units: the unit of cadmium, total in pond-01");
}

/// ISO/IEC 17025:2017, 7.8.3.1 c and 7.8.6.2.
#[test]
fn a_value_needs_its_uncertainty_or_a_reason_and_a_statement_its_rule() {
    let mut report = order::report();
    report.results[5].finding =
        Finding::Value { value: "32".to_owned(), uncertainty: Uncertainty::NotStated { because: String::new() } };
    report.results[0].limit.as_mut().unwrap().rule.clear();
    let missing: Vec<_> = report.missing_items().into_iter().map(|missing| missing.what).collect();
    assert_eq!(
        missing,
        ["the decision rule of cadmium, total in well-04", "the reason why lead, total in silt-01 has no uncertainty"]
    );
}

#[test]
fn a_trial_says_so_on_every_page_and_a_released_report_on_none() {
    let words = "Trial: issued with a procedure that has not been released";
    let mut report = order::report();
    let trial = outside_reader::pages(&render(&report, order::RECORD).unwrap());
    assert!(trial.len() > 2 && trial.iter().all(|page| page.contains(words)));
    report.trial = false;
    let released = outside_reader::text(&render(&report, order::RECORD).unwrap());
    assert!(!released.contains("Trial"));
}

#[test]
fn the_foot_of_every_page_has_order_page_time_and_the_root_of_the_tree() {
    let pages = outside_reader::pages(&render(&order::report(), order::RECORD).unwrap());
    let last = pages.len();
    for (place, page) in pages.iter().enumerate() {
        for wanted in [
            "Order 2026-031".to_owned(),
            format!("page {} of {last}", place + 1),
            "2026-03-14T09:30:00+01:00 · tree a3f4c19be2d0".to_owned(),
            "Local rules and qualified judgement prevail".to_owned(),
        ] {
            assert!(page.contains(&wanted), "page {} lacks {wanted:?}: {page}", place + 1);
        }
    }
}
