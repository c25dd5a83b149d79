//! Standard additions: the sample read from its own line.

use darkline_evaluation::outcome::Reported;
use darkline_record::package::DataPackage;
use serde_json::json;

use crate::package::{agrees, case, numbers, outcome, package, recomputed, singly};

/// The first unknown as the portion, the others as spikes of it with these masses in a litre.
fn as_spikes(mut package: DataPackage, masses: &[f64]) -> DataPackage {
    let portions = &mut package.preparations[0].portions;
    for (portion, mass) in portions.iter_mut().zip(masses) {
        portion.volume = Some(serde_json::from_value(json!({"value": "1 L"})).unwrap());
        if *mass > 0.0 {
            let role = json!({"for": "spike", "of": "P1-1", "added": {"value": format!("{mass} mg")}});
            portion.role = serde_json::from_value(role).unwrap();
        }
    }
    package.order.samples.truncate(1);
    package
}

/// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, chapter 5: silver by standard
/// additions (from memory); 1 mg/L is 1 µg/mL.
#[test]
fn silver_is_found_by_additions_with_its_standard_error() {
    let case = case("calibration/stdadd-miller-silver.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let responses: Vec<Vec<f64>> = y.iter().map(|response| vec![*response]).collect();
    let calibration = json!({"model": "straight-line", "weights": "equal", "of_samples": "standard-additions"});
    let standards = singly(&[0.0, 20.0, 40.0, 60.0], &[0.01, 0.41, 0.79, 1.21]);
    let package = as_spikes(package(&standards, &responses, &json!({"calibration": calibration})), &x);
    let found = outcome(&package);
    let Reported::Value { result } = &found.results[0].reported else {
        panic!("{:?} {:?}", found.results[0].reported, found.flags)
    };
    agrees(&case, "x_E", result.value);
    agrees(&case, "s_xE", result.u);
    recomputed(&case, "x_E", result.value, 1e-9);
    recomputed(&case, "s_xE", result.u, 1e-9);
    assert!((result.dof.unwrap() - 5.0).abs() < 1e-9);
}

#[test]
fn a_sample_without_spikes_is_held_with_the_reason() {
    let calibration = json!({"model": "straight-line", "weights": "equal", "of_samples": "standard-additions"});
    let standards = singly(&[0.0, 20.0, 40.0, 60.0], &[0.01, 0.41, 0.79, 1.21]);
    let found = outcome(&package(&standards, &[vec![0.5]], &json!({"calibration": calibration})));
    let Reported::Withheld { because, .. } = &found.results[0].reported else {
        panic!("{:?}", found.results[0].reported)
    };
    assert_eq!(because.rule.to_string(), "amount-not-read");
    let why = found.flags[0].flag.evidence.words("why");
    assert_eq!(why, "no row of the run holds a spike of portion P1-1 of batch P1");
}
