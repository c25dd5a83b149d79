//! `darkline simulate`: the virtual spectrometer measures the rows that have no readings yet, or judges the results.

use std::collections::BTreeMap;

use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_exchange::readings::{Came, ReadRow};
use darkline_exchange::{pulses, readings, text_file};
use darkline_record::method::ResponseKind;
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::Run;
use darkline_simulator::{Found, ReportedResult, Truth, judge, simulate};
use jiff::SignedDuration;
use serde::Serialize;

use super::{count, order, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Simulate};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
use crate::talk;

pub fn run(everywhere: &Everywhere, options: &Simulate) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let text = text_file::read(&options.truth)?;
    let truth =
        Truth::from_toml(&text).map_err(|fault| Failure::told(format!("{}: {fault}", options.truth.display())))?;
    let laboratory = bench::read(everywhere)?;
    if options.judge {
        let evaluated = laboratory.evaluate(&order)?;
        return judge_results(everywhere, &truth, &evaluated.package, &evaluated.outcome);
    }
    let package = laboratory.package(&order)?;
    let run = laboratory.run_of(&order, run_id(options.run.as_deref())?.as_ref())?;
    let known = package.runs.iter().find(|candidate| candidate.id == run).expect("the run is one of the order's");
    let rows: Vec<u32> = known
        .rows()
        .map(|row| row.number)
        .filter(|row| !known.readings.iter().any(|reading| reading.row == *row))
        .collect();
    if rows.is_empty() {
        talk::tell(&format!("every row of run {run} has readings; nothing was measured"));
        return Ok(Ending::Done);
    }
    let path = options.output.as_ref().expect("an output is required unless results are judged");
    let beside = path.with_extension("parquet");
    if beside == *path {
        return Err(Failure::with_hint(
            format!("{} would hold both readings and pulses", path.display()),
            "name the table of readings otherwise, for example with .csv",
        ));
    }
    let (file, beside_file) = (NewFile::at(path)?, NewFile::at(&beside)?);
    let started = options.started.clone().unwrap_or_else(|| start(&package, known));
    let seed = options.seed.unwrap_or(truth.seed);
    let simulated = simulate(&package, &run, &rows, &truth, seed, &started).map_err(Failure::told)?;
    let mut traces: BTreeMap<u32, Pulse> = BTreeMap::new();
    let mut table = Vec::new();
    for (number, reading) in (1..).zip(simulated) {
        traces.insert(number, reading.pulse);
        table.push(ReadRow {
            line: 0,
            row: reading.row,
            replicate: reading.replicate,
            attempt: reading.attempt,
            at: reading.at,
            came: Came::Pulse(number),
        });
    }
    beside_file.fill(&pulses::write(&traces).map_err(Failure::told)?)?;
    file.fill(readings::write(&table, ResponseKind::IntegratedAbsorbance).as_bytes())?;
    if everywhere.json {
        talk::print_json(&SimulatedLine {
            schema: "darkline/simulated/1",
            order: order.as_str(),
            run: run.as_str(),
            seed,
            rows: rows.len(),
            firings: traces.len(),
            table: path.display().to_string(),
            pulses: beside.display().to_string(),
        })?;
    }
    talk::tell(&format!(
        "{} of run {run} measured by the virtual spectrometer, {}: {} and {} written",
        count(rows.len(), "row"),
        count(traces.len(), "firing"),
        path.display(),
        beside.display()
    ));
    talk::tell(&format!("Next: darkline import {order} {} --as NAME", path.display()));
    Ok(Ending::Done)
}

/// A quarter of an hour after the last reading; where there is none, on the day after the preparation, at half past eight.
fn start(package: &DataPackage, run: &Run) -> String {
    let last =
        run.readings.iter().map(|reading| &reading.at).max().map(|at| (at.as_str(), SignedDuration::from_mins(15)));
    let prepared = package
        .preparations
        .iter()
        .map(|batch| &batch.prepared)
        .max()
        .map(|at| (at.as_str(), SignedDuration::from_hours(24)));
    last.or(prepared).map_or_else(|| "2026-03-05T08:30:00+01:00".into(), |(text, later)| moved(text, later))
}

/// A moment later, in the offset of the text.
fn moved(text: &str, later: SignedDuration) -> String {
    let pieces = jiff::fmt::temporal::Pieces::parse(text).ok();
    let offset = pieces.and_then(|pieces| pieces.to_numeric_offset()).unwrap_or(jiff::tz::Offset::UTC);
    let at = text.parse::<jiff::Timestamp>().ok().and_then(|at| at.checked_add(later).ok());
    at.map_or_else(|| text.to_owned(), |at| at.display_with_offset(offset).to_string())
}

#[derive(Serialize)]
struct SimulatedLine<'a> {
    schema: &'static str,
    order: &'a str,
    run: &'a str,
    seed: u64,
    rows: usize,
    firings: usize,
    table: String,
    pulses: String,
}

#[derive(Serialize)]
struct JudgedLine {
    schema: &'static str,
    sample: String,
    truth: String,
    outcome: &'static str,
    difference_over_u: Option<f64>,
}

fn judge_results(
    everywhere: &Everywhere,
    truth: &Truth,
    package: &DataPackage,
    outcome: &Outcome,
) -> Result<Ending, Failure> {
    let mut reported = Vec::new();
    for result in &outcome.results {
        let Some(method) = package.method(&result.method) else { continue };
        let kind = method.result.kind;
        // The simulator judges in SI; the factor is that of the unit.
        let si = |figure: f64| {
            kind.read(&format!("{figure:e} {}", result.unit)).map(|figure| figure.si()).map_err(Failure::told)
        };
        let found = match &result.reported {
            Reported::Value { result } | Reported::Withheld { found: Some(result), .. } => {
                Found::Value { value: si(result.value)?, u: si(result.u)? }
            }
            Reported::BelowLoq { limit, .. } => Found::Below { limit: si(*limit)? },
            Reported::Awaiting { .. } | Reported::Withheld { found: None, .. } => continue,
        };
        reported.push(ReportedResult { sample: result.sample.clone(), kind, found });
    }
    let judgement = judge(truth, &reported).map_err(Failure::told)?;
    if !everywhere.json {
        talk::print(&format!("{}\n", judgement.to_string().trim_end()))?;
        return Ok(Ending::Done);
    }
    for line in &judgement.lines {
        use darkline_simulator::Outcome::{Difference, RightlyBelow, WronglyBelow};
        let (outcome, difference_over_u) = match line.outcome {
            Difference { over_u, .. } => ("value", Some(over_u)),
            RightlyBelow => ("rightly below", None),
            WronglyBelow => ("wrongly below", None),
        };
        let (sample, truth) = (line.sample.to_string(), line.truth.to_string());
        talk::print_json(&JudgedLine { schema: "darkline/judgement/1", sample, truth, outcome, difference_over_u })?;
    }
    Ok(Ending::Done)
}
