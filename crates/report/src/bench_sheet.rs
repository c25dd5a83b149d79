//! The bench sheet: what to look at, pipette, fill up and place where, in working order, with room for what was really done;
//! and the labels that go with it.
//!
//! Everything arrives as text; nothing is worked out here but the bars of a barcode.

use serde::Serialize;

use crate::barcode::code_128;

/// A bench sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct BenchSheet {
    /// The order.
    pub order: String,
    /// The bench.
    pub bench: String,
    /// The day or moment the work starts, such as `2026-05-04T09:00:00+02:00`.
    pub date: String,
    /// Who planned it.
    pub by: String,
    /// Program and version.
    pub program: String,
    /// The forecast: what, and how much.
    pub forecast: Vec<(String, String)>,
    /// What stands above all cautions.
    pub statement: String,
    /// The cautions: how bad, and what.
    pub cautions: Vec<(String, String)>,
    /// What may not be used, and why.
    pub refused: Vec<(String, String)>,
    /// What is looked at before the first sample, with room for a tick.
    pub checks: Vec<String>,
    /// What the first readings should show: element, of what, expected, allowed.
    pub first_readings: Vec<[String; 4]>,
    /// What is pipetted and filled up, in working order.
    pub steps: Vec<Step>,
    /// The portions: name, what it is, what goes in, made up to.
    pub portions: Vec<[String; 4]>,
    /// Cups: place, what is in it, how much, from when on.
    pub cups: Vec<[String; 4]>,
    /// The runs.
    pub runs: Vec<RunPart>,
}

/// A solution that is made.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Step {
    /// What is made.
    pub made: String,
    /// Of what.
    pub of: String,
    /// How much is taken, and with what.
    pub take: String,
    /// Made up to, and in what.
    pub up_to: String,
    /// How sure it is.
    pub u: String,
}

/// A run.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct RunPart {
    /// Its name.
    pub run: String,
    /// What is measured by which method on which instrument.
    pub about: String,
    /// From when to when.
    pub time: String,
    /// How the instrument is set: what, and to what.
    pub conditions: Vec<(String, String)>,
    /// Rows: number, cup, name, what it holds, replicates.
    pub rows: Vec<[String; 5]>,
}

/// Labels.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Labels {
    /// The order they belong to.
    pub order: String,
    /// The day or moment the work starts.
    pub date: String,
    /// Program and version.
    pub program: String,
    /// One each.
    pub labels: Vec<Label>,
}

/// A label.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Label {
    /// What the barcode says.
    pub id: String,
    /// What is in the vessel.
    pub what: String,
    /// Until when it serves, or who made it when.
    pub note: String,
    /// Widths of bars and gaps; none where the identity has letters that no barcode of this kind has.
    pub bars: Vec<u8>,
}

impl Label {
    /// A label with its barcode.
    pub fn new(id: impl Into<String>, what: impl Into<String>, note: impl Into<String>) -> Self {
        let id = id.into();
        let bars = code_128(&id).unwrap_or_default();
        Self { id, what: what.into(), note: note.into(), bars }
    }
}
