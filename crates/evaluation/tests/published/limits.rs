//! Decision, detection and quantification limits, worked out in the evaluation of a run.

use darkline_evaluation::outcome::Reported;
use serde_json::json;

use crate::package::{Standards, agrees, case, number, numbers, outcome, package, recomputed, singly};

/// DIN 32645:2008-11, example of the standard (carbon in water), α = β = 1 %, k = 3; the figures of the calibration line.
#[test]
fn din_32645_limits_of_carbon_in_water() {
    let case = case("calibration/limits-din32645-carbon.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let plan = json!({"procedure": "din-32645", "alpha": "1 %", "beta": "1 %", "k": "3", "n_readings": 1});
    let found = outcome(&package(&singly(&x, &y), &[vec![3000.0], vec![5000.0]], &json!({"detection_limits": plan})));
    let limits = found.runs[0].limits.as_ref().unwrap();
    assert_eq!(limits.procedure, "DIN 32645");
    agrees(&case, "x_c", limits.decision.unwrap());
    agrees(&case, "x_d_din", limits.detection.unwrap());
    agrees(&case, "x_q", limits.quantification.unwrap());
    recomputed(&case, "x_c", limits.decision.unwrap(), 1e-9);
    recomputed(&case, "x_d_din", limits.detection.unwrap(), 1e-9);
    recomputed(&case, "x_q", limits.quantification.unwrap(), 1e-9);
    let input = |name: &str| limits.inputs.iter().find(|input| input.name == name).unwrap().value;
    recomputed(&case, "s_x0", input("process standard deviation"), 1e-9);
    assert_eq!((input("alpha"), input("readings of standards"), input("k")), (0.01, 10.0, 3.0));

    // The method states no quantification limit, so the one worked out decides: 0.0537 mg/L lies below, 0.261 mg/L above.
    let Reported::BelowLoq { limit, written, .. } = &found.results[0].reported else {
        panic!("{:?}", found.results[0].reported)
    };
    recomputed(&case, "x_q", *limit, 1e-9);
    assert_eq!(written, "0.22");
    assert!(matches!(found.results[1].reported, Reported::Value { .. }));
    assert_eq!(found.results[1].limits.unwrap().stated_is_kept, None);
}

#[test]
fn a_limit_that_the_method_states_stays_and_is_checked() {
    let case = case("calibration/limits-din32645-carbon.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let plan = json!({"procedure": "din-32645", "alpha": "1 %", "beta": "1 %", "k": "3", "n_readings": 1});
    for (stated, kept) in [("0.25 mg/L", true), ("0.050 mg/L", false)] {
        let result = json!({"kind": "mass-concentration", "unit": "mg/L", "coverage_factor": "2",
            "quantification_limit": {"mass-concentration": stated}});
        let method = json!({"detection_limits": plan, "result": result});
        let found = outcome(&package(&singly(&x, &y), &[vec![3000.0]], &method));
        assert_eq!(found.results[0].limits.unwrap().stated_is_kept, Some(kept));
        assert_eq!(matches!(found.results[0].reported, Reported::BelowLoq { .. }), kept);
    }
}

/// DIN 32645:2008-11, the same example: the blank method. ISO 11843-2 (Hubaux and Vos) on the same line.
#[test]
fn blanks_and_the_prediction_band_give_limits_of_their_own() {
    let case = case("calibration/limits-din32645-carbon.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let limits = |standards: &Standards, procedure: &str| {
        let plan = json!({"procedure": procedure, "alpha": "1 %", "beta": "1 %", "k": "3", "n_readings": 1});
        let found = outcome(&package(standards, &[vec![3000.0]], &json!({"detection_limits": plan})));
        found.runs[0].limits.clone().unwrap()
    };
    recomputed(&case, "x_d_exact", limits(&singly(&x, &y), "iso-11843-2").detection.unwrap(), 1e-9);
    // The blanks of the example are no points of its line: here they are, and the slope is that of all of them.
    let mut with_blanks = singly(&x, &y);
    with_blanks.push((0.0, numbers(&case["data"]["blank"])));
    let found = limits(&with_blanks, "blanks");
    let input = |name: &str| found.inputs.iter().find(|input| input.name == name).unwrap().value;
    recomputed(&case, "blank_mean", input("mean of the blanks"), 1e-9);
    recomputed(&case, "blank_sd", input("standard deviation of the blanks"), 1e-9);
    // The slope of the example's line gives 0.0528 mg/L.
    let slope_of_example = number(&case["recomputed"]["x_c_blank"]) * number(&case["recomputed"]["slope"]);
    let run = outcome(&package(&with_blanks, &[vec![3000.0]], &json!({})));
    let slope = run.runs[0].calibration.as_ref().unwrap().line.as_ref().unwrap().slope;
    assert!((found.decision.unwrap() * slope / slope_of_example - 1.0).abs() < 1e-9);
}

/// 40 CFR Part 136, Appendix B, revision 2: the case of seven spikes.
#[test]
fn the_method_detection_limit_needs_no_calibration() {
    let case = case("calibration/mdl-seven-spikes.toml");
    let data = &case["data"];
    let results = |key: &str| -> Vec<serde_json::Value> {
        numbers(&data[key]).iter().map(|result| json!(format!("{result} mg/L"))).collect()
    };
    let spiked = results("spike");
    let blanks: Vec<_> = results("blank").into_iter().map(|result| json!({"numerical": result})).collect();
    let plan = json!({"procedure": "method-detection-limit", "alpha": "1 %", "beta": "1 %", "k": "3", "n_readings": 1,
        "spiked": spiked, "blanks": blanks});
    let standards = singly(&[1.0, 2.0, 3.0, 4.0], &[1.0, 2.1, 2.9, 4.0]);
    let found = outcome(&package(&standards, &[vec![3.0]], &json!({"detection_limits": plan})));
    let limits = found.runs[0].limits.as_ref().unwrap();
    recomputed(&case, "mdl_s", limits.detection.unwrap(), 1e-9);
    assert_eq!(limits.existing_stands, None);

    // Step (4): an existing limit stands where the new one is within 0.5 to 2.0 times it and fewer than 3 % of the blanks exceed it.
    let new = limits.detection.unwrap();
    for (times, stands) in [(1.5, true), (0.6, true), (0.4, false), (2.1, false)] {
        let mut verified = plan.clone();
        verified["existing"] = json!(format!("{} mg/L", new * times));
        let found = outcome(&package(&standards, &[vec![3.0]], &json!({"detection_limits": verified})));
        let limits = found.runs[0].limits.as_ref().unwrap();
        let highest = numbers(&data["blank"]).into_iter().fold(f64::NEG_INFINITY, f64::max);
        let expected = stands && highest <= new * times;
        assert_eq!(limits.existing_stands, Some(expected), "{times}");
        let kept = if expected { new * times } else { new };
        assert!((limits.detection.unwrap() / kept - 1.0).abs() < 1e-12);
        assert!(limits.inputs.iter().any(|input| input.name == "part of the method blanks above it"));
    }
}

#[test]
fn a_limit_of_a_line_is_not_worked_out_of_a_curve() {
    let plan = json!({"procedure": "din-32645", "alpha": "1 %", "beta": "1 %", "k": "3", "n_readings": 1});
    let standards = singly(&[0.0, 1.0, 2.0, 3.0, 4.0], &[0.0, 1.0, 1.9, 2.7, 3.4]);
    let calibration = json!({"model": "quadratic", "weights": "equal"});
    let method = json!({"detection_limits": plan, "calibration": calibration});
    let found = outcome(&package(&standards, &[vec![2.0]], &method));
    let limits = found.runs[0].limits.as_ref().unwrap();
    assert_eq!(limits.decision, None);
    assert_eq!(
        limits.why_not.as_deref(),
        Some("DIN 32645 is worked out from a straight line; the calibration is a quadratic")
    );
}
