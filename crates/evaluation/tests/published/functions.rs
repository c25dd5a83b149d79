//! Calibration functions, weights and the choice between functions.

use darkline_evaluation::outcome::Reported;
use darkline_record::decision::{Decision, Reason};
use darkline_record::method::CalibrationModel;
use serde_json::json;

use crate::package::{
    agrees, calibration, case, decided, numbers, outcome, package, recomputed, singly, solution, with_u_of_amounts,
};

/// NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1.10: a quadratic read back, with its standard uncertainty by the
/// delta method (recomputed for the pack).
#[test]
fn a_quadratic_is_read_back_as_in_the_nist_handbook() {
    let case = case("calibration/quadratic-loadcell-inverse.toml");
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../reference/calibration")
        .join(case["data"]["file"].as_str().unwrap());
    let text = std::fs::read_to_string(file).unwrap();
    let points: Vec<(f64, f64)> = text
        .lines()
        .filter_map(|line| line.split_once(','))
        .filter_map(|(x, y)| Some((x.trim().parse().ok()?, y.trim().parse().ok()?)))
        .collect();
    assert_eq!(points.len(), 40);
    let standards = points.iter().map(|&(x, y)| (x, vec![y])).collect();
    let method = json!({"calibration": {"model": "quadratic", "weights": "equal"}});
    let found = outcome(&package(&standards, &[vec![1.239_722]], &method));
    let curve = calibration(&found);
    assert_eq!(curve.line, None);
    let parameter = |name: &str| curve.parameters.iter().find(|parameter| parameter.name == name).unwrap();
    agrees(&case, "b0", parameter("intercept").value);
    agrees(&case, "b1", parameter("slope").value);
    agrees(&case, "b2", parameter("curvature").value);
    assert_eq!((parameter("slope").unit.as_str(), parameter("curvature").unit.as_str()), ("L/mg", "L²/mg²"));
    recomputed(&case, "s_b2", parameter("curvature").u.unwrap(), 1e-7);
    let unknown = solution(&found, "S1");
    agrees(&case, "x0_1", unknown.amount.unwrap());
    recomputed(&case, "x0_1", unknown.amount.unwrap(), 1e-7);
    recomputed(&case, "se_x0_1", unknown.u_amount.unwrap(), 1e-7);
}

/// ISO/TS 28037:2010, clause 6, first example (page 13): standard uncertainties that count as known.
#[test]
fn given_uncertainties_are_not_scaled_by_the_residuals() {
    let case = case("calibration/wls-iso28037-equal.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let given = json!([{"amount": "1 mg/L", "u": "0.5"}, {"amount": "6 mg/L", "u": "0.5"}]);
    let method = json!({"calibration": {"model": "straight-line", "weights": {"given-u": {"levels": given}}}});
    let found = outcome(&package(&singly(&x, &y), &[vec![10.5]], &method));
    let line = calibration(&found).line.as_ref().unwrap();
    agrees(&case, "a", line.intercept);
    agrees(&case, "b", line.slope);
    agrees(&case, "u_a", line.u_intercept);
    agrees(&case, "u_b", line.u_slope);
    agrees(&case, "x0_1", solution(&found, "S1").amount.unwrap());
    agrees(&case, "u_x0_1", solution(&found, "S1").u_amount.unwrap());
    recomputed(&case, "u_x0_1", solution(&found, "S1").u_amount.unwrap(), 1e-9);
}

/// ISO/TS 28037:2010, clause 7, example (page 21): uncertain in amount and response; the standard's own weights.
#[test]
fn amounts_may_be_as_uncertain_as_responses() {
    let case = case("calibration/eiv-iso28037.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let u: Vec<serde_json::Value> = x
        .iter()
        .zip(numbers(&case["data"]["u_y"]))
        .map(|(x, u)| json!({"amount": format!("{x} mg/L"), "u": u.to_string()}))
        .collect();
    let method = json!({"calibration": {
        "model": "straight-line", "weights": {"given-u": {"levels": u}}, "amounts": "uncertain"}});
    let found = outcome(&with_u_of_amounts(&singly(&x, &y), &numbers(&case["data"]["u_x"]), &[vec![8.0]], &method));
    let line = calibration(&found).line.as_ref().unwrap();
    agrees(&case, "intercept", line.intercept);
    agrees(&case, "slope", line.slope);
    // What reaches the amount is propagated through the estimator: a reading without scatter of its own has
    // u² = (u(a)² + 2·x·cov(a, b) + x²·u(b)²)/b²; the reading adds u(y)²/b².
    let (b, x0) = (line.slope, solution(&found, "S1").amount.unwrap());
    let of = |key: &str| case["recomputed"][key].as_float().unwrap();
    let (u_a, u_b) = (of("u_intercept_prop"), of("u_slope_prop"));
    let of_line = u_a * u_a + 2.0 * x0 * of("cov_prop") + x0 * x0 * u_b * u_b;
    // 3.43 mg/L stands between the knots 2.9 mg/L (0.2) and 4.0 mg/L (0.4).
    let u_reading = 0.2 + 0.2 * (x0 - 2.9) / 1.1;
    let expected = (of_line + u_reading * u_reading).sqrt() / b;
    let u = solution(&found, "S1").u_amount.unwrap();
    assert!((u / expected - 1.0).abs() < 1e-6, "found {u}, by the propagated covariance {expected}");
}

/// L. Kirkup, M. Mulholland, J. Chromatogr. A 1029 (2004) 1, sodium nitrate: lack of fit of line and quadratic (recomputed for
/// the pack); neither lacks fit, and the line is simpler and as good.
#[test]
fn the_evidence_chooses_and_a_person_may_overrule_with_a_reason() {
    let case = case("calibration/lof-kirkup-nitrate.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let mut standards: Vec<(f64, Vec<f64>)> = Vec::new();
    for (x, y) in x.iter().zip(&y) {
        match standards.last_mut() {
            Some((amount, responses)) if amount == x => responses.push(*y),
            _ => standards.push((*x, vec![*y])),
        }
    }
    let method = json!({
        "calibration": {"model": ["straight-line", "quadratic"], "weights": "equal"},
        "limits": {"back_calculated": "20 %"}
    });
    let package = package(&standards, &[vec![100_000.0]], &method);
    let found = outcome(&package);
    let choice = calibration(&found).choice.as_ref().unwrap();
    assert_eq!(calibration(&found).model, "straight line");
    assert_eq!(choice.by_evidence.as_deref(), Some("straight line"));
    let lack = |place: usize| choice.candidates[place].lack_of_fit.as_ref().unwrap();
    recomputed(&case, "lof_F_deg1", lack(0).f, 1e-8);
    recomputed(&case, "lof_p_deg1", lack(0).p, 1e-8);
    recomputed(&case, "lof_F_deg2", lack(1).f, 1e-8);
    recomputed(&case, "lof_p_deg2", lack(1).p, 1e-8);
    assert!(choice.mandel.is_some());
    // The lowest standard is read back far too high by the line and not by the quadratic alone: both are told.
    assert!(choice.candidates.iter().all(|candidate| candidate.worst_read_back.is_some()));

    let reason = Reason::new("the bend is known from validation").unwrap();
    let run = "R1".parse().unwrap();
    let decision = Decision::ChooseModel { run, model: CalibrationModel::Quadratic, reason };
    let found = decided(&package, &[decision]);
    let choice = calibration(&found).choice.as_ref().unwrap();
    assert_eq!(calibration(&found).model, "quadratic");
    assert_eq!(choice.by_evidence.as_deref(), Some("straight line"));
    assert_eq!(choice.overruled.as_ref().unwrap().reason, "the bend is known from validation");
}

#[test]
fn a_tolerance_passes_over_functions_that_read_standards_back_too_far() {
    // y = x − 0.02·x²: a line is 10 % off at the lowest standard, a quadratic on the spot.
    let amounts = [1.0, 2.0, 4.0, 6.0, 8.0, 10.0];
    let scatter = [0.001, -0.001, 0.002, -0.002, 0.001, -0.001];
    let responses: Vec<f64> = amounts.iter().zip(scatter).map(|(x, noise)| x - 0.02 * x * x + noise).collect();
    let method = json!({
        "calibration": {"model": ["straight-line", "quadratic-through-origin"], "weights": "equal"},
        "limits": {"back_calculated": "2 %"}
    });
    let found = outcome(&package(&singly(&amounts, &responses), &[vec![3.0]], &method));
    let choice = calibration(&found).choice.as_ref().unwrap();
    assert_eq!(calibration(&found).model, "quadratic through the origin");
    let kept: Vec<_> = choice.candidates.iter().map(|candidate| candidate.within_tolerance).collect();
    assert_eq!(kept, [Some(false), Some(true)]);
}

#[test]
fn a_response_beyond_the_turning_point_is_held_and_the_others_go_on() {
    let amounts = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0];
    let scatter = [0.001, -0.001, 0.002, -0.002, 0.001, -0.001];
    let responses: Vec<f64> = amounts.iter().zip(scatter).map(|(x, noise)| x - 0.04 * x * x + noise).collect();
    let method = json!({"calibration": {"model": "quadratic", "weights": "equal"}});
    let found = outcome(&package(&singly(&amounts, &responses), &[vec![3.0], vec![6.6]], &method));
    let Reported::Withheld { because, found: None } = &found.results[1].reported else {
        panic!("the second is withheld: {:?}", found.results[1].reported)
    };
    assert_eq!(because.to_string(), "amount-not-read:row:R1/8");
    assert!(matches!(found.results[0].reported, Reported::Value { .. }), "{:?}", found.results[0].reported);
    let flag = found.flags.iter().find(|flag| flag.flag.id == *because).unwrap();
    assert!(flag.flag.evidence.words("why").contains("beyond the turning point"), "{:?}", flag.flag.evidence);
}

#[test]
fn every_function_and_weighting_gives_a_result() {
    let amounts = [0.1, 0.1, 0.1, 2.0, 2.0, 4.0, 4.0, 6.0, 6.0, 8.0, 8.0];
    let noise = [0.01, -0.012, 0.004, 0.02, -0.023, 0.06, -0.05, 0.08, -0.09, 0.14, -0.13];
    let responses: Vec<f64> = amounts.iter().zip(noise).map(|(x, noise)| x / (1.0 + 0.02 * x) + noise).collect();
    let mut standards: Vec<(f64, Vec<f64>)> = Vec::new();
    for (x, y) in amounts.iter().zip(&responses) {
        match standards.last_mut() {
            Some((amount, responses)) if amount == x => responses.push(*y),
            _ => standards.push((*x, vec![*y])),
        }
    }
    let weights = [
        json!("equal"),
        json!("replicates"),
        json!("two-component"),
        json!({"inverse-amount": {"power": "2"}}),
        json!({"inverse-response": {"power": "1"}}),
    ];
    for model in CalibrationModel::ALL {
        for weights in &weights {
            let method = json!({"calibration": {"model": model, "weights": weights}});
            let found = outcome(&package(&standards, &[vec![3.0, 3.02]], &method));
            let Reported::Value { result } = &found.results[0].reported else {
                panic!("{model:?} {weights}: {:?} {:?}", found.results[0].reported, found.flags)
            };
            assert!((result.value - 3.2).abs() < 0.35, "{model:?} {weights}: {}", result.value);
            assert!(result.u > 0.0 && result.u < 0.5, "{model:?} {weights}: u = {}", result.u);
        }
    }
}

#[test]
fn as_many_parameters_as_points_is_told() {
    let method = json!({"calibration": {"model": "quadratic", "weights": "equal"}});
    let found = outcome(&package(&singly(&[1.0, 2.0, 3.0], &[1.0, 1.9, 2.7]), &[vec![1.5]], &method));
    assert!(found.runs[0].calibration.is_none());
    assert_eq!(found.flags[0].flag.id.to_string(), "calibration-unusable:run:R1");
    let why = found.flags[0].flag.evidence.words("why");
    assert_eq!(why, "the quadratic has as many parameters as there are points, 3: their scatter is not known");
}
