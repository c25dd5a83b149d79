//! Each fault at its stated size, where the run holds what shows it: flagged by the rule that is meant, with a step that
//! mends it.

use darkline_quality::flag::Holds;
use darkline_record::decision::NextStep;

use crate::bench::{measured, outcome, said};

/// A fault, the rules one of which has to speak, and whether its first step is fit.
struct Planned {
    fault: &'static str,
    rules: &'static [&'static str],
    step: fn(&NextStep) -> bool,
}

fn repeats(step: &NextStep) -> bool {
    matches!(step, NextStep::Repeat { .. } | NextStep::MeasureAgain { .. })
}
fn dilutes(step: &NextStep) -> bool {
    matches!(step, NextStep::Dilute { .. })
}
fn any(_: &NextStep) -> bool {
    true
}

/// Rows of the demonstration: 6 the top standard, 7, 19 and 27 checks, 8, 20 and 28 check blanks, 9 the method blank, 10 the
/// control, 12 and 14 samples, 23 S11, 26 its spike.
const PLANNED: &[Planned] = &[
    Planned { fault: "bad-injection@12.2=20%", rules: &["replicate-outlier", "pulse-late"], step: repeats },
    Planned { fault: "late-release@12=0.4s", rules: &["pulse-late"], step: dilutes },
    Planned { fault: "late-release@12.3=0.4s", rules: &["pulse-late"], step: repeats },
    Planned { fault: "double-peak@12=25%", rules: &["pulse-doubled"], step: dilutes },
    Planned { fault: "high-background@12=1.6", rules: &["background-too-high"], step: dilutes },
    Planned { fault: "over-correction@12=0.05", rules: &["over-correction"], step: dilutes },
    Planned { fault: "vapour-loss@19=20%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "vapour-loss@10=25%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "carry-over@19=5%", rules: &["carry-over", "blank-above-limit"], step: repeats },
    Planned { fault: "matrix-suppression@23=45%", rules: &["spike-outside-limits"], step: dilutes },
    Planned { fault: "worn-tube@14=15%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "fast-ageing@9=0.6%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "temperature-error@14=200°C", rules: &["check-outside-limits", "pulse-late"], step: any },
    Planned { fault: "weak-field@14=15%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "warming-lamp@18=15%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "stray-light@14=18%", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "noisy-lamp@12.2=6", rules: &["reading-noisy"], step: repeats },
    Planned { fault: "clipped-signal@12.2=15%", rules: &["trace-incomplete"], step: any },
    Planned { fault: "gap-in-trace@12.2=0.2s", rules: &["trace-incomplete"], step: repeats },
    Planned { fault: "lost-reading@12.2", rules: &["reading-unusable"], step: repeats },
    Planned { fault: "empty-cup@12.2", rules: &["replicate-outlier"], step: repeats },
    Planned { fault: "empty-cup@19", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "wrong-cup@19", rules: &["check-outside-limits"], step: repeats },
    Planned { fault: "contamination@9=10%", rules: &["blank-above-limit"], step: repeats },
    Planned { fault: "contamination@20=10%", rules: &["blank-above-limit"], step: repeats },
    Planned { fault: "wrong-dilution@5=20%", rules: &["standard-off-curve", "calibration-lacks-fit"], step: repeats },
    Planned { fault: "wrong-dilution@19=20%", rules: &["check-outside-limits"], step: repeats },
];

/// Whether a fault is found in a run, and what was said.
fn found(planned: &Planned, seed: u64) -> (bool, String) {
    let outcome = outcome(&measured(&[planned.fault], seed));
    let told: Vec<String> =
        outcome.flags.iter().map(|flag| format!("{} {:?}: {}", flag.flag.id, flag.flag.next, said(flag))).collect();
    let is_found = outcome.flags.iter().any(|flag| {
        planned.rules.contains(&flag.flag.id.rule.as_str()) && flag.flag.next.first().is_some_and(planned.step)
    });
    (is_found, told.join("\n    "))
}

#[test]
fn every_fault_of_its_stated_size_is_found_with_a_step_that_mends_it() {
    let mut missed = Vec::new();
    for planned in PLANNED {
        for seed in [7, 8] {
            let (is_found, told) = found(planned, seed);
            if !is_found {
                missed.push(format!("{} with seed {seed}:\n    {told}", planned.fault));
            }
        }
    }
    assert!(missed.is_empty(), "missed:\n{}", missed.join("\n"));
}

#[test]
fn of_two_faults_both_are_found() {
    let mut missed = Vec::new();
    for (place, one) in PLANNED.iter().enumerate() {
        // Each with the one seven places on: another kind of fault, as a rule at another row.
        let other = &PLANNED[(place + 7) % PLANNED.len()];
        // Two faults of one row may undo one another.
        let row = |planned: &Planned| planned.fault.split(['@', '.', '=']).nth(1);
        if row(one) == row(other) {
            continue;
        }
        let outcome = outcome(&measured(&[one.fault, other.fault], 7));
        for planned in [one, other] {
            let is_found = outcome.flags.iter().any(|flag| planned.rules.contains(&flag.flag.id.rule.as_str()));
            if !is_found {
                missed.push(format!(
                    "{} beside {}",
                    planned.fault,
                    if planned.fault == one.fault { other } else { one }.fault
                ));
            }
        }
    }
    assert!(missed.is_empty(), "missed: {missed:#?}");
}

#[test]
fn a_failed_batch_control_holds_its_batch_and_a_failed_check_its_bracket() {
    let of_control = outcome(&measured(&["vapour-loss@10=40%"], 7));
    let flag =
        of_control.flags.iter().find(|flag| flag.flag.id.to_string() == "check-outside-limits:row:R1/10").unwrap();
    assert_eq!(flag.flag.holds, Holds::Batch("P1".parse().unwrap()));

    let of_check = outcome(&measured(&["vapour-loss@19=40%"], 7));
    let flag = of_check.flags.iter().find(|flag| flag.flag.id.to_string() == "check-outside-limits:row:R1/19").unwrap();
    let Holds::Rows(rows) = &flag.flag.holds else { panic!("a check holds rows") };
    let numbers: Vec<u32> = rows.iter().map(|row| row.number).collect();
    // From the check at row 7 to that at row 27, both passing.
    assert_eq!(numbers, (9..=18).chain(21..=26).collect::<Vec<_>>());
}
