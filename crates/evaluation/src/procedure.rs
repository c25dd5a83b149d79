//! Editions: a procedure is a value, so that the arithmetic of a day still runs years later.

use darkline_metrology::model::Model;
use darkline_quality::flag::Flag;
use darkline_quality::rule::Rule;
use darkline_quality::rules;
use darkline_record::decision::Decision;
use darkline_record::identity::{Edition, SampleId};
use darkline_record::method::ResolvedMethod;
use darkline_record::order::{Requested, Sum};
use darkline_record::package::DataPackage;
use darkline_record::run::{Reading, Run};

use crate::calibrating::Calibrated;
use crate::combining::PortionResult;
use crate::flagging::RunWorked;
use crate::live::Memory;
use crate::outcome::{FlagOutcome, LimitsOutcome, ResultOutcome, SumOutcome};
use crate::quantifying::Solution;
use crate::responses::{Limits, Measured, Responded};
use crate::stating::SampleWorked;
use crate::summing::SummandWorked;

/// The stage from readings to responses; what the memory holds is not reduced again.
pub type Respond = fn(&Procedure, &DataPackage, &Run, &ResolvedMethod, &[Decision], &Memory) -> Vec<Measured>;

/// The stage from responses to amounts.
pub type Quantify =
    for<'m> fn(&'m Model, &DataPackage, &Run, &ResolvedMethod, &[Measured], &Calibrated<'m>) -> Vec<Solution<'m>>;

/// The stage from results to a sum of them, whose samples stand apart; the last argument says whether controls have passed.
pub type Add = for<'m> fn(&'m Model, &Sum, &[SampleId], &[SummandWorked<'_, 'm>], bool) -> Option<SumOutcome>;

/// A numbered procedure of evaluation: one function a stage.
///
/// A later edition is written `Procedure { edition: Edition(2), what_changed, ..FIRST }`; nothing ever asks which
/// edition it is.
#[derive(Clone, Copy)]
pub struct Procedure {
    /// Its number.
    pub edition: Edition,
    /// What it does otherwise than the one it is made from, in a sentence.
    pub what_changed: &'static str,
    /// Whether it has been released; what an unreleased one issues is marked as a trial.
    pub released: bool,
    /// One reading to its response, or why it has none; limits that the standards drew stand before those of the method.
    pub reduce: fn(&DataPackage, &ResolvedMethod, &Reading, Option<Limits>) -> Result<Responded, String>,
    /// All readings of a run to responses, and which of them count.
    pub respond: Respond,
    /// Standards to the calibration function.
    pub calibrate: for<'m> fn(&'m Model, &Run, &ResolvedMethod, &[Measured], &[Decision]) -> Calibrated<'m>,
    /// Calibration and blanks to decision, detection and quantification limits.
    pub detect: fn(&DataPackage, &Run, &ResolvedMethod, &[Measured], &Calibrated<'_>) -> Option<LimitsOutcome>,
    /// Responses to amounts.
    pub quantify: Quantify,
    /// Amounts to results of portions.
    pub combine: for<'m> fn(&'m Model, &DataPackage, &Run, &ResolvedMethod, &[Solution<'m>]) -> Vec<PortionResult<'m>>,
    /// What the rules see in a run.
    pub look: fn(&Model, &DataPackage, &RunWorked<'_, '_>, &[Rule]) -> Vec<Flag>,
    /// The rules.
    pub rules: &'static [Rule],
    /// What decisions make of flags.
    pub settle: fn(Vec<Flag>, &[Decision]) -> Vec<FlagOutcome>,
    /// Portions to the result of a sample.
    pub gather:
        for<'m> fn(&'m Model, &DataPackage, &[RunWorked<'_, 'm>], &SampleId, &ResolvedMethod) -> SampleWorked<'m>,
    /// What is reported of a sample.
    pub state:
        fn(&Model, &Requested, &SampleId, &ResolvedMethod, &SampleWorked<'_>, &[FlagOutcome], bool) -> ResultOutcome,
    /// Results to the sums of them that the order asks for.
    pub sum: Add,
}

/// The trial edition, before any is released: it may still change.
pub const TRIAL: Procedure = Procedure {
    edition: Edition(0),
    what_changed: "the first trial, before any edition is released",
    released: false,
    reduce: crate::responses::reduce_one,
    respond: crate::responses::respond,
    calibrate: crate::calibrating::calibrate,
    detect: crate::detecting::detect,
    quantify: crate::quantifying::quantify,
    combine: crate::combining::combine,
    look: crate::flagging::look,
    rules: rules::FIRST,
    settle: crate::flagging::settle,
    gather: crate::stating::gather,
    state: crate::stating::state,
    sum: crate::summing::sum,
};

/// A second trial, which changes the last stage; trials after the first count from 900, releases from 1.
pub const SECOND_TRIAL: Procedure = Procedure {
    edition: Edition(900),
    what_changed: "the coverage factor follows from the effective degrees of freedom (GUM, G.4)",
    state: crate::effective_coverage::state,
    sum: crate::effective_coverage::sum,
    ..TRIAL
};

/// All editions this program can evaluate with.
pub const EDITIONS: &[Procedure] = &[TRIAL, SECOND_TRIAL];

/// The procedure of an edition.
pub fn of_edition(edition: Edition) -> Option<&'static Procedure> {
    EDITIONS.iter().find(|procedure| procedure.edition == edition)
}

impl std::fmt::Debug for Procedure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "procedure of edition {}", self.edition)
    }
}
