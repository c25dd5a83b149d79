//! The invented laboratory's furnace order on the virtual spectrometer: its package without readings, and how it is fired.

use std::path::Path;

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::{FlagOutcome, Outcome};
use darkline_quality::rules;
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;
use darkline_simulator::{PlannedFault, SimulatedSignal, Truth, simulate};
use serde::Deserialize;
use std::sync::Arc;

const STARTED: &str = "2026-03-05T08:30:00+01:00";

/// What the method of the demonstration lets a run show.
const LIMITS: &str = r#"{
    "characteristic_mass": "15 pg", "injected_volume": "20 µL", "sensitivity_window": "20 %",
    "back_calculated": "10 %", "lack_of_fit": "0.1 %", "least_levels": 3, "most_between_checks": 10,
    "highest_background": "1.5", "deepest_dip": "0.02", "highest_peak_shift": "0.3 s", "highest_second_hump": "25 %",
    "highest_noise": "4", "highest_drift": "10 %", "highest_duplicate_difference": "20 %",
    "spike_lowest": "85 %", "spike_highest": "115 %", "highest_dilution_difference": "10 %",
    "batch_controls": ["method-blank", "control", "duplicate", "spike"],
    "cup_volume": "1.5 mL", "cup_rest": "0.2 mL", "diluent": "0.5 % nitric acid", "most_repeats": 1
}"#;

#[derive(Deserialize)]
struct Held {
    package: DataPackage,
}

fn text(path: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)).unwrap()
}

/// The order with its first leg and no reading.
pub fn package() -> DataPackage {
    let mut package = serde_json::from_str::<Held>(&text("corpus/millrace-lead.json")).unwrap().package;
    package.runs[0].legs.truncate(1);
    package.runs[0].readings.clear();
    package.pulses.clear();
    package.methods[0].limits = serde_json::from_str(LIMITS).unwrap();
    package
}

/// What is really in the vessels, with nothing over range and nothing that goes wrong but what is named.
pub fn truth(faults: &[&str]) -> Truth {
    let mut truth = Truth::from_toml(&text("demo/truth.toml")).unwrap();
    truth.samples.iter_mut().find(|sample| sample.id.as_str() == "S08").unwrap().value =
        darkline_record::order::ResultKind::MassFraction.read("2.05 mg/kg").unwrap();
    truth.faults = faults.iter().map(|fault| PlannedFault::from_argument(fault).unwrap()).collect();
    truth
}

/// Fires rows and puts what came into the package, its numbers following those there are.
pub fn fire(package: &mut DataPackage, rows: &[u32], truth: &Truth, seed: u64) {
    let run = package.runs[0].id.clone();
    let readings = simulate(package, &run, rows, truth, seed, STARTED).unwrap();
    for simulated in readings {
        let number = package.runs[0].readings.iter().map(|reading| reading.number).max().unwrap_or(0) + 1;
        let reading = simulated.reading(number);
        if let (Signal::Pulse(digest), SimulatedSignal::Pulse(pulse)) = (&reading.signal, simulated.came) {
            package.pulses.insert(*digest, Arc::new(pulse));
        }
        package.runs[0].readings.push(reading);
    }
}

/// All rows of the run order fired.
pub fn measured(faults: &[&str], seed: u64) -> DataPackage {
    let mut package = package();
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth(faults), seed);
    package
}

/// What follows without any decision.
pub fn outcome(package: &DataPackage) -> Outcome {
    outcome_with(package, &[])
}

pub fn outcome_with(package: &DataPackage, decisions: &[Decision]) -> Outcome {
    evaluate(package, decisions).unwrap()
}

/// A flag's sentence.
pub fn said(flag: &FlagOutcome) -> String {
    (rules::named(flag.flag.id.rule.as_str()).unwrap().say)(&flag.flag.evidence)
}
