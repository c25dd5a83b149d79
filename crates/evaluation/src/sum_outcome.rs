//! What an evaluation brings of a sum: both bounds, and what each says of the limit.

use darkline_metrology::conformity::Statement;
use darkline_record::identity::{Element, SampleId};
use serde::{Deserialize, Serialize};

use crate::outcome::{StatementOutcome, ValueOutcome};

/// A sum of results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SumOutcome {
    /// What the order calls it.
    pub name: String,
    /// The samples whose results are added: one, or the parts of a whole.
    pub samples: Vec<SampleId>,
    /// The elements that are added.
    pub elements: Vec<Element>,
    /// The kind of the sum in words.
    pub kind: String,
    /// The unit of all its figures.
    pub unit: String,
    /// What is added, in that order.
    pub summands: Vec<SummandOutcome>,
    /// What lies below its quantification limit counted as nothing; absent while a summand is missing.
    pub lower: Option<BoundOutcome>,
    /// What lies below its quantification limit counted as that limit.
    pub upper: Option<BoundOutcome>,
    /// What both bounds say together; inconclusive where they differ.
    pub statement: Option<Statement>,
}

/// One result of a sum.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SummandOutcome {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// Whether it lies below its quantification limit.
    pub is_below_loq: bool,
    /// Whether it is awaited or held back.
    pub is_missing: bool,
}

/// One bound of a sum.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BoundOutcome {
    /// The bound with its uncertainty.
    pub value: ValueOutcome,
    /// The statement of conformity, where there is a limit and controls have passed.
    pub statement: Option<StatementOutcome>,
}

impl SumOutcome {
    /// The names of the samples, in one line.
    pub fn of(&self) -> String {
        self.samples.iter().map(SampleId::to_string).collect::<Vec<_>>().join(" + ")
    }

    /// Its name, and the sample where each has one of its own.
    pub fn title(&self) -> String {
        match self.samples.as_slice() {
            [sample] => format!("{} in {sample}", self.name),
            _ => self.name.clone(),
        }
    }

    /// The summands below their quantification limits, in words; empty where there are none.
    pub fn below_loq(&self) -> String {
        self.listed(|summand| summand.is_below_loq)
    }

    /// The summands that are awaited or held back, in words; empty where there are none.
    pub fn missing(&self) -> String {
        self.listed(|summand| summand.is_missing)
    }

    fn listed(&self, wanted: fn(&SummandOutcome) -> bool) -> String {
        let name = |summand: &SummandOutcome| match self.samples.len() {
            1 => summand.element.to_string(),
            _ => format!("{} in {}", summand.element, summand.sample),
        };
        self.summands.iter().filter(|summand| wanted(summand)).map(name).collect::<Vec<_>>().join(", ")
    }
}
