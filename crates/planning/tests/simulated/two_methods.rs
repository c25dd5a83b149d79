//! One solution by two methods, as by flame and furnace: both results held against each other and joined.

use std::sync::Arc;

use darkline_record::package::DataPackage;
use darkline_record::run::Signal;
use darkline_simulator::{SimulatedSignal, simulate};

use crate::bench::{measured, outcome, truth};

/// The demonstration's order measured by its method and, in a run of its own, by another one.
fn by_two(seed: u64, off: &str) -> DataPackage {
    let mut package = measured(&[], seed);
    let mut method = package.methods[0].clone();
    method.id = "pb-other-bench".parse().unwrap();
    package.methods.push(method);
    let mut run = package.runs[0].clone();
    run.id = "R2".parse().unwrap();
    run.method = "pb-other-bench".parse().unwrap();
    run.readings.clear();
    let rows: Vec<u32> = run.rows().map(|row| row.number).collect();
    package.runs.push(run);
    let mut requested = package.order.analytes[0].clone();
    requested.method = "pb-other-bench".parse().unwrap();
    package.order.analytes.push(requested);
    let mut truth = truth(&[]);
    for sample in &mut truth.samples {
        if sample.id.as_str() == "S09" {
            sample.value = darkline_record::order::ResultKind::MassFraction.read(off).unwrap();
        }
    }
    let id = package.runs[1].id.clone();
    for (number, simulated) in
        (1..).zip(simulate(&package, &id, &rows, &truth, seed, "2026-03-06T08:30:00+01:00").unwrap())
    {
        let reading = simulated.reading(number);
        if let (Signal::Pulse(digest), SimulatedSignal::Pulse(pulse)) = (&reading.signal, simulated.came) {
            package.pulses.insert(*digest, Arc::new(pulse));
        }
        package.runs[1].readings.push(reading);
    }
    package
}

#[test]
fn what_agrees_is_joined_with_a_smaller_uncertainty_and_what_does_not_is_told() {
    let (mut agree, mut all) = (0_usize, 0_usize);
    for seed in 40..46 {
        let twice = outcome(&by_two(seed, "4.2 mg/kg")).measured_twice();
        assert!(twice.len() > 8, "{}", twice.len());
        for both in &twice {
            if both.sample.as_str() == "S09" {
                assert!(both.zeta > 2.0 && both.together.is_none(), "{both:?}");
                continue;
            }
            all += 1;
            let Some((value, u)) = both.together else { continue };
            agree += 1;
            assert!(both.zeta.abs() <= 2.0, "{both:?}");
            assert!(u <= both.one.1 * (1.0 + 1e-12) && u <= both.other.1 * (1.0 + 1e-12), "{both:?}");
            let (low, high) = (both.one.0.min(both.other.0), both.one.0.max(both.other.0));
            assert!(value > low - u && value < high + u, "{both:?}");
        }
    }
    // 95 of 100 within two standard uncertainties; the samples of a run are not independent of each other.
    assert!(agree * 100 >= all * 88, "{agree} of {all}");
}
