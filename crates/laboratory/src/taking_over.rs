//! Taking over what a bench did on its own: its log, checked, with an entry of the laboratory's own log that says so.

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{HandedOver, Known, PersonId, Store, hand_over, verify_trail, verify_trail_knowing};

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::verification::Check;

impl Laboratory {
    /// Takes over the log of a bench, which is verified first, and appends up to which checkpoint.
    ///
    /// Done again it brings what the bench appended since; where there is nothing new, nothing is appended.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`]: who acts is no administrator; [`LaboratoryError::DamagedBench`];
    /// [`LaboratoryError::Store`].
    pub fn take_over(
        &mut self,
        by: &PersonId,
        bench: &dyn Store,
    ) -> Result<(HandedOver, Option<u64>), LaboratoryError> {
        self.admit(by, Verb::ManageDevices, None)?;
        let log = bench.log().clone();
        if let Some(fault) = verify_trail(bench, &log)?.faults.first() {
            return Err(LaboratoryError::DamagedBench { log, fault: fault.to_string() });
        }
        let brought = hand_over(bench, self.store_mut())?;
        if self.state().taken_over.get(&log) == Some(&brought.newest) {
            return Ok((brought, None));
        }
        let at = self.now();
        let (size, root, checkpoint) = (brought.newest.size, brought.newest.root, brought.newest.to_text());
        let numbers = self.append(by, &at, &[Act::TakeOver { log, size, root, checkpoint }])?;
        Ok((brought, numbers.first().copied()))
    }

    /// Checks the logs of other benches that stand beside this one, each against the checkpoint it was taken over with.
    ///
    /// # Errors
    /// [`LaboratoryError::Store`]: the record cannot be read. What is not in order is a fault of the check.
    pub fn check_other_logs(&self) -> Result<Option<Check>, LaboratoryError> {
        let (mut n_logs, mut n_entries, mut faults) = (0, 0, Vec::new());
        for log in self.store().logs()? {
            if log == *self.store().log() {
                continue;
            }
            let checkpoints = self.state().taken_over.get(&log).cloned().into_iter().collect();
            let report = verify_trail_knowing(self.store(), &log, &Known { checkpoints, devices: None })?;
            (n_logs, n_entries) = (n_logs + 1, n_entries + report.n_entries);
            faults.extend(report.faults.iter().map(|fault| format!("log {log}: {fault}")));
        }
        for log in
            self.state().taken_over.keys().filter(|log| !self.store().logs().is_ok_and(|logs| logs.contains(log)))
        {
            faults.push(format!("log {log} was taken over and is gone"));
        }
        let found = format!("{n_entries} entries in {n_logs} logs of other benches as signed");
        Ok((n_logs > 0 || !faults.is_empty()).then_some(Check { what: "other logs", found, faults }))
    }
}
