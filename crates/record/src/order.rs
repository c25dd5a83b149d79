//! The order: what a customer asked for, sample by sample, and the limits it is held against.

use darkline_metrology::kind::{AmountPerDose, Factor, Kind, MassConcentration, MassFraction, ReleasePerArea};
use serde::{Deserialize, Serialize};

use crate::figure::{FigureFault, Written};
use crate::identity::{Element, MethodId, OrderId, SampleId};
use crate::time::{Day, Timestamp};

/// An order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Order {
    /// Its identity.
    pub id: OrderId,
    /// Who asked.
    pub customer: String,
    /// How to reach them, as the report has to say (ISO/IEC 17025:2017, 7.8.2.1 e).
    pub contact: String,
    /// When the samples came.
    pub received: Timestamp,
    /// The day on which the report is due, where one was agreed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<Day>,
    /// What the results are for, in the customer's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purpose: Option<String>,
    /// The samples, in the order of the customer's list.
    pub samples: Vec<Sample>,
    /// What is determined in each of them.
    pub analytes: Vec<Requested>,
    /// Sums of results that are held against a limit of their own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sums: Vec<Sum>,
}

/// A sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sample {
    /// Its identity.
    pub id: SampleId,
    /// What the customer said it is; marked as theirs on the report.
    pub description: String,
    /// The sample it is a part of: a filtrate, an extract. A part cannot hold more than the whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part_of: Option<SampleId>,
    /// What the customer or earlier orders let expect of it; for the plan alone, no stage of an evaluation reads it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub expected: Vec<Expected>,
}

/// What a sample is expected to hold of an element.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// The element.
    pub element: Element,
    /// How much.
    pub value: ResultFigure,
}

/// One determination asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Requested {
    /// The element.
    pub element: Element,
    /// How it is determined.
    pub method: MethodId,
    /// What it is held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<Limit>,
}

/// A sum of results: of several elements in each sample, or of the parts of a whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sum {
    /// What it is called on the report.
    pub name: String,
    /// The elements that are added, each determined in this order by one method.
    pub elements: Vec<Element>,
    /// The samples that are added; where there are none, every sample has a sum of its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<SampleId>,
    /// What it is held against.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<Limit>,
}

/// A specified limit with its decision rule, agreed before anything is measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// The highest value allowed.
    pub at_most: ResultFigure,
    /// The regulation or specification, with its clause.
    pub origin: String,
    /// How the uncertainty is taken into account.
    pub decision_rule: DecisionRule,
    /// How wide the guard band is; the expanded uncertainty where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard: Option<GuardBand>,
    /// Whether value and uncertainty are rounded before they are compared.
    #[serde(default, skip_serializing_if = "Comparison::is_unrounded")]
    pub comparison: Comparison,
    /// What is known of the property over all that is judged, for the risks over it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior: Option<Prior>,
}

/// The width of a guard band.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GuardBand {
    /// A part of the expanded uncertainty.
    PartOfU(Written<Factor>),
    /// As wide as keeps the risk of a wrong statement at the acceptance limit to this.
    Risk(Written<Factor>),
    /// A part of the limit, as a regulation sets it.
    PartOfLimit(Written<Factor>),
}

/// Whether figures are rounded before they are compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Comparison {
    /// They are compared with all digits.
    #[default]
    Unrounded,
    /// They are compared as they are printed.
    AsPrinted,
}

impl Comparison {
    /// Whether all digits count.
    #[allow(clippy::trivially_copy_pass_by_ref)] // serde's `skip_serializing_if` asks for a reference.
    pub fn is_unrounded(&self) -> bool {
        *self == Comparison::Unrounded
    }
    /// The words in a document.
    pub fn words(self) -> &'static str {
        match self {
            Comparison::Unrounded => "with all digits",
            Comparison::AsPrinted => "as printed",
        }
    }
}

/// A normal law of the property over all that is judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prior {
    /// Its mean.
    pub mean: ResultFigure,
    /// Its standard deviation.
    pub sd: ResultFigure,
}

/// How the measurement uncertainty enters a statement of conformity.
///
/// # Source
/// JCGM 106:2012, 8.2 and 8.3; ILAC-G8:09/2019, 4.2 (from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecisionRule {
    /// The value alone decides.
    SimpleAcceptance,
    /// The value and its whole coverage interval decide; what the interval straddles is inconclusive. Guard band = U.
    GuardBandU,
    /// Complies only inside the limit by the guard band, otherwise does not comply.
    GuardedAcceptance,
    /// Does not comply only beyond the limit by the guard band, otherwise complies: beyond reasonable doubt.
    GuardedRejection,
}

impl DecisionRule {
    /// All of them.
    pub const ALL: [DecisionRule; 4] = [
        DecisionRule::SimpleAcceptance,
        DecisionRule::GuardBandU,
        DecisionRule::GuardedAcceptance,
        DecisionRule::GuardedRejection,
    ];
    /// The words in a document.
    pub fn words(self) -> &'static str {
        match self {
            DecisionRule::SimpleAcceptance => "simple acceptance",
            DecisionRule::GuardBandU => "guard band U",
            DecisionRule::GuardedAcceptance => "guarded acceptance",
            DecisionRule::GuardedRejection => "guarded rejection",
        }
    }
    /// The rule with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.words() == words)
    }
}

/// What a result is: the choice that decides the formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResultKind {
    /// Mass concentration in the sample as received.
    MassConcentration,
    /// Mass fraction in the test portion; on dry mass where the portion states its dry matter.
    MassFraction,
    /// Mass released by an area.
    ReleasePerArea,
    /// Mass taken in with one dose.
    AmountPerDose,
}

impl ResultKind {
    /// All of them.
    pub const ALL: [ResultKind; 4] = [
        ResultKind::MassConcentration,
        ResultKind::MassFraction,
        ResultKind::ReleasePerArea,
        ResultKind::AmountPerDose,
    ];

    /// The words in a document: the name of the kind.
    pub fn words(self) -> &'static str {
        match self {
            ResultKind::MassConcentration => MassConcentration::NAME,
            ResultKind::MassFraction => MassFraction::NAME,
            ResultKind::ReleasePerArea => ReleasePerArea::NAME,
            ResultKind::AmountPerDose => AmountPerDose::NAME,
        }
    }
    /// The kind with these words.
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.words() == words)
    }

    /// Reads a figure of this kind.
    ///
    /// # Errors
    /// [`FigureFault`], as for any figure.
    pub fn read(self, text: &str) -> Result<ResultFigure, FigureFault> {
        Ok(match self {
            ResultKind::MassConcentration => ResultFigure::MassConcentration(text.parse()?),
            ResultKind::MassFraction => ResultFigure::MassFraction(text.parse()?),
            ResultKind::ReleasePerArea => ResultFigure::ReleasePerArea(text.parse()?),
            ResultKind::AmountPerDose => ResultFigure::AmountPerDose(text.parse()?),
        })
    }
}

/// A figure of one of the kinds that results have.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResultFigure {
    /// A mass concentration.
    MassConcentration(Written<MassConcentration>),
    /// A mass fraction.
    MassFraction(Written<MassFraction>),
    /// A release per area.
    ReleasePerArea(Written<ReleasePerArea>),
    /// An amount per dose.
    AmountPerDose(Written<AmountPerDose>),
}

impl ResultFigure {
    /// Its kind.
    pub fn kind(&self) -> ResultKind {
        match self {
            ResultFigure::MassConcentration(_) => ResultKind::MassConcentration,
            ResultFigure::MassFraction(_) => ResultKind::MassFraction,
            ResultFigure::ReleasePerArea(_) => ResultKind::ReleasePerArea,
            ResultFigure::AmountPerDose(_) => ResultKind::AmountPerDose,
        }
    }
    /// Its value in SI.
    pub fn si(&self) -> f64 {
        match self {
            ResultFigure::MassConcentration(figure) => figure.value().si(),
            ResultFigure::MassFraction(figure) => figure.value().si(),
            ResultFigure::ReleasePerArea(figure) => figure.value().si(),
            ResultFigure::AmountPerDose(figure) => figure.value().si(),
        }
    }
    /// The digits as written.
    pub fn digits(&self) -> &str {
        match self {
            ResultFigure::MassConcentration(figure) => figure.digits(),
            ResultFigure::MassFraction(figure) => figure.digits(),
            ResultFigure::ReleasePerArea(figure) => figure.digits(),
            ResultFigure::AmountPerDose(figure) => figure.digits(),
        }
    }
    /// The symbol of its unit.
    pub fn unit_symbol(&self) -> &'static str {
        match self {
            ResultFigure::MassConcentration(figure) => figure.unit().symbol(),
            ResultFigure::MassFraction(figure) => figure.unit().symbol(),
            ResultFigure::ReleasePerArea(figure) => figure.unit().symbol(),
            ResultFigure::AmountPerDose(figure) => figure.unit().symbol(),
        }
    }
}

impl std::fmt::Display for ResultFigure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.digits(), self.unit_symbol())
    }
}
