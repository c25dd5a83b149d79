//! Refused steps: who wanted what without the right or out of turn is an entry too.
//!
//! Entries of the same person about the same step may follow each other; each time it was tried is one. What is refused for
//! its form alone, a table with faults or a flag that is not there, is told and leaves no trace.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_record::identity::OrderId;

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};

impl Laboratory {
    /// Appends that somebody wanted to do something and why it was refused, for a door that has asked before it acts; the
    /// verbs of the laboratory do so themselves.
    ///
    /// Gives the number of the entry; none where this is no refusal of a step, the person is nobody here, or it cannot be
    /// appended: refused it is in any case.
    ///
    /// # Source
    /// 21 CFR 11.10(f) and (g), in our words in `reference/records/part11.toml`: refused with the reason, and logged.
    pub fn note_refused(
        &mut self,
        by: &PersonId,
        verb: Verb,
        order: Option<&OrderId>,
        error: &LaboratoryError,
    ) -> Option<u64> {
        let is_refusal = matches!(
            error,
            LaboratoryError::Refused(_) | LaboratoryError::NotReady { .. } | LaboratoryError::KeptLonger { .. }
        );
        if !is_refusal || !self.state.people.contains_key(by) {
            return None;
        }
        let act = Act::RefusedStep { wanted: verb, order: order.cloned(), why: error.to_string() };
        let at = self.now();
        self.append(by, &at, &[act]).ok()?.first().copied()
    }

    /// Passes an answer on, and appends a refusal.
    pub(crate) fn noting<T>(
        &mut self,
        by: &PersonId,
        verb: Verb,
        order: Option<&OrderId>,
        answer: Result<T, LaboratoryError>,
    ) -> Result<T, LaboratoryError> {
        answer.inspect_err(|error| {
            self.note_refused(by, verb, order, error);
        })
    }

    /// Asks for the right, and appends a refusal.
    pub(crate) fn admit(&mut self, by: &PersonId, verb: Verb, order: Option<&OrderId>) -> Result<(), LaboratoryError> {
        let answer = self.ask(by, verb, order);
        self.noting(by, verb, order, answer)
    }

    /// The same, and whether the order is in a state in which it can be done.
    pub(crate) fn admit_now(&mut self, by: &PersonId, verb: Verb, order: &OrderId) -> Result<(), LaboratoryError> {
        let answer = self.ask_now(by, verb, order);
        self.noting(by, verb, Some(order), answer)
    }
}
