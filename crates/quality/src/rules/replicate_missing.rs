//! replicate-missing
//!
//! What it sees: a row with fewer readings that count than were planned, although later rows have been measured.
//! Why it matters: the mean rests on less than the method asks, and its uncertainty is larger.
//! What to do: measure the missing replicates, or justify their absence.
//! Source: the method document, `replicates.n`, and the run order.

use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule =
    Rule { name: "replicate-missing", source: "the method document, replicates.n, and the run order", see, say };

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let last_read =
        view.solutions.iter().rposition(|solution| view.readings.iter().any(|reading| reading.home == solution.row));
    let mut flags = Vec::new();
    for (place, solution) in view.solutions.iter().enumerate() {
        let n_counted = u32::try_from(solution.counted.len()).unwrap_or(u32::MAX);
        let is_passed =
            last_read.is_some_and(|last| place < last) || (Some(place) == last_read && is_complete(view, solution.row));
        if solution.replaced || !is_passed || n_counted >= solution.wanted {
            continue;
        }
        // Rows that join this one and have not been read yet may still bring the replicate.
        let awaited = view
            .run
            .rows()
            .filter(|row| row.number != solution.row && view.run.home(row.number) == solution.row)
            .find(|row| !view.run.readings.iter().any(|reading| reading.row == row.number));
        let missing = solution.wanted - n_counted;
        flags.push(Flag {
            id: flag_id(RULE.name, Subject::Row(view.run.row_id(solution.row))),
            severity: Severity::Stops,
            settled: awaited.map_or(Settled::Now, |row| Settled::Until(view.run.row_id(row.number))),
            evidence: Evidence::default()
                .figure("count", f64::from(n_counted), "1")
                .figure("wanted", f64::from(solution.wanted), "1")
                .fact("cup", solution.name),
            holds: view.what_stands_on(solution),
            next: vec![NextStep::Repeat { replicates: u8::try_from(missing).unwrap_or(u8::MAX) }],
        });
    }
    flags
}

/// Whether all attempts planned at a row have been made, whatever they brought.
fn is_complete(view: &RunView<'_>, row: u32) -> bool {
    let planned = view.solution(row).map_or(0, |solution| solution.planned);
    let made = view.readings.iter().filter(|reading| reading.home == row).count();
    made >= planned as usize
}

fn say(evidence: &Evidence) -> String {
    let count =
        |name: &str| evidence.figures.iter().find(|figure| figure.name == name).map_or(0.0, |figure| figure.value);
    format!("{}: {} of {} replicates count", evidence.words("cup"), count("count"), count("wanted"))
}
