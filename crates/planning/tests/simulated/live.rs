//! A simulated run while it goes on: after every act `Live` says what `evaluate` says of the package as it stands, bit for bit,
//! whatever goes wrong in it; and in flame and weighed portions what was said to be settled is not taken back.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use darkline_evaluation::evaluate;
use darkline_evaluation::live::{Act, Live};
use darkline_quality::flag::Settled;
use darkline_record::decision::{Decision, Reason};
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;
use darkline_simulator::{PlannedFault, SimulatedSignal, Truth, simulate};

use crate::bench;

/// An order without readings, and what is in its vessels.
struct Order {
    package: DataPackage,
    truth: Truth,
}

fn text(path: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)).unwrap()
}

fn order(name: &str, faults: &[&str]) -> Order {
    let (mut package, mut truth) = match name {
        "furnace" => (bench::package(), bench::truth(&[])),
        "flame" => (of_file("copper-water"), Truth::from_toml(&text("examples/copper-water/truth.toml")).unwrap()),
        _ => (of_file("cadmium-cocoa"), Truth::from_toml(&text("examples/cadmium-cocoa/truth.toml")).unwrap()),
    };
    package.runs[0].legs.truncate(1);
    package.runs[0].readings.clear();
    package.pulses.clear();
    truth.faults = faults.iter().map(|fault| PlannedFault::from_argument(fault).unwrap()).collect();
    Order { package, truth }
}

/// The flame and the weighed portions are the documents of `examples/` as data packages.
fn of_file(name: &str) -> DataPackage {
    let mut read: serde_json::Value =
        serde_json::from_str(&text(&format!("xtask/src/accuracy/batches/{name}.json"))).unwrap();
    serde_json::from_value(read["package"].take()).unwrap()
}

/// The acts of a run: its readings in the order measured, and now and then what a person decides about the flags of the moment.
fn acts(order: &Order, seed: u64) -> Vec<Act> {
    let run = order.package.runs[0].id.clone();
    let rows: Vec<u32> = order.package.runs[0].rows().map(|row| row.number).collect();
    let read = simulate(&order.package, &run, &rows, &order.truth, seed, "2026-03-05T08:30:00+01:00").unwrap();
    let mut acts = Vec::new();
    for (number, simulated) in (1..).zip(read) {
        let reading = simulated.reading(number);
        let id = order.package.runs[0].reading_id(number);
        let pulse = match (&reading.signal, simulated.came) {
            (Signal::Pulse(_), SimulatedSignal::Pulse(pulse)) => Some(Arc::new(pulse)),
            _ => None,
        };
        acts.push(Act::Read { run: run.clone(), reading, pulse });
        if (u64::from(number) + seed).is_multiple_of(29) {
            let reason = Reason::new("droplet left on the tip").unwrap();
            acts.push(Act::Decide(Decision::Reject { reading: id.clone(), reason: reason.clone() }));
            if seed.is_multiple_of(2) {
                acts.push(Act::Decide(Decision::Reinstate { reading: id, reason }));
            }
        }
    }
    acts
}

/// Holds `Live` against `evaluate` after every act; returns what was said to be settled and was not there later.
fn after_every_act(name: &str, faults: &[&str], seed: u64) -> Vec<String> {
    let order = order(name, faults);
    let mut live = Live::new(order.package.clone(), Vec::new()).unwrap();
    assert_eq!(live.outcome(), evaluate(&order.package, &[]).unwrap());
    let mut settled: BTreeMap<String, usize> = BTreeMap::new();
    let mut taken_back = Vec::new();
    for (place, act) in acts(&order, seed).into_iter().enumerate() {
        // What a person decides may well take a flag back.
        let is_decision = matches!(act, Act::Decide(_));
        let outcome = live.apply(act).unwrap();
        let afterwards = evaluate(live.package(), live.decisions()).unwrap();
        assert_eq!(outcome, afterwards, "{name}, {faults:?}, seed {seed}, act {place}");
        assert_eq!(outcome.digest(), afterwards.digest());
        let run = &live.package().runs[0];
        let is_read = |row: u32| {
            let wanted = run.row(row).map_or(0, |row| usize::from(row.replicates));
            run.readings.iter().filter(|reading| reading.row == row).count() >= wanted
        };
        for flag in &outcome.flags {
            if let Settled::Until(row) = &flag.flag.settled {
                assert!(!is_read(row.number), "{}: row {} has been read", flag.flag.id, row.number);
            }
        }
        if is_decision {
            settled.clear();
        }
        let open: Vec<String> = outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect();
        taken_back.extend(settled.keys().filter(|id| !open.contains(id)).map(|id| format!("{id} at act {place}")));
        settled.retain(|id, _| open.contains(id));
        for flag in outcome.flags.iter().filter(|flag| flag.flag.settled == Settled::Now) {
            settled.insert(flag.flag.id.to_string(), place);
        }
    }
    taken_back
}

#[test]
fn in_a_furnace_live_is_the_same_as_afterwards() {
    // By its first replicates a spike lies outside of its limits here and by all of them within: that is not held against it.
    let _ = after_every_act("furnace", &["bad-injection@12.2=20%", "vapour-loss@19=20%"], 7);
}

#[test]
fn in_a_flame_live_is_the_same_as_afterwards() {
    let taken_back = after_every_act("flame", &["slot-clogging@9=4%", "air-bubble@14.3=20%"], 7);
    assert!(taken_back.is_empty(), "settled, and taken back: {taken_back:#?}");
}

#[test]
fn with_weighed_portions_live_is_the_same_as_afterwards() {
    let taken_back = after_every_act("solids", &["spilled-portion@12.4=40%", "worn-tube@12=15%"], 8);
    assert!(taken_back.is_empty(), "settled, and taken back: {taken_back:#?}");
}
