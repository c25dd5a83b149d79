//! The preparation batch: test portions prepared together, with their own method blank, control, duplicate and spike.

use darkline_metrology::kind::{Area, Factor, Mass, Volume};
use serde::{Deserialize, Serialize};

use crate::figure::Uncertain;
use crate::identity::{BatchId, OrderId, PortionId, SampleId};
use crate::order::ResultFigure;
use crate::time::Timestamp;

/// A preparation batch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PreparationBatch {
    /// Its identity.
    pub id: BatchId,
    /// When it was prepared.
    pub prepared: Timestamp,
    /// Who prepared it.
    pub by: String,
    /// How, in a sentence.
    pub procedure: String,
    /// The portions.
    pub portions: Vec<Portion>,
}

/// A test portion and the solution made of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Portion {
    /// Its identity, unique in the batch.
    pub id: PortionId,
    /// What it is for.
    pub role: PortionRole,
    /// Mass weighed in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Uncertain<Mass>>,
    /// Volume taken of a liquid sample.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume_taken: Option<Uncertain<Volume>>,
    /// Volume of the solution that was made: the digest made up, the leachate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<Uncertain<Volume>>,
    /// Area that was leached.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area: Option<Uncertain<Area>>,
    /// Dry matter as a fraction of the mass weighed in, from a portion of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dry_matter: Option<Uncertain<Factor>>,
    /// Mass of one dose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dose: Option<Uncertain<Mass>>,
}

/// What a portion is for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "for", rename_all = "kebab-case")]
pub enum PortionRole {
    /// A sample of an order.
    Sample {
        /// The order.
        order: OrderId,
        /// The sample.
        sample: SampleId,
    },
    /// A second portion of the same sample.
    Duplicate {
        /// The portion it repeats.
        of: PortionId,
    },
    /// A second portion of a sample with analyte added before preparation.
    Spike {
        /// The portion without addition.
        of: PortionId,
        /// Mass of analyte added; of successive additions to one solution, so far.
        added: Uncertain<Mass>,
        /// Volume that came with it so far, where additions make one solution grow.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        added_volume: Option<Uncertain<Volume>>,
    },
    /// Everything but the sample.
    MethodBlank,
    /// A material whose value is known.
    Control {
        /// What it is.
        material: String,
        /// Its value, of the kind of the method's results.
        assigned: ResultFigure,
        /// Standard uncertainty of its value, in the same unit.
        u: Option<ResultFigure>,
    },
}

impl PortionRole {
    /// The word on labels and in tables.
    pub fn word(&self) -> &'static str {
        match self {
            PortionRole::Sample { .. } => "sample",
            PortionRole::Duplicate { .. } => "duplicate",
            PortionRole::Spike { .. } => "spike",
            PortionRole::MethodBlank => "method blank",
            PortionRole::Control { .. } => "control",
        }
    }
}
