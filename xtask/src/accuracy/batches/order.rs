//! The three orders: their packages without readings, what is in their vessels, and how a batch is measured and evaluated.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_metrology::distribution::{normal, student_t};
use darkline_record::decision::FlagId;
use darkline_record::order::ResultKind;
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_simulator::{PlannedFault, SimulatedReading, Truth, judge_faults, simulate};
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;

const STARTED: &str = "2026-03-05T08:30:00+01:00";

/// What the methods of furnace and weighed portions let a run show; the flame's stands in its document.
const LIMITS: &str = r#"{
    "characteristic_mass": "15 pg", "injected_volume": "20 µL", "sensitivity_window": "20 %",
    "back_calculated": "10 %", "lack_of_fit": "0.1 %", "least_levels": 3, "most_between_checks": 10,
    "highest_background": "1.5", "deepest_dip": "0.02", "highest_peak_shift": "0.3 s", "highest_second_hump": "25 %",
    "highest_noise": "4", "highest_drift": "10 %", "highest_duplicate_difference": "20 %",
    "spike_lowest": "85 %", "spike_highest": "115 %", "batch_controls": ["method-blank", "control", "duplicate", "spike"]
}"#;

/// One order with the faults that are tried in it.
pub struct Bench {
    /// What it is called on the page.
    pub name: &'static str,
    package: DataPackage,
    truth: Truth,
    /// Faults of the size from which they have to be found, at a row that shows them.
    pub faults: Vec<PlannedFault>,
    /// Readings of a batch.
    pub n_readings: usize,
}

/// A batch without a fault.
pub struct Clean {
    /// Its order.
    pub bench: &'static str,
    /// Its results.
    pub results: Vec<Held>,
    /// The results of the same day where all vessels of a batch have the same blank.
    pub of_like_vessels: Vec<Held>,
    /// The rules that spoke, one entry a flag.
    pub alarms: Vec<String>,
}

/// A result beside its truth.
pub struct Held {
    /// Found minus true, over true.
    pub relative: f64,
    /// Whether value ± t·u at the effective degrees of freedom, 95 %, holds the truth.
    pub by_dof: bool,
    /// Whether value ± U, as it is reported, does.
    pub as_reported: bool,
    /// Whether it lies above the quantification limit.
    pub is_quantified: bool,
}

/// A batch with a fault.
pub struct Faulty {
    /// Its order.
    pub bench: &'static str,
    /// Place of the fault in [`Bench::faults`].
    pub fault: usize,
    /// The rules that spoke about it and did not without it.
    pub found_by: BTreeSet<String>,
}

const FURNACE: &[&str] = &[
    "bad-injection@12.2",
    "late-release@12",
    "double-peak@12",
    "high-background@12",
    "over-correction@12",
    "vapour-loss@19",
    "carry-over@19",
    "matrix-suppression@23",
    "worn-tube@14",
    "fast-ageing@9",
    "temperature-error@14",
    "weak-field@14",
    "warming-lamp@18",
    "stray-light@14",
    "noisy-lamp@12.2",
    "clipped-signal@12.2",
    "gap-in-trace@12.2",
    "lost-reading@12.2",
    "empty-cup@12.2",
    "wrong-cup@19",
    "contamination@20",
    "wrong-dilution@19",
];

const FLAME: &[&str] = &[
    "slot-clogging@9",
    "blank-drift@9",
    "blocked-nebuliser@12",
    "ionisation@15",
    "viscous-solution@15",
    "short-delay@12.2",
    "air-bubble@14.3",
    "carry-over@17",
    "matrix-suppression@15",
    "warming-lamp@15",
    "stray-light@12",
    "noisy-lamp@12.2",
    "clipped-signal@14.2",
    "gap-in-trace@14.2",
    "lost-reading@12.2",
    "empty-cup@12.2",
    "wrong-cup@17",
    "contamination@18",
    "wrong-dilution@17",
];

const SOLIDS: &[&str] = &[
    "spilled-portion@12.4",
    "wrong-mass@12.4",
    "nugget@12.4",
    "matrix-suppression@11",
    "vapour-loss@13",
    "worn-tube@12",
    "carry-over@13",
    "contamination@14",
    "high-background@12.2",
    "double-peak@12.2",
    "lost-reading@12.2",
];

/// The three orders. Those of flame and weighed portions are the documents of `examples/` as a data package.
pub fn benches(root: &Path) -> Result<Vec<Bench>, String> {
    let furnace = bench(root, "furnace", "corpus/millrace-lead.json", "demo/truth.toml", FURNACE, Some("15 pg"))?;
    let flame = bench(
        root,
        "flame",
        "xtask/src/accuracy/batches/copper-water.json",
        "examples/copper-water/truth.toml",
        FLAME,
        None,
    )?;
    let solids = bench(
        root,
        "weighed portions",
        "xtask/src/accuracy/batches/cadmium-cocoa.json",
        "examples/cadmium-cocoa/truth.toml",
        SOLIDS,
        Some("1.2 pg"),
    )?;
    Ok(vec![furnace, flame, solids])
}

fn bench(
    root: &Path,
    name: &'static str,
    path: &str,
    truth: &str,
    faults: &[&str],
    characteristic_mass: Option<&str>,
) -> Result<Bench, String> {
    let text = |path: &str| std::fs::read_to_string(root.join(path)).map_err(|fault| format!("{path}: {fault}"));
    let mut read: Value = serde_json::from_str(&text(path)?).map_err(|fault| format!("{path}: {fault}"))?;
    let mut package: DataPackage =
        serde_json::from_value(read["package"].take()).map_err(|fault| format!("{path}: {fault}"))?;
    package.runs[0].legs.truncate(1);
    package.runs[0].readings.clear();
    package.pulses.clear();
    if let Some(mass) = characteristic_mass {
        let mut limits: Value = serde_json::from_str(LIMITS).map_err(|fault| fault.to_string())?;
        limits["characteristic_mass"] = Value::from(mass);
        if package.methods[0].solid.is_some() {
            // Nothing is spiked or weighed twice for a duplicate: the portions are.
            limits["batch_controls"] = Value::from(vec!["method-blank", "control"]);
        }
        package.methods[0].limits = serde_json::from_value(limits).map_err(|fault| fault.to_string())?;
    }
    let mut truth = Truth::from_toml(&text(truth)?).map_err(|fault| format!("{truth}: {fault}"))?;
    truth.faults.clear();
    // Over range is no fault: S08 of the demonstration is brought within.
    for sample in truth.samples.iter_mut().filter(|sample| sample.id.as_str() == "S08") {
        sample.value = ResultKind::MassFraction.read("2.05 mg/kg").map_err(|fault| fault.to_string())?;
    }
    let faults = faults
        .iter()
        .map(|fault| {
            let mut planned = PlannedFault::from_argument(fault).map_err(|fault| fault.to_string())?;
            let facts = planned.kind.facts();
            if facts.default != 0.0 {
                planned.size = Some(facts.size.written(facts.found_from).parse().map_err(|_| facts.name.to_owned())?);
            }
            Ok(planned)
        })
        .collect::<Result<Vec<_>, String>>()?;
    let n_readings = package.runs[0].rows().map(|row| usize::from(row.replicates)).sum();
    Ok(Bench { name, package, truth, faults, n_readings })
}

impl Bench {
    /// Measures a batch in which nothing goes wrong.
    pub fn clean(&self, number: u64) -> Result<Clean, String> {
        let mut truth = self.day(number);
        let outcome = self.outcome(&truth, number)?;
        let results = self.held(&truth, &outcome)?;
        for batch in &mut truth.batches {
            batch.between_vessels = None;
        }
        let of_like_vessels = self.held(&truth, &self.outcome(&truth, number)?)?;
        let alarms = outcome.flags.iter().map(|flag| flag.flag.id.rule.to_string()).collect();
        Ok(Clean { bench: self.name, results, of_like_vessels, alarms })
    }

    /// The results beside their truth.
    fn held(&self, truth: &Truth, outcome: &Outcome) -> Result<Vec<Held>, String> {
        let mut results = Vec::new();
        for result in &outcome.results {
            let (found, is_quantified) = match &result.reported {
                Reported::Value { result } => (result, true),
                Reported::BelowLoq { found, .. } => (found, false),
                Reported::Withheld { found: Some(found), .. } => (found, true),
                Reported::Awaiting { .. } | Reported::Withheld { found: None, .. } => continue,
            };
            let kind = self.package.methods[0].result.kind;
            let Some(sample) = truth.sample(&result.sample) else { continue };
            let unit = kind.read(&format!("1 {}", result.unit)).map_err(|fault| fault.to_string())?.si();
            let real = sample.value.si() / unit;
            let off = found.value - real;
            let k = student_t::coverage_factor(0.95, found.dof.unwrap_or(f64::INFINITY)).unwrap_or(2.0);
            results.push(Held {
                relative: off / real,
                by_dof: off.abs() <= k * found.u,
                as_reported: off.abs() <= found.expanded_u,
                is_quantified: is_quantified && self.is_above_limit(found.value),
            });
        }
        Ok(results)
    }

    /// Measures a batch with a fault, and the same without it.
    pub fn faulty(&self, fault: usize, number: u64) -> Result<Faulty, String> {
        // Other days than those of the clean batches.
        let number = 1_000_000 + 1_000 * u64::try_from(fault).unwrap_or(0) + number;
        let mut truth = self.day(number);
        let before: BTreeSet<FlagId> = flags(&self.outcome(&truth, number)?).into_iter().collect();
        truth.faults = vec![self.faults[fault].clone()];
        let package = self.measured(&truth, number)?;
        let outcome = evaluate(&package, &[]).map_err(|fault| fault.to_string())?;
        let new: Vec<FlagId> = flags(&outcome).into_iter().filter(|flag| !before.contains(flag)).collect();
        let judged = judge_faults(&truth, &package, &package.runs[0].id, &new).map_err(|fault| fault.to_string())?;
        let found_by = judged.iter().flat_map(|judged| &judged.found_by).map(|flag| flag.rule.to_string()).collect();
        Ok(Faulty { bench: self.name, fault, found_by })
    }

    fn is_above_limit(&self, value: f64) -> bool {
        let limit = self.package.methods[0].result.quantification_limit.as_ref();
        limit.is_none_or(|limit| limit.digits().parse().is_ok_and(|limit: f64| value >= limit))
    }

    fn outcome(&self, truth: &Truth, seed: u64) -> Result<Outcome, String> {
        evaluate(&self.measured(truth, seed)?, &[]).map_err(|fault| fault.to_string())
    }

    fn measured(&self, truth: &Truth, seed: u64) -> Result<DataPackage, String> {
        let mut package = self.package.clone();
        let run = package.runs[0].id.clone();
        let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
        let read: Vec<SimulatedReading> =
            simulate(&package, &run, &rows, truth, seed, STARTED).map_err(|fault| fault.to_string())?;
        let mut pulses = BTreeMap::new();
        for (number, simulated) in (1..).zip(&read) {
            if let Some(pulse) = simulated.pulse() {
                pulses.insert(pulse.digest(), Arc::new(pulse.clone()));
            }
            package.runs[0].readings.push(simulated.reading(number));
        }
        package.pulses = pulses;
        Ok(package)
    }

    /// The truth of a day: what the method or the preparation states an uncertainty for is off by a draw of it.
    ///
    /// The simulator draws flasks, weighings, stocks and dilutions by itself; recoveries and reference powders are part of
    /// the truth and drawn here.
    fn day(&self, number: u64) -> Truth {
        let mut truth = self.truth.clone();
        let mut stream = ChaCha12Rng::seed_from_u64(0xBA7C_4E50);
        stream.set_stream(number);
        let mut deviate = || normal::draw(stream.next_u64());
        let method = &self.package.methods[0];
        let mut recovery = 1.0;
        for factor in &method.result.factors {
            let u = factor.factor.sources("factor").iter().fold(0.0, |sum, source| sum + source.u * source.u).sqrt();
            recovery *= 1.0 + u * deviate();
        }
        for batch in &mut truth.batches {
            if let Ok(figure) = format!("{recovery:.6}").parse() {
                batch.recovery = figure;
            }
        }
        for portion in self.package.preparations.iter().flat_map(|batch| &batch.portions) {
            let PortionRole::Control { material, assigned, u: Some(u) } = &portion.role else { continue };
            let real =
                assigned.digits().parse::<f64>().unwrap_or(0.0) + u.digits().parse::<f64>().unwrap_or(0.0) * deviate();
            let text = format!("{real:.6} {}", assigned.unit_symbol());
            let Ok(value) = assigned.kind().read(&text) else { continue };
            for control in truth.controls.iter_mut().filter(|control| control.material == *material) {
                control.value = value.clone();
            }
        }
        truth
    }
}

fn flags(outcome: &Outcome) -> Vec<FlagId> {
    outcome.flags.iter().map(|flag| flag.flag.id.clone()).collect()
}
