//! The method as resolved on the day: every figure the evaluation needs, copied in with its origin.

use darkline_metrology::kind::{Duration, Factor, MassConcentration, Response, Wavelength};
use serde::{Deserialize, Serialize};

use crate::figure::{NamedFactor, Written};
use crate::identity::{Element, MethodId};
use crate::limits::Limits;
use crate::order::{ResultFigure, ResultKind};
use crate::solid::SolidPlan;

pub use crate::background_correction::{BackgroundCorrection, CorrectedBy, MiddleField, NeighbourLine, RollOverCurve};
pub use crate::detection_limits::{BlankResult, DetectionLimits, LimitProcedure};
pub use crate::uncertainty_plan::{CoverageInterval, TopDown, UncertaintyPlan};

pub use crate::calibration_plan::{
    Additions, Amounts, CalibrationModel, CalibrationPlan, GivenU, ModelPlan, OfSamples, Weights,
};

/// A method.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResolvedMethod {
    /// Its identity.
    pub id: MethodId,
    /// Its version.
    pub version: String,
    /// Its title on the report.
    pub title: String,
    /// The element.
    pub element: Element,
    /// How atoms are made.
    pub technique: Technique,
    /// The analytical line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Written<Wavelength>>,
    /// What is read off a reading.
    pub response: ResponsePlan,
    /// How responses become amounts.
    pub calibration: CalibrationPlan,
    /// How the instrument corrects for background; what it does to pulses is not looked at where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub background: Option<BackgroundCorrection>,
    /// How often a row is measured and how far its replicates may lie apart.
    pub replicates: ReplicatePlan,
    /// What blanks may show, and which is subtracted.
    pub blank: BlankPlan,
    /// Between which limits checks have to come out.
    pub check: CheckPlan,
    /// Standard uncertainty of a dilution made in the cup, relative; dilutions without a figure of their own have this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_dilution: Option<Written<Factor>>,
    /// What is reported.
    pub result: ResultPlan,
    /// How decision, detection and quantification limits are worked out; not at all where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detection_limits: Option<DetectionLimits>,
    /// How uncertainty is validated; on demand alone where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<UncertaintyPlan>,
    /// What a run may show.
    #[serde(default, skip_serializing_if = "Limits::is_empty")]
    pub limits: Limits,
    /// How weighed portions are measured; `None` where solutions are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub solid: Option<SolidPlan>,
    /// How the instrument is set and what goes with the solution, each as it is to be set; no stage of an evaluation reads them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub conditions: Vec<Condition>,
    /// The reasons that decisions may have; any text where there are none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<CodedReason>,
}

/// A setting of the instrument or something that goes with the solution: bandpass, pyrolysis temperature, modifier.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// What is set.
    pub name: String,
    /// To what, with its unit.
    pub value: String,
    /// Where that comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<String>,
}

/// A reason of the method's own list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CodedReason {
    /// What is typed.
    pub code: String,
    /// What it means.
    pub text: String,
}

/// How atoms are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Technique {
    /// A flame.
    Flame,
    /// A graphite furnace.
    Furnace,
}

impl Technique {
    /// The word in documents.
    pub fn word(self) -> &'static str {
        match self {
            Technique::Flame => "flame",
            Technique::Furnace => "furnace",
        }
    }
    /// The technique with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        [Technique::Flame, Technique::Furnace].into_iter().find(|technique| technique.word() == word)
    }
}

/// What is read off a reading, and where in the pulse.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResponsePlan {
    /// What it is.
    pub kind: ResponseKind,
    /// The parts of a pulse; needed where readings are pulses.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<PulseWindow>,
}

/// What calibration sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResponseKind {
    /// Mean absorbance of a steady reading.
    Absorbance,
    /// Highest absorbance of a pulse.
    PeakAbsorbance,
    /// Absorbance integrated over a pulse.
    IntegratedAbsorbance,
}

impl ResponseKind {
    /// All of them.
    pub const ALL: [ResponseKind; 3] =
        [ResponseKind::Absorbance, ResponseKind::PeakAbsorbance, ResponseKind::IntegratedAbsorbance];
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            ResponseKind::Absorbance => "absorbance",
            ResponseKind::PeakAbsorbance => "peak absorbance",
            ResponseKind::IntegratedAbsorbance => "integrated absorbance",
        }
    }
    /// The kind with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.words() == words)
    }
    /// The symbol of its unit.
    pub fn unit_symbol(self) -> &'static str {
        match self {
            ResponseKind::IntegratedAbsorbance => "s",
            _ => "1",
        }
    }
}

/// The parts of a pulse, in time since the start of atomisation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PulseWindow {
    /// Start of the baseline before the pulse.
    pub baseline_from: Written<Duration>,
    /// Its end.
    pub baseline_to: Written<Duration>,
    /// Start of integration.
    pub from: Written<Duration>,
    /// Its end.
    pub to: Written<Duration>,
    /// Whether the pulses of the standards draw the limits together, to be the same for the whole run; those above are then
    /// the widest there may be.
    #[serde(default, skip_serializing_if = "is_no")]
    pub by_standards: bool,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the form that serde calls")]
fn is_no(is: &bool) -> bool {
    !is
}

/// How often a row is measured and how far its replicates may lie apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReplicatePlan {
    /// Replicates a row.
    pub n: u8,
    /// Repeatability standard deviation of the response at zero.
    pub sd_at_zero: Written<Response>,
    /// Relative repeatability standard deviation of the response at high amounts.
    pub rsd: Written<Factor>,
}

/// What blanks may show, and which is subtracted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlankPlan {
    /// The highest mass concentration a blank solution may show.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub highest: Option<Written<MassConcentration>>,
    /// Which blank is subtracted from the portions of a batch.
    pub subtract: Subtract,
}

/// Which blank is subtracted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subtract {
    /// None.
    Nothing,
    /// The mean of the batch's method blanks.
    MethodBlank,
}

impl Subtract {
    /// The words in documents.
    pub fn words(self) -> &'static str {
        match self {
            Subtract::Nothing => "nothing",
            Subtract::MethodBlank => "method blank",
        }
    }
    /// The choice with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        [Subtract::Nothing, Subtract::MethodBlank].into_iter().find(|subtract| subtract.words() == words)
    }
}

/// Between which limits checks have to come out, as parts of the value they should have.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckPlan {
    /// Check standards: lowest.
    pub lowest: Written<Factor>,
    /// Check standards: highest.
    pub highest: Written<Factor>,
    /// The control sample: lowest; the limits of check standards where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub control_lowest: Option<Written<Factor>>,
    /// The control sample: highest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub control_highest: Option<Written<Factor>>,
}

/// How an expanded uncertainty comes of a standard uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Coverage {
    /// By a fixed factor.
    Factor(Written<Factor>),
    /// By the factor that the effective degrees of freedom give for a probability.
    Probability {
        /// The probability.
        probability: Written<Factor>,
    },
}

impl Coverage {
    /// The words at the head of a column: "k = 2" or "95 %".
    pub fn label(&self) -> String {
        match self {
            Coverage::Factor(factor) => format!("k = {}", factor.digits()),
            Coverage::Probability { probability } => probability.to_string(),
        }
    }
    /// The factor, where it is fixed.
    pub fn factor(&self) -> Option<&Written<Factor>> {
        match self {
            Coverage::Factor(factor) => Some(factor),
            Coverage::Probability { .. } => None,
        }
    }
}

impl std::str::FromStr for Coverage {
    type Err = crate::figure::FigureFault;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse().map(Coverage::Factor)
    }
}

/// What is reported.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResultPlan {
    /// The kind of the result: the choice of formula.
    pub kind: ResultKind,
    /// The unit on the report.
    pub unit: String,
    /// Further factors of the formula.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub factors: Vec<NamedFactor>,
    /// Coverage factor of the expanded uncertainty, or the probability it follows from.
    pub coverage_factor: Coverage,
    /// Results below this are reported as below it; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantification_limit: Option<ResultFigure>,
}
