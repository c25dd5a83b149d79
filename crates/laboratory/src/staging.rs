//! How far an order has come, and handing it back.
//!
//! open → measured → in review → approved → issued. Nothing of this is stored: a state follows from the results as they are
//! worked out now, the signatures under them, and returns.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::{Stage, Verb};
use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_record::decision::{FlagId, Reason, Subject};
use darkline_record::identity::OrderId;

use crate::act::{Act, Remark};
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::signing::SignatureMeaning;
use crate::state::OrderState;

/// How far an order has come whose results are these.
pub fn stage_of(known: &OrderState, outcome: &Outcome) -> Stage {
    let digest = outcome.digest();
    if known.issues.last().is_some_and(|issue| issue.outcome == digest) {
        return Stage::Issued;
    }
    if known.signature(SignatureMeaning::Approved, &digest).is_some() {
        return Stage::Approved;
    }
    if known.signature(SignatureMeaning::Measured, &digest).is_some() {
        return Stage::InReview;
    }
    let is_awaited = outcome.results.iter().any(|result| matches!(result.reported, Reported::Awaiting { .. }));
    if is_awaited || outcome.results.is_empty() { Stage::Open } else { Stage::Measured }
}

impl Laboratory {
    /// How far an order has come.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`] and what evaluation finds.
    pub fn stage(&self, order: &OrderId) -> Result<Stage, LaboratoryError> {
        if self.state().restored.contains_key(order) {
            return Ok(Stage::Issued);
        }
        let known = self.order(order)?;
        if known.edition.is_none() {
            return Ok(Stage::Open);
        }
        Ok(stage_of(known, &self.evaluate(order)?.outcome))
    }

    /// Hands an order back to the state it came from, with remarks item by item.
    ///
    /// From *in review* it goes back to *measured*: the analyst signs again. From *approved* to *in review*: it is reviewed and
    /// approved again. Signatures given since are set aside; they stay in view and count no longer.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]; [`LaboratoryError::NoSuchItem`].
    pub fn return_order(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        remarks: &[Remark],
        reason: &Reason,
    ) -> Result<(u64, Stage), LaboratoryError> {
        self.admit_now(by, Verb::Return, order)?;
        let from = self.stage(order)?;
        let to = if from == Stage::Approved { Stage::InReview } else { Stage::Measured };
        for remark in remarks {
            if !self.has_item(order, &remark.on) {
                return Err(LaboratoryError::NoSuchItem { order: order.clone(), on: remark.on.clone() });
            }
        }
        let at = self.now();
        let (order, remarks, reason) = (order.clone(), remarks.to_vec(), reason.clone());
        let numbers = self.append(by, &at, &[Act::Return { order, from, to, remarks, reason }])?;
        Ok((numbers[0], to))
    }

    /// Whether an order has what a remark names: `order`, `sample:…`, `reading:…`, `row:…`, `run:…`, `batch:…`.
    fn has_item(&self, order: &OrderId, on: &str) -> bool {
        if on == "order" {
            return true;
        }
        let Some(known) = self.state().orders.get(order) else { return false };
        if let Some(sample) = on.strip_prefix("sample:") {
            return known.order.samples.iter().any(|known| known.id.as_str() == sample);
        }
        // The words of a flag without its rule.
        let Ok(flag) = format!("remark:{on}").parse::<FlagId>() else { return false };
        let runs = self.state().runs_of(order);
        let run = |id| runs.iter().find(|run| run.run.id == id).map(|run| &run.run);
        match flag.subject {
            Subject::Reading(reading) => {
                run(reading.run).is_some_and(|run| run.readings.iter().any(|known| known.number == reading.number))
            }
            Subject::Row(row) => run(row.run.clone()).is_some_and(|run| run.row(row.number).is_some()),
            Subject::Run(id) => run(id).is_some(),
            Subject::Batch(batch) => self.state().batches_of(order).iter().any(|known| known.id == batch),
        }
    }
}
