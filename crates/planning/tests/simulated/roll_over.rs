//! Standards and samples beyond the roll-over: the demonstration's order on a bench ten times as sensitive.
//!
//! Stray light and what the field leaves bend every pulse; the highest standards dip. A method that gives the curve restores
//! them, and the amounts come out right; one that does not sees double peaks and a bent calibration.

use darkline_evaluation::live::{Act, Live};
use darkline_evaluation::outcome::{Outcome, Reported, RunOutcome};
use darkline_record::method::BackgroundCorrection;
use darkline_record::run::Signal;
use darkline_signal::roll_over::NetCurve;

use crate::bench::{fire, measured, outcome, package, said, truth};

const CURVE: NetCurve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };

fn correction() -> BackgroundCorrection {
    let top = CURVE.roll_over().expect("stray light makes a roll-over");
    serde_json::from_value(serde_json::json!({
        "by": { "magnetic-field": { "shift": "4 pm" } },
        "roll_over": {
            "net_absorbance": format!("{:.5}", top.net), "u_net_absorbance": "0.005",
            "sensitivity_ratio": "0.85", "u_sensitivity_ratio": "0.002",
        },
    }))
    .unwrap()
}

fn fired(with_curve: bool, seed: u64) -> Outcome {
    let mut package = package();
    package.methods[0].limits.characteristic_mass = Some("1.5 pg".parse().unwrap());
    package.methods[0].background = with_curve.then(correction);
    let mut truth = truth(&[]);
    truth.spectrometer.characteristic_mass = Some("1.5 pg".parse().unwrap());
    truth.spectrometer.stray_light = Some("0.01".parse().unwrap());
    truth.spectrometer.field_left = Some("0.15".parse().unwrap());
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth, seed);
    outcome(&package)
}

fn flags(outcome: &Outcome) -> Vec<String> {
    outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect()
}

/// Amount found over amount made of the check standards: nothing is uncertain of them but the reading.
fn checks(run: &RunOutcome) -> Vec<f64> {
    let is_check = |name: &str| name.starts_with("check") && !name.contains("blank");
    run.solutions.iter().filter(|solution| is_check(&solution.name)).filter_map(|s| Some(s.amount? / 25.0)).collect()
}

#[test]
fn a_method_with_the_curve_restores_what_dips_and_finds_the_amounts() {
    for seed in [7, 8, 9] {
        let found = fired(true, seed);
        let beyond: Vec<String> = flags(&found);
        // A test for outliers finds one by chance now and then.
        let expected = ["pulse-beyond-roll-over", "replicate-outlier"];
        let is_expected = |flag: &String| expected.iter().any(|rule| flag.starts_with(rule));
        assert!(beyond.iter().all(is_expected), "seed {seed}: {beyond:?}");
        for row in ["row:R1/5", "row:R1/6"] {
            assert!(
                beyond.iter().any(|flag| flag.ends_with(row)),
                "seed {seed}: the highest standards dip: {beyond:?}"
            );
        }
        let run = &found.runs[0];
        for part in checks(run) {
            assert!((part - 1.0).abs() < 0.06, "seed {seed}: a check reads {part} of what it is");
        }
        // The highest standard has three times the area that is left of it as measured.
        let top = run.readings.iter().filter(|reading| reading.row == 6);
        for (area, restored) in top.filter_map(|reading| Some((reading.response?, reading.restored?))) {
            assert!(area > 1.8 * restored.measured && restored.dip_s.is_some(), "{area} {restored:?}");
            assert!((area / 3.0 - 1.0).abs() < 0.1, "seed {seed}: the top standard has some 3.0 s: {area}");
        }
    }
}

#[test]
fn a_method_without_it_is_told_of_double_peaks_and_a_calibration_that_does_not_fit() {
    let found = fired(false, 7);
    for rule in ["pulse-doubled", "calibration-lacks-fit", "check-outside-limits"] {
        assert!(flags(&found).iter().any(|flag| flag.starts_with(rule)), "{rule}: {:?}", flags(&found));
    }
    assert!(!found.controls_passed);
}

#[test]
fn what_the_curve_is_unsure_of_is_shared_by_all_results() {
    let found = fired(true, 7);
    let stages = |source: &str| {
        found
            .results
            .iter()
            .filter_map(|result| match &result.reported {
                Reported::Value { result } => {
                    Some(result.contributions.iter().any(|(name, c)| name == source && *c != 0.0))
                }
                _ => None,
            })
            .collect::<Vec<bool>>()
    };
    let shared = stages("restored/roll-over absorbance/pb-plant-furnace");
    assert!(shared.len() > 5 && shared.iter().all(|has| *has), "{shared:?}");
}

#[test]
fn limits_drawn_by_the_standards_are_the_same_for_the_whole_run_and_live() {
    let mut package = package();
    let window = package.methods[0].response.window.as_mut().expect("the demonstration integrates pulses");
    window.by_standards = true;
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth(&[]), 11);
    let found = outcome(&package);
    let limits = found.runs[0].integration_limits.expect("the standards draw them");
    assert!(limits.from_s > 0.1 && limits.from_s < 0.5 && limits.to_s > 1.5 && limits.to_s < 4.0, "{limits:?}");
    // Live sees the standards come in one by one and must not keep what earlier limits gave.
    let mut empty = package.clone();
    let readings = std::mem::take(&mut empty.runs[0].readings);
    let pulses = std::mem::take(&mut empty.pulses);
    let run = empty.runs[0].id.clone();
    let mut live = Live::new(empty, Vec::new()).unwrap();
    let mut last = None;
    for reading in readings {
        let pulse = match &reading.signal {
            Signal::Pulse(digest) => pulses.get(digest).cloned(),
            _ => None,
        };
        last = Some(live.apply(Act::Read { run: run.clone(), reading, pulse }).unwrap());
    }
    assert_eq!(last.map(|outcome| outcome.digest()), Some(found.digest()));
}

/// The order on a bench with three field strengths, of which the middle one leaves 30 %; the method says `leaves`.
fn with_three_fields(leaves: &str, seed: u64) -> Outcome {
    let mut package = package();
    package.methods[0].limits.characteristic_mass = Some("1.5 pg".parse().unwrap());
    let mut background = correction();
    let curve = background.roll_over.as_mut().unwrap();
    curve.middle_field = Some(
        serde_json::from_value(serde_json::json!({ "leaves": leaves, "u_leaves": "0.001" })).expect("a part and its u"),
    );
    package.methods[0].background = Some(background);
    let mut truth = truth(&[]);
    truth.spectrometer.characteristic_mass = Some("1.5 pg".parse().unwrap());
    truth.spectrometer.stray_light = Some("0.01".parse().unwrap());
    truth.spectrometer.field_left = Some("0.15".parse().unwrap());
    truth.spectrometer.middle_field_left = Some("0.30".parse().unwrap());
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth, seed);
    outcome(&package)
}

#[test]
fn two_ranges_of_one_firing_are_one_response_over_the_whole_calibration() {
    let found = with_three_fields("0.30", 7);
    assert!(!flags(&found).iter().any(|flag| flag.starts_with("ranges-disagree")), "{:?}", flags(&found));
    let run = &found.runs[0];
    let weight = |row: u32| {
        let of_row: Vec<f64> = run
            .readings
            .iter()
            .filter(|reading| reading.row == row)
            .filter_map(|reading| Some(reading.restored?.ranges?.weight_sensitive))
            .collect();
        of_row.iter().sum::<f64>() / 3.0
    };
    assert!(weight(2) > 0.5, "the lowest standard is read in the sensitive range: {}", weight(2));
    assert!(weight(6) < 0.01, "the highest one in the reduced range: {}", weight(6));
    for part in checks(run) {
        assert!((part - 1.0).abs() < 0.06, "a check reads {part} of what it is");
    }
}

#[test]
fn a_middle_field_that_leaves_something_else_is_told_by_the_ranges() {
    let found = with_three_fields("0.36", 7);
    let told: Vec<String> = flags(&found).into_iter().filter(|flag| flag.starts_with("ranges-disagree")).collect();
    assert!(told.len() > 3, "{told:?}");
    assert!(!found.controls_passed);
}

#[test]
fn over_correction_names_the_lines_that_could_make_it() {
    let mut package = measured(&["over-correction@12=0.05"], 7);
    package.methods[0].background = Some(
        serde_json::from_value(serde_json::json!({
            "by": { "continuum": { "bandpass": "0.7 nm" } },
            "neighbours": [
                { "element": "Fe", "line": "283.31 nm", "away": "12 pm", "lower_level_per_cm": "0" },
                { "element": "W", "line": "283.36 nm", "away": "57 pm", "lower_level_per_cm": "40000" },
            ],
        }))
        .unwrap(),
    );
    let found = outcome(&package);
    let flag = found.flags.iter().find(|flag| flag.flag.id.to_string().starts_with("over-correction")).unwrap();
    let told = said(flag);
    assert!(told.contains("could come of Fe at 283.31 nm:"), "an empty level absorbs nothing: {told}");
}
