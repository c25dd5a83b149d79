//! A file of an instrument made into the rows of a table of readings of one run.
//!
//! The same file again brings nothing new. The same reading with another value is told, and kept as a further attempt: nothing
//! that came is lost.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Kind, Response, Unit};
use darkline_record::decision::Reason;
use darkline_record::figure::Written;
use darkline_record::run::{Reading, RowHolds, Run, Signal};
use jiff::civil::Date;

use crate::fault::Faults;
use crate::instrument_file::alignment::{Fate, Planned, Solution, align};
use crate::instrument_file::mapping::{Mapping, ResponseState};
use crate::instrument_file::received::{self, Aside, Received, ReceivedCame, ReceivedReading};
use crate::readings::{Came, ReadRow};

/// What a file brought to a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// New readings, by row.
    pub rows: Vec<ReadRow>,
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

/// Takes the text of a file.
///
/// # Arguments
/// * `run`: the run they belong to, with the readings it has already.
/// * `element`: the symbol of its element.
/// * `day`: the day of the first reading, for files that write times alone.
/// * `told`: rows that a person has told, by the line of the file.
///
/// # Errors
/// A file that the mapping does not fit.
pub fn take(
    file: &str,
    text: &str,
    mapping: &Mapping,
    run: &Run,
    element: &str,
    day: Option<Date>,
    told: &BTreeMap<usize, u32>,
) -> Result<Taken, Faults> {
    let received = received::read(file, text, mapping, element, day)?;
    let groups = groups(&received, run);
    let planned: Vec<Planned> = run.rows().map(|row| planned(row.number, &row.name, row.cup, &row.holds)).collect();
    let solutions: Vec<Solution> = groups.iter().map(|group| solution(group)).collect();
    let fates = align(&planned, &solutions);
    let Received { aside, n_no_readings, n_other_elements, n_doubled, notes, .. } = received.clone();
    let mut taken = Taken {
        rows: Vec::new(),
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
    let mut attempts: BTreeMap<(u32, u8), u8> = BTreeMap::new();
    for (group, fate) in groups.iter().zip(&fates) {
        let line = group[0].line;
        let shown = format!(
            "{}{}",
            group[0].sample.as_deref().unwrap_or(""),
            group[0].cup.map_or(String::new(), |cup| format!(", cup {cup}"))
        );
        let row = match (told.get(&line), fate) {
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
        for (place, reading) in group.iter().enumerate() {
            take_one(&mut taken, &mut attempts, run, mapping, row, place, reading);
        }
    }
    taken.aside.sort_by_key(|aside| aside.line);
    taken.skipped = skipped(run, &fates, &taken.rows);
    taken.rows.sort_by_key(|row| row.line);
    Ok(taken)
}

fn take_one(
    taken: &mut Taken,
    attempts: &mut BTreeMap<(u32, u8), u8>,
    run: &Run,
    mapping: &Mapping,
    row: u32,
    place: usize,
    reading: &ReceivedReading,
) {
    let line = reading.line;
    let replicate = reading.replicate.unwrap_or_else(|| u8::try_from(place + 1).unwrap_or(u8::MAX));
    let came = match &reading.came {
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
    let Some(came) = came else {
        let why = "its response is no figure that a reading can have".to_owned();
        taken.aside.push(Aside { line, row: reading.sample.clone().unwrap_or_default(), why });
        return;
    };
    let same_place: Vec<&Reading> =
        run.readings.iter().filter(|known| (known.row, known.replicate) == (row, replicate)).collect();
    if same_place.iter().any(|known| known.at.moment() == reading.at.moment() && is_same(&known.signal, &came)) {
        taken.n_known += 1;
        return;
    }
    if let Some(known) = same_place.iter().find(|known| known.at.moment() == reading.at.moment()) {
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
    taken.rows.push(ReadRow { line, row, replicate, attempt, at: reading.at.clone(), came, mass: None });
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

fn is_same(known: &Signal, came: &Came) -> bool {
    match (known, came) {
        (Signal::Bare(known), Came::Bare(came)) => known.value().si() == came.value().si(),
        (Signal::Failed { why }, Came::Failed(reason)) => why == reason,
        // A trace is there already: the response printed beside it says nothing new.
        (Signal::Pulse(_), _) => true,
        _ => false,
    }
}

/// Readings that follow one another under one name and cup; where replicates are not counted, as many as the row has.
fn groups<'r>(received: &'r Received, run: &Run) -> Vec<Vec<&'r ReceivedReading>> {
    let mut readings: Vec<&ReceivedReading> = received.readings.iter().collect();
    readings.sort_by_key(|reading| reading.at.moment());
    let wanted = run.rows().map(|row| usize::from(row.replicates)).max().unwrap_or(1).max(1);
    let mut groups: Vec<Vec<&ReceivedReading>> = Vec::new();
    for reading in readings {
        let goes_on = groups.last().is_some_and(|group| {
            let last = group[group.len() - 1];
            let is_same = (&last.sample, last.cup) == (&reading.sample, reading.cup);
            let counts_on = match (last.replicate, reading.replicate) {
                (Some(before), Some(now)) => now > before,
                _ => group.len() < wanted,
            };
            is_same && counts_on
        });
        match groups.last_mut() {
            Some(group) if goes_on => group.push(reading),
            _ => groups.push(vec![reading]),
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

fn solution(group: &[&ReceivedReading]) -> Solution {
    let responses: Vec<f64> = group
        .iter()
        .filter_map(|reading| match &reading.came {
            ReceivedCame::Response(digits) => digits.parse().ok(),
            _ => None,
        })
        .filter(|response: &f64| response.is_finite())
        .collect();
    let response = (!responses.is_empty()).then(|| responses.iter().sum::<f64>() / responses.len() as f64);
    Solution { name: group[0].sample.clone(), cup: group[0].cup, response }
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
