//! `run.toml`, format `darkline/run/1`: the head of a run; its rows stand in a table beside it.

use darkline_record::identity::{MethodId, RunId};
use darkline_record::run::{Leg, Row, Run};

use crate::document::gathering::all;
use crate::document::section::Section;
use crate::document::{self, Entered};
use crate::fault::Faults;

/// The head of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunHead {
    /// Its identity.
    pub id: RunId,
    /// The method it follows.
    pub method: MethodId,
    /// The instrument, as the laboratory calls it.
    pub instrument: String,
    /// The lots its standards were made of.
    pub lots: Vec<String>,
    /// The name of the file with its rows, in the same folder.
    pub rows: String,
}

impl RunHead {
    /// The run as planned: one leg, nothing measured.
    pub fn with_rows(&self, rows: Vec<Row>) -> Run {
        Run {
            id: self.id.clone(),
            method: self.method.clone(),
            instrument: self.instrument.clone(),
            lots: self.lots.clone(),
            legs: vec![Leg { because: Vec::new(), rows }],
            readings: Vec::new(),
        }
    }
}

/// Reads the head of a run.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<RunHead, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads the head of a run and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<RunHead>, Faults> {
    document::read(file_name, text, "run", v1)
}

fn v1(top: &Section<'_>) -> Option<RunHead> {
    let id = top.required("id", "\"R1\"").and_then(|entry| entry.parsed());
    let method = top.required("method", "\"cadmium\"").and_then(|entry| entry.parsed());
    let instrument = top.required("instrument", "\"…\"").and_then(|entry| entry.text());
    let lots = top.optional("lots").map_or(Some(Vec::new()), |entry| {
        all(entry.list("[\"Pb-1000-17\"]")?.iter().map(|entry| entry.text()).collect())
    });
    let rows = top.required("rows", "\"run-order.csv\"").and_then(|entry| {
        let name = entry.text()?;
        // A name that leads out of the folder would put a stranger's file into the record.
        if name.contains(['/', '\\', ':']) || name.starts_with('.') || name.chars().any(char::is_control) {
            entry.fault(
                "the rows stand in a file of the same folder",
                "write its name alone, for example \"run-order.csv\"",
            );
            return None;
        }
        Some(name)
    });
    top.close();
    Some(RunHead { id: id?, method: method?, instrument: instrument?, lots: lots?, rows: rows? })
}
