//! Twins: JSON and CSV of a page have its figures, to the last digit of the outcome.

use darkline_evaluation::outcome::Reported;

use crate::bench::{Bench, ORDER, laboratory};

#[test]
fn results_are_those_of_the_outcome_to_the_last_bit() {
    let bench = Bench::measured();
    let by = bench.sign_in("m.rowan");
    let outcome = laboratory(&bench.trail()).evaluate(&ORDER.parse().unwrap()).unwrap().outcome;
    let json = bench.get(&format!("/order/{ORDER}.json"), Some(&by)).json();
    assert_eq!(json["schema"], "darkline/page/1");
    let rows = json["tables"]["results"]["rows"].as_array().unwrap();
    assert_eq!(rows.len(), outcome.results.len());
    let csv = bench.get(&format!("/order/{ORDER}.csv?table=results"), Some(&by)).text();
    for (row, result) in rows.iter().zip(&outcome.results) {
        assert_eq!(row["sample"], result.sample.as_str());
        let Reported::Value { result } = &result.reported else { continue };
        assert_eq!(row["value"].as_f64(), Some(result.value));
        assert_eq!(row["expanded_u"].as_f64(), Some(result.expanded_u));
        assert!(csv.contains(&format!("{},{}", result.value, result.expanded_u)), "{csv}");
    }
}

#[test]
fn conformity_is_not_stated_before_all_controls_have_passed() {
    let bench = Bench::open();
    bench.import(14);
    let by = bench.sign_in("j.alder");
    for path in [format!("/order/{ORDER}"), format!("/order/{ORDER}.json"), format!("/order/{ORDER}/review")] {
        let text = bench.get(&path, Some(&by)).text();
        assert!(!text.contains("omplies") && !text.contains("does not comply"), "{path}");
    }
}

#[test]
fn a_live_page_gets_what_came_since_and_each_reading_once() {
    let bench = Bench::open();
    bench.import(5);
    let by = bench.sign_in("j.alder");
    let run = laboratory(&bench.trail()).state().runs.keys().next().unwrap().to_string();
    let at = format!("/order/{ORDER}/run/{run}");
    let page = bench.get(&at, Some(&by)).text();
    assert!(page.contains("id=\"reading-5\"") && !page.contains("id=\"reading-6\""));
    assert!(page.contains("data-readings=\"5\""), "{page}");
    let since = |n: usize| bench.get(&format!("{at}/since?reading={n}"), Some(&by)).json();
    assert_eq!((since(5)["rows"].as_str(), since(5)["says"].as_str()), (Some(""), Some("")));
    let table = crate::bench::readings(8);
    let rest: String =
        table.text.lines().take(1).chain(table.text.lines().skip(6)).map(|line| format!("{line}\n")).collect();
    laboratory(&bench.trail())
        .import(
            &crate::bench::person("j.alder"),
            &ORDER.parse().unwrap(),
            None,
            darkline_laboratory::act::Attached { file_name: "rest.csv".into(), text: rest },
            None,
            &mut |_| (),
        )
        .unwrap();
    let told = since(5);
    let rows = told["rows"].as_str().unwrap();
    assert_eq!((rows.matches("<tr").count(), told["readings"].as_u64()), (3, Some(8)));
    assert!(rows.contains("id=\"reading-6\"") && !rows.contains("id=\"reading-5\""));
    assert!(told["says"].as_str().unwrap().starts_with("3 new readings."), "{told}");
    // More than there are is no fault.
    assert_eq!(since(10_000)["rows"], "");
}
