//! Five moments at the bench: what the analyst is told while the instrument is warm.

use darkline_evaluation::open_points::{OpenPoint, open_points};
use darkline_evaluation::outcome::{FlagOutcome, Outcome, Reported};
use darkline_planning::leg::{LegFault, extend};
use darkline_quality::flag::{Holds, Settled, Severity};
use darkline_record::decision::{Decision, NextStep, Reason};
use darkline_record::package::DataPackage;
use darkline_record::run::{Follows, RowHolds};

use crate::bench::{fire, measured, outcome, outcome_with, package, said, truth};

fn flag<'o>(outcome: &'o Outcome, id: &str) -> &'o FlagOutcome {
    let known: Vec<String> = outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect();
    outcome
        .flags
        .iter()
        .find(|flag| flag.flag.id.to_string() == id)
        .unwrap_or_else(|| panic!("{id} is not in {known:?}"))
}

/// Fires rows as far as one of them, with what is there and what goes wrong.
fn fired_up_to(last: u32, faults: &[&str], seed: u64) -> DataPackage {
    let mut package = package();
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).filter(|row| *row <= last).collect();
    fire(&mut package, &rows, &truth(faults), seed);
    package
}

#[test]
fn the_first_standard_says_that_the_sensitivity_is_off_before_a_sample_is_fired() {
    let mut package = package();
    package.methods[0].limits.history = serde_json::from_str(
        r#"[{"of": "sensitivity", "found": ["101 %", "102 %", "103 %", "102 %", "102 %", "103 %"]}]"#,
    )
    .unwrap();
    let mut truth = truth(&[]);
    truth.spectrometer.characteristic_mass = Some("20 pg".parse().unwrap());
    fire(&mut package, &[1, 2], &truth, 7);
    let outcome = outcome(&package);
    let off = flag(&outcome, "sensitivity-off:row:R1/2");
    let told = said(off);
    assert!(told.starts_with("Pb characteristic mass 2") || told.starts_with("Pb characteristic mass 19"), "{told}");
    assert!(told.contains(", your usual 15.3 pg (") && told.contains(" % above, 20.0 % allowed)"), "{told}");
    assert!(told.ends_with("do not start the samples; check capillary depth and tube, then measure standard 5 again"));
    assert_eq!(off.flag.next, [NextStep::MeasureAgain { replicates: 3 }, NextStep::Stop]);
    // The other standards may still overturn it: until the last of them is read.
    assert_eq!(off.flag.settled, Settled::Until("R1/6".parse().unwrap()));
    assert_eq!(off.costs[0].as_ref().unwrap().readings, 3 + 6);
}

#[test]
fn the_first_firing_of_a_matrix_says_that_its_background_is_too_high() {
    let mut package = fired_up_to(12, &["high-background@12=1.9", "over-correction@11=0.05"], 7);
    // One firing of S02 is in, two are still to come.
    let last: Vec<u32> = package.runs[0].readings.iter().rev().take(2).map(|reading| reading.number).collect();
    package.runs[0].readings.retain(|reading| !last.contains(&reading.number));
    let outcome = outcome(&package);
    let high = flag(&outcome, "background-too-high:row:R1/12");
    let told = said(high);
    assert!(
        told.starts_with("S02: background ") && told.contains(" in 1 of 3 firings, the instrument corrects 1.50"),
        "{told}"
    );
    assert!(told.ends_with("skip what is left of them, dilute, and fire a spiked cup"), "{told}");
    // The smoke stands on the matrix's own background of 0.3: 2.2 in all, a third of it falls below 1.5 with room to spare.
    assert_eq!(high.flag.next[0], NextStep::Dilute { factor: 3 });
    let over = flag(&outcome, "over-correction:row:R1/11");
    let told = said(over);
    assert!(told.starts_with("S01: the net dips to -0.0") && told.contains("would read low"), "{told}");
    assert_eq!(over.flag.next[0], NextStep::Dilute { factor: 5 });
}

#[test]
fn before_the_sampler_moves_on_the_next_cup_is_protected() {
    let mut package = package();
    let mut truth = truth(&[]);
    truth.samples.iter_mut().find(|sample| sample.id.as_str() == "S08").unwrap().value =
        darkline_record::order::ResultKind::MassFraction.read("9.05 mg/kg").unwrap();
    let rows: Vec<u32> = (1..=18).collect();
    fire(&mut package, &rows, &truth, 7);
    let told = |package: &DataPackage| said(flag(&outcome(package), "over-range:row:R1/18"));
    let before = told(&package);
    assert!(before.starts_with("S08 is 1.7") || before.starts_with("S08 is 1.8"), "{before}");
    assert!(before.contains("dilute 167 µL + 333 µL of 0.5 % nitric acid"), "{before}");
    assert!(
        before.ends_with("; two clean-outs, then a blank of at most 0.00360 s before check 2"),
        "three standard deviations at zero: {before}"
    );
    let evidence = flag(&outcome(&package), "over-range:row:R1/18").flag.evidence.digest();
    // Once the next cup is read there is nothing to protect, and what was seen is the same.
    fire(&mut package, &[19], &truth, 7);
    assert!(told(&package).ends_with("of 0.5 % nitric acid"), "{}", told(&package));
    assert_eq!(flag(&outcome(&package), "over-range:row:R1/18").flag.evidence.digest(), evidence);
}

#[test]
fn a_failing_bracket_is_repeated_once_and_says_what_a_second_failure_costs() {
    let mut package = fired_up_to(20, &["worn-tube@19=15%"], 7);
    package.methods[0].limits.cup_volume = Some("0.32 mL".parse().unwrap());
    let first = outcome(&package);
    let failed = flag(&first, "check-outside-limits:row:R1/19");
    assert!(said(failed).contains("the method allows 90.0 % to 110 %"), "{}", said(failed));
    assert_eq!(failed.flag.next[0], NextStep::MeasureAgain { replicates: 3 });
    assert_eq!(failed.flag.next[1], NextStep::RepeatSinceLastCheck);
    let Holds::Rows(held) = &failed.flag.holds else { panic!("a check holds rows") };
    // Everything since the check at row 7; what lies behind has not been measured, and will stand on the next check.
    assert!((9..=18).all(|row| held.contains(&format!("R1/{row}").parse().unwrap())));
    // Ten portions and the check, three replicates each, and the two rows that close the leg.
    let costs = failed.costs[1].as_ref().unwrap();
    assert_eq!(costs.readings, 11 * 3 + 6);
    assert!(costs.words().starts_with("39 readings, 8"), "{}", costs.words());
    // 320 µL less 200 µL out of reach less three firings of 20 µL leave just three more of each cup.
    assert_eq!((costs.left, costs.short.len()), (Some(0.0), 0), "{}", costs.words());
    package.methods[0].limits.cup_volume = Some("0.31 mL".parse().unwrap());
    let short = outcome(&package);
    let costs = flag(&short, "check-outside-limits:row:R1/19").costs[1].clone().unwrap();
    assert_eq!(costs.short.len(), 11);
    assert!(costs.words().contains("; too little is left of R1/9, R1/10"), "{}", costs.words());
    // Taken up, it becomes a leg whose rows stand in place of the old ones, with the flag as its reason.
    let steps = [(failed.flag.id.clone(), NextStep::RepeatSinceLastCheck)];
    let leg = extend(&package.runs[0], &package.methods[0], &steps).unwrap();
    assert_eq!(leg.because, std::slice::from_ref(&failed.flag.id));
    let numbers: Vec<u32> = leg.rows.iter().map(|row| row.number).collect();
    assert_eq!(numbers, (29..=41).collect::<Vec<u32>>(), "row numbers follow the last one, and none changes");
    assert_eq!(leg.rows[0].follows, Some(Follows::Replaces(9)));
}

#[test]
fn before_the_lamps_go_off_what_is_open_is_listed() {
    // Everything but the duplicate (25) and the spike (26) has been measured.
    let mut package = package();
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).filter(|row| !matches!(row, 25 | 26)).collect();
    fire(&mut package, &rows, &truth(&[]), 7);
    let before = outcome(&package);
    assert!(before.results.iter().all(|result| result.statement.is_none()), "conformity stays hidden");
    let points = open_points(&package, &before);
    let words: Vec<String> = points.iter().map(OpenPoint::words).collect();
    assert_eq!(words[0], "S04 duplicate not measured, 7 min");
    assert_eq!(words[1], "S11 spike not measured, 7 min");

    // A limit so near S02 that the scatter of its readings leaves it open, and one that no replicate would decide.
    let value = |outcome: &Outcome, sample: &str| {
        let result = outcome.results.iter().find(|result| result.sample.as_str() == sample).unwrap();
        let Reported::Value { result } = &result.reported else { panic!("{sample} has a value") };
        (result.value, result.expanded_u)
    };
    let (found, expanded_u) = value(&before, "S02");
    let near = |at_most: f64| {
        let mut package = package.clone();
        let limit = package.order.analytes[0].limit.as_mut().unwrap();
        limit.at_most = darkline_record::order::ResultKind::MassFraction.read(&format!("{at_most:.4} mg/kg")).unwrap();
        let points = open_points(&package, &outcome(&package));
        points
            .into_iter()
            .find(|point| matches!(point, OpenPoint::NearLimit { sample, .. } if sample.as_str() == "S02"))
    };
    let Some(OpenPoint::NearLimit { more: Some(more), seconds: Some(seconds), .. }) = near(found + 0.93 * expanded_u)
    else {
        panic!("a few replicates decide")
    };
    assert!((1..=20).contains(&more) && seconds > 0.0, "{more} replicates, {seconds} s");
    let hopeless = near(found + 0.1 * expanded_u).unwrap();
    assert!(hopeless.words().ends_with("no number of replicates would decide it, what they share dominates"));
    assert_eq!(near(found + 1.1 * expanded_u), None);
}

#[test]
fn a_failing_result_suggests_no_repeat() {
    // The flags of a run do not depend on what its results are held against.
    let mut package = measured(&["bad-injection@12.2"], 7);
    let flags = |package: &DataPackage| -> Vec<String> {
        outcome(package).flags.iter().map(|flag| format!("{} {:?}", flag.flag.id, flag.flag.next)).collect()
    };
    let with = flags(&package);
    assert!(!with.is_empty());
    for at_most in ["0.001 mg/kg", "1000 mg/kg"] {
        package.order.analytes[0].limit.as_mut().unwrap().at_most =
            darkline_record::order::ResultKind::MassFraction.read(at_most).unwrap();
        assert_eq!(flags(&package), with, "{at_most}");
    }
    // And while a flag stops the report, nobody is told which results would fail.
    assert!(outcome(&package).results.iter().all(|result| result.statement.is_none()));
}

#[test]
fn a_repeat_is_taken_up_once_and_a_rejection_shows_both_results() {
    use darkline_evaluation::rejecting::rejections;
    use darkline_evaluation::repeating::repeats;
    let mut package = measured(&["bad-injection@12.2"], 7);
    let first = outcome(&package);
    let outlier = first.flags.iter().find(|flag| flag.flag.id.rule.as_str() == "replicate-outlier").unwrap();
    assert_eq!(outlier.flag.severity, Severity::Stops);
    let reading = package.runs[0].readings.iter().find(|reading| reading.row == 12 && reading.replicate == 2).unwrap();
    let reading = package.runs[0].reading_id(reading.number);
    assert_eq!(outlier.flag.id.to_string(), format!("replicate-outlier:reading:{reading}"));
    let steps = [(outlier.flag.id.clone(), NextStep::Repeat { replicates: 1 })];
    let leg = extend(&package.runs[0], &package.methods[0], &steps).unwrap();
    let row = leg.rows[0].number;
    assert!(matches!(leg.rows[0].holds, RowHolds::Portion { .. }));
    package.runs[0].legs.push(leg);
    let rows: Vec<u32> = package.runs[0].legs[1].rows.iter().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth(&[]), 7);
    let decisions =
        [Decision::Reject { reading: reading.clone(), reason: Reason::new("droplet left on the tip").unwrap() }];
    let settled = outcome_with(&package, &decisions);
    assert_eq!(settled.flags, []);
    assert!(settled.results.iter().all(|result| result.statement.is_some()), "all controls passed");

    let shown = rejections(&package, &decisions).unwrap();
    assert_eq!((shown.len(), &shown[0].reading, shown[0].reason.as_str()), (1, &reading, "droplet left on the tip"));
    let changed = &shown[0].changed;
    assert_eq!(changed.iter().map(|changed| changed.sample.as_str()).collect::<Vec<_>>(), ["S02"]);
    let (with, without) = (changed[0].with.unwrap(), changed[0].without.unwrap());
    assert!(with < 0.95 * without, "{with} beside {without}");

    let counted = repeats(&package);
    assert_eq!(counted.len(), 1);
    assert_eq!((counted[0].sample.as_str(), counted[0].repeated, counted[0].allowed), ("S02", 1, Some(1)));
    // The method allows one: a second is a deviation.
    let again = extend(&package.runs[0], &package.methods[0], &steps).unwrap_err();
    assert!(matches!(again, LegFault::NoMoreRepeats { row: 12, times: 1, .. }), "{again} for row {row}");
}
