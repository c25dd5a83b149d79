//! What the targets share: the run that readings are wanted for, and what has to hold of what was taken in.
//!
//! A target finds a panic by itself. The functions here also find what was read and cannot be written and read again: an import
//! keeps a table of its own, and the record is read from it for ever.

#[path = "../../crates/exchange/tests/instrument_files/habits.rs"]
pub mod habits;
#[path = "../../crates/exchange/tests/instrument_files/trace_files.rs"]
pub mod trace_files;
#[path = "../../crates/exchange/tests/instrument_files/written.rs"]
pub mod written;

use std::collections::BTreeMap;
use std::sync::OnceLock;

use darkline_exchange::instrument_file::taking::{self, Awaiting, GrowingTrace, Told, Traces, WithoutTrace};
use darkline_exchange::instrument_file::{mapping, traces};
use darkline_exchange::readings::Came;
use darkline_record::method::{PulseWindow, ResponseKind, ResponsePlan};
use darkline_record::run::Run;

/// Gives text to a reader of text.
pub fn text(data: &[u8], read: impl Fn(&str)) {
    if let Ok(text) = std::str::from_utf8(data) {
        read(text);
    }
}

/// A run order of sixteen rows.
pub fn run() -> &'static Run {
    static RUN: OnceLock<Run> = OnceLock::new();
    RUN.get_or_init(|| written::bench().0)
}

/// What a method reads off its readings.
pub fn plan(kind: ResponseKind) -> ResponsePlan {
    let figure = |text: &str| text.parse().expect("a duration");
    let (baseline_from, baseline_to) = (figure("0 s"), figure("0.04 s"));
    let window = Some(PulseWindow { baseline_from, baseline_to, from: figure("0.04 s"), to: figure("0.7 s") });
    ResponsePlan { kind, window }
}

/// Rows of a run, written and read again.
///
/// # Panics
/// Where they do not come back.
pub fn run_order(text: &str) {
    use darkline_exchange::run_order;
    if let Ok(rows) = run_order::read("run-order.csv", text, 3) {
        let again = run_order::read("run-order.csv", &run_order::write(&rows), 3);
        assert_eq!(again.map_err(|faults| faults.to_string()), Ok(rows));
    }
}

/// A table of readings, written and read again.
///
/// # Panics
/// Where it does not come back.
pub fn readings(text: &str) {
    use darkline_exchange::readings;
    for kind in ResponseKind::ALL {
        let plan = plan(kind);
        let Ok(rows) = readings::read("readings.csv", text, run(), &plan) else { continue };
        let again = readings::read("readings.csv", &readings::write(&rows, kind), run(), &plan);
        let again = again.unwrap_or_else(|faults| panic!("{faults}"));
        let bare = |rows: Vec<readings::ReadRow>| -> Vec<readings::ReadRow> {
            rows.into_iter().map(|row| readings::ReadRow { line: 0, mass: None, ..row }).collect()
        };
        assert_eq!(bare(again), bare(rows));
    }
}

/// A mapping, a table and a file of traces, with a NUL between them: what is taken can be kept and read again.
///
/// # Panics
/// Where it cannot.
pub fn instrument_file(data: &[u8]) {
    let mut parts = data.splitn(3, |byte| *byte == 0);
    let (Some(text), Some(table)) = (parts.next(), parts.next()) else { return };
    let Ok(text) = std::str::from_utf8(text) else { return };
    let Ok(mapped) = mapping::read("mapping.toml", text) else { return };
    let Ok(table) = mapped.code_page.decode("file.csv", table) else { return };
    let files: Vec<(String, Vec<u8>)> = parts.map(|trace| ("trace_0001.txt".to_owned(), trace.to_vec())).collect();
    let received = traces::read(&files, &mapped);
    let awaiting = Awaiting { run: run(), element: "Pb", response: &trace_files::integral };
    for without in [WithoutTrace::Waits, WithoutTrace::PrintedCounts] {
        let beside = Traces { received: &received, without, growing: GrowingTrace::Taken };
        let told = Told { day: Some(jiff::civil::Date::constant(2026, 3, 4)), rows: BTreeMap::new() };
        let Ok(taken) = taking::take("file.csv", &table, &mapped, &awaiting, &told, Some(&beside)) else { continue };
        if taken.rows.is_empty() {
            continue;
        }
        let named = taken.rows.iter().filter(|row| matches!(row.came, Came::Pulse(_))).count();
        assert_eq!(named, taken.pulses.len());
        let kept = darkline_exchange::readings::write(&taken.rows, mapped.response.kind);
        let plan = plan(mapped.response.kind);
        if let Err(faults) = darkline_exchange::readings::read("kept.csv", &kept, run(), &plan) {
            // Readings that are all zero are told to a person, whoever wrote them.
            assert!(faults.to_string().contains("is exactly zero"), "{faults}\n{kept}");
        }
    }
}

/// Pulses, written and read again.
///
/// # Panics
/// Where they do not come back.
pub fn pulses(data: &[u8]) {
    use darkline_exchange::pulses;
    if let Ok(found) = pulses::read("pulses.parquet", data.to_vec())
        && let Ok(bytes) = pulses::write(&found)
    {
        let again = pulses::read("pulses.parquet", bytes).unwrap_or_else(|faults| panic!("{faults}"));
        let digests = |pulses: &BTreeMap<u32, darkline_record::pulse::Pulse>| -> Vec<_> {
            pulses.iter().map(|(number, pulse)| (*number, pulse.digest())).collect()
        };
        assert_eq!(digests(&again), digests(&found));
    }
}

/// An archive, written and read again.
///
/// # Panics
/// Where it does not come back.
pub fn bag(data: &[u8]) {
    use darkline_exchange::bag;
    if let Ok(found) = bag::read(data)
        && let Ok(bytes) = bag::write(&found.payload, &found.info)
    {
        let again = bag::read(&bytes).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(again.payload, found.payload);
    }
}
