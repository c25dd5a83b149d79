//! What keeps a run from being simulated.

use darkline_record::identity::{BatchId, Element, MethodId, PortionId, RunId, SampleId};
use darkline_record::time::TimeFault;

use crate::truth::TruthFault;

/// Why a fault cannot happen.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Impossible {
    /// The run has no such row.
    #[error("it has no such row")]
    NoRow,
    /// The row has fewer replicates.
    #[error("the row has {replicates} replicates")]
    NoReplicate {
        /// How many.
        replicates: u8,
    },
    /// No row comes next.
    #[error("no row comes next, whose cup could be taken")]
    NoNextRow,
    /// The row holds no portion of a sample or control.
    #[error("the row holds no portion of a sample or control")]
    NoMaterial,
    /// The fault belongs to another technique.
    #[error("it happens {happens}")]
    Elsewhere {
        /// Where it happens.
        happens: &'static str,
    },
}

/// Why a run cannot be simulated. Each names what is missing or what cannot be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SimulatorFault {
    /// The truth itself cannot be.
    #[error(transparent)]
    Truth(#[from] TruthFault),
    /// The moment of the start cannot be read.
    #[error(transparent)]
    Time(#[from] TimeFault),
    /// The firings run past the end of the calendar.
    #[error("firings that start at {started} end after the last day that can be written")]
    Calendar {
        /// When the first one starts.
        started: String,
    },
    /// A constant of the bench cannot be.
    #[error("no bench has a {what} of {found}")]
    Bench {
        /// Which.
        what: &'static str,
        /// Its value.
        found: f64,
    },
    /// The package holds no such run.
    #[error("the package holds no run {run}")]
    NoRun {
        /// The run.
        run: RunId,
    },
    /// The run has no such row.
    #[error("run {run} has no row {row}")]
    NoRow {
        /// The run.
        run: RunId,
        /// The row.
        row: u32,
    },
    /// The package holds no method of that name.
    #[error("the package does not hold method {method} that run {run} follows")]
    NoMethod {
        /// The run.
        run: RunId,
        /// The method.
        method: MethodId,
    },
    /// The truth does not say what the bench of the method needs.
    #[error("method {method} is for a {technique}; the truth does not say its {what}")]
    NoBenchFigure {
        /// The method.
        method: MethodId,
        /// Its technique.
        technique: &'static str,
        /// What is missing.
        what: &'static str,
    },
    /// A fault that cannot happen in this run.
    #[error("{fault} cannot happen in run {run}: {why}")]
    ImpossibleFault {
        /// Its place in the truth, from 0.
        number: usize,
        /// The fault as it is written on a command line.
        fault: String,
        /// The run.
        run: RunId,
        /// Why.
        why: Impossible,
    },
    /// The truth is about another element.
    #[error("method {method} determines {wanted}, the truth is about {found}")]
    OtherElement {
        /// The method.
        method: MethodId,
        /// The element of the method.
        wanted: Element,
        /// The element of the truth.
        found: Element,
    },
    /// The package holds no such portion.
    #[error("the package holds no portion {portion} of batch {batch} (row {row})")]
    NoPortion {
        /// The row that wants it.
        row: u32,
        /// The batch.
        batch: BatchId,
        /// The portion.
        portion: PortionId,
    },
    /// A portion that repeats itself, or portions that repeat one another in a circle.
    #[error("portion {portion} of batch {batch} repeats a portion that repeats it")]
    Circle {
        /// The batch.
        batch: BatchId,
        /// The portion.
        portion: PortionId,
    },
    /// A portion without a figure that its solution follows from.
    #[error("portion {portion} of batch {batch} has no {what}, from which its solution would follow")]
    NoFigure {
        /// The batch.
        batch: BatchId,
        /// The portion.
        portion: PortionId,
        /// Which figure.
        what: &'static str,
    },
    /// The truth says nothing about a batch.
    #[error("the truth says nothing about batch {batch}")]
    NoBatchTruth {
        /// The batch.
        batch: BatchId,
    },
    /// The truth says nothing about a control material.
    #[error("the truth says nothing about control \"{material}\"")]
    NoControlTruth {
        /// The material.
        material: String,
    },
    /// The truth says nothing about a sample.
    #[error("the truth says nothing about sample {sample}")]
    NoSampleTruth {
        /// The sample.
        sample: SampleId,
    },
    /// The solution in a cup cannot be.
    #[error("the solution at row {row} would hold {found:e} kg/m³; between 0 and 1000 can be real")]
    Solution {
        /// The row.
        row: u32,
        /// Its mass concentration.
        found: f64,
    },
    /// More attempts than can be counted.
    #[error("row {row}, replicate {replicate} was attempted 255 times")]
    Attempts {
        /// The row.
        row: u32,
        /// The replicate.
        replicate: u8,
    },
}
