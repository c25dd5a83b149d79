//! Sums of results with some below their quantification limits: both bounds, what the summands share, and the statements.
//!
//! The bounds: Commission Regulation (EU) 2017/644, annex I, there for dioxins; for metals common practice, no source.

use darkline_evaluation::outcome::{Outcome, SumOutcome};
use darkline_metrology::conformity::Statement;
use darkline_record::package::DataPackage;
use serde_json::{Value, json};

use crate::package::{outcome, package};

/// Cadmium and lead in two samples as mass fractions: one portion each, whose mass both elements share. Cadmium is read as 1
/// and 3 mg/L, lead as 3 and 4.5 mg/L; 10 mL of 1 g make that 10 mg/kg a mg/L.
fn two_elements(order: &Value, loq: &str) -> DataPackage {
    let standards = vec![
        (1.0, vec![1.02, 0.99]),
        (2.0, vec![2.01, 1.97]),
        (3.0, vec![3.02, 2.99]),
        (4.0, vec![3.98, 4.03]),
        (5.0, vec![5.02, 4.98]),
    ];
    let method = json!({"result": {
        "kind": "mass-fraction", "unit": "mg/kg", "coverage_factor": "2",
        "quantification_limit": {"mass-fraction": loq}
    }});
    let one = package(&standards, &[vec![1.0, 1.01], vec![3.0, 3.01]], &method);
    let mut whole = serde_json::to_value(&one).unwrap();
    for portion in whole["preparations"][0]["portions"].as_array_mut().unwrap() {
        portion["volume"] = json!({"value": "10 mL"});
        portion["mass"] = json!({"value": "1 g", "spread": {"given": {"u": "0.05 g"}}});
    }
    let mut lead = whole["methods"][0].clone();
    (lead["id"], lead["element"]) = (json!("pb"), json!("Pb"));
    whole["methods"].as_array_mut().unwrap().push(lead);
    whole["order"]["analytes"].as_array_mut().unwrap().push(json!({"element": "Pb", "method": "pb"}));
    let mut run = whole["runs"][0].clone();
    (run["id"], run["method"]) = (json!("R2"), json!("pb"));
    let last = ["3.0", "3.01", "4.5", "4.51"];
    let readings = run["readings"].as_array_mut().unwrap();
    let n = readings.len() - last.len();
    for (reading, response) in readings[n..].iter_mut().zip(last) {
        reading["signal"] = json!({"bare": response});
    }
    whole["runs"].as_array_mut().unwrap().push(run);
    whole["order"]["sums"] = order.clone();
    serde_json::from_value(whole).unwrap()
}

fn limit(at_most: &str, rule: &str) -> Value {
    json!({"at_most": {"mass-fraction": at_most}, "origin": "an invented regulation", "decision_rule": rule})
}

fn by_element(at_most: &str, rule: &str) -> Value {
    json!([{"name": "Cd + Pb", "elements": ["Cd", "Pb"], "limit": limit(at_most, rule)}])
}

fn value(outcome: &Outcome, sample: usize, element: usize) -> (f64, f64) {
    let found = outcome.results[2 * element + sample].reported.found().unwrap();
    (found.value, found.u)
}

fn figures(sum: &SumOutcome) -> [(f64, f64); 2] {
    [&sum.lower, &sum.upper].map(|bound| {
        let value = &bound.as_ref().unwrap().value;
        (value.value, value.u)
    })
}

#[test]
fn both_bounds_are_the_sum_where_everything_is_quantified_and_the_shared_mass_counts_once() {
    let found = outcome(&two_elements(&by_element("100 mg/kg", "guard-band-u"), "2 mg/kg"));
    assert!(found.controls_passed, "{:?}", found.flags);
    assert_eq!(found.sums.len(), 2);
    for (sample, sum) in found.sums.iter().enumerate() {
        let ((cd, u_cd), (pb, u_pb)) = (value(&found, sample, 0), value(&found, sample, 1));
        let [lower, upper] = figures(sum);
        assert_eq!(lower, upper);
        assert!((lower.0 / (cd + pb) - 1.0).abs() < 1e-14);
        // The mass is one, so its 5 % add as they are; all else is apart.
        let (mass, apart) = (0.05 * (cd + pb), |w: f64, u: f64| u * u - 0.05 * 0.05 * w * w);
        let expected = (mass * mass + apart(cd, u_cd) + apart(pb, u_pb)).sqrt();
        assert!((lower.1 / expected - 1.0).abs() < 1e-12, "{lower:?} {expected}");
        assert!(lower.1 > (u_cd * u_cd + u_pb * u_pb).sqrt());
        assert!(sum.below_loq().is_empty());
    }
}

#[test]
fn below_its_limit_a_summand_counts_as_nothing_and_as_the_limit() {
    let found = outcome(&two_elements(&by_element("100 mg/kg", "guard-band-u"), "20 mg/kg"));
    let sum = &found.sums[0];
    let ((_, u_cd), (pb, u_pb)) = (value(&found, 0, 0), value(&found, 0, 1));
    let [lower, upper] = figures(sum);
    assert_eq!(sum.below_loq(), "Cd");
    assert!((lower.0 - pb).abs() < 1e-12 && (lower.1 - u_pb).abs() < 1e-12, "{lower:?}");
    assert!((upper.0 - pb - 20.0).abs() < 1e-12, "{upper:?}");
    assert!(upper.1 > u_pb && upper.1 < u_pb + u_cd, "{upper:?}");
}

#[test]
fn each_bound_is_judged_and_what_they_say_apart_is_inconclusive() {
    use Statement::{Complies, DoesNotComply, Inconclusive};
    // Sample 1: cadmium below 20 mg/kg, lead near 30; bounds near 30 and 50.
    for (at_most, rule, lower, upper, both) in [
        ("60 mg/kg", "simple-acceptance", Complies, Complies, Complies),
        ("25 mg/kg", "simple-acceptance", DoesNotComply, DoesNotComply, DoesNotComply),
        ("40 mg/kg", "simple-acceptance", Complies, DoesNotComply, Inconclusive),
        ("31 mg/kg", "guard-band-u", Inconclusive, DoesNotComply, Inconclusive),
        ("100 mg/kg", "guard-band-u", Complies, Complies, Complies),
    ] {
        let found = outcome(&two_elements(&by_element(at_most, rule), "20 mg/kg"));
        let sum = &found.sums[0];
        let of = |bound: &Option<darkline_evaluation::outcome::BoundOutcome>| {
            bound.as_ref().unwrap().statement.as_ref().unwrap().statement
        };
        assert_eq!((of(&sum.lower), of(&sum.upper), sum.statement), (lower, upper, Some(both)), "{at_most} {rule}");
        assert!(sum.upper.as_ref().unwrap().statement.as_ref().unwrap().probability_of_conformity.is_some());
    }
}

/// Directive 84/500/EEC, Article 2(3): vessel and lid are tested apart, and their sum is held against the limit.
#[test]
fn the_parts_of_a_whole_are_added_over_samples() {
    let order = json!([{
        "name": "vessel and lid", "elements": ["Cd"], "parts": ["S1", "S2"],
        "limit": limit("50 mg/kg", "simple-acceptance")
    }]);
    let found = outcome(&two_elements(&order, "2 mg/kg"));
    let [sum] = &found.sums[..] else { panic!("{:?}", found.sums) };
    let [lower, _] = figures(sum);
    let ((one, u_one), (other, u_other)) = (value(&found, 0, 0), value(&found, 1, 0));
    assert!((lower.0 - one - other).abs() < 1e-12);
    // The two portions have a mass of their own each; the calibration is one, so their sum is more than its parts apart.
    assert!(lower.1 > (u_one * u_one + u_other * u_other).sqrt());
    assert_eq!(sum.of(), "S1 + S2");
    let covariance = found.correlations().iter().find(|pair| pair.element.to_string() == "Cd").unwrap().covariance;
    let expected = (u_one * u_one + u_other * u_other + 2.0 * covariance).sqrt();
    assert!((lower.1 / expected - 1.0).abs() < 1e-12);
}

#[test]
fn a_summand_that_is_not_measured_leaves_no_sum() {
    let mut package = two_elements(&by_element("100 mg/kg", "guard-band-u"), "2 mg/kg");
    package.runs.pop();
    let found = outcome(&package);
    assert!(found.sums.iter().all(|sum| sum.lower.is_none() && sum.upper.is_none() && sum.statement.is_none()));
    assert_eq!(found.sums[0].missing(), "Pb");
}

#[test]
fn the_second_trial_takes_the_factor_of_the_effective_degrees_of_freedom_for_sums_too() {
    let mut package = two_elements(&by_element("100 mg/kg", "guard-band-u"), "2 mg/kg");
    package.edition = darkline_record::identity::Edition(900);
    let found = outcome(&package);
    let bound = found.sums[0].lower.as_ref().unwrap();
    assert!(bound.value.coverage_factor > 2.0, "{}", bound.value.coverage_factor);
}

#[test]
fn an_order_without_sums_has_the_bytes_it_had() {
    let plain = package(&vec![(1.0, vec![1.0]), (2.0, vec![2.0]), (3.0, vec![3.01])], &[vec![1.5]], &json!({}));
    assert!(!serde_json::to_string(&plain.order).unwrap().contains("sums"));
    assert!(!serde_json::to_string(&outcome(&plain)).unwrap().contains("sums"));
}
