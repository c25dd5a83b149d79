//! How long an order is kept, and erasing whose it was after that.
//!
//! The record itself is never deleted. What can be erased is whose order it was, where that was kept apart when the order was
//! opened, and only after the last day on which it has to be there. Whatever is refused is an entry.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_record::decision::Reason;
use darkline_record::identity::OrderId;

use crate::accounts::day;
use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};

impl Laboratory {
    /// Says the last day on which an order has to be there. It can be put off, never brought forward.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]; [`LaboratoryError::NoDay`]; [`LaboratoryError::KeptLonger`].
    pub fn set_retention(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        until: &str,
        reason: &Reason,
    ) -> Result<u64, LaboratoryError> {
        self.admit(by, Verb::SetRetention, Some(order))?;
        let until = day(until)?;
        if let Some(kept) = self.order(order)?.keep_until.as_ref().filter(|kept| **kept > until) {
            let kept_longer = LaboratoryError::KeptLonger { order: order.clone(), until: kept.clone() };
            return self.noting(by, Verb::SetRetention, Some(order), Err(kept_longer));
        }
        let at = self.now();
        let act = Act::SetRetention { order: order.clone(), until, reason: reason.clone() };
        Ok(self.append(by, &at, &[act])?[0])
    }

    /// Erases whose order it was: the part that was kept apart, and the reports that name it. What was hashed stays, so the
    /// chain, the signatures and every digit keep verifying, and whoever holds a report still finds its digest here.
    ///
    /// # Errors
    /// [`LaboratoryError::HasToBeKept`]: its retention has not ended, or was never said; that is an entry.
    /// [`LaboratoryError::NotApart`]: it was not kept apart, or is erased already. [`LaboratoryError::Refused`].
    pub fn erase_identity(&mut self, by: &PersonId, order: &OrderId, reason: &Reason) -> Result<u64, LaboratoryError> {
        self.admit(by, Verb::EraseIdentity, Some(order))?;
        let known = self.order(order)?;
        let today: String = self.now().as_str().chars().take(10).collect();
        let why = match &known.keep_until {
            None => Some("nobody has said how long it has to be kept".to_owned()),
            Some(until) if *until >= today => Some(format!("it has to be kept until {until}")),
            Some(_) => None,
        };
        if let Some(why) = why {
            let at = self.now();
            let entry = self.append(by, &at, &[Act::RefusedErasure { order: order.clone(), why: why.clone() }])?[0];
            return Err(LaboratoryError::HasToBeKept { order: order.clone(), why, entry });
        }
        if known.erased.is_some() || !known.is_sealed() {
            return Err(LaboratoryError::NotApart { order: order.clone(), erased: known.erased.is_some() });
        }
        let reports: Vec<String> = known.issues.iter().map(|issue| issue.report.clone()).collect();
        let at = self.now();
        let act = Act::EraseIdentity { order: order.clone(), reason: reason.clone() };
        let entry = self.append(by, &at, &[act])?[0];
        self.erase_apart(order, &reports)?;
        Ok(entry)
    }
}
