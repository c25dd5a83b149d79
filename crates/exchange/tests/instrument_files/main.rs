//! Files as instruments write them: every nasty habit by itself and every pair of two, written by a generator that knows what
//! each reading was, and read back through a mapping.

#![allow(clippy::unwrap_used, reason = "what a test rests on may end it")]

mod habits;
mod trace_files;
mod written;

use std::collections::BTreeMap;

use darkline_exchange::fault::Faults;
use darkline_exchange::instrument_file::taking::{Awaiting, GrowingTrace, Told, Traces, WithoutTrace};
use darkline_exchange::instrument_file::{mapping, taking, traces};
use darkline_exchange::readings::{Came, ReadRow};
use darkline_metrology::kind::Kind;
use darkline_record::run::Run;
use habits::Habit;
use written::{Reading, bench, write};

/// Reads a file back and gives what came at each row and replicate.
fn read_back(habits: &[Habit]) -> (taking::Taken, Vec<Reading>) {
    let (run, readings) = bench();
    let file = write(&run, &readings, habits);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap_or_else(|faults| panic!("{habits:?}\n{faults}"));
    let text = mapped.code_page.decode("file.csv", &file.bytes).unwrap();
    let day = file.day;
    let found = traces::read(&file.traces, &mapped);
    let beside = Traces { received: &found, without: WithoutTrace::Waits, growing: GrowingTrace::Taken };
    let told = Told { day, rows: BTreeMap::new() };
    let taken = taking::take("file.csv", &text, &mapped, &awaiting(&run), &told, Some(&beside))
        .unwrap_or_else(|faults| panic!("{habits:?}\n{faults}\n{text}"));
    (taken, file.expected)
}

/// The run of this test, whose traces are triangles.
fn awaiting(run: &Run) -> Awaiting<'_> {
    Awaiting { run, element: "Pb", response: &trace_files::integral }
}

/// Takes a file without traces.
fn take(text: &str, mapped: &mapping::Mapping, run: &Run) -> Result<taking::Taken, Faults> {
    taking::take("file.csv", text, mapped, &awaiting(run), &Told::default(), None)
}

#[track_caller]
fn comes_back(habits: &[Habit]) {
    let (taken, expected) = read_back(habits);
    let found: BTreeMap<(u32, u8), (&ReadRow, i64)> =
        taken.rows.iter().map(|row| ((row.row, row.replicate), (row, row.at.moment().as_second()))).collect();
    let has_traces = habits.iter().any(|habit| habit.has_traces());
    assert!(taken.doubtful.is_empty(), "{habits:?}: {:?}", taken.doubtful);
    let mut n_waiting = 0;
    for reading in &expected {
        if habits.contains(&Habit::TraceMissing) && (reading.row, reading.replicate) == trace_files::MISSING {
            assert!(
                !found.contains_key(&trace_files::MISSING) && taken.waiting.len() == 1,
                "{habits:?}: {:?}",
                taken.waiting
            );
            n_waiting += 1;
            continue;
        }
        let Some((row, at)) = found.get(&(reading.row, reading.replicate)) else {
            panic!("{habits:?}: row {} replicate {} did not come\n{:?}", reading.row, reading.replicate, taken.aside);
        };
        assert_eq!(*at, reading.at, "{habits:?}: row {} replicate {}", reading.row, reading.replicate);
        match (&row.came, reading.response) {
            (Came::Pulse(number), wanted) if has_traces => {
                let pulse = &taken.pulses[number];
                assert_eq!(pulse.t_s().len(), points(habits, reading), "{habits:?}: row {}", reading.row);
                // What lies behind the cut is not there; the cut trace is told where it is reduced.
                if let Some(wanted) = wanted
                    && pulse.t_s().len() > trace_files::LEFT
                {
                    let found = trace_files::integral(pulse).unwrap();
                    assert!((found - wanted).abs() < 2e-6, "{habits:?}: row {}: {found} for {wanted}", reading.row);
                    let printed = row.printed.as_ref().unwrap().value().si();
                    assert!((printed - wanted).abs() < 2e-6, "{habits:?}: row {}: printed {printed}", reading.row);
                }
            }
            (Came::Bare(response), Some(wanted)) if !has_traces => {
                let found = response.value().si();
                // Per cent of light absorbed and products with a dilution are written with finite digits.
                assert!((found - wanted).abs() < 2e-6, "{habits:?}: row {}: {found} for {wanted}", reading.row);
            }
            (Came::Failed(_), None) if !has_traces => {}
            other => panic!("{habits:?}: row {}: {other:?}", reading.row),
        }
    }
    assert_eq!(found.len() + n_waiting, expected.len(), "{habits:?}: {:?}", taken.rows);
    assert_eq!(
        taken.aside.len(),
        habits.iter().map(|habit| habit.sets_aside()).max().unwrap_or(0),
        "{habits:?}: {:?}",
        taken.aside
    );
}

/// Points that the trace of a reading should have.
fn points(habits: &[Habit], reading: &Reading) -> usize {
    let place = (reading.row, reading.replicate);
    match () {
        () if habits.contains(&Habit::TraceCut) && place == trace_files::CUT => trace_files::LEFT,
        () if habits.contains(&Habit::TraceUnequal) && place == trace_files::UNEQUAL => {
            trace_files::POINTS - trace_files::WITHOUT
        }
        () => trace_files::POINTS,
    }
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

/// Pairs whose places add up to an even or an odd number: two halves that run at once.
fn pairs_are_survived(odd: usize) {
    for (place, one) in Habit::ALL.into_iter().enumerate() {
        let others = Habit::ALL.into_iter().enumerate().skip(place + 1);
        for (_, other) in others.filter(|(other, habit)| (place + other) % 2 == odd && one.goes_with(*habit)) {
            comes_back(&[one, other]);
        }
    }
}

#[test]
fn every_second_pair_of_habits_is_survived() {
    pairs_are_survived(0);
}

#[test]
fn every_other_pair_of_habits_is_survived() {
    pairs_are_survived(1);
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
    let first = take(&text, &mapped, &run).unwrap();
    written::into_run(&mut run, &first.rows);
    let again = take(&text, &mapped, &run).unwrap();
    assert_eq!((again.rows.len(), again.n_known), (0, first.rows.len()));
    // Exported again with one value changed.
    let other = text.replacen("0.1012", "0.1013", 1);
    assert_ne!(other, text);
    let changed = take(&other, &mapped, &run).unwrap();
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
        let taken = take(part, &mapped, &run).unwrap();
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
    let told = take(&text, &mapped, &run).unwrap_err().to_string();
    assert!(told.contains("are written with the other decimal sign than \",\""), "{told}");
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let once = text.replacen("0.1012", "\"0,1012\"", 1);
    let taken = take(&once, &mapped, &run).unwrap();
    assert_eq!((taken.rows.len(), taken.aside.len()), (readings.len() - 1, 1));
    assert!(taken.aside[0].why.contains("the other decimal sign"), "{:?}", taken.aside);
}

#[test]
fn a_file_of_another_table_is_told_with_what_it_lacks() {
    let (run, readings) = bench();
    let file = write(&run, &readings, &[]);
    let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
    let text = String::from_utf8(file.bytes).unwrap().replace("Area", "Height");
    let told = take(&text, &mapped, &run).unwrap_err().to_string();
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
        let taken = take(&text, &mapped, &run).unwrap();
        assert_eq!(taken.rows.len(), readings.len(), "{habits:?}\n{decided}\n{:?}", taken.aside);
    }
}

/// A file with traces, its mapping, its text and what was found beside it.
struct WithTraces {
    run: Run,
    mapped: mapping::Mapping,
    text: String,
    files: Vec<(String, Vec<u8>)>,
}

impl WithTraces {
    fn new(habits: &[Habit]) -> Self {
        let (run, readings) = bench();
        let file = write(&run, &readings, habits);
        let mapped = mapping::read("mapping.toml", &file.mapping).unwrap();
        Self { run, mapped, text: String::from_utf8(file.bytes).unwrap(), files: file.traces }
    }
    fn take(&self, without: WithoutTrace, growing: GrowingTrace) -> Result<taking::Taken, Faults> {
        let received = traces::read(&self.files, &self.mapped);
        let beside = Traces { received: &received, without, growing };
        taking::take("file.csv", &self.text, &self.mapped, &awaiting(&self.run), &Told::default(), Some(&beside))
    }
}

#[test]
fn a_reading_without_its_trace_waits_or_comes_as_printed_when_a_person_says_so() {
    let mut bench = WithTraces::new(&[Habit::TraceMissing]);
    let waits = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    assert_eq!((waits.rows.len(), waits.pulses.len(), waits.waiting.len()), (31, 31, 1));
    assert_eq!(waits.waiting[0].why, "firing 13 has no trace");
    let printed = bench.take(WithoutTrace::PrintedCounts, GrowingTrace::Taken).unwrap();
    let bare: Vec<&ReadRow> = printed.rows.iter().filter(|row| matches!(row.came, Came::Bare(_))).collect();
    assert_eq!((printed.rows.len(), bare.len(), bare[0].row, bare[0].replicate), (32, 1, 7, 1));
    assert!(
        printed.notes.iter().any(|note| note.ends_with("firing 13 has no trace; what the instrument printed counts"))
    );
    // The table of both reads back, and the trace that comes late is a further attempt.
    let kind = darkline_record::method::ResponseKind::IntegratedAbsorbance;
    let table = darkline_exchange::readings::write(&printed.rows, kind);
    assert!(table.starts_with("row,replicate,at,pulse,printed_integrated_absorbance_s\n"), "{table}");
    written::into_run_with(&mut bench.run, &printed.rows, &printed.pulses);
    bench.files = WithTraces::new(&[Habit::TracesApart]).files;
    let late = bench.take(WithoutTrace::PrintedCounts, GrowingTrace::Taken).unwrap();
    assert_eq!((late.rows.len(), late.rows[0].attempt, late.n_known), (1, 2, 31));
}

#[test]
fn the_same_file_with_the_same_traces_again_changes_nothing() {
    let mut bench = WithTraces::new(&[Habit::NumbersAgain, Habit::TraceCut]);
    let taken = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    written::into_run_with(&mut bench.run, &taken.rows, &taken.pulses);
    let again = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    assert_eq!((again.rows.len(), again.n_known), (0, 32));
    // A folder that went away takes nothing back.
    bench.files.clear();
    let away = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    assert_eq!((away.rows.len(), away.n_known, away.waiting.len()), (0, 32, 0));
}

#[test]
fn a_trace_that_may_still_be_growing_waits_while_the_folder_is_watched() {
    let bench = WithTraces::new(&[Habit::TraceCut]);
    let taken = bench.take(WithoutTrace::Waits, GrowingTrace::Waits).unwrap();
    assert_eq!((taken.rows.len(), taken.waiting.len()), (31, 1));
    assert_eq!(taken.waiting[0].why, "firing 21 has a trace that is shorter than the others, trace_0021.txt, line 2");
}

#[test]
fn traces_grow_with_their_table_and_each_reading_comes_once() {
    for habit in [Habit::TracesTogether, Habit::TracesTitled, Habit::NetOnly] {
        let whole = WithTraces::new(&[habit]);
        let mut bench = WithTraces::new(&[habit]);
        let mut n = 0;
        for step in 1..=23 {
            bench.text = whole.text[..whole.text.len() * step / 23].to_owned();
            // The traces lag behind the table, and are cut anywhere.
            let n_bytes: usize = whole.files.iter().map(|(_, bytes)| bytes.len()).sum();
            let mut left = n_bytes * (step - 1) / 22;
            bench.files.clear();
            for (name, bytes) in &whole.files {
                bench.files.push((name.clone(), bytes[..left.min(bytes.len())].to_vec()));
                left -= left.min(bytes.len());
            }
            let Ok(taken) = bench.take(WithoutTrace::Waits, GrowingTrace::Waits) else { continue };
            n += taken.rows.len();
            written::into_run_with(&mut bench.run, &taken.rows, &taken.pulses);
        }
        assert_eq!(n, 32, "{habit:?}");
        assert!(bench.run.readings.iter().all(|reading| reading.attempt == 1), "{habit:?}");
    }
}

#[test]
fn exchanged_columns_of_traces_are_a_fault_and_nothing_is_taken() {
    let mut bench = WithTraces::new(&[Habit::TracesApart]);
    let turned = "total = \"BG\"\nbackground = \"Total\"\n";
    let (run, readings) = written::bench();
    let text = write(&run, &readings, &[Habit::TracesApart]).mapping;
    let text = text.replace("total = \"Total\"\nbackground = \"BG\"\n", turned);
    assert!(text.contains(turned));
    bench.mapped = mapping::read("mapping.toml", &text).unwrap();
    let told = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap_err().to_string();
    assert!(told.contains("total and background of the traces look exchanged"), "{told}");
}

#[test]
fn another_trace_for_a_known_reading_is_kept_beside_the_first_and_told() {
    let mut bench = WithTraces::new(&[Habit::TracesApart]);
    let taken = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    written::into_run_with(&mut bench.run, &taken.rows, &taken.pulses);
    let (_, bytes) = &mut bench.files[4];
    *bytes = String::from_utf8(bytes.clone()).unwrap().replacen("0.050000", "0.050001", 1).into_bytes();
    let changed = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    assert_eq!((changed.rows.len(), changed.rows[0].row, changed.rows[0].attempt), (1, 3, 2));
    assert!(changed.notes.iter().any(|note| note.contains("came before with another value")), "{:?}", changed.notes);
}

#[test]
fn a_file_of_traces_that_is_none_is_told_and_the_others_come() {
    let mut bench = WithTraces::new(&[Habit::TracesApart]);
    bench.files.push(("trace_0040.txt".into(), b"lamp changed\r\n".to_vec()));
    bench.files.push(("trace_0041.txt".into(), vec![0xff, 0xfe, 0x00]));
    let taken = bench.take(WithoutTrace::Waits, GrowingTrace::Taken).unwrap();
    assert_eq!(taken.rows.len(), 32);
    let notes = taken.notes.join("\n");
    assert!(notes.contains("trace_0040.txt, line 1: no line has the columns \"Total\", \"BG\", \"t\""), "{notes}");
    assert!(notes.contains("trace_0041.txt, line 1: "), "{notes}");
}
