//! Writes the corpus: bare responses, a furnace with its decisions, a flame and weighed solids, for pinning digests.
//!
//! `cargo run -p darkline-laboratory --example write_corpus` writes `corpus/*.json` anew and prints the digests that belong
//! into `corpus/digests.toml`. A released edition never changes what its packages give; only edition 0 may.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use darkline_evaluation::evaluate;
use darkline_exchange::folder::{Documents, read_folder};
use darkline_exchange::readings::{self, Came};
use darkline_planning::leg;
use darkline_record::canonical;
use darkline_record::decision::{Decision, NextStep, Reason, Subject};
use darkline_record::identity::{Edition, RunId};
use darkline_record::package::DataPackage;
use darkline_record::run::{Reading, Signal};
use darkline_simulator::{Truth, simulate};
use serde::Serialize;

#[derive(Serialize)]
struct Held<'a> {
    package: &'a DataPackage,
    decisions: &'a [Decision],
}

fn main() -> Result<(), Box<dyn Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let cadmium = cadmium(&root)?;
    hold(&root, "cadmium-release", &cadmium, &[])?;
    let (lead, decisions) = lead(&root)?;
    hold(&root, "millrace-lead", &lead, &decisions)?;
    for name in ["copper-water", "cadmium-cocoa"] {
        hold(&root, name, &simulated(&root.join("examples").join(name))?, &[])?;
    }
    Ok(())
}

fn hold(root: &Path, name: &str, package: &DataPackage, decisions: &[Decision]) -> Result<(), Box<dyn Error>> {
    let path: PathBuf = root.join("corpus").join(format!("{name}.json"));
    let mut bytes = canonical::bytes(&Held { package, decisions });
    bytes.push(b'\n');
    std::fs::write(path, bytes)?;
    let outcome = evaluate(package, decisions)?;
    println!(
        "[[held]]\nname = \"{name}\"\nedition = 0\npackage = \"{}\"\noutcome = \"{}\"\n",
        package.digest(),
        outcome.digest()
    );
    Ok(())
}

fn package(documents: &Documents) -> DataPackage {
    DataPackage {
        edition: Edition(0),
        order: documents.order.document.clone(),
        preparations: documents.preparations.iter().map(|entered| entered.document.clone()).collect(),
        runs: documents.runs.iter().map(|entered| entered.run()).collect(),
        methods: documents.methods.iter().map(|entered| entered.document.clone()).collect(),
        pulses: BTreeMap::new(),
    }
}

fn cadmium(root: &Path) -> Result<DataPackage, Box<dyn Error>> {
    let folder = root.join("examples/cadmium-release");
    let mut package = package(&read_folder(&folder)?);
    let text = std::fs::read_to_string(folder.join("readings.csv"))?;
    let rows = readings::read("readings.csv", &text, &package.runs[0], &package.methods[0].response)?;
    for (number, row) in (1..).zip(rows) {
        let Came::Bare(response) = row.came else { return Err("the example has bare responses".into()) };
        let (row, replicate, attempt, at) = (row.row, row.replicate, row.attempt, row.at);
        package.runs[0].readings.push(Reading {
            number,
            row,
            replicate,
            attempt,
            at,
            mass: None,
            printed: None,
            signal: Signal::Bare(response),
        });
    }
    Ok(package)
}

fn lead(root: &Path) -> Result<(DataPackage, Vec<Decision>), Box<dyn Error>> {
    let folder = root.join("demo");
    let mut package = package(&read_folder(&folder)?);
    let truth = Truth::from_toml(&std::fs::read_to_string(folder.join("truth.toml"))?)?;
    let run = package.runs[0].id.clone();
    measure(&mut package, &run, &truth, "2026-03-05T09:00:00+01:00")?;

    // The loop is walked as at the bench: each flag that stops is taken up by the step it offers.
    let reason = Reason::new("droplet left on the tip").ok_or("a reason is not empty")?;
    let outcome = evaluate(&package, &[])?;
    let (mut decisions, mut steps) = (Vec::new(), Vec::new());
    for flag in outcome.stopping() {
        let (id, step) = (flag.flag.id.clone(), flag.flag.next[0].clone());
        if let (Subject::Reading(reading), NextStep::Repeat { .. }) = (&id.subject, &step) {
            decisions.push(Decision::Reject { reading: reading.clone(), reason: reason.clone() });
        }
        decisions.push(Decision::TakeUp { flag: id.clone(), step: step.clone(), reason: reason.clone() });
        steps.push((id, step));
    }
    let leg = leg::extend(&package.runs[0], &package.methods[0], &steps)?;
    package.runs[0].legs.push(leg);
    measure(&mut package, &run, &truth, "2026-03-05T13:00:00+01:00")?;
    Ok((package, decisions))
}

/// An example measured once, as its truth has it.
fn simulated(folder: &Path) -> Result<DataPackage, Box<dyn Error>> {
    let mut package = package(&read_folder(folder)?);
    let truth = Truth::from_toml(&std::fs::read_to_string(folder.join("truth.toml"))?)?;
    let run = package.runs[0].id.clone();
    measure(&mut package, &run, &truth, "2026-03-05T09:00:00+01:00")?;
    Ok(package)
}

fn measure(package: &mut DataPackage, run: &RunId, truth: &Truth, started: &str) -> Result<(), Box<dyn Error>> {
    let known = &package.runs[0];
    let rows: Vec<u32> = known
        .rows()
        .map(|row| row.number)
        .filter(|row| !known.readings.iter().any(|reading| reading.row == *row))
        .collect();
    let first = u32::try_from(known.readings.len())? + 1;
    for (number, simulated) in (first..).zip(simulate(package, run, &rows, truth, truth.seed, started)?) {
        if let Some(pulse) = simulated.pulse() {
            package.pulses.insert(pulse.digest(), Arc::new(pulse.clone()));
        }
        package.runs[0].readings.push(simulated.reading(number));
    }
    Ok(())
}
