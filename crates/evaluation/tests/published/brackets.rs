//! Bracketing: portions read between standards measured before and after them.

use darkline_calibration::bracketing::{Bracket, Drift, OneStandard};
use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_record::package::DataPackage;
use serde_json::json;

use crate::package::{Standards, case, number, numbers, outcome, package, recomputed, singly, solution};

/// A run with the minute of each reading: standards one by one, then unknowns.
fn timed(standards: &Standards, unknowns: &[Vec<f64>], minutes: &[f64], u: f64, calibration: &[&str]) -> DataPackage {
    let [model, of_samples] = calibration else { panic!("a function and a way to read samples") };
    let method = json!({
        "calibration": {"model": model, "weights": "equal", "of_samples": of_samples},
        "replicates": {"n": 1, "sd_at_zero": u.to_string(), "rsd": "0 %"}
    });
    let mut package = package(standards, unknowns, &method);
    for (reading, minute) in package.runs[0].readings.iter_mut().zip(minutes) {
        let (whole, seconds) = (minute.floor(), (minute - minute.floor()) * 60.0);
        reading.at = format!("2026-03-12T10:{whole:02}:{seconds:02}+01:00").parse().unwrap();
    }
    package
}

const TWO: [&str; 2] = ["straight-line", "bracket"];
const ONE: [&str; 2] = ["through-origin", "one-standard"];

fn amount(outcome: &Outcome, sample: &str) -> (f64, f64) {
    let solution = solution(outcome, sample);
    let amount = solution.amount.unwrap_or_else(|| panic!("{sample}: {:?}", outcome.flags));
    (amount, solution.u_amount.unwrap())
}

fn why_held(outcome: &Outcome, sample: usize) -> String {
    let Reported::Withheld { because, .. } = &outcome.results[sample].reported else {
        panic!("{:?}", outcome.results[sample].reported)
    };
    assert_eq!(because.rule.to_string(), "amount-not-read");
    let flag = outcome.flags.iter().find(|flag| flag.flag.id == *because).unwrap();
    flag.flag.evidence.words("why").to_owned()
}

fn concentration(milligrams_per_litre: f64) -> MassConcentration {
    MassConcentration::unit("mg/L").unwrap().of(milligrams_per_litre)
}

fn drift(minutes: &[f64], responses: &[f64]) -> Drift {
    let at: Vec<(f64, Response)> =
        minutes.iter().zip(responses).map(|(minute, response)| (minute * 60.0, Response::from_si(*response))).collect();
    Drift::of(&at).unwrap()
}

/// M. S. Epstein, course material on atomic absorption: calcium in serum by bracketing; recomputed for the pack. The source reads
/// each figure once; here standards stand before and after the sample and the sample is read twice, each with √2 times the standard
/// uncertainty, which is the same in the middle.
#[test]
fn calcium_in_serum_comes_out_with_its_uncertainty() {
    let case = case("calibration/bracketing-calcium-serum.toml");
    for (place, bracket) in case["data"]["brackets"].as_array().unwrap().iter().enumerate() {
        let of = |key: &str| number(&bracket[key]);
        let standards = singly(
            &[of("c_low"), of("c_high"), of("c_high"), of("c_low")],
            &[of("y_low"), of("y_high"), of("y_high"), of("y_low")],
        );
        let unknown = vec![of("y_sample"), of("y_sample")];
        let u = of("u_y") * 2.0_f64.sqrt();
        let found = outcome(&timed(&standards, &[unknown], &[0.0, 1.0, 4.0, 5.0, 2.0, 3.0], u, &TWO));
        let (value, u) = amount(&found, "S1");
        recomputed(&case, &format!("c_{}", place + 1), value, 1e-12);
        recomputed(&case, &format!("u_{}", place + 1), u, 1e-9);
    }
}

/// The same source, a series constructed for the pack: sensitivity falls by 1 % a reading.
///
/// DIFFERENCE: the rule of the pack takes the nearest reading of a standard where there is none on the other side (c_1, c_3); here
/// such a portion is held, for nothing says what the sensitivity did in between.
#[test]
fn drift_is_taken_out_and_a_portion_with_an_open_bracket_is_held() {
    let case = case("calibration/bracketing-drift.toml");
    let (signals, places) = (numbers(&case["data"]["signal"]), numbers(&case["data"]["position"]));
    let (low, high) = (number(&case["data"]["c_low"]), number(&case["data"]["c_high"]));
    let (mut standards, mut unknowns) = (Standards::new(), Vec::new());
    let (mut minutes, mut minutes_of_unknowns) = (Vec::new(), Vec::new());
    for ((kind, signal), place) in case["data"]["type"].as_array().unwrap().iter().zip(signals).zip(places) {
        match kind.as_str().unwrap() {
            "sample" => {
                unknowns.push(vec![signal]);
                minutes_of_unknowns.push(place);
            }
            standard => {
                standards.push((if standard == "low" { low } else { high }, vec![signal]));
                minutes.push(place);
            }
        }
    }
    minutes.extend(minutes_of_unknowns);
    let found = outcome(&timed(&standards, &unknowns, &minutes, 2.0, &TWO));
    recomputed(&case, "c_2", amount(&found, "S2").0, 1e-12);
    let open = "a bracket needs two standards measured both before and after the portion, and one was";
    assert_eq!((why_held(&found, 0).as_str(), why_held(&found, 2).as_str()), (open, open));
    assert!(solution(&found, "S1").amount.is_none() && solution(&found, "S3").amount.is_none());
}

#[test]
fn value_and_u_are_those_of_the_library_anywhere_in_a_drifting_bracket() {
    let standards = singly(&[1.0, 2.0, 1.0, 2.0], &[0.20, 0.40, 0.23, 0.46]);
    let minutes = [0.0, 1.0, 7.0, 9.0];
    let u = 0.003;
    for (minute, response) in [(1.5, 0.31), (3.0, 0.23), (6.0, 0.43)] {
        let at: Vec<f64> = minutes.iter().copied().chain([minute]).collect();
        let found = outcome(&timed(&standards, &[vec![response]], &at, u, &TWO));
        let (low, high) = (drift(&[0.0, 7.0], &[0.20, 0.23]), drift(&[1.0, 9.0], &[0.40, 0.46]));
        let bracket = Bracket::at((concentration(1.0), &low), (concentration(2.0), &high), minute * 60.0);
        let (response, u) = (Response::from_si(response), Response::from_si(u));
        let u_of = |drift: &Drift| drift.at(minute * 60.0).u_response(u);
        let expected = bracket.amount(response).unwrap().amount;
        let u_expected = bracket.u_amount_of(response, u, u_of(&low), u_of(&high)).unwrap();
        let (value, u) = amount(&found, "S1");
        assert!((concentration(value).si() / expected.si() - 1.0).abs() < 1e-12, "{value}");
        assert!((concentration(u).si() / u_expected.si() - 1.0).abs() < 1e-9, "{u}");
    }
}

/// First order (GUM 5.1.2) on c·y/y_standard: relative standard uncertainties of both responses and of the stock add in squares.
#[test]
fn one_standard_reads_by_proportion_with_what_its_stock_brings() {
    let standards = singly(&[2.0, 2.0], &[0.40, 0.44]);
    let mut package = timed(&standards, &[vec![0.30]], &[0.0, 4.0, 1.0], 0.003, &ONE);
    package.methods[0].calibration.u_stock = Some(serde_json::from_value(json!("1 %")).unwrap());
    let (value, u) = amount(&outcome(&package), "S1");
    let at = drift(&[0.0, 4.0], &[0.40, 0.44]).at(60.0);
    let standard = OneStandard { amount: concentration(2.0), response: at.response };
    let expected = standard.amount(Response::from_si(0.30)).unwrap();
    assert!((concentration(value).si() / expected.si() - 1.0).abs() < 1e-12, "{value}");
    let u_standard = at.u_response(Response::from_si(0.003)).si() / at.response.si();
    let relative = ((0.003_f64 / 0.30) * (0.003 / 0.30) + u_standard * u_standard + 0.01 * 0.01).sqrt();
    assert!((u / value / relative - 1.0).abs() < 1e-9, "{u}");
}

#[test]
fn a_portion_outside_its_standards_is_held_and_the_others_go_on() {
    let standards = singly(&[1.0, 2.0, 1.0, 2.0], &[0.20, 0.40, 0.20, 0.40]);
    let minutes = [0.0, 1.0, 8.0, 9.0, 3.0, 4.0, 10.0];
    let found = outcome(&timed(&standards, &[vec![0.41], vec![0.30], vec![0.30]], &minutes, 0.001, &TWO));
    assert_eq!(why_held(&found, 0), "the response 0.41 lies outside the bracket 0.2 to 0.4");
    assert!((amount(&found, "S2").0 - 1.5).abs() < 1e-12);
    assert!(matches!(&found.results[1].reported, Reported::Value { .. }), "{:?}", found.results[1].reported);
    let open = "a bracket needs two standards measured both before and after the portion, and none was";
    assert_eq!(why_held(&found, 2), open);
    let standards = singly(&[2.0, 2.0], &[0.40, 0.40]);
    let found = outcome(&timed(&standards, &[vec![0.30]], &[0.0, 1.0, 2.0], 0.001, &ONE));
    assert_eq!(why_held(&found, 0), "no standard was measured both before and after the portion");
}

#[test]
fn a_bracket_that_standards_still_to_be_measured_may_close_is_awaited() {
    let standards = singly(&[1.0, 2.0, 1.0, 2.0, 2.0], &[0.20, 0.40, 0.20, 0.40, 0.40]);
    let mut package = timed(&standards, &[vec![0.30]], &[0.0, 1.0, 2.0, 3.0, 6.0, 5.0], 0.001, &TWO);
    package.runs[0].readings.remove(4);
    let found = outcome(&package);
    assert!(solution(&found, "S1").amount.is_none());
    assert!(!found.flags.iter().any(|flag| flag.flag.id.rule.to_string() == "amount-not-read"), "{:?}", found.flags);
}

/// Each visit of the portion is read in its own bracket, and each reading counts alike.
#[test]
fn a_row_that_joins_later_is_read_in_the_bracket_of_its_own_place() {
    let standards = singly(&[1.0, 2.0, 1.0, 2.0, 1.0, 2.0], &[0.20, 0.40, 0.20, 0.40, 0.30, 0.60]);
    let minutes = [0.0, 1.0, 4.0, 5.0, 10.0, 11.0, 2.0, 7.0];
    let mut package = timed(&standards, &[vec![0.30], vec![0.36]], &minutes, 0.001, &TWO);
    let rows = &mut package.runs[0].legs[0].rows;
    rows[7].holds = rows[6].holds.clone();
    rows[7].follows = Some(serde_json::from_value(json!({"joins": 7})).unwrap());
    package.order.samples.truncate(1);
    let low = drift(&[4.0, 10.0], &[0.20, 0.30]);
    let high = drift(&[5.0, 11.0], &[0.40, 0.60]);
    let later = Bracket::at((concentration(1.0), &low), (concentration(2.0), &high), 7.0 * 60.0);
    let later = later.amount(Response::from_si(0.36)).unwrap().amount;
    let found = amount(&outcome(&package), "S1").0;
    let expected = f64::midpoint(concentration(1.5).si(), later.si());
    assert!((concentration(found).si() / expected - 1.0).abs() < 1e-12, "{found}");
}

#[test]
fn a_method_blank_is_read_from_the_function_below_every_bracket() {
    let standards = singly(&[1.0, 2.0, 1.0, 2.0], &[0.20, 0.40, 0.20, 0.40]);
    let mut package = timed(&standards, &[vec![0.30], vec![0.02]], &[0.0, 1.0, 5.0, 6.0, 3.0, 4.0], 0.001, &TWO);
    package.preparations[0].portions[1].role = serde_json::from_value(json!({"for": "method-blank"})).unwrap();
    package.order.samples.truncate(1);
    let found = outcome(&package);
    assert!((amount(&found, "S2").0 - 0.1).abs() < 1e-9, "{:?}", amount(&found, "S2"));
    assert!((amount(&found, "S1").0 - 1.5).abs() < 1e-12);
}
