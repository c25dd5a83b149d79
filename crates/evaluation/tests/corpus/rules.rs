//! Each rule on the demo's run: one change that makes it speak, beside the run as it is, where all keep silent.

use std::error::Error;

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::{FlagState, Outcome, Reported};
use darkline_quality::flag::{Holds, Settled};
use darkline_quality::rules;
use darkline_record::decision::{Decision, NextStep, Reason};
use darkline_record::package::DataPackage;
use darkline_record::run::Signal;

use crate::{Held, held};

fn lead() -> Result<Held, Box<dyn Error>> {
    held("millrace-lead")
}

/// The demo before anybody decided: one leg, its readings, no decisions.
fn first_leg() -> Result<DataPackage, Box<dyn Error>> {
    let mut package = lead()?.package;
    package.runs[0].legs.truncate(1);
    let rows: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    package.runs[0].readings.retain(|reading| rows.contains(&reading.row));
    Ok(package)
}

/// The flags as (identity, sentence), in order.
fn seen(outcome: &Outcome) -> Vec<(String, String)> {
    let say = |flag: &darkline_evaluation::outcome::FlagOutcome| {
        let rule = rules::named(flag.flag.id.rule.as_str()).unwrap();
        (flag.flag.id.to_string(), (rule.say)(&flag.flag.evidence))
    };
    outcome.flags.iter().map(say).collect()
}

fn withheld(outcome: &Outcome) -> Vec<&str> {
    let is_withheld =
        |result: &&darkline_evaluation::outcome::ResultOutcome| matches!(result.reported, Reported::Withheld { .. });
    outcome.results.iter().filter(is_withheld).map(|result| result.sample.as_str()).collect()
}

#[test]
fn a_run_in_order_raises_no_flag_and_states_conformity() -> Result<(), Box<dyn Error>> {
    let Held { package, decisions } = lead()?;
    let outcome = evaluate(&package, &decisions)?;
    assert_eq!(seen(&outcome), []);
    assert!(outcome.controls_passed);
    assert!(outcome.results.iter().all(|result| result.statement.is_some()));
    Ok(())
}

#[test]
fn over_range_and_replicate_outlier_hold_their_rows_and_hide_conformity() -> Result<(), Box<dyn Error>> {
    let outcome = evaluate(&first_leg()?, &[])?;
    let flags = seen(&outcome);
    assert_eq!(flags.len(), 2);
    assert_eq!(flags[0].0, "replicate-outlier:reading:R1/38");
    assert_eq!(
        flags[1],
        (
            "over-range:row:R1/18".into(),
            "S08 is 1.74 times the top standard (86.9 µg/L of 50.0 µg/L): dilute 167 µL + 333 µL of 0.5 % nitric acid"
                .into()
        )
    );
    assert_eq!(withheld(&outcome), ["S03", "S08"]);
    assert!(outcome.results.iter().all(|result| result.statement.is_none()));
    assert_eq!(outcome.flags[1].flag.next, [NextStep::Dilute { factor: 3 }]);
    Ok(())
}

#[test]
fn a_rejected_replicate_is_missing_until_its_row_is_read() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    // The leg is planned, and its row for S03 has not been read yet.
    package.runs[0].readings.retain(|reading| reading.row != 29);
    let outcome = evaluate(&package, &decisions)?;
    assert_eq!(seen(&outcome), [("replicate-missing:row:R1/13".into(), "S03: 2 of 3 replicates count".into())]);
    assert_eq!(outcome.flags[0].flag.settled, Settled::Until("R1/29".parse()?));
    assert_eq!(withheld(&outcome), ["S03"]);
    Ok(())
}

#[test]
fn a_method_blank_above_its_limit_holds_its_batch() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    package.methods[0].blank.highest = Some("0.2 µg/L".parse()?);
    let outcome = evaluate(&package, &decisions)?;
    let flags = seen(&outcome);
    assert_eq!(flags[0].0, "blank-above-limit:row:R1/9");
    assert!(flags[0].1.starts_with("method blank P1: 0.3"), "{}", flags[0].1);
    assert_eq!(outcome.flags[0].flag.holds, Holds::Batch("P1".parse()?));
    assert_eq!(withheld(&outcome).len(), 12);
    Ok(())
}

#[test]
fn a_batch_without_its_method_blank_has_no_results() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    package.runs[0].readings.retain(|reading| reading.row != 9);
    let outcome = evaluate(&package, &decisions)?;
    let flags = seen(&outcome);
    assert!(
        flags.contains(&(
            "method-blank-missing:batch:P1".into(),
            "batch P1 has no method blank measured in run R1".into()
        ))
    );
    assert_eq!(withheld(&outcome).len(), 12);
    assert!(outcome.results.iter().all(|result| matches!(&result.reported, Reported::Withheld { found: None, .. })));
    Ok(())
}

#[test]
fn a_failed_check_holds_the_rows_between_its_passing_neighbours() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    // Limits between which the second check (row 19) falls out alone; the sound ones are found first.
    let outcome = evaluate(&package, &decisions)?;
    let part = |row: u32| {
        let control = outcome.runs[0].controls.iter().find(|control| control.row == row).unwrap();
        control.found / control.should_be.unwrap()
    };
    let (second, others) = (part(19), [part(7), part(27), part(31)]);
    let nearest = others
        .iter()
        .copied()
        .fold(f64::INFINITY, |best, part| if (part - second).abs() < (best - second).abs() { part } else { best });
    let between = f64::midpoint(second, nearest);
    if second < nearest {
        package.methods[0].check.lowest = format!("{}", between).parse()?;
    } else {
        package.methods[0].check.highest = format!("{}", between).parse()?;
    }
    let outcome = evaluate(&package, &decisions)?;
    let flag =
        &outcome.flags.iter().find(|flag| flag.flag.id.to_string() == "check-outside-limits:row:R1/19").unwrap().flag;
    let Holds::Rows(rows) = &flag.holds else { panic!("a check standard holds rows") };
    let failing: Vec<u32> = [7, 19, 27, 31]
        .into_iter()
        .filter(|row| {
            outcome.flags.iter().any(|flag| flag.flag.id.to_string() == format!("check-outside-limits:row:R1/{row}"))
        })
        .collect();
    // Rows 9 to 17 before it and 21 to 26 after it, as far as its neighbours pass; the replaced row 18 is still a portion.
    let passes = |row: u32| !failing.contains(&row);
    let held = |row: u32| rows.contains(&format!("R1/{row}").parse().unwrap());
    assert!(held(9) && held(17) && held(21) && held(26));
    assert_eq!(held(30), !passes(27), "S08 diluted stands on the checks around it");
    Ok(())
}

#[test]
fn a_control_sample_outside_its_limits_holds_its_batch() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    package.methods[0].check.control_lowest = Some("99.9 %".parse()?);
    let outcome = evaluate(&package, &decisions)?;
    let flags = seen(&outcome);
    assert_eq!(flags[0].0, "check-outside-limits:row:R1/10");
    assert!(flags[0].1.contains("of 1.85 mg/kg, the method allows 99.9 % to 115 %"), "{}", flags[0].1);
    assert_eq!(withheld(&outcome).len(), 12);
    Ok(())
}

#[test]
fn a_reading_that_failed_stops_its_row_and_one_that_was_made_up_for_is_only_told() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = lead()?;
    let failed = || Signal::Failed { why: Reason::new("tube broke").unwrap() };
    let of_row = |package: &DataPackage, row: u32| {
        package.runs[0].readings.iter().position(|reading| reading.row == row).unwrap()
    };
    let place = of_row(&package, 11);
    package.runs[0].readings[place].signal = failed();
    let outcome = evaluate(&package, &decisions)?;
    let number = package.runs[0].readings[place].number;
    assert_eq!(seen(&outcome)[0], (format!("reading-unusable:reading:R1/{number}"), "S01: tube broke".into()));
    assert!(outcome.flags[0].stops());
    assert_eq!(withheld(&outcome), ["S01"]);

    // The same replicate measured again: the first attempt no longer matters.
    let mut again = package.runs[0].readings[place].clone();
    again.number = 1000;
    again.attempt = 2;
    again.signal = held("millrace-lead")?.package.runs[0].readings[place].signal.clone();
    package.runs[0].readings.push(again);
    assert_eq!(seen(&evaluate(&package, &decisions)?), []);
    Ok(())
}

#[test]
fn an_outlier_among_the_standards_holds_the_run() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = held("cadmium-release")?;
    let reading = package.runs[0].readings.iter_mut().find(|reading| reading.row == 3).unwrap();
    reading.signal = Signal::Bare("0.300".parse()?);
    let number = reading.number;
    let outcome = evaluate(&package, &decisions)?;
    assert_eq!(outcome.flags[0].flag.id.to_string(), format!("replicate-outlier:reading:R1/{number}"));
    assert_eq!(outcome.flags[0].flag.holds, Holds::Run("R1".parse()?));
    assert_eq!(withheld(&outcome), ["dish-1"]);
    Ok(())
}

#[test]
fn standards_that_do_not_rise_stop_the_run() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = held("cadmium-release")?;
    for reading in package.runs[0].readings.iter_mut().filter(|reading| reading.row <= 5) {
        reading.signal = Signal::Bare("0.1".parse()?);
    }
    let outcome = evaluate(&package, &decisions)?;
    let flags = seen(&outcome);
    assert_eq!(flags[0].0, "calibration-unusable:run:R1");
    assert!(flags[0].1.starts_with("the calibration does not rise"), "{}", flags[0].1);
    assert_eq!(withheld(&outcome), ["dish-1"]);
    Ok(())
}

#[test]
fn a_justified_flag_opens_again_when_its_evidence_changes() -> Result<(), Box<dyn Error>> {
    let Held { mut package, mut decisions } = lead()?;
    package.methods[0].blank.highest = Some("0.2 µg/L".parse()?);
    let flag = evaluate(&package, &decisions)?.flags[0].flag.clone();
    let reason = Reason::new("below a tenth of every sample").unwrap();
    decisions.push(Decision::Justify { flag: flag.id.clone(), seen: flag.evidence.digest(), reason });
    let outcome = evaluate(&package, &decisions)?;
    assert!(matches!(outcome.flags[0].state, FlagState::Justified { .. }));
    assert_eq!(withheld(&outcome), [] as [&str; 0]);
    package.methods[0].blank.highest = Some("0.1 µg/L".parse()?);
    let outcome = evaluate(&package, &decisions)?;
    // Check blanks are above this limit too; the flag that was justified is open again, not settled.
    let again = outcome.flags.iter().find(|candidate| candidate.flag.id == flag.id).unwrap();
    assert_eq!(again.state, FlagState::Reopened);
    assert_eq!(withheld(&outcome).len(), 12);
    Ok(())
}
