//! A file of an instrument made into the rows of a table of readings of one run.
//!
//! The same file again brings nothing new. The same reading with another value is told, and kept as a further attempt: nothing
//! that came is lost. Where the instrument leaves traces, a reading comes with its own, and the printed response stands beside it.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Kind, Response, Unit};
use darkline_record::decision::Reason;
use darkline_record::figure::Written;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, RowHolds, Run, Signal};
use jiff::civil::Date;

use crate::fault::{Fault, Faults};
use crate::instrument_file::alignment::{Fate, Planned, Solution, align};
use crate::instrument_file::mapping::{Mapping, ResponseState};
use crate::instrument_file::pairing::{Firing, Paired, agree, pair};
use crate::instrument_file::received::{self, Aside, Received, ReceivedCame, ReceivedReading};
use crate::instrument_file::traces::ReceivedTraces;
use crate::readings::{Came, ReadRow};

/// What a file brought to a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// New readings, by row.
    pub rows: Vec<ReadRow>,
    /// The pulses that they name.
    pub pulses: BTreeMap<u32, Pulse>,
    /// Readings that wait for their trace.
    pub waiting: Vec<Aside>,
    /// Readings that the run has already.
    pub n_known: usize,
    /// Rows of the file that were set aside, each with its reason.
    pub aside: Vec<Aside>,
    /// Readings that wait for a person: the line, the row it seems to be, and why that is not sure.
    pub doubtful: Vec<(Aside, u32)>,
    /// Rows of the run order between the first and the last row received that the file does not hold.
    pub skipped: Vec<u32>,
    /// Rows that the mapping calls no readings.
    pub n_no_readings: usize,
    /// Rows of other elements.
    pub n_other_elements: usize,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// What a person says about a file beside its mapping.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// The day of the first reading, for files that write times alone.
    pub day: Option<Date>,
    /// Rows of the run order, by the line of the file.
    pub rows: BTreeMap<usize, u32>,
}

/// The run that readings are wanted for.
#[derive(Clone, Copy)]
pub struct Awaiting<'a> {
    /// The run, with the readings it has already.
    pub run: &'a Run,
    /// The symbol of its element.
    pub element: &'a str,
    /// What a trace says by its method, in the unit of the response; `None` where it says nothing.
    pub response: &'a dyn Fn(&Pulse) -> Option<f64>,
}

/// The traces beside a file.
#[derive(Clone, Copy, Debug)]
pub struct Traces<'a> {
    /// What was found.
    pub received: &'a ReceivedTraces,
    /// What becomes of a reading without its trace.
    pub without: WithoutTrace,
    /// What becomes of a trace that may still be growing.
    pub growing: GrowingTrace,
}

/// What becomes of a reading without its trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WithoutTrace {
    /// It waits.
    Waits,
    /// Its printed response counts.
    PrintedCounts,
}

/// What becomes of a trace that is shorter than the others, the last of its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GrowingTrace {
    /// It waits: the instrument may be writing.
    Waits,
    /// It is taken as it is.
    Taken,
}

/// Takes the text of a file.
///
/// # Arguments
/// * `traces`: the traces beside it; where the mapping has none, they are not looked at.
///
/// # Errors
/// A file that the mapping does not fit; traces whose total and background are exchanged.
pub fn take(
    file: &str,
    text: &str,
    mapping: &Mapping,
    awaiting: &Awaiting<'_>,
    told: &Told,
    traces: Option<&Traces<'_>>,
) -> Result<Taken, Faults> {
    let run = awaiting.run;
    let received = received::read(file, text, mapping, awaiting.element, told.day)?;
    let traced = match (&mapping.traces, traces) {
        (Some(_), Some(traces)) => Some(traced(file, &received, traces, mapping, awaiting)?),
        _ => None,
    };
    let groups = groups(&received, run);
    let planned: Vec<Planned> = run.rows().map(|row| planned(row.number, &row.name, row.cup, &row.holds)).collect();
    let solutions: Vec<Solution> = groups.iter().map(|group| solution(&received, group)).collect();
    let fates = align(&planned, &solutions);
    let Received { aside, n_no_readings, n_other_elements, n_doubled, notes, .. } = received.clone();
    let mut taken = Taken {
        rows: Vec::new(),
        pulses: BTreeMap::new(),
        waiting: Vec::new(),
        n_known: 0,
        aside,
        doubtful: Vec::new(),
        skipped: Vec::new(),
        n_no_readings,
        n_other_elements,
        notes,
    };
    if n_doubled > 0 {
        taken.notes.push(format!("{n_doubled} rows stand in the file a second time, word for word, and count once"));
    }
    if let Some(traced) = &traced {
        taken.notes.extend(traced.notes.iter().cloned());
    }
    let mut attempts: BTreeMap<(u32, u8), u8> = BTreeMap::new();
    for (group, fate) in groups.iter().zip(&fates) {
        let first = &received.readings[group[0]];
        let (line, shown) = (first.line, shown(first));
        let row = match (told.rows.get(&line), fate) {
            (Some(row), _) => *row,
            (None, Fate::Row(row)) => *row,
            (None, Fate::Doubtful { row, why }) => {
                taken.doubtful.push((Aside { line, row: shown, why: why.clone() }, *row));
                continue;
            }
            (None, Fate::NoRow) => {
                let why = format!("no row of run {} fits by name, cup and order", run.id);
                taken.aside.push(Aside { line, row: shown, why });
                continue;
            }
        };
        for (place, index) in group.iter().enumerate() {
            let reading = &received.readings[*index];
            let trace = traced.as_ref().map(|traced| traced.of(*index));
            take_one(&mut taken, &mut attempts, run, mapping, row, place, reading, trace);
        }
    }
    taken.aside.sort_by_key(|aside| aside.line);
    taken.waiting.sort_by_key(|aside| aside.line);
    taken.skipped = skipped(run, &fates, &taken.rows);
    taken.rows.sort_by_key(|row| row.line);
    Ok(taken)
}

/// What is known of the trace of a reading.
enum OfTrace<'a> {
    /// It is this one.
    Is(&'a Pulse),
    /// There is none, or not one that is sure, and why.
    Not(String),
}

struct Traced<'a> {
    traces: &'a Traces<'a>,
    /// One a reading, in the order of the file.
    paired: Vec<Paired>,
    /// The numbers of the firings.
    numbers: Vec<Option<u32>>,
    notes: Vec<String>,
}

impl<'a> Traced<'a> {
    fn of(&self, index: usize) -> (OfTrace<'a>, WithoutTrace) {
        let named = |words: &str| match self.numbers[index] {
            Some(number) => format!("firing {number} {words}"),
            None => format!("it {words}"),
        };
        let all = &self.traces.received.traces;
        let place = |trace: usize| format!("{}, line {}", all[trace].file, all[trace].line);
        let found = match self.paired[index] {
            Paired::Trace(trace) if all[trace].may_grow && self.traces.growing == GrowingTrace::Waits => {
                OfTrace::Not(named(&format!("has a trace that is shorter than the others, {}", place(trace))))
            }
            Paired::Trace(trace) => OfTrace::Is(&all[trace].pulse),
            Paired::Missing => OfTrace::Not(named("has no trace")),
            Paired::Unsure(trace) => {
                OfTrace::Not(named(&format!("may have the trace of {}, or another one", place(trace))))
            }
        };
        (found, self.traces.without)
    }
}

/// Pairs readings with traces.
fn traced<'a>(
    file: &str,
    received: &Received,
    traces: &'a Traces<'a>,
    mapping: &Mapping,
    awaiting: &Awaiting<'_>,
) -> Result<Traced<'a>, Faults> {
    let run = awaiting.run;
    let all = &traces.received.traces;
    // What the row's dilution did to a printed response is not known before the row is: one in five hardly matters here.
    let printed = |reading: &ReceivedReading| match &reading.came {
        ReceivedCame::Response(digits) if mapping.response.is != ResponseState::MultipliedByDilution => {
            as_measured(digits, reading, mapping, run, 0).and_then(|digits| digits.parse::<f64>().ok())
        }
        _ => None,
    };
    let mut order: Vec<usize> = (0..received.readings.len()).collect();
    order.sort_by_key(|&index| received.readings[index].at.moment());
    let readings: Vec<Firing> = order
        .iter()
        .map(|&index| &received.readings[index])
        .map(|reading| Firing { number: reading.firing, response: printed(reading) })
        .collect();
    let offered: Vec<Firing> =
        all.iter().map(|trace| Firing { number: trace.number, response: (awaiting.response)(&trace.pulse) }).collect();
    let Some(in_order) = pair(&readings, &offered) else {
        let what = format!("{} readings and {} traces are more than one run has", readings.len(), offered.len());
        return Err(Faults::one(Fault::of_file(file, what, "name the folder of this run's traces alone")));
    };
    exchanged(file, &readings, &in_order, traces, awaiting.response)?;
    let mut paired = vec![Paired::Missing; received.readings.len()];
    for (index, found) in order.iter().zip(&in_order) {
        paired[*index] = *found;
    }
    let mut notes = traces.received.notes.clone();
    notes.extend(
        traces.received.aside.iter().map(|(file, aside)| format!("{file}, line {}: {}", aside.line, aside.why)),
    );
    let n_strange =
        all.len() - in_order.iter().filter(|paired| !matches!(paired, Paired::Missing)).count().min(all.len());
    if n_strange > 0 && !all.is_empty() {
        let (is, them) = if n_strange == 1 { ("trace belongs", "it was") } else { ("traces belong", "they were") };
        notes.push(format!("{n_strange} {is} to no reading of the file; {them} left out"));
    }
    let numbers = received.readings.iter().map(|reading| reading.firing).collect();
    Ok(Traced { traces, paired, numbers, notes })
}

/// Traces whose total and background are exchanged give the printed responses with the sign turned; so many cannot be chance.
fn exchanged(
    file: &str,
    readings: &[Firing],
    paired: &[Paired],
    traces: &Traces<'_>,
    response: &dyn Fn(&Pulse) -> Option<f64>,
) -> Result<(), Faults> {
    let (mut n, mut n_agree, mut n_turned) = (0_usize, 0_usize, 0_usize);
    for (reading, paired) in readings.iter().zip(paired) {
        let (Paired::Trace(trace) | Paired::Unsure(trace)) = *paired else { continue };
        let Some(printed) = reading.response.filter(|printed| printed.abs() > 0.02) else { continue };
        let pulse = &traces.received.traces[trace].pulse;
        let Ok(turned) = Pulse::new(pulse.t_s().to_vec(), pulse.background().to_vec(), pulse.total().to_vec()) else {
            continue;
        };
        n += 1;
        n_agree += usize::from(response(pulse).is_some_and(|ours| agree(ours, printed)));
        n_turned += usize::from(response(&turned).is_some_and(|ours| agree(ours, printed)));
    }
    if n_turned >= 3 && n_turned * 2 > n && n_agree < n_turned {
        let what = format!(
            "total and background of the traces look exchanged: {n_turned} of {n} give the printed response when turned round"
        );
        let hint = "exchange the two columns in the part [traces] of the mapping; nothing was taken";
        return Err(Faults::one(Fault::of_file(file, what, hint)));
    }
    Ok(())
}

fn shown(reading: &ReceivedReading) -> String {
    let cup = reading.cup.map_or(String::new(), |cup| format!(", cup {cup}"));
    format!("{}{cup}", reading.sample.as_deref().unwrap_or(""))
}

#[expect(clippy::too_many_arguments, reason = "what is taken, what was taken before, and where it belongs")]
fn take_one(
    taken: &mut Taken,
    attempts: &mut BTreeMap<(u32, u8), u8>,
    run: &Run,
    mapping: &Mapping,
    row: u32,
    place: usize,
    reading: &ReceivedReading,
    trace: Option<(OfTrace<'_>, WithoutTrace)>,
) {
    let line = reading.line;
    let replicate = reading.replicate.unwrap_or_else(|| u8::try_from(place + 1).unwrap_or(u8::MAX));
    let bare = match &reading.came {
        ReceivedCame::Over(wrote) => {
            Reason::new(&format!("over range: the instrument wrote \"{wrote}\"")).map(Came::Failed)
        }
        ReceivedCame::Nothing(wrote) => {
            Reason::new(&format!("no response: the instrument wrote \"{wrote}\"")).map(Came::Failed)
        }
        ReceivedCame::Response(digits) => as_measured(digits, reading, mapping, run, row)
            .and_then(|digits| Written::in_unit(&digits, response_unit(mapping)?).ok())
            .map(Came::Bare),
    };
    let same_place: Vec<&Reading> =
        run.readings.iter().filter(|known| (known.row, known.replicate) == (row, replicate)).collect();
    let at_once: Vec<&Reading> =
        same_place.iter().copied().filter(|known| known.at.moment() == reading.at.moment()).collect();
    let (came, printed, pulse) = match trace {
        Some((OfTrace::Is(pulse), _)) => {
            let number = u32::try_from(taken.pulses.len() + 1).unwrap_or(u32::MAX);
            let printed = match bare {
                Some(Came::Bare(printed)) => Some(printed),
                _ => None,
            };
            (Came::Pulse(number), printed, Some(pulse))
        }
        Some((OfTrace::Not(why), without)) => {
            // A trace that came before is there still, whatever became of its file.
            if at_once.iter().any(|known| matches!(known.signal, Signal::Pulse(_))) {
                taken.n_known += 1;
                return;
            }
            match (bare, without) {
                (Some(bare), WithoutTrace::PrintedCounts) => {
                    taken.notes.push(format!("line {line}: {why}; what the instrument printed counts"));
                    (bare, None, None)
                }
                _ => {
                    taken.waiting.push(Aside { line, row: shown(reading), why });
                    return;
                }
            }
        }
        None => match bare {
            Some(bare) => (bare, None, None),
            None => {
                let why = "its response is no figure that a reading can have".to_owned();
                taken.aside.push(Aside { line, row: reading.sample.clone().unwrap_or_default(), why });
                return;
            }
        },
    };
    if at_once.iter().any(|known| is_same(&known.signal, &came, pulse)) {
        taken.n_known += 1;
        return;
    }
    if let Some(known) = at_once.first() {
        taken.notes.push(format!(
            "line {line}: reading {} of {} came before with another value; both are kept, the newer one counts",
            run.reading_id(known.number),
            reading.at
        ));
    }
    let before = same_place.iter().map(|known| known.attempt).max().unwrap_or(0);
    let attempt = attempts.entry((row, replicate)).or_insert(before);
    *attempt = attempt.saturating_add(1);
    if reading.is_rejected {
        taken.notes.push(format!(
            "line {line}: the instrument marked this reading as rejected; it was taken, and a person decides about it"
        ));
    }
    let attempt = *attempt;
    if let (Came::Pulse(number), Some(pulse)) = (&came, pulse) {
        taken.pulses.insert(*number, pulse.clone());
    }
    taken.rows.push(ReadRow { line, row, replicate, attempt, at: reading.at.clone(), came, printed, mass: None });
}

fn response_unit(mapping: &Mapping) -> Option<Unit<Response>> {
    Response::unit(mapping.response.kind.unit_symbol())
}

/// The response before the instrument did anything with it.
fn as_measured(digits: &str, reading: &ReceivedReading, mapping: &Mapping, run: &Run, row: u32) -> Option<String> {
    let value: f64 = digits.parse().ok()?;
    match mapping.response.is {
        ResponseState::AsMeasured => Some(digits.to_owned()),
        ResponseState::BlankSubtracted => {
            let blank = reading.blank.as_deref()?;
            let decimals = decimals(digits).max(decimals(blank)).min(12);
            Some(format!("{:.decimals$}", value + blank.parse::<f64>().ok()?))
        }
        ResponseState::MultipliedByDilution => match &run.row(row)?.holds {
            RowHolds::Portion { dilution, .. } => {
                let factor = dilution.value.value().si();
                if factor == 1.0 { Some(digits.to_owned()) } else { Some(format!("{:.9}", value / factor)) }
            }
            _ => Some(digits.to_owned()),
        },
    }
}

fn decimals(digits: &str) -> usize {
    digits.split_once('.').map_or(0, |(_, decimals)| decimals.len())
}

fn is_same(known: &Signal, came: &Came, pulse: Option<&Pulse>) -> bool {
    match (known, came) {
        (Signal::Pulse(digest), Came::Pulse(_)) => pulse.is_some_and(|pulse| pulse.digest() == *digest),
        (Signal::Bare(known), Came::Bare(came)) => known.value().si() == came.value().si(),
        (Signal::Failed { why }, Came::Failed(reason)) => why == reason,
        // A trace is there already: the response printed beside it says nothing new.
        (Signal::Pulse(_), _) => true,
        _ => false,
    }
}

/// Readings that follow one another under one name and cup, by their place in the file; where replicates are not counted, as many
/// as the row has.
fn groups(received: &Received, run: &Run) -> Vec<Vec<usize>> {
    let all = &received.readings;
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by_key(|&index| all[index].at.moment());
    let wanted = run.rows().map(|row| usize::from(row.replicates)).max().unwrap_or(1).max(1);
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for index in order {
        let reading = &all[index];
        let goes_on = groups.last().is_some_and(|group| {
            let last = &all[group[group.len() - 1]];
            let is_same = (&last.sample, last.cup) == (&reading.sample, reading.cup);
            let counts_on = match (last.replicate, reading.replicate) {
                (Some(before), Some(now)) => now > before,
                _ => group.len() < wanted,
            };
            is_same && counts_on
        });
        match groups.last_mut() {
            Some(group) if goes_on => group.push(index),
            _ => groups.push(vec![index]),
        }
    }
    groups
}

fn planned(row: u32, name: &str, cup: Option<u32>, holds: &RowHolds) -> Planned {
    let amount = match holds {
        RowHolds::CalibrationBlank | RowHolds::CheckBlank => Some(0.0),
        RowHolds::Standard { amount } | RowHolds::Check { amount } => Some(amount.value.value().si()),
        _ => None,
    };
    Planned { row, name: name.to_owned(), cup, amount }
}

fn solution(received: &Received, group: &[usize]) -> Solution {
    let responses: Vec<f64> = group
        .iter()
        .filter_map(|&index| match &received.readings[index].came {
            ReceivedCame::Response(digits) => digits.parse().ok(),
            _ => None,
        })
        .filter(|response: &f64| response.is_finite())
        .collect();
    let response = (!responses.is_empty()).then(|| responses.iter().sum::<f64>() / responses.len() as f64);
    let first = &received.readings[group[0]];
    Solution { name: first.sample.clone(), cup: first.cup, response }
}

fn skipped(run: &Run, fates: &[Fate], rows: &[ReadRow]) -> Vec<u32> {
    let numbers: Vec<u32> = run.rows().map(|row| row.number).collect();
    let found: Vec<u32> = fates
        .iter()
        .filter_map(|fate| match fate {
            Fate::Row(row) | Fate::Doubtful { row, .. } => Some(*row),
            Fate::NoRow => None,
        })
        .chain(rows.iter().map(|row| row.row))
        .collect();
    let places: Vec<usize> = found.iter().filter_map(|row| numbers.iter().position(|number| number == row)).collect();
    let (Some(first), Some(last)) = (places.iter().min(), places.iter().max()) else { return Vec::new() };
    let is_measured = |number: u32| run.readings.iter().any(|reading| reading.row == number);
    numbers[*first..=*last].iter().copied().filter(|number| !found.contains(number) && !is_measured(*number)).collect()
}
