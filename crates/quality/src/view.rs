//! What a rule is shown of a run: readings, solutions and controls as they were worked out, never raw files.

use darkline_record::identity::{BatchId, PortionId};
use darkline_record::method::ResolvedMethod;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{RowHolds, Run};

use crate::flag::Holds;

/// A run as rules see it.
#[derive(Clone, Copy, Debug)]
pub struct RunView<'a> {
    /// The run as it was ordered and read.
    pub run: &'a Run,
    /// Its method.
    pub method: &'a ResolvedMethod,
    /// Its readings in the order of their number.
    pub readings: &'a [SeenReading],
    /// One solution for each row that does not join an earlier one, in the order measured.
    pub solutions: &'a [SeenSolution<'a>],
    /// Control samples whose value was worked out.
    pub controls: &'a [SeenControl],
    /// The calibration, or why there is none.
    pub calibration: &'a SeenCalibration,
}

/// A reading.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenReading {
    /// Its number.
    pub number: u32,
    /// The row of its solution.
    pub home: u32,
    /// Its response, in the unit of the method's response; `None` where it brought none.
    pub response: Option<f64>,
    /// Why it brought none.
    pub fault: Option<String>,
    /// Whether it enters the results: brought a response, was not rejected, is the last attempt.
    pub counts: bool,
    /// Whether a person rejected it.
    pub rejected: bool,
}

/// The solution of one row, with the readings of that row and of those that join it.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenSolution<'a> {
    /// Its row.
    pub row: u32,
    /// The name on the cup.
    pub name: &'a str,
    /// What it is.
    pub holds: &'a RowHolds,
    /// The role of its portion.
    pub role: Option<&'a PortionRole>,
    /// Whether a later row stands in its place.
    pub replaced: bool,
    /// Replicates planned, those of joining rows included.
    pub planned: u32,
    /// Replicates the method asks of it: those of its own row.
    pub wanted: u32,
    /// Numbers of the readings that count.
    pub counted: Vec<u32>,
    /// Mean response of the readings that count.
    pub mean_response: Option<f64>,
    /// Mass concentration of the measured solution, in kg/m³.
    pub amount: Option<f64>,
    /// Its standard uncertainty.
    pub u_amount: Option<f64>,
}

/// A control sample.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenControl {
    /// The row it was measured at.
    pub row: u32,
    /// Its batch.
    pub batch: BatchId,
    /// Its portion.
    pub portion: PortionId,
    /// The value it should have, in the unit of the method's results.
    pub assigned: f64,
    /// The value found.
    pub found: f64,
    /// The unit of both.
    pub unit: &'static str,
}

/// The calibration of a run.
#[derive(Clone, Debug, PartialEq)]
pub enum SeenCalibration {
    /// Too few standards have been read so far.
    NotYet,
    /// There is one.
    Fitted {
        /// Mass concentration of the highest standard, in kg/m³.
        top_amount: f64,
        /// Slope, m³/kg.
        slope: f64,
    },
    /// The standards give none.
    Unusable {
        /// Why, as a fact.
        why: String,
    },
}

impl<'a> RunView<'a> {
    /// The solution of a row, or of the row it joins.
    pub fn solution(&self, row: u32) -> Option<&SeenSolution<'a>> {
        let home = self.run.home(row);
        self.solutions.iter().find(|solution| solution.row == home)
    }
    /// The readings of a solution that count, in order.
    pub fn counted(&self, solution: &SeenSolution<'_>) -> impl Iterator<Item = &SeenReading> {
        let numbers = solution.counted.clone();
        self.readings.iter().filter(move |reading| numbers.contains(&reading.number))
    }
    /// What stands on a solution: the results of its row, or of the whole run where it is one of the standards.
    pub fn what_stands_on(&self, solution: &SeenSolution<'_>) -> Holds {
        match solution.holds {
            RowHolds::Standard { .. } | RowHolds::CalibrationBlank => Holds::Run(self.run.id.clone()),
            _ => Holds::Rows(vec![self.run.row_id(solution.row)]),
        }
    }
    /// The symbol of the response's unit.
    pub fn response_unit(&self) -> &'static str {
        self.method.response.kind.unit_symbol()
    }
    /// The repeatability standard deviation that the method states for a response.
    ///
    /// # Source
    /// Two-component model of D. M. Rocke, S. Lorenzato, Technometrics 37 (1995) 176: `√(s₀² + (r·y)²)`.
    pub fn repeatability(&self, response: f64) -> f64 {
        use darkline_metrology::kind::Kind;
        let sd_at_zero = self.method.replicates.sd_at_zero.value().si();
        let relative = self.method.replicates.rsd.value().si() * response;
        (sd_at_zero * sd_at_zero + relative * relative).sqrt()
    }
}
