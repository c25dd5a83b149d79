//! The run: rows in legs, and the readings they gave.

use darkline_metrology::kind::{Factor, Mass, MassConcentration, Response};
use serde::{Deserialize, Serialize};

use crate::canonical::Digest;
use crate::decision::{FlagId, Reason};
use crate::figure::{Uncertain, Written};
use crate::identity::{BatchId, MethodId, PortionId, ReadingId, RowId, RunId};
use crate::time::Timestamp;

/// A run: rows measured one after the other with one set-up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Run {
    /// Its identity.
    pub id: RunId,
    /// The method it follows.
    pub method: MethodId,
    /// The instrument, as the laboratory calls it.
    pub instrument: String,
    /// The lots its standards were made of, with those that they were made of.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<String>,
    /// Legs in the order they were added; the first is the run order as planned.
    pub legs: Vec<Leg>,
    /// Readings in the order of their number.
    pub readings: Vec<Reading>,
}

/// Rows added together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Leg {
    /// The flags that asked for it; none for the first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub because: Vec<FlagId>,
    /// Its rows in the order measured.
    pub rows: Vec<Row>,
}

/// One row of a run order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// Its number in the run, which never changes.
    pub number: u32,
    /// The cup it is taken from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cup: Option<u32>,
    /// The name on the cup.
    pub name: String,
    /// What is measured.
    pub holds: RowHolds,
    /// Replicates wanted.
    pub replicates: u8,
    /// The row of the same solution that it adds replicates to, or of the same portion that it replaces.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub follows: Option<Follows>,
}

/// How a row of a later leg stands to an earlier one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Follows {
    /// Its readings join those of the row.
    Joins(u32),
    /// Its readings stand in place of those of the row.
    Replaces(u32),
}

/// What is measured at a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum RowHolds {
    /// A calibration blank: a standard of amount zero.
    CalibrationBlank,
    /// A calibration standard.
    Standard {
        /// Its mass concentration.
        amount: Uncertain<MassConcentration>,
    },
    /// A check standard.
    Check {
        /// The mass concentration it should show.
        amount: Uncertain<MassConcentration>,
    },
    /// A check blank.
    CheckBlank,
    /// The solution of a portion, diluted or not.
    Portion {
        /// Its batch.
        batch: BatchId,
        /// The portion.
        portion: PortionId,
        /// Volume after dilution over volume before; 1 where it was not diluted.
        dilution: Uncertain<Factor>,
    },
}

impl RowHolds {
    /// The word on screens and in run orders.
    pub fn word(&self) -> &'static str {
        match self {
            RowHolds::CalibrationBlank => "calibration blank",
            RowHolds::Standard { .. } => "standard",
            RowHolds::Check { .. } => "check",
            RowHolds::CheckBlank => "check blank",
            RowHolds::Portion { .. } => "portion",
        }
    }
}

/// One replicate measured at one row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// Its number in the run.
    pub number: u32,
    /// The row it was measured at.
    pub row: u32,
    /// Which replicate of the row, from 1.
    pub replicate: u8,
    /// Which attempt at this replicate, from 1; the last one counts.
    pub attempt: u8,
    /// When.
    pub at: Timestamp,
    /// The mass of the portion that was weighed into the tube for it; `None` for solutions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Written<Mass>>,
    /// The response that the instrument printed beside a pulse; `None` where it printed none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub printed: Option<Written<Response>>,
    /// What came.
    pub signal: Signal,
}

/// What a reading brought.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// A pulse, by the digest of its samples.
    Pulse(Digest),
    /// A response without a trace.
    Bare(Written<Response>),
    /// Nothing that can be used.
    Failed {
        /// Why.
        why: Reason,
    },
}

impl Run {
    /// All rows, leg by leg.
    pub fn rows(&self) -> impl Iterator<Item = &Row> {
        self.legs.iter().flat_map(|leg| &leg.rows)
    }
    /// The row with this number.
    pub fn row(&self, number: u32) -> Option<&Row> {
        self.rows().find(|row| row.number == number)
    }
    /// The identity of a row of this run.
    pub fn row_id(&self, number: u32) -> RowId {
        RowId { run: self.id.clone(), number }
    }
    /// The identity of a reading of this run.
    pub fn reading_id(&self, number: u32) -> ReadingId {
        ReadingId { run: self.id.clone(), number }
    }
    /// The first row of the same solution: the row itself, or the one it joins.
    pub fn home(&self, number: u32) -> u32 {
        match self.row(number).and_then(|row| row.follows) {
            // Rows only follow earlier ones, which the door checks; the comparison keeps a broken record from looping.
            Some(Follows::Joins(earlier)) if earlier < number => self.home(earlier),
            _ => number,
        }
    }
    /// Whether a later row stands in place of this one.
    pub fn is_replaced(&self, number: u32) -> bool {
        let home = self.home(number);
        self.rows().any(|row| matches!(row.follows, Some(Follows::Replaces(earlier)) if self.home(earlier) == home))
    }
}
