//! Standard additions: the sample read from its own line.

use darkline_evaluation::outcome::Reported;
use darkline_record::package::DataPackage;
use serde_json::json;

use crate::package::{agrees, case, number, numbers, outcome, package, recomputed, singly};

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

/// The method of a form of additions, in mg/L; responses scatter by 0.001.
fn form(form: &str) -> serde_json::Value {
    json!({
        "calibration": {
            "model": "straight-line", "weights": "equal", "of_samples": "standard-additions", "additions": form
        },
        "replicates": {"n": 1, "sd_at_zero": "0.001", "rsd": "0 %"}
    })
}

/// What stands in the portions of the first unknown and its spikes.
fn with_portions(mut package: DataPackage, portions: &[serde_json::Value]) -> DataPackage {
    let mut whole = serde_json::to_value(&package.preparations[0]).unwrap();
    for (portion, keys) in whole["portions"].as_array_mut().unwrap().iter_mut().zip(portions) {
        for (key, value) in keys.as_object().unwrap() {
            portion[key] = value.clone();
        }
    }
    package.preparations[0] = serde_json::from_value(whole).unwrap();
    package.order.samples.truncate(1);
    package
}

fn spike(added: &str, volume: &str, added_volume: Option<&str>) -> serde_json::Value {
    let mut role = json!({"for": "spike", "of": "P1-1", "added": {"value": added}});
    if let Some(added_volume) = added_volume {
        role["added_volume"] = json!({"value": added_volume});
    }
    json!({"role": role, "volume": {"value": volume}})
}

fn found(package: &DataPackage) -> darkline_evaluation::outcome::ValueOutcome {
    let found = outcome(package);
    match &found.results[0].reported {
        Reported::Value { result } => result.clone(),
        other => panic!("{other:?} {:?}", found.flags),
    }
}

fn why_not(package: &DataPackage) -> String {
    let found = outcome(package);
    let Reported::Withheld { because, .. } = &found.results[0].reported else {
        panic!("{:?}", found.results[0].reported)
    };
    assert_eq!(because.rule.to_string(), "amount-not-read");
    found.flags.iter().find(|flag| flag.flag.id == *because).unwrap().flag.evidence.words("why").to_owned()
}

fn standards() -> crate::package::Standards {
    singly(&[0.0, 1.0, 2.0, 3.0], &[0.001, 0.101, 0.199, 0.301])
}

/// M. Bader, J. Chem. Educ. 57 (1980) 703-706, equal final volumes: 10 mL of sample in 25 mL.
#[test]
fn bader_equal_portions_at_constant_volume() {
    let case = case("calibration/stdadd-bader-constant-volume.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let responses: Vec<Vec<f64>> = y.iter().map(|response| vec![*response]).collect();
    let portions: Vec<_> = x
        .iter()
        .map(|volume| match *volume {
            0.0 => json!({"volume": {"value": "25 mL"}, "volume_taken": {"value": "10 mL"}}),
            volume => spike(&format!("{} µg", 20.0 * volume), "25 mL", None),
        })
        .collect();
    for named in ["constant-volume", "plain"] {
        let result = found(&with_portions(package(&standards(), &responses, &form(named)), &portions));
        recomputed(&case, "c_x", result.value, 1e-9);
        recomputed(&case, "s_c_x", result.u, 1e-9);
        assert!((result.dof.unwrap() - 3.0).abs() < 1e-9);
    }
}

fn bader_successive(change: impl Fn(usize, &mut serde_json::Value)) -> DataPackage {
    let case = case("calibration/stdadd-bader-successive.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let responses: Vec<Vec<f64>> = y.iter().map(|response| vec![*response]).collect();
    let portions: Vec<_> = x
        .iter()
        .enumerate()
        .map(|(place, volume)| {
            let mut keys = match *volume {
                0.0 => json!({}),
                volume => spike(&format!("{} µg", 250.0 * volume), "20 mL", Some(&format!("{volume} mL"))),
            };
            change(place, &mut keys);
            keys
        })
        .collect();
    with_portions(package(&standards(), &responses, &form("successive")), &portions)
}

/// M. Bader, J. Chem. Educ. 57 (1980) 703-706, successive additions without constant volume.
#[test]
fn bader_successive_additions_to_one_solution_that_grows() {
    let case = case("calibration/stdadd-bader-successive.toml");
    let result = found(&bader_successive(|_, _| {}));
    recomputed(&case, "x_E", result.value, 1e-9);
    recomputed(&case, "s_xE", result.u, 1e-9);
    // The volume before the first addition is one cause: it moves the amount as it moves what is added.
    let sure = result.u;
    let result = found(&bader_successive(|_, keys| {
        if keys.get("volume").is_some() {
            keys["volume"] = json!({"value": "20 mL", "spread": {"given": {"u": "0.2 mL"}}});
        }
    }));
    let volume = result.contributions.iter().find(|(source, _)| source.starts_with("volume/")).unwrap();
    assert_eq!(result.contributions.iter().filter(|(source, _)| source.starts_with("volume/")).count(), 1);
    assert!((volume.1 / result.value).abs() > 0.009 && (volume.1 / result.value).abs() < 0.011, "{volume:?}");
    assert!(result.u > sure);
}

#[test]
fn successive_additions_without_the_volumes_they_need_are_told() {
    let without = bader_successive(|place, keys| {
        if place == 2 {
            keys["role"].as_object_mut().unwrap().remove("added_volume");
        }
    });
    assert_eq!(
        why_not(&without),
        "portion P1-3 has no added_volume, by which the solution has grown with its addition"
    );
    let other = bader_successive(|place, keys| {
        if place == 3 {
            keys["volume"] = json!({"value": "25 mL"});
        }
    });
    assert_eq!(
        why_not(&other),
        "portion P1-2 has 20 mL before the first addition and portion P1-4 25 mL: successive additions go to one solution"
    );
}

/// US EPA SW-846, Methods 7000B and 7010, single addition (constructed).
#[test]
fn epa_single_addition_to_one_of_two_portions() {
    let case = case("calibration/stdadd-epa-single.toml");
    let (with, without) = (number(&case["data"]["S_A"]), number(&case["data"]["S_B"]));
    let portions = [json!({}), spike("0.5 µg", "10 mL", None)];
    let of = |responses: &[Vec<f64>]| with_portions(package(&standards(), responses, &form("single")), &portions);
    let result = found(&of(&[vec![without], vec![with]]));
    recomputed(&case, "c_x", result.value, 1e-9);
    // By hand: u of each response is 0.001 as the method states, C = S_B·k/(S_A − S_B).
    let (c, rise) = (result.value, with - without);
    let (of_without, of_with) = (c / without + c / rise, c / rise);
    let expected = 0.001 * (of_without * of_without + of_with * of_with).sqrt();
    assert!((result.u / expected - 1.0).abs() < 1e-9, "{} {expected}", result.u);
    // Two readings of each halve the variance.
    let twice = found(&of(&[vec![without, without], vec![with, with]]));
    assert!((twice.u * 2.0_f64.sqrt() / expected - 1.0).abs() < 1e-9);
    assert_eq!(
        why_not(&of(&[vec![0.12], vec![0.12]])),
        "the response with the addition, 0.12, does not exceed the one without, 0.12"
    );
    let three = with_portions(
        package(&standards(), &[vec![0.12], vec![0.235], vec![0.3]], &form("single")),
        &[json!({}), spike("0.5 µg", "10 mL", None), spike("1 µg", "10 mL", None)],
    );
    assert_eq!(why_not(&three), "a single addition has one spike, and the run has 2 of this portion");
}

/// A slope that scatter hides gives no finite limits: the amount is held with the reason.
#[test]
fn additions_without_finite_limits_are_held() {
    let portions: Vec<_> = std::iter::once(json!({"volume": {"value": "25 mL"}}))
        .chain((1..5).map(|step| spike(&format!("{step} µg"), "25 mL", None)))
        .collect();
    let responses = [0.10, 0.14, 0.08, 0.13, 0.12].map(|response| vec![response]);
    let package = with_portions(package(&standards(), &responses, &form("constant-volume")), &portions);
    let why = why_not(&package);
    assert!(why.contains("finite") || why.contains("slope"), "{why}");
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
    let mut plain = calibration.clone();
    plain["additions"] = json!("plain");
    let form_named = as_spikes(package(&standards, &responses, &json!({"calibration": plain})), &x);
    let package = as_spikes(package(&standards, &responses, &json!({"calibration": calibration})), &x);
    assert_eq!(outcome(&form_named).results, outcome(&package).results);
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
