//! What a rule is shown of a run: readings, solutions and controls as they were worked out, never raw files.

use darkline_metrology::kind::Kind;
use darkline_record::identity::{BatchId, PortionId};
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::{Row, RowHolds, Run};
use darkline_signal::restored_area::RestoredPulse;
use darkline_signal::shape_of_standards::ShapeOfStandards;
use darkline_signal::{PulseFigures, Steady};

use crate::flag::Holds;

/// A run as rules see it.
#[derive(Clone, Copy, Debug)]
pub struct RunView<'a> {
    /// The package that holds the run.
    pub package: &'a DataPackage,
    /// The run as it was ordered and read.
    pub run: &'a Run,
    /// Its method.
    pub method: &'a ResolvedMethod,
    /// Its readings in the order of their number.
    pub readings: &'a [SeenReading],
    /// One solution for each row that does not join an earlier one, in the order measured.
    pub solutions: &'a [SeenSolution<'a>],
    /// Controls of batches whose value was worked out.
    pub controls: &'a [SeenControl],
    /// Portions whose result was worked out, one for each row, in the order measured.
    pub results: &'a [SeenResult],
    /// The calibration, or why there is none.
    pub calibration: &'a SeenCalibration,
    /// The shape that the pulses of the run's standards have in common; `None` where fewer than two of them stand out of
    /// the noise. Compare a reading's pulse by [`ShapeOfStandards::differences`].
    pub shape_of_standards: Option<&'a ShapeOfStandards>,
}

/// A reading.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenReading {
    /// Its number.
    pub number: u32,
    /// The row of its solution.
    pub home: u32,
    /// The row it was measured at.
    pub row: u32,
    /// Which replicate of that row.
    pub replicate: u8,
    /// Its response, in the unit of the method's response; `None` where it brought none.
    pub response: Option<f64>,
    /// Why it brought none.
    pub fault: Option<String>,
    /// Whether it enters the results: brought a response, was not rejected, is the last attempt.
    pub counts: bool,
    /// Whether a person rejected it.
    pub rejected: bool,
    /// Standard uncertainty of the response from the noise of its own pulse.
    pub u_noise: Option<f64>,
    /// The figures, the shape and the background of its pulse; `None` for steady, bare and faulty readings.
    pub pulse: Option<PulseFigures>,
    /// The figures of a steady reading.
    pub steady: Option<Steady>,
    /// How its pulse was read along the curve of its roll-over.
    pub restored: Option<RestoredPulse>,
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
    /// Why its amount cannot be read from the calibration, or not within finite limits.
    pub unread: Option<&'a str>,
}

/// A control of a batch.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenControl {
    /// What it is.
    pub kind: SeenControlKind,
    /// The row it was measured at.
    pub row: u32,
    /// Its batch.
    pub batch: BatchId,
    /// Its portion.
    pub portion: PortionId,
    /// The value it should have; 100 % for a spike, zero for a difference.
    pub assigned: f64,
    /// The value found.
    pub found: f64,
    /// The unit of both.
    pub unit: &'static str,
}

/// Kinds of control of a batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeenControlKind {
    /// A material whose value is known, as a result.
    Sample,
    /// The recovery of a spike, in per cent.
    Spike,
    /// The difference of duplicates, in per cent of their mean.
    Duplicates,
}

/// The result of a portion at a row.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenResult {
    /// The row.
    pub row: u32,
    /// Its batch.
    pub batch: BatchId,
    /// Its portion.
    pub portion: PortionId,
    /// Mass concentration in the undiluted solution of the portion, blank not subtracted, in kg/m³.
    pub solution: f64,
    /// The result in the unit of the method; `None` for a method blank.
    pub value: Option<f64>,
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
        /// Slope at zero, m³/kg.
        slope: f64,
        /// Number of parameters.
        n_parameters: usize,
        /// Its standards, one for each row, in the order measured.
        levels: Vec<SeenLevel>,
    },
    /// The standards give none.
    Unusable {
        /// Why, as a fact.
        why: String,
    },
}

/// A standard of the calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenLevel {
    /// Its row.
    pub row: u32,
    /// Its mass concentration, in kg/m³.
    pub amount: f64,
    /// Its responses.
    pub responses: Vec<f64>,
    /// The weight of each of them.
    pub weight: f64,
    /// What the calibration function says.
    pub fitted: f64,
    /// The amount read back from the mean response, in kg/m³; `None` beyond what the function can say.
    pub read_back: Option<f64>,
}

impl SeenReading {
    /// Whether its pulse went beyond the roll-over: its peak is then none of the atoms'.
    pub fn is_dipped(&self) -> bool {
        self.restored.is_some_and(|restored| restored.dip_s.is_some())
    }
}

impl<'a> RunView<'a> {
    /// The row whose replicates of a solution are still to come; `None` where all are there, or the run has gone on without them.
    pub fn replicates_awaited(&self, solution: &SeenSolution<'_>) -> Option<u32> {
        let rows: Vec<&Row> = self.run.rows().collect();
        let n_read = |row: &Row| self.run.readings.iter().filter(|reading| reading.row == row.number).count();
        let last_read = rows.iter().rposition(|row| n_read(row) > 0);
        let awaited = rows.iter().enumerate().find(|(place, row)| {
            self.run.home(row.number) == solution.row
                && n_read(row) < usize::from(row.replicates)
                && last_read.is_none_or(|last| *place >= last)
        });
        awaited.map(|(_, row)| row.number)
    }

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
    /// The portion of a solution.
    pub fn portion(&self, solution: &SeenSolution<'_>) -> Option<&'a Portion> {
        match solution.holds {
            RowHolds::Portion { batch, portion, .. } => self.package.portion(batch, portion),
            _ => None,
        }
    }
    /// The rows of standards that stand and have not all been read, the last of them; `None` once the calibration is whole.
    pub fn standard_awaited(&self) -> Option<u32> {
        let is_open = |row: &&Row| {
            matches!(row.holds, RowHolds::Standard { .. } | RowHolds::CalibrationBlank)
                && !self.run.is_replaced(row.number)
                && self.readings.iter().filter(|reading| reading.row == row.number).count()
                    < usize::from(row.replicates)
        };
        self.run.rows().filter(is_open).last().map(|row| row.number)
    }
    /// Whether any reading of a solution has come.
    pub fn is_read(&self, solution: &SeenSolution<'_>) -> bool {
        self.readings.iter().any(|reading| reading.home == solution.row)
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
        let sd_at_zero = self.method.replicates.sd_at_zero.value().si();
        let relative = self.method.replicates.rsd.value().si() * response;
        (sd_at_zero * sd_at_zero + relative * relative).sqrt()
    }
}
