//! `darkline simulate`: the virtual spectrometer measures the rows that have no readings yet, or judges the results.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_exchange::readings::{Came, ReadRow};
use darkline_exchange::{pulses, readings, text_file};
use darkline_laboratory::Evaluated;
use darkline_record::decision::{Decision, FlagId, Reason};
use darkline_record::identity::RunId;
use darkline_record::method::ResponseKind;
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::Run;
use darkline_simulator::{
    Fault, FaultFault, Found, PlannedFault, ReportedResult, SimulatedReading, SimulatedSignal, SimulatorFault, Truth,
    judge, judge_faults, printed, simulate,
};
use jiff::SignedDuration;
use serde::Serialize;

use super::{count, order, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Simulate};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
use crate::talk;

/// A truth with where its faults come from.
struct Planned {
    truth: Truth,
    path: PathBuf,
    text: String,
    /// How many of its faults stand in the file; the others were given on the command line.
    n_in_file: usize,
}

impl Planned {
    fn read(options: &Simulate) -> Result<Self, Failure> {
        let path = options.truth.clone();
        let text = text_file::read(&path)?;
        let told = |fault: &dyn std::fmt::Display| Failure::told(format!("{}: {fault}", path.display()));
        let mut truth = Truth::from_toml(&text).map_err(|fault| told(&fault))?;
        let n_in_file = truth.faults.len();
        for argument in &options.faults {
            let fault = PlannedFault::from_argument(argument).map_err(|fault| match fault {
                FaultFault::Unknown { found } => Failure::with_hint(
                    format!("there is no fault \"{found}\""),
                    format!("the faults are\n\n{}", Fault::list()),
                ),
                other => Failure::told(format!("--fault {argument}: {other}")),
            })?;
            truth.faults.push(fault);
        }
        truth.check().map_err(|fault| Failure::told(format!("with the faults of the command line, {fault}")))?;
        Ok(Self { truth, path, text, n_in_file })
    }

    /// A fault that cannot happen is told with its place in the file, or as it was given.
    fn told(&self, fault: &SimulatorFault) -> Failure {
        match fault {
            SimulatorFault::ImpossibleFault { number, .. } if *number < self.n_in_file => {
                let (line, column) = Truth::place_of_fault(&self.text, *number);
                Failure::told(format!("{}: line {line}, column {column}: {fault}", self.path.display()))
            }
            SimulatorFault::ImpossibleFault { .. } => Failure::told(format!("--fault {fault}")),
            _ => Failure::told(fault),
        }
    }
}

pub fn run(everywhere: &Everywhere, options: &Simulate) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let planned = Planned::read(options)?;
    let laboratory = bench::read(everywhere)?;
    if options.judge {
        let evaluated = laboratory.evaluate(&order)?;
        let run = match run_id(options.run.as_deref())? {
            Some(run) => Some(run),
            None => evaluated.package.runs.first().map(|run| run.id.clone()),
        };
        return judge_results(everywhere, &planned, run.as_ref(), &evaluated);
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
    if path.with_extension("parquet") == *path {
        return Err(Failure::with_hint(
            format!("{} would hold both readings and pulses", path.display()),
            "name the table of readings otherwise, for example with .csv",
        ));
    }
    let speed = options.speed;
    if let Some(speed) = speed
        && !(speed.is_finite() && speed > 0.0)
    {
        return Err(Failure::told(format!(
            "--speed {speed}: a speed is a number above 0; 1 is as fast as a real bench"
        )));
    }
    let kind = package.method(&known.method).map_or(ResponseKind::IntegratedAbsorbance, |method| method.response.kind);
    let started = options.started.clone().unwrap_or_else(|| start(&package, known));
    let seed = options.seed.unwrap_or(planned.truth.seed);
    let place = speed.is_none().then(|| Place::at(path)).transpose()?;
    let simulated =
        simulate(&package, &run, &rows, &planned.truth, seed, &started).map_err(|fault| planned.told(&fault))?;
    let n_readings = simulated.len();
    let files = match place {
        Some(place) => vec![place.fill(&simulated, kind)?],
        None => as_time_passes(path, &simulated, kind, speed.unwrap_or(f64::INFINITY))?,
    };
    let shown: Vec<String> = files.iter().flatten().map(|file| file.display().to_string()).collect();
    if everywhere.json {
        talk::print_json(&SimulatedLine {
            schema: "darkline/simulated/1",
            order: order.as_str(),
            run: run.as_str(),
            seed,
            rows: rows.len(),
            firings: n_readings,
            table: path.display().to_string(),
            pulses: path.with_extension("parquet").display().to_string(),
            faults: planned.truth.faults.iter().map(PlannedFault::to_string).collect(),
        })?;
    }
    let what = if kind == ResponseKind::Absorbance { "reading" } else { "firing" };
    talk::tell(&format!(
        "{} of run {run} measured by the virtual spectrometer, {}: {} written",
        count(rows.len(), "row"),
        count(n_readings, what),
        match shown.as_slice() {
            [table] => table.clone(),
            [table, pulses] => format!("{table} and {pulses}"),
            files => count(files.len(), "file"),
        }
    ));
    talk::tell(&format!("Next: darkline import {order} {} --as NAME", shown.first().map_or("FILE", String::as_str)));
    Ok(Ending::Done)
}

/// Room for a table of readings and the pulses beside it.
struct Place {
    path: PathBuf,
    table: NewFile,
    pulses: NewFile,
}

impl Place {
    fn at(path: &Path) -> Result<Self, Failure> {
        Ok(Self {
            path: path.to_owned(),
            table: NewFile::at(path)?,
            pulses: NewFile::at(&path.with_extension("parquet"))?,
        })
    }

    /// Writes the pulses, where there are any, and then the table, so that whoever sees the table finds its pulses.
    fn fill(self, simulated: &[SimulatedReading], kind: ResponseKind) -> Result<Vec<PathBuf>, Failure> {
        let mut traces: BTreeMap<u32, Pulse> = BTreeMap::new();
        let mut table = Vec::new();
        for (number, reading) in (1..).zip(simulated) {
            let came = match &reading.came {
                SimulatedSignal::Pulse(pulse) => {
                    traces.insert(number, pulse.clone());
                    Came::Pulse(number)
                }
                SimulatedSignal::Bare(absorbance) => Came::Bare(printed(*absorbance)),
                SimulatedSignal::Failed(why) => {
                    Came::Failed(Reason::new(why).expect("the reasons of the simulator are short and not empty"))
                }
            };
            let (row, replicate, attempt, at) = (reading.row, reading.replicate, reading.attempt, reading.at.clone());
            table.push(ReadRow {
                line: 0,
                row,
                replicate,
                attempt,
                at,
                mass: reading.mass.clone(),
                came,
                printed: None,
            });
        }
        let mut files = vec![self.path.clone()];
        if !traces.is_empty() {
            self.pulses.fill(&pulses::write(&traces).map_err(Failure::told)?)?;
            files.push(self.path.with_extension("parquet"));
        }
        self.table.fill(readings::write(&table, kind).as_bytes())?;
        Ok(files)
    }
}

/// Writes the readings of each row when its last one would have come: `readings.csv` becomes `readings-007.csv` for row 7.
fn as_time_passes(
    path: &Path,
    simulated: &[SimulatedReading],
    kind: ResponseKind,
    speed: f64,
) -> Result<Vec<Vec<PathBuf>>, Failure> {
    let began = Instant::now();
    let first = simulated.first().map(|reading| reading.at.moment());
    let stem = path.file_stem().map_or_else(|| "readings".into(), |stem| stem.to_string_lossy().into_owned());
    let extension = path.extension().map_or_else(|| "csv".into(), |of| of.to_string_lossy().into_owned());
    let mut files = Vec::new();
    for of_row in simulated.chunk_by(|one, other| one.row == other.row) {
        let (Some(reading), Some(first)) = (of_row.last(), first) else { continue };
        let since_s = reading.at.moment().duration_since(first).as_secs_f64() / speed;
        let wanted = Duration::try_from_secs_f64(since_s.max(0.0)).unwrap_or(Duration::ZERO);
        std::thread::sleep(wanted.saturating_sub(began.elapsed()));
        let name = path.with_file_name(format!("{stem}-{:03}.{extension}", reading.row));
        files.push(Place::at(&name)?.fill(of_row, kind)?);
        talk::tell(&format!("row {}: {} written", reading.row, name.display()));
    }
    Ok(files)
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
    #[serde(skip_serializing_if = "Vec::is_empty")]
    faults: Vec<String>,
}

#[derive(Serialize)]
struct JudgedLine {
    schema: &'static str,
    sample: String,
    truth: String,
    outcome: &'static str,
    difference_over_u: Option<f64>,
    difference_over_expanded_u: Option<f64>,
}

#[derive(Serialize)]
struct JudgedFaultLine {
    schema: &'static str,
    fault: String,
    has_to_be_found: bool,
    found_by: Vec<String>,
}

fn judge_results(
    everywhere: &Everywhere,
    planned: &Planned,
    run: Option<&RunId>,
    evaluated: &Evaluated,
) -> Result<Ending, Failure> {
    let (truth, package, outcome) = (&planned.truth, &evaluated.package, &evaluated.outcome);
    let faults = match run {
        Some(run) if !truth.faults.is_empty() => {
            judge_faults(truth, package, run, &flags_ever(outcome, &evaluated.decisions))
                .map_err(|fault| planned.told(&fault))?
        }
        _ => Vec::new(),
    };
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
                Found::Value { value: si(result.value)?, u: si(result.u)?, expanded_u: si(result.expanded_u)? }
            }
            Reported::BelowLoq { limit, .. } => Found::Below { limit: si(*limit)? },
            Reported::Awaiting { .. } | Reported::Withheld { found: None, .. } => continue,
        };
        reported.push(ReportedResult { sample: result.sample.clone(), kind, found });
    }
    let judgement = judge(truth, &reported).map_err(Failure::told)?;
    if !everywhere.json {
        talk::print(&format!("{}\n", judgement.to_string().trim_end()))?;
        for fault in &faults {
            talk::print(&format!("{fault}\n"))?;
        }
        return Ok(Ending::Done);
    }
    for line in &judgement.lines {
        use darkline_simulator::Outcome::{Difference, RightlyBelow, WronglyBelow};
        let (outcome, difference_over_u, difference_over_expanded_u) = match line.outcome {
            Difference { over_u, en, .. } => ("value", Some(over_u), Some(en)),
            RightlyBelow => ("rightly below", None, None),
            WronglyBelow => ("wrongly below", None, None),
        };
        let (sample, truth) = (line.sample.to_string(), line.truth.to_string());
        let schema = "darkline/judgement/1";
        talk::print_json(&JudgedLine {
            schema,
            sample,
            truth,
            outcome,
            difference_over_u,
            difference_over_expanded_u,
        })?;
    }
    for judged in &faults {
        talk::print_json(&JudgedFaultLine {
            schema: "darkline/judged-fault/1",
            fault: judged.fault.to_string(),
            has_to_be_found: judged.fault.has_to_be_found(),
            found_by: judged.found_by.iter().map(FlagId::to_string).collect(),
        })?;
    }
    Ok(Ending::Done)
}

/// The flags that stand and those that people took up or justified: a fault that was mended was found.
fn flags_ever(outcome: &Outcome, decisions: &[Decision]) -> Vec<FlagId> {
    let mut flags: Vec<FlagId> = outcome.flags.iter().map(|flag| flag.flag.id.clone()).collect();
    for decision in decisions {
        if let Decision::Justify { flag, .. } | Decision::TakeUp { flag, .. } = decision
            && !flags.contains(flag)
        {
            flags.push(flag.clone());
        }
    }
    flags
}
