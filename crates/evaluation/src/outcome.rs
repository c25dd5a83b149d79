//! What an evaluation brings: figures and codes that can be digested, printed and compared digit by digit.
//!
//! Invariant: every figure is finite; what is infinite or unknown is absent.

use darkline_metrology::conformity::Statement;
use darkline_quality::cost::Cost;
use darkline_quality::flag::Flag;
use darkline_record::canonical::Digest;
use darkline_record::decision::{FlagId, NextStep};
use darkline_record::identity::{
    BatchId, Edition, Element, MethodId, OrderId, PortionId, ReadingId, RowId, RunId, SampleId,
};
use darkline_record::method::{Amounts, CoverageInterval};
use darkline_signal::restored_area::RestoredPulse;
use darkline_signal::{PulseFigures, Steady};
use serde::{Deserialize, Serialize};

use crate::responses::Limits;
use crate::solids::SolidOutcome;

pub use crate::sum_outcome::{BoundOutcome, SumOutcome, SummandOutcome};

pub use crate::calibration_outcome::{
    CandidateOutcome, ChoiceOutcome, LineOutcome, OverruledOutcome, ParameterOutcome, ReadBackOutcome, RunsOutcome,
    TestOutcome,
};

/// The outcome of an order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// The procedure it was worked out with.
    pub edition: Edition,
    /// Digest of the data package.
    pub package: Digest,
    /// The order.
    pub order: OrderId,
    /// Results in the order of the customer's list.
    pub results: Vec<ResultOutcome>,
    /// Sums of results in the order of the customer's list.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sums: Vec<SumOutcome>,
    /// Runs in the order of the package.
    pub runs: Vec<RunOutcome>,
    /// Flags in the order of the runs and of the rules.
    pub flags: Vec<FlagOutcome>,
    /// Whether all controls have been measured and every stopping flag is settled; only then is conformity stated.
    pub controls_passed: bool,
}

/// One result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ResultOutcome {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// The method.
    pub method: MethodId,
    /// The kind of the result in words.
    pub kind: String,
    /// The unit of all its figures.
    pub unit: String,
    /// What is reported.
    pub reported: Reported,
    /// The statement of conformity, where there is a limit and controls have passed.
    pub statement: Option<StatementOutcome>,
    /// Rows it rests on.
    pub rows: Vec<RowId>,
    /// The limits of its run in its unit, where the method has them worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<ResultLimits>,
}

/// What is reported of a sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Reported {
    /// Not all of it has been measured.
    Awaiting {
        /// The row that is waited for; none where the run order has no row for it.
        row: Option<RowId>,
    },
    /// Below the quantification limit.
    BelowLoq {
        /// The limit.
        limit: f64,
        /// The limit as it is written in the unit of the result.
        written: String,
        /// The value found, for the internal part.
        found: ValueOutcome,
    },
    /// A value.
    Value {
        /// The value with its uncertainty.
        result: ValueOutcome,
    },
    /// Held back by a flag.
    Withheld {
        /// The flag.
        because: FlagId,
        /// What would be reported, for the people who decide.
        found: Option<ValueOutcome>,
    },
}

/// A value with its uncertainty and where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ValueOutcome {
    /// The value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Expanded uncertainty.
    pub expanded_u: f64,
    /// Coverage factor.
    pub coverage_factor: f64,
    /// Effective degrees of freedom; absent where they are infinite.
    pub dof: Option<f64>,
    /// The budget, largest share first.
    pub budget: Vec<BudgetLine>,
    /// Signed contributions by source.
    pub contributions: Vec<(String, f64)>,
    /// The coverage probability, where the method asks for one in place of a factor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coverage_probability: Option<f64>,
    /// First order held against Monte Carlo, where the method asks for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub monte_carlo: Option<MonteCarloOutcome>,
    /// What control data say of the uncertainty, where the method has them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_down: Option<TopDownOutcome>,
}

/// First order held against Monte Carlo; figures in the unit of the result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MonteCarloOutcome {
    /// Trials.
    pub trials: u32,
    /// Trials in which a calibration had no solution.
    pub without_solution: u32,
    /// Mean of the trials.
    pub mean: f64,
    /// Standard deviation of the trials.
    pub u: f64,
    /// The probability of both intervals.
    pub probability: f64,
    /// The symmetric coverage interval.
    pub symmetric: (f64, f64),
    /// The shortest coverage interval.
    pub shortest: (f64, f64),
    /// Which of them is compared.
    pub compared: CoverageInterval,
    /// How far its lower end lies from that of first order.
    pub d_low: f64,
    /// How far its upper end lies.
    pub d_high: f64,
    /// How far both may.
    pub tolerance: f64,
    /// Whether first order holds.
    pub holds: bool,
    /// Value, standard and expanded uncertainty by first order.
    pub first_order: (f64, f64, f64),
    /// Relative standard uncertainty of the denominator that asked for it; absent where a person did.
    pub denominator: Option<f64>,
}

/// Uncertainty from control data beside that of the budget, in the unit of the result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TopDownOutcome {
    /// Root of the mean square of the biases, relative.
    pub rms_bias: f64,
    /// Relative standard uncertainty of the bias.
    pub u_bias: f64,
    /// Relative standard uncertainty altogether.
    pub relative_u: f64,
    /// The same at the value of the result.
    pub u: f64,
    /// Standard uncertainty of the budget over it.
    pub budget_over_top_down: f64,
}

/// Decision, detection and quantification limit, with what they were worked out from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LimitsOutcome {
    /// The procedure in the words of the method.
    pub procedure: String,
    /// Decision limit, in the unit of the amounts of the run.
    pub decision: Option<f64>,
    /// Detection limit.
    pub detection: Option<f64>,
    /// Quantification limit.
    pub quantification: Option<f64>,
    /// What they were worked out from.
    pub inputs: Vec<InputOutcome>,
    /// Why there are none, in words; not digested.
    pub why_not: Option<String>,
    /// Whether an existing method detection limit stands when it is worked out again; absent where the method has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub existing_stands: Option<bool>,
}

impl LimitsOutcome {
    /// What became of an existing method detection limit, in words.
    pub fn existing_words(&self) -> Option<&'static str> {
        self.existing_stands.map(|stands| {
            if stands {
                "the existing method detection limit stands: the new one is within 0.5 to 2.0 times it and fewer than 3 % of \
                 the blanks exceed it"
            } else {
                "the existing method detection limit does not stand, the new one takes its place"
            }
        })
    }
}

/// A figure that something was worked out from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InputOutcome {
    /// What it is.
    pub name: String,
    /// Its value in the unit.
    pub value: f64,
    /// The unit; "1" for a pure number.
    pub unit: String,
}

/// The limits of a run in the unit of one result.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ResultLimits {
    /// Decision limit.
    pub decision: Option<f64>,
    /// Detection limit.
    pub detection: Option<f64>,
    /// Quantification limit.
    pub quantification: Option<f64>,
    /// Whether the quantification limit that the method states is at least the one worked out; absent where either is.
    pub stated_is_kept: Option<bool>,
}

/// One line of a budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// The source or group of sources.
    pub source: String,
    /// Its contribution to u, in the unit of the result.
    pub u: f64,
    /// Its share of the variance.
    pub share: f64,
}

/// A statement of conformity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StatementOutcome {
    /// The statement.
    pub statement: Statement,
    /// The limit as written.
    pub limit: String,
    /// Where it comes from.
    pub origin: String,
    /// The decision rule in words.
    pub decision_rule: String,
    /// Probability that the property keeps to the limit; absent below the quantification limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub probability_of_conformity: Option<f64>,
    /// Width of the guard band, in the unit of the result.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard_band: Option<f64>,
    /// How many readings would decide an inconclusive result.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replicates: Option<Replicates>,
    /// The risks of the rule over all that is judged, where the order says what is known of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub global_risk: Option<GlobalRiskOutcome>,
}

impl StatementOutcome {
    /// The risk that the statement is wrong: that it does not conform where it is said to comply, that it does where it is said
    /// not to; absent where nothing is said.
    ///
    /// # Source
    /// JCGM 106:2012, 9.3: specific consumer's and producer's risk.
    pub fn specific_risk(&self) -> Option<f64> {
        let conforms = self.probability_of_conformity?;
        match self.statement {
            Statement::Complies => Some(1.0 - conforms),
            Statement::DoesNotComply => Some(conforms),
            Statement::Inconclusive => None,
        }
    }
}

/// Whether more readings would decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Replicates {
    /// So many in all would.
    WouldDecide {
        /// Readings.
        readings: u32,
    },
    /// None would: what no reading lessens alone fills the distance to the limit.
    NoneWould,
}

impl Replicates {
    /// The words on screens and reports.
    pub fn words(self) -> String {
        match self {
            Replicates::WouldDecide { readings } => format!("{readings} readings in all would decide"),
            Replicates::NoneWould => "no number of readings would decide".into(),
        }
    }
}

/// Risks of a decision rule over all that is judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlobalRiskOutcome {
    /// Probability that an item does not conform.
    pub nonconforming: f64,
    /// Probability that an item does not conform and is accepted.
    pub consumer: f64,
    /// Probability that an item conforms and is rejected.
    pub producer: f64,
    /// The highest value that is accepted, in the unit of the result.
    pub acceptance_limit: f64,
}

impl GlobalRiskOutcome {
    /// The words on screens and reports.
    pub fn words(&self) -> String {
        let percent = |part: f64| {
            let text = format!("{:.1e}", 100.0 * part);
            text.parse::<f64>().map_or(text, |rounded| rounded.to_string())
        };
        format!(
            "over all that is judged, {} % do not conform, {} % do not and are accepted, {} % do and are rejected",
            percent(self.nonconforming),
            percent(self.consumer),
            percent(self.producer)
        )
    }
}

/// What came of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunOutcome {
    /// The run.
    pub run: RunId,
    /// Its method.
    pub method: MethodId,
    /// The unit of its responses.
    pub response_unit: String,
    /// The unit of its amounts.
    pub amount_unit: String,
    /// The integration limits that the standards of the run drew; absent where the method gives them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub integration_limits: Option<Limits>,
    /// Readings in the order of row, replicate and attempt.
    pub readings: Vec<ReadingOutcome>,
    /// The calibration, where there is one.
    pub calibration: Option<CalibrationOutcome>,
    /// Its limits, where the method has them worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<LimitsOutcome>,
    /// Solutions in the order measured.
    pub solutions: Vec<SolutionOutcome>,
    /// Controls in the order measured.
    pub controls: Vec<ControlOutcome>,
    /// Rows of portions weighed into the tube, in the order measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub solids: Vec<SolidOutcome>,
}

/// A reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadingOutcome {
    /// The reading.
    pub reading: ReadingId,
    /// Its row.
    pub row: u32,
    /// Which replicate.
    pub replicate: u8,
    /// Which attempt.
    pub attempt: u8,
    /// Its response; absent where it brought none.
    pub response: Option<f64>,
    /// Standard uncertainty from the noise of its own pulse.
    pub u_noise: Option<f64>,
    /// Highest background absorbance of its pulse or steady reading.
    pub background_max: Option<f64>,
    /// The figures and the shape of its pulse; absent for steady and bare readings.
    pub pulse: Option<PulseFigures>,
    /// The figures of a steady reading.
    pub steady: Option<Steady>,
    /// How its pulse was read along the curve of its roll-over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restored: Option<RestoredPulse>,
    /// Why it brought none, in words; not digested.
    pub fault: Option<String>,
    /// Whether it was rejected.
    pub rejected: bool,
    /// Whether it enters the results.
    pub counts: bool,
}

/// A calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationOutcome {
    /// The calibration function in words.
    pub model: String,
    /// The weights in words.
    pub weights: String,
    /// Whether the amounts of the standards counted as exact in the fit.
    #[serde(default, skip_serializing_if = "Amounts::are_exact")]
    pub amounts: Amounts,
    /// The unit of the slope.
    pub slope_unit: String,
    /// Number of points.
    pub n_points: usize,
    /// Its coefficients, where it is a straight line.
    #[serde(flatten)]
    pub line: Option<LineOutcome>,
    /// Its parameters, where it is another function.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parameters: Vec<ParameterOutcome>,
    /// Residual standard deviation of a reading of weight one; absent without degrees of freedom.
    pub residual_sd: Option<f64>,
    /// Its degrees of freedom.
    pub dof: usize,
    /// The points.
    pub points: Vec<PointOutcome>,
    /// The function as amounts and responses from the lowest to the highest standard, where it is not a straight line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub drawn: Vec<(f64, f64)>,
    /// What the evidence of the standards said of each function allowed, where the method lets it choose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub choice: Option<ChoiceOutcome>,
}

/// A calibration point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointOutcome {
    /// The reading.
    pub reading: ReadingId,
    /// The row.
    pub row: u32,
    /// The amount of the standard.
    pub amount: f64,
    /// Its response.
    pub response: f64,
    /// Its weight.
    pub weight: f64,
    /// Response minus what the calibration function says.
    pub residual: f64,
}

/// The solution of a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SolutionOutcome {
    /// Its row.
    pub row: u32,
    /// The name on the cup.
    pub name: String,
    /// What it is, in words.
    pub holds: String,
    /// Readings that count.
    pub n_counted: usize,
    /// Readings planned.
    pub n_planned: u32,
    /// Mean response.
    pub mean_response: Option<f64>,
    /// Mass concentration of the measured solution.
    pub amount: Option<f64>,
    /// Its standard uncertainty.
    pub u_amount: Option<f64>,
    /// Whether a later row stands in its place.
    pub replaced: bool,
}

/// A control and how it came out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ControlOutcome {
    /// What it is.
    pub control: ControlKind,
    /// The row it was measured at.
    pub row: u32,
    /// The name on the cup.
    pub name: String,
    /// The portion, where it is one.
    pub portion: Option<(BatchId, PortionId)>,
    /// What was found.
    pub found: f64,
    /// What it should be; absent for blanks.
    pub should_be: Option<f64>,
    /// The unit of both.
    pub unit: String,
}

/// Kinds of control.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ControlKind {
    /// A check standard, as mass concentration.
    CheckStandard,
    /// A check blank, as mass concentration.
    CheckBlank,
    /// A method blank, as mass concentration of its solution.
    MethodBlank,
    /// A control sample, as result.
    ControlSample,
    /// The recovery of a spike, in per cent of what was added.
    SpikeRecovery,
    /// The difference of duplicates, in per cent of their mean.
    Duplicates,
}

impl ControlKind {
    /// The words on screens and reports.
    pub fn words(self) -> &'static str {
        match self {
            ControlKind::CheckStandard => "check standard",
            ControlKind::CheckBlank => "check blank",
            ControlKind::MethodBlank => "method blank",
            ControlKind::ControlSample => "control sample",
            ControlKind::SpikeRecovery => "spike recovery",
            ControlKind::Duplicates => "duplicates differ by",
        }
    }
}

/// A flag with what people made of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlagOutcome {
    /// The flag.
    pub flag: Flag,
    /// Its state.
    pub state: FlagState,
    /// What each of its next steps costs, in their order; none for what is not measured in a run.
    #[serde(default)]
    pub costs: Vec<Option<Cost>>,
}

/// What people made of a flag.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum FlagState {
    /// Nobody has decided.
    Open,
    /// Somebody took up a step whose readings are not in yet, or did not settle it.
    TakenUp {
        /// The step.
        step: NextStep,
    },
    /// Accepted as explained.
    Justified {
        /// The reason.
        reason: String,
    },
    /// Justified once, on other evidence.
    Reopened,
}

impl FlagOutcome {
    /// Whether it stops the report.
    pub fn stops(&self) -> bool {
        self.flag.severity == darkline_quality::flag::Severity::Stops
            && !matches!(self.state, FlagState::Justified { .. })
    }
}

/// Two results of one element whose uncertainties have causes in common.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CorrelationOutcome {
    /// The element.
    pub element: Element,
    /// One sample.
    pub sample: SampleId,
    /// The other.
    pub other: SampleId,
    /// Correlation coefficient of the two results.
    pub correlation: f64,
    /// The covariance, in the square of the unit of the results.
    pub covariance: f64,
}

impl ValueOutcome {
    /// The budget by stage of the work, largest share first: measurement, calibration, blank, dilution, preparation, factors, and
    /// what figures share by a name of their own.
    pub fn by_stage(&self) -> Vec<BudgetLine> {
        let mut stages: std::collections::BTreeMap<&str, f64> = std::collections::BTreeMap::new();
        for (source, u) in &self.contributions {
            *stages.entry(stage(source)).or_insert(0.0) += u * u;
        }
        let variance: f64 = stages.values().sum();
        let mut lines: Vec<BudgetLine> = stages
            .into_iter()
            .map(|(stage, part)| BudgetLine { source: stage.into(), u: part.sqrt(), share: part / variance })
            .collect();
        lines.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.source.cmp(&b.source)));
        lines
    }
}

/// The stage a source belongs to, by the head of its name.
fn stage(source: &str) -> &'static str {
    let head = source.split('/').next().unwrap_or("");
    match head {
        "calibration" if source.starts_with("calibration/readings/") => "measurement of the sample",
        "calibration" => "calibration",
        "method blank" => "method blank",
        "dilution" => "dilution",
        "mass" | "volume" | "volume taken" | "area" | "dose" | "dry matter" => "preparation",
        "shared" => "shared by several figures",
        _ => "factors of the formula",
    }
}

impl Reported {
    /// The value found, reported or not.
    pub fn found(&self) -> Option<&ValueOutcome> {
        match self {
            Reported::Value { result } => Some(result),
            Reported::BelowLoq { found, .. } => Some(found),
            Reported::Withheld { found, .. } => found.as_ref(),
            Reported::Awaiting { .. } => None,
        }
    }
}

impl Outcome {
    /// Which results of one element correlate, and how: by every source that both rest on, with its sign.
    ///
    /// # Source
    /// GUM 5.2.2 and F.1.2.3: covariance as the sum over common sources.
    pub fn correlations(&self) -> Vec<CorrelationOutcome> {
        let mut found = Vec::new();
        for (place, one) in self.results.iter().enumerate() {
            let Some(value) = one.reported.found() else { continue };
            let sources: std::collections::BTreeMap<&str, f64> =
                value.contributions.iter().map(|(source, u)| (source.as_str(), *u)).collect();
            for other in &self.results[place + 1..] {
                let Some(of_other) = other.reported.found() else { continue };
                if other.element != one.element || other.unit != one.unit {
                    continue;
                }
                let common = |(source, u): &(String, f64)| Some(u * sources.get(source.as_str())?);
                let covariance: f64 = of_other.contributions.iter().filter_map(common).sum();
                let root = |value: &ValueOutcome| value.contributions.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
                let correlation = covariance / (root(value) * root(of_other));
                if correlation.is_finite() && covariance != 0.0 {
                    found.push(CorrelationOutcome {
                        element: one.element.clone(),
                        sample: one.sample.clone(),
                        other: other.sample.clone(),
                        correlation: correlation.clamp(-1.0, 1.0),
                        covariance,
                    });
                }
            }
        }
        found
    }

    /// The digest over figures and codes; sentences are left out, so that a better wording changes no digest.
    ///
    /// # Source
    /// RFC 8785 for the bytes, FIPS 180-4 for the digest.
    pub fn digest(&self) -> Digest {
        let mut outcome = self.clone();
        for run in &mut outcome.runs {
            for reading in &mut run.readings {
                reading.fault = reading.fault.as_ref().map(|_| String::new());
            }
            if let Some(limits) = &mut run.limits {
                limits.why_not = limits.why_not.as_ref().map(|_| String::new());
            }
            let candidates = run.calibration.iter_mut().filter_map(|calibration| calibration.choice.as_mut());
            for candidate in candidates.flat_map(|choice| &mut choice.candidates) {
                candidate.why_not = candidate.why_not.as_ref().map(|_| String::new());
            }
        }
        for flag in &mut outcome.flags {
            flag.flag.evidence = flag.flag.evidence.without_sentences();
        }
        let of_results = outcome.results.iter_mut().filter_map(|result| result.statement.as_mut());
        let bounds = outcome.sums.iter_mut().flat_map(|sum| sum.lower.iter_mut().chain(&mut sum.upper));
        for statement in of_results.chain(bounds.filter_map(|bound| bound.statement.as_mut())) {
            statement.decision_rule.clear();
        }
        Digest::of_document(&outcome)
    }

    /// Flags that stop the report.
    pub fn stopping(&self) -> impl Iterator<Item = &FlagOutcome> {
        self.flags.iter().filter(|flag| flag.stops())
    }
}
