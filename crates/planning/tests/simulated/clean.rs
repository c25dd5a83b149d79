//! Runs in which nothing goes wrong: hardly a flag.

use std::collections::BTreeMap;

use crate::bench::{measured, outcome, said};

/// False alarms for each thousand clean readings, at most.
const ALLOWED: f64 = 5.0;

#[test]
fn clean_runs_raise_fewer_than_five_flags_a_thousand_readings() {
    let mut by_rule: BTreeMap<String, usize> = BTreeMap::new();
    let (mut readings, mut told) = (0_usize, Vec::new());
    for seed in 1000..1024 {
        let package = measured(&[], seed);
        readings += package.runs[0].readings.len();
        for flag in outcome(&package).flags {
            told.push(format!("seed {seed}: {}: {}", flag.flag.id, said(&flag)));
            *by_rule.entry(flag.flag.id.rule.to_string()).or_default() += 1;
        }
    }
    let flags: usize = by_rule.values().sum();
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    let rate = 1000.0 * flags as f64 / readings as f64;
    println!("{flags} flags in {readings} clean readings, {rate:.2} a thousand: {by_rule:?}\n{}", told.join("\n"));
    assert!(rate < ALLOWED, "{rate:.2} a thousand: {by_rule:?}\n{}", told.join("\n"));
}
