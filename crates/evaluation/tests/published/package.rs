//! A data package with one run: standards, unknowns, and the method that a test writes.

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::{CalibrationOutcome, Outcome, SolutionOutcome};
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use serde_json::{Value, json};

/// Amounts in mg/L with the responses of their readings.
pub type Standards = Vec<(f64, Vec<f64>)>;

/// One row for each standard and each unknown; a sample "S1", "S2", … for each unknown, reported in mg/L.
///
/// # Arguments
/// * `method`: parts of the method that replace or join those of a plain one.
pub fn package(standards: &Standards, unknowns: &[Vec<f64>], method: &Value) -> DataPackage {
    with_u_of_amounts(standards, &[], unknowns, method)
}

/// The same with a standard uncertainty of each standard's amount, in mg/L.
pub fn with_u_of_amounts(standards: &Standards, u: &[f64], unknowns: &[Vec<f64>], method: &Value) -> DataPackage {
    let mut rows = Vec::new();
    let mut readings = Vec::new();
    let mut add = |name: String, holds: Value, responses: &[f64]| {
        let number = rows.len() + 1;
        rows.push(
            json!({"number": number, "name": name, "cup": number, "holds": holds, "replicates": responses.len()}),
        );
        for (place, response) in responses.iter().enumerate() {
            readings.push(json!({
                "number": readings.len() + 1, "row": number, "replicate": place + 1, "attempt": 1,
                "at": "2026-03-12T10:00:00+01:00", "signal": {"bare": response.to_string()}
            }));
        }
    };
    for (place, (amount, responses)) in standards.iter().enumerate() {
        let holds = match (amount, u.get(place)) {
            (0.0, _) => json!({"is": "calibration-blank"}),
            (_, None) => json!({"is": "standard", "amount": {"value": format!("{amount} mg/L")}}),
            (_, Some(u)) => json!({"is": "standard", "amount": {
                "value": format!("{amount} mg/L"), "spread": {"given": {"u": format!("{u} mg/L")}}}}),
        };
        add(format!("standard {amount}"), holds, responses);
    }
    let mut portions = Vec::new();
    let mut samples = Vec::new();
    for (place, responses) in unknowns.iter().enumerate() {
        let (portion, sample) = (format!("P1-{}", place + 1), format!("S{}", place + 1));
        add(
            sample.clone(),
            json!({"is": "portion", "batch": "P1", "portion": portion, "dilution": {"value": "1"}}),
            responses,
        );
        portions.push(json!({"id": portion, "role": {"for": "sample", "order": "2026-100", "sample": sample}}));
        samples.push(json!({"id": sample, "description": "a solution"}));
    }
    let mut whole = json!({
        "id": "m", "version": "1", "title": "by a published example", "element": "Cd", "technique": "flame",
        "response": {"kind": "absorbance"},
        "calibration": {"model": "straight-line", "weights": "equal"},
        "replicates": {"n": 1, "sd_at_zero": "1000000", "rsd": "100 %"},
        "blank": {"subtract": "nothing"},
        "check": {"lowest": "90 %", "highest": "110 %"},
        "result": {"kind": "mass-concentration", "unit": "mg/L", "coverage_factor": "2"}
    });
    for (key, part) in method.as_object().into_iter().flatten() {
        whole[key] = part.clone();
    }
    serde_json::from_value(json!({
        "edition": 0,
        "order": {
            "id": "2026-100", "customer": "a customer (invented)", "contact": "Millrace",
            "received": "2026-03-10T11:20:00+01:00", "purpose": "check", "samples": samples,
            "analytes": [{"element": "Cd", "method": "m"}]
        },
        "preparations": [{
            "id": "P1", "prepared": "2026-03-11T09:00:00+01:00", "by": "j.alder", "procedure": "none",
            "portions": portions
        }],
        "runs": [{
            "id": "R1", "method": "m", "instrument": "flame bench 1 (invented)",
            "legs": [{"rows": rows}], "readings": readings
        }],
        "methods": [whole], "pulses": {}
    }))
    .unwrap()
}

/// One reading at each amount.
pub fn singly(amounts: &[f64], responses: &[f64]) -> Standards {
    amounts.iter().zip(responses).map(|(&amount, &response)| (amount, vec![response])).collect()
}

pub fn outcome(package: &DataPackage) -> Outcome {
    decided(package, &[])
}

pub fn decided(package: &DataPackage, decisions: &[Decision]) -> Outcome {
    evaluate(package, decisions).unwrap()
}

pub fn calibration(outcome: &Outcome) -> &CalibrationOutcome {
    outcome.runs[0].calibration.as_ref().unwrap_or_else(|| panic!("there is a calibration: {:?}", outcome.flags))
}

/// The solution of an unknown, by the name of its sample.
pub fn solution<'o>(outcome: &'o Outcome, name: &str) -> &'o SolutionOutcome {
    outcome.runs[0].solutions.iter().find(|solution| solution.name == name).unwrap()
}

/// A case of `reference/`.
pub fn case(path: &str) -> toml::Value {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference");
    toml::from_str(&std::fs::read_to_string(root.join(path)).unwrap()).unwrap()
}

/// The numbers of a list of a case.
pub fn numbers(value: &toml::Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

pub fn number(value: &toml::Value) -> f64 {
    value
        .as_float()
        .or_else(|| value.as_str()?.parse().ok())
        .or_else(|| value.as_integer().map(|n| f64::from(i32::try_from(n).unwrap())))
        .unwrap()
}

/// Holds a figure against what the source prints, within the tolerance of the case.
pub fn agrees(case: &toml::Value, key: &str, found: f64) {
    let expected = number(&case["expected"][key]);
    let tolerance = &case["tolerance"][key];
    let allowed = match (tolerance.get("abs"), tolerance.get("rel")) {
        (Some(abs), _) => number(abs),
        (None, Some(rel)) => number(rel) * expected.abs(),
        _ => panic!("{key} has a tolerance"),
    };
    assert!((found - expected).abs() <= allowed, "{key}: found {found}, printed {expected}");
}

/// Holds a figure against the full-precision value of the case.
pub fn recomputed(case: &toml::Value, key: &str, found: f64, relative: f64) {
    let expected = number(&case["recomputed"][key]);
    assert!((found / expected - 1.0).abs() <= relative, "{key}: found {found}, recomputed {expected}");
}
