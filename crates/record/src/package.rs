//! The data package: an order with all preparations, runs and methods its results rest on.
//!
//! Order, batch and run are many to many: a batch may hold portions of several orders, a run rows of several batches.
//! The package holds whatever its order touches, whole.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::canonical::Digest;
use crate::identity::{BatchId, Edition, MethodId, PortionId, SampleId};
use crate::method::ResolvedMethod;
use crate::order::Order;
use crate::preparation::{Portion, PortionRole, PreparationBatch};
use crate::pulse::Pulse;
use crate::run::Run;

/// What is reviewed, reported and archived.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DataPackage {
    /// The procedure it is evaluated with.
    pub edition: Edition,
    /// The order.
    pub order: Order,
    /// The batches that hold its portions.
    pub preparations: Vec<PreparationBatch>,
    /// The runs that measured them.
    pub runs: Vec<Run>,
    /// The methods of those runs.
    pub methods: Vec<ResolvedMethod>,
    /// The pulses of the readings, by digest.
    pub pulses: BTreeMap<Digest, Arc<Pulse>>,
}

impl DataPackage {
    /// The method with this identity.
    pub fn method(&self, id: &MethodId) -> Option<&ResolvedMethod> {
        self.methods.iter().find(|method| method.id == *id)
    }
    /// A portion of a batch.
    pub fn portion(&self, batch: &BatchId, portion: &PortionId) -> Option<&Portion> {
        self.preparations
            .iter()
            .find(|preparation| preparation.id == *batch)
            .and_then(|preparation| preparation.portions.iter().find(|candidate| candidate.id == *portion))
    }
    /// The portions of a sample of the order, batch by batch, without duplicates and spikes.
    pub fn portions_of(&self, sample: &SampleId) -> Vec<(&BatchId, &Portion)> {
        let mut found = Vec::new();
        for preparation in &self.preparations {
            for portion in &preparation.portions {
                if matches!(&portion.role, PortionRole::Sample { order, sample: of } if *order == self.order.id && of == sample)
                {
                    found.push((&preparation.id, portion));
                }
            }
        }
        found
    }
    /// The digest of the whole package, pulses by their digests.
    pub fn digest(&self) -> Digest {
        #[derive(Serialize)]
        struct Digested<'a> {
            edition: Edition,
            order: &'a Order,
            preparations: &'a [PreparationBatch],
            runs: &'a [Run],
            methods: &'a [ResolvedMethod],
            pulses: Vec<&'a Digest>,
        }
        Digest::of_document(&Digested {
            edition: self.edition,
            order: &self.order,
            preparations: &self.preparations,
            runs: &self.runs,
            methods: &self.methods,
            pulses: self.pulses.keys().collect(),
        })
    }
}
