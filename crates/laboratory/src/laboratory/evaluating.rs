//! Working an order out from what the record says; nothing of it is stored.

use std::collections::BTreeMap;
use std::sync::Arc;

use darkline_audit_trail::{BlobDigest, Store};
use darkline_evaluation::outcome::Outcome;
use darkline_evaluation::{Explanation, Validated, evaluate, explain, validate};
use darkline_record::decision::Decision;
use darkline_record::identity::{Edition, Element, OrderId, SampleId};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;

use super::{Laboratory, LaboratoryError};
use crate::state::{Pulses, State};

/// An order evaluated: what went in and what came out.
#[derive(Debug)]
pub struct Evaluated {
    /// What it rests on.
    pub package: DataPackage,
    /// Decisions in the order they were made.
    pub decisions: Vec<Decision>,
    /// What came out.
    pub outcome: Outcome,
}

impl Laboratory {
    /// The data package of an order with its pulses.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`], [`LaboratoryError::PulseMissing`].
    pub fn package(&self, order: &OrderId) -> Result<DataPackage, LaboratoryError> {
        self.order(order)?;
        let pulses = pulses_of(self.store(), &self.state, order)?;
        self.state.package(order, pulses).ok_or_else(|| LaboratoryError::NotReady {
            order: order.clone(),
            act: "evaluated",
            why: "it has not been opened for work".into(),
        })
    }

    /// Works out an order from its readings and decisions. Stores nothing.
    ///
    /// # Errors
    /// As [`Laboratory::package`]; [`LaboratoryError::Edition`].
    pub fn evaluate(&self, order: &OrderId) -> Result<Evaluated, LaboratoryError> {
        if let Some(contents) = self.restored_contents(order)? {
            let decisions = contents.state.decisions_of(order);
            return Ok(Evaluated { package: contents.package, decisions, outcome: contents.outcome });
        }
        let package = self.package(order)?;
        let decisions = self.state.decisions_of(order);
        let outcome = evaluate(&package, &decisions)?;
        Ok(Evaluated { package, decisions, outcome })
    }

    /// Works out an order by another edition than the one it was opened with. Stores nothing.
    ///
    /// # Errors
    /// As [`Laboratory::evaluate`].
    pub fn evaluate_with(&self, order: &OrderId, edition: Edition) -> Result<Evaluated, LaboratoryError> {
        // Its own edition may be one that this program does not have.
        let (package, decisions) = match self.restored_contents(order)? {
            Some(contents) => (contents.package, contents.state.decisions_of(order)),
            None => (self.package(order)?, self.state.decisions_of(order)),
        };
        let package = DataPackage { edition, ..package };
        let outcome = evaluate(&package, &decisions)?;
        Ok(Evaluated { package, decisions, outcome })
    }

    /// The edition that an order was opened with; none where it was not opened yet.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`].
    pub fn edition_of(&self, order: &OrderId) -> Result<Option<Edition>, LaboratoryError> {
        if let Some(contents) = self.restored_contents(order)? {
            return Ok(Some(contents.package.edition));
        }
        Ok(self.order(order)?.edition)
    }

    /// Tells how a result came about.
    ///
    /// # Errors
    /// As [`Laboratory::package`]; [`LaboratoryError::NoSuchResult`].
    pub fn explain(
        &self,
        order: &OrderId,
        sample: &SampleId,
        element: Option<&Element>,
    ) -> Result<Explanation, LaboratoryError> {
        if let Some(contents) = self.restored_contents(order)? {
            return Ok(explain(&contents.package, &contents.state.decisions_of(order), sample, element)?);
        }
        let package = self.package(order)?;
        Ok(explain(&package, &self.state.decisions_of(order), sample, element)?)
    }

    /// Holds the results of an order against Monte Carlo.
    ///
    /// # Errors
    /// As [`Laboratory::package`].
    pub fn validate(&self, order: &OrderId, trials: Option<u32>) -> Result<Vec<Validated>, LaboratoryError> {
        let package = self.package(order)?;
        Ok(validate(&package, &self.state.decisions_of(order), trials)?)
    }
}

/// The pulses that an order rests on.
///
/// # Errors
/// [`LaboratoryError::PulseMissing`].
pub(crate) fn pulses_of(store: &dyn Store, state: &State, order: &OrderId) -> Result<Pulses, LaboratoryError> {
    let mut pulses: Pulses = BTreeMap::new();
    for digest in state.pulse_digests_of(order) {
        let missing = || LaboratoryError::PulseMissing { digest: digest.to_string() };
        let bytes = store.blob(&BlobDigest::from_bytes(*digest.as_bytes()))?.ok_or_else(missing)?;
        pulses.insert(digest, Arc::new(Pulse::from_canonical_bytes(&bytes).ok_or_else(missing)?));
    }
    Ok(pulses)
}
