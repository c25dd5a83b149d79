//! Each rule that no planned fault of the furnace reaches: one change to a clean run makes it speak, and without its limit
//! it keeps silent. A part above its whole and what is wrong with a trace need no limit.

use darkline_quality::flag::{Holds, Settled, Severity};
use darkline_record::decision::NextStep;
use darkline_record::identity::SampleId;
use darkline_record::limits::{BatchControl, Limits};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Follows, Row, RowHolds, Signal};

use crate::bench::{fire, measured, outcome, said, truth};

/// The sentences of one rule's flags after a change to a clean run; the run without the change must keep silent.
fn told(rule: &str, change: impl Fn(&mut DataPackage)) -> Vec<(String, String)> {
    let mut package = measured(&[], 7);
    let of_rule = |package: &DataPackage| -> Vec<(String, String)> {
        let outcome = outcome(package);
        let flags = outcome.flags.iter().filter(|flag| flag.flag.id.rule.as_str() == rule);
        flags.map(|flag| (flag.flag.id.to_string(), said(flag))).collect()
    };
    assert_eq!(of_rule(&package), [], "{rule} speaks of a clean run");
    change(&mut package);
    let after = of_rule(&package);
    if ["part-above-whole", "printed-response-differs", "reading-unusable"].contains(&rule) {
        return after;
    }
    package.methods[0].limits = Limits::default();
    assert_eq!(of_rule(&package), [], "{rule} speaks without its limit");
    after
}

fn limits(package: &mut DataPackage) -> &mut Limits {
    &mut package.methods[0].limits
}

#[test]
fn levels_in_the_noise_do_not_count() {
    let found = told("levels-too-few", |package| limits(package).least_levels = Some(6));
    assert_eq!(
        found,
        [(
            "levels-too-few:run:R1".into(),
            "5 levels of standards lie above ten times the standard deviation at zero, the method asks for 6".into()
        )]
    );
}

#[test]
fn a_calibration_that_flattens_is_told() {
    let found = told("calibration-bends", |package| limits(package).least_slope_ratio = Some("130 %".parse().unwrap()));
    assert_eq!(found[0].0, "calibration-bends:row:R1/6");
    assert!(found[0].1.ends_with("the method asks for 130 %; the last standard is standard 50"), "{}", found[0].1);
}

#[test]
fn a_standard_read_back_too_far_off_holds_the_run() {
    let found = told("standard-off-curve", |package| limits(package).back_calculated = Some("0.01 %".parse().unwrap()));
    assert!(found.len() >= 3 && found[0].0 == "standard-off-curve:row:R1/2", "{found:?}");
}

#[test]
fn more_rows_between_checks_than_allowed_are_told() {
    let found = told("bracket-open", |package| limits(package).most_between_checks = Some(8));
    assert_eq!(
        found,
        [(
            "bracket-open:row:R1/18".into(),
            "10 portions were measured between two checks, the method allows 8; the last is S08".into()
        )]
    );
}

#[test]
fn rows_behind_the_last_check_wait_for_one() {
    let mut package = measured(&[], 7);
    // The run order ends with the spike: rows 27 and 28 were forgotten.
    package.runs[0].legs[0].rows.truncate(26);
    package.runs[0].readings.retain(|reading| reading.row <= 26);
    let outcome = outcome(&package);
    let open = &outcome.flags[0];
    assert_eq!(open.flag.id.to_string(), "bracket-open:row:R1/26");
    assert_eq!(said(open), "6 portions were measured behind the last check, up to S11 spike");
    assert_eq!((open.flag.next.as_slice(), open.costs[0].as_ref().unwrap().readings), (&[NextStep::Check][..], 6));
    let Holds::Rows(rows) = &open.flag.holds else { panic!("it holds its rows") };
    assert_eq!(rows.len(), 6);
}

#[test]
fn duplicates_are_judged_relatively_and_near_the_limit_absolutely() {
    let found = told("duplicates-differ", |package| {
        limits(package).highest_duplicate_difference = Some("0.01 %".parse().unwrap())
    });
    // S04 holds 0.93 mg/kg, below five times 0.20 mg/kg: the difference is judged against 0.20 mg/kg, and passes.
    assert_eq!(found, []);
    let found = told("duplicates-differ", |package| {
        limits(package).highest_duplicate_difference = Some("0.01 %".parse().unwrap());
        package.methods[0].result.quantification_limit =
            Some(darkline_record::order::ResultKind::MassFraction.read("0.01 mg/kg").unwrap());
    });
    assert_eq!(found[0].0, "duplicates-differ:row:R1/25");
    assert!(found[0].1.starts_with("S04 duplicate: ") && found[0].1.ends_with("batch P1 is held"), "{}", found[0].1);
}

#[test]
fn a_batch_without_a_control_that_the_method_asks_for_is_told() {
    let found = told("batch-control-missing", |package| {
        // The duplicate is turned into a second spike.
        let mut roles: Vec<PortionRole> = Vec::new();
        for portion in &package.preparations[0].portions {
            roles.push(portion.role.clone());
        }
        let spike = roles.iter().find(|role| matches!(role, PortionRole::Spike { .. })).unwrap().clone();
        let duplicate = package.preparations[0]
            .portions
            .iter_mut()
            .find(|portion| matches!(portion.role, PortionRole::Duplicate { .. }));
        duplicate.unwrap().role = spike;
    });
    assert_eq!(found, [("batch-control-missing:batch:P1".into(), "batch P1 has no row for: duplicate".into())]);
    assert_eq!(BatchControl::ALL.len(), 4);
}

#[test]
fn samples_measured_too_late_are_told_once_for_all() {
    let found =
        told("holding-time-exceeded", |package| limits(package).longest_holding = Some("48 h".parse().unwrap()));
    assert_eq!(found[0].0, "holding-time-exceeded:run:R1");
    assert!(found[0].1.starts_with("12 samples were measured too late: ") && found[0].1.contains("2.00 d allowed"));
}

#[test]
fn a_portion_below_the_smallest_is_told_before_it_is_fired() {
    let found = told("portion-too-small", |package| {
        limits(package).least_portion = Some("0.4980 g".parse().unwrap());
        let kept: Vec<u32> = (1..=8).collect();
        package.runs[0].readings.retain(|reading| kept.contains(&reading.row));
    });
    assert!(!found.is_empty() && found.iter().all(|(_, told)| told.ends_with("the method asks for at least 0.498 g")));
}

#[test]
fn portions_of_one_sample_that_scatter_are_told_with_their_sampling_constant() {
    let found = told("portions-differ", |package| {
        limits(package).highest_inhomogeneity = Some("10 %".parse().unwrap());
        limits(package).highest_mass_ratio = Some("3".parse().unwrap());
        // S02 (1.46 mg/kg) and S03 (1.12 mg/kg) are taken for two portions of one sample.
        let one: SampleId = "S02".parse().unwrap();
        for portion in &mut package.preparations[0].portions {
            if let PortionRole::Sample { sample, .. } = &mut portion.role
                && sample.as_str() == "S03"
            {
                *sample = one.clone();
            }
        }
    });
    assert_eq!(found[0].0, "portions-differ:row:R1/12");
    assert!(found[0].1.starts_with("S02: its 2 portions scatter by 1") && found[0].1.contains("; sampling constant "));
}

#[test]
fn a_control_is_held_against_its_own_history() {
    let history = r#"[{"of": "Dried leaf control MR-C7 (invented)",
        "found": ["104 %", "105 %", "106 %", "105 %", "104 %", "106 %", "105 %", "105 %", "104 %", "106 %"]}]"#;
    let found =
        told("control-out-of-chart", |package| limits(package).history = serde_json::from_str(history).unwrap());
    assert_eq!(found[0].0, "control-out-of-chart:row:R1/10");
    assert!(found[0].1.ends_with("beyond three standard deviations"), "{}", found[0].1);
}

#[test]
fn a_dilution_that_disagrees_is_told() {
    let mut package = measured(&[], 7);
    limits(&mut package).highest_dilution_difference = Some("10 %".parse().unwrap());
    // 25 times what can be quantified, ten standard deviations at zero: 17 µg/L, where S09 shows 30.
    package.methods[0].replicates.sd_at_zero = "0.0004 s".parse().unwrap();
    // S09 (row 21) once more, noted as diluted by 3 where it was diluted by 2 as before.
    let mut row: Row = package.runs[0].row(21).unwrap().clone();
    row.number = 29;
    row.name = "S09-x3".into();
    if let RowHolds::Portion { dilution, .. } = &mut row.holds {
        *dilution = darkline_record::figure::Uncertain::exact("3".parse().unwrap());
    }
    package.runs[0].legs[0].rows.insert(26, row);
    let mut readings: Vec<_> = package.runs[0].readings.iter().filter(|reading| reading.row == 21).cloned().collect();
    for (place, reading) in readings.iter_mut().enumerate() {
        reading.row = 29;
        reading.number = 200 + u32::try_from(place).unwrap();
    }
    package.runs[0].readings.extend(readings);
    let outcome = outcome(&package);
    let flag = outcome.flags.iter().find(|flag| flag.flag.id.rule.as_str() == "dilution-disagrees").unwrap();
    assert_eq!(flag.flag.id.to_string(), "dilution-disagrees:row:R1/29");
    assert!(said(flag).contains("(50.0 % off, 10.0 % allowed)"), "{}", said(flag));
    assert!(matches!(flag.flag.next[0], NextStep::Dilute { .. }));
}

#[test]
fn a_sensitivity_that_moves_between_checks_is_told_and_stops_nothing() {
    let package = measured(&["worn-tube@14=14%"], 7);
    let outcome = outcome(&package);
    let flag = outcome.flags.iter().find(|flag| flag.flag.id.rule.as_str() == "sensitivity-drifts").unwrap();
    assert_eq!((flag.flag.severity, &flag.flag.settled), (Severity::Tells, &Settled::Now));
    assert!(said(flag).starts_with("the sensitivity moved by -1"), "{}", said(flag));
    assert!(said(flag).contains("from check 1 to check 2 (10.0 % allowed)"), "{}", said(flag));
}

#[test]
fn a_first_check_and_a_low_check_have_limits_of_their_own() {
    let found = told("check-outside-limits", |package| {
        limits(package).first_check_lowest = Some("120 %".parse().unwrap());
        limits(package).first_check_highest = Some("130 %".parse().unwrap());
    });
    assert_eq!(found.iter().map(|(id, _)| id.as_str()).collect::<Vec<_>>(), ["check-outside-limits:row:R1/7"]);
    let found = told("check-outside-limits", |package| {
        limits(package).low_check_lowest = Some("120 %".parse().unwrap());
        limits(package).low_check_highest = Some("130 %".parse().unwrap());
        for row in &mut package.runs[0].legs[0].rows {
            if let RowHolds::Standard { amount } = &mut row.holds
                && amount.value.to_string() == "50.0 µg/L"
            {
                *amount = darkline_record::figure::Uncertain::exact("50.00 µg/L".parse().unwrap());
            }
        }
    });
    assert_eq!(found, [], "no check of this run stands at the foot of the range");
}

#[test]
fn in_a_flame_a_drifting_zero_is_told() {
    let mut package = measured(&[], 7);
    package.methods[0].technique = darkline_record::method::Technique::Flame;
    // Bare absorbances: the second check blank stands 0.01 higher than the zero of the calibration.
    for reading in &mut package.runs[0].readings {
        let absorbance = match reading.row {
            1 | 8 | 28 => 0.0002,
            20 => 0.0102,
            row => 0.01 * f64::from(row),
        };
        reading.signal = Signal::Bare(format!("{absorbance} s").parse().unwrap());
    }
    let outcome = outcome(&package);
    let drifts: Vec<&_> = outcome.flags.iter().filter(|flag| flag.flag.id.rule.as_str() == "blank-drifts").collect();
    assert_eq!(drifts.iter().map(|flag| flag.flag.id.to_string()).collect::<Vec<_>>(), ["blank-drifts:row:R1/20"]);
    assert!(said(drifts[0]).contains("the zero has drifted"));
    assert_eq!(drifts[0].flag.next, [NextStep::RepeatSinceLastCheck]);
}

#[test]
fn a_row_carried_into_is_measured_again_behind_a_blank() {
    let mut package = measured(&["carry-over@19=8%"], 7);
    let first = outcome(&package);
    let flag = first.flags.iter().find(|flag| flag.flag.id.rule.as_str() == "carry-over").unwrap();
    assert_eq!(flag.flag.id.to_string(), "carry-over:row:R1/20");
    assert!(said(flag).contains(" of what check 2 gave ("), "{}", said(flag));
    let steps = [(flag.flag.id.clone(), flag.flag.next[0].clone())];
    let leg = darkline_planning::leg::extend(&package.runs[0], &package.methods[0], &steps).unwrap();
    let seen: Vec<(&str, Option<Follows>)> = leg.rows.iter().map(|row| (row.name.as_str(), row.follows)).collect();
    assert_eq!(seen[0], ("check blank 3", None));
    assert_eq!(seen[1], ("check blank 2", Some(Follows::Replaces(20))));
    package.runs[0].legs.push(leg);
    let rows: Vec<u32> = package.runs[0].legs[1].rows.iter().map(|row| row.number).collect();
    fire(&mut package, &rows, &truth(&[]), 7);
    let second = outcome(&package);
    assert!(second.flags.iter().all(|flag| flag.flag.id.rule.as_str() != "carry-over"));
}

#[test]
fn a_part_of_a_sample_that_holds_more_than_the_whole_is_told() {
    let found = told("part-above-whole", |package| {
        // S02 (1.46 mg/kg) is called a part of S03 (1.12 mg/kg); nothing is said where the part is the smaller one.
        let whole: SampleId = "S03".parse().unwrap();
        package.order.samples.iter_mut().find(|sample| sample.id.as_str() == "S02").unwrap().part_of = Some(whole);
        let small: SampleId = "S09".parse().unwrap();
        package.order.samples.iter_mut().find(|sample| sample.id.as_str() == "S01").unwrap().part_of = Some(small);
    });
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, "part-above-whole:row:R1/12");
    assert!(found[0].1.starts_with("S02, a part of S03, holds 1."), "{}", found[0].1);
}

/// Lets the instrument print a response beside each trace, by so much more or less than ours.
fn print_all(package: &mut DataPackage, factor: f64) {
    for place in 0..package.runs[0].readings.len() {
        let Signal::Pulse(digest) = package.runs[0].readings[place].signal else { continue };
        let ours = darkline_evaluation::responses::response_of(&package.pulses[&digest], &package.methods[0]).unwrap();
        package.runs[0].readings[place].printed = Some(format!("{:.4} s", factor * ours).parse().unwrap());
    }
}

#[test]
fn a_trace_that_gives_another_response_than_was_printed_is_told_with_both() {
    let found = told("printed-response-differs", |package| {
        print_all(package, 1.0);
        // The trace of a standard came under the number of a sample.
        let (standard, sample) = (15, 33);
        let of_another = package.runs[0].readings[standard].signal.clone();
        package.runs[0].readings[sample].signal = of_another;
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "printed-response-differs:reading:R1/34");
    assert!(
        found[0].1.contains(": the trace gives 0.") && found[0].1.contains("the instrument printed 0."),
        "{found:?}"
    );
}

#[test]
fn an_instrument_that_integrates_otherwise_throughout_is_told_once() {
    let found = told("printed-response-differs", |package| print_all(package, 1.25));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "printed-response-differs:run:R1");
    assert!(found[0].1.contains("give 80.0 % of what the instrument printed"), "{found:?}");
}

#[test]
fn a_background_at_its_ceiling_is_told() {
    let found = told("reading-unusable", |package| {
        let Signal::Pulse(digest) = package.runs[0].readings[33].signal else { panic!("a furnace gives pulses") };
        let pulse = (*package.pulses[&digest]).clone();
        // Smoke that the recorder cuts off at 1.2; the net absorbance beside it is what it was.
        let smoke = |t: f64| (2.0 - 4.0 * (t - 1.5).abs()).max(0.0);
        let (mut total, mut background) = (pulse.total().to_vec(), pulse.background().to_vec());
        for (place, t) in pulse.t_s().iter().enumerate() {
            #[expect(clippy::cast_possible_truncation, reason = "pulses hold single precision")]
            let more = (background[place] + smoke(*t) as f32).min(1.2);
            total[place] += more - background[place];
            background[place] = more;
        }
        let pulse = darkline_record::pulse::Pulse::new(pulse.t_s().to_vec(), total, background).unwrap();
        let digest = pulse.digest();
        package.runs[0].readings[33].signal = Signal::Pulse(digest);
        package.pulses.insert(digest, std::sync::Arc::new(pulse));
    });
    assert_eq!(found[0].0, "reading-unusable:reading:R1/34");
    assert!(found[0].1.starts_with("S02: the background channel stays at its highest value, 1.2, for "), "{found:?}");
}
