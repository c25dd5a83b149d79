//! Files as instruments write them: every nasty habit by itself and every pair of two, written by a generator that knows what
//! each reading was, and read back through a mapping.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod habits;
mod written;

use std::collections::BTreeMap;

use darkline_exchange::instrument_file::{mapping, taking};
use darkline_exchange::readings::Came;
use darkline_metrology::kind::Kind;
use habits::Habit;
use written::{Reading, bench, write};

/// Reads a file back and gives what came at each row and replicate.
fn read_back(habits: &[Habit]) -> (taking::Taken, Vec<Reading>) {
    let (run, readings) = bench();
    let file = write(&run, &readings, habits);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap_or_else(|faults| panic!("{habits:?}\n{faults}"));
    let text = mapped.code_page.decode("file.csv", &file.bytes).unwrap();
    let day = file.day;
    let taken = taking::take("file.csv", &text, &mapped, &run, "Pb", day, &BTreeMap::new())
        .unwrap_or_else(|faults| panic!("{habits:?}\n{faults}\n{text}"));
    (taken, file.expected)
}

#[track_caller]
fn comes_back(habits: &[Habit]) {
    let (taken, expected) = read_back(habits);
    let found: BTreeMap<(u32, u8), (&Came, i64)> =
        taken.rows.iter().map(|row| ((row.row, row.replicate), (&row.came, row.at.moment().as_second()))).collect();
    assert!(taken.doubtful.is_empty(), "{habits:?}: {:?}", taken.doubtful);
    for reading in &expected {
        let Some((came, at)) = found.get(&(reading.row, reading.replicate)) else {
            panic!("{habits:?}: row {} replicate {} did not come\n{:?}", reading.row, reading.replicate, taken.aside);
        };
        assert_eq!(*at, reading.at, "{habits:?}: row {} replicate {}", reading.row, reading.replicate);
        match (came, reading.response) {
            (Came::Bare(response), Some(wanted)) => {
                let found = response.value().si();
                // Per cent of light absorbed and products with a dilution are written with finite digits.
                assert!((found - wanted).abs() < 2e-6, "{habits:?}: row {}: {found} for {wanted}", reading.row);
            }
            (Came::Failed(_), None) => {}
            other => panic!("{habits:?}: row {}: {other:?}", reading.row),
        }
    }
    assert_eq!(found.len(), expected.len(), "{habits:?}: {:?}", taken.rows);
    assert_eq!(
        taken.aside.len(),
        habits.iter().map(|habit| habit.sets_aside()).max().unwrap_or(0),
        "{habits:?}: {:?}",
        taken.aside
    );
}

#[test]
fn a_plain_file_comes_back() {
    comes_back(&[]);
}

#[test]
fn every_habit_by_itself_is_survived() {
    for habit in Habit::ALL {
        comes_back(&[habit]);
    }
}

#[test]
fn every_pair_of_habits_is_survived() {
    for (place, one) in Habit::ALL.into_iter().enumerate() {
        for other in Habit::ALL.into_iter().skip(place + 1).filter(|other| one.goes_with(*other)) {
            comes_back(&[one, other]);
        }
    }
}

#[test]
fn a_skipped_cup_is_one_gap() {
    let (taken, _) = read_back(&[Habit::SkippedCup]);
    assert_eq!(taken.skipped, [written::SKIPPED]);
}

#[test]
fn the_same_file_again_changes_nothing_and_other_values_are_kept_and_told() {
    let (mut run, readings) = bench();
    let file = write(&run, &readings, &[]);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let text = mapped.code_page.decode("file.csv", &file.bytes).unwrap();
    let none = BTreeMap::new();
    let first = taking::take("file.csv", &text, &mapped, &run, "Pb", None, &none).unwrap();
    written::into_run(&mut run, &first.rows);
    let again = taking::take("file.csv", &text, &mapped, &run, "Pb", None, &none).unwrap();
    assert_eq!((again.rows.len(), again.n_known), (0, first.rows.len()));
    // Exported again with one value changed.
    let other = text.replacen("0.1012", "0.1013", 1);
    assert_ne!(other, text);
    let changed = taking::take("file.csv", &other, &mapped, &run, "Pb", None, &none).unwrap();
    assert_eq!((changed.rows.len(), changed.rows[0].attempt), (1, 2));
    assert!(changed.notes[0].contains("came before with another value; both are kept"), "{:?}", changed.notes);
}

#[test]
fn a_growing_file_brings_its_readings_one_after_the_other() {
    let (mut run, readings) = bench();
    let file = write(&run, &readings, &[]);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let text = mapped.code_page.decode("file.csv", &file.bytes).unwrap();
    let mut n = 0;
    // Cut anywhere, also within a line; the head has to be there.
    for end in (60..=text.len()).step_by(37).chain([text.len()]) {
        let Some(part) = text.get(..end) else { continue };
        let taken = taking::take("file.csv", part, &mapped, &run, "Pb", None, &BTreeMap::new()).unwrap();
        assert!(taken.aside.is_empty(), "{end}: {:?}", taken.aside);
        n += taken.rows.len();
        written::into_run(&mut run, &taken.rows);
    }
    assert_eq!(n, readings.len());
    assert!(run.readings.iter().all(|reading| reading.attempt == 1));
}

#[test]
fn the_other_decimal_sign_throughout_is_a_fault_and_once_is_one_row() {
    let (run, readings) = bench();
    let file = write(&run, &readings, &[]);
    let mapped =
        mapping::read("mapping.toml", &file.mapping.replace("decimal_sign = \".\"", "decimal_sign = \",\"")).unwrap();
    let text = String::from_utf8(file.bytes.clone()).unwrap();
    let none = BTreeMap::new();
    let told = taking::take("file.csv", &text, &mapped, &run, "Pb", None, &none).unwrap_err().to_string();
    assert!(told.contains("are written with the other decimal sign than \",\""), "{told}");
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let once = text.replacen("0.1012", "\"0,1012\"", 1);
    let taken = taking::take("file.csv", &once, &mapped, &run, "Pb", None, &none).unwrap();
    assert_eq!((taken.rows.len(), taken.aside.len()), (readings.len() - 1, 1));
    assert!(taken.aside[0].why.contains("the other decimal sign"), "{:?}", taken.aside);
}

#[test]
fn a_file_of_another_table_is_told_with_what_it_lacks() {
    let (run, readings) = bench();
    let file = write(&run, &readings, &[]);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let text = String::from_utf8(file.bytes).unwrap().replace("Area", "Height");
    let told = taking::take("file.csv", &text, &mapped, &run, "Pb", None, &BTreeMap::new()).unwrap_err().to_string();
    assert!(told.contains("line 1 lacks \"Area\""), "{told}");
}

#[test]
fn a_proposal_with_its_open_lines_decided_reads_its_own_file() {
    let (run, readings) = bench();
    for habits in [
        &[][..],
        &[Habit::DecimalComma],
        &[Habit::Tabs, Habit::UnitRow],
        &[Habit::MeanRows, Habit::Windows1252],
        &[Habit::Utf16],
    ] {
        let file = write(&run, &readings, habits);
        let draft =
            darkline_exchange::instrument_file::proposal::propose("file.csv", &file.bytes, "furnace-2").unwrap();
        // What no file says: where the clock is, and what the instrument did with a response.
        let decided = draft
            .replace("# zone = \"Europe/Vienna\"", "zone = \"+01:00\"")
            .replace("# is = \"as measured\"", "is = \"as measured\"")
            .replace("# date_order = ", "date_order = ");
        let mapped =
            mapping::read("draft.toml", &decided).unwrap_or_else(|faults| panic!("{habits:?}\n{decided}\n{faults}"));
        let text = mapped.code_page.decode("file.csv", &file.bytes).unwrap();
        let taken = taking::take("file.csv", &text, &mapped, &run, "Pb", None, &BTreeMap::new()).unwrap();
        assert_eq!(taken.rows.len(), readings.len(), "{habits:?}\n{decided}\n{:?}", taken.aside);
    }
}
