//! Starting an order's day: who read which cautions, and what they stated.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_record::canonical::Digest;
use darkline_record::identity::OrderId;

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};

impl Laboratory {
    /// Appends that a person read the cautions of an order's work before it starts.
    ///
    /// # Arguments
    /// * `list`: the digest of the list they were taken from. `shown`: their names, as they were shown.
    /// * `stated`: what the person stated besides: points looked at, pressures read off.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`], [`LaboratoryError::Refused`].
    pub fn start(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        list: Digest,
        shown: Vec<String>,
        stated: Vec<String>,
    ) -> Result<u64, LaboratoryError> {
        self.order(order)?;
        self.admit(by, Verb::OpenDocuments, Some(order))?;
        let at = self.now();
        Ok(self.append(by, &at, &[Act::Start { order: order.clone(), list, shown, stated }])?[0])
    }
}
