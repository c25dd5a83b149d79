//! Planning the next leg: steps that were taken up and stand in no leg yet become rows.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_planning::leg;
use darkline_record::decision::{Decision, FlagId, NextStep};
use darkline_record::identity::{OrderId, RunId};
use darkline_record::run::Leg;

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};

impl Laboratory {
    /// The steps taken up for a run that stand in no leg yet; the last decision about a flag stands.
    pub fn steps_waiting(&self, order: &OrderId, run: &RunId) -> Vec<(FlagId, NextStep)> {
        let Some(known) = self.state().runs.get(run) else { return Vec::new() };
        let mut waiting: Vec<(FlagId, NextStep)> = Vec::new();
        for decision in self.state().decisions_of(order) {
            let Decision::TakeUp { flag, step, .. } = decision else { continue };
            if known.legs_for.contains(&flag) || !is_about(&flag, run) {
                continue;
            }
            match waiting.iter_mut().find(|(about, _)| *about == flag) {
                Some(earlier) => earlier.1 = step,
                None => waiting.push((flag, step)),
            }
        }
        waiting
    }

    /// Makes a leg of the steps that wait and adds it to the run.
    ///
    /// # Errors
    /// [`LaboratoryError::NothingToAdd`], [`LaboratoryError::Leg`].
    pub fn add_leg(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        run: Option<&RunId>,
    ) -> Result<(u64, RunId, Leg), LaboratoryError> {
        self.admit_now(by, Verb::Decide, order)?;
        let run = self.run_of(order, run)?;
        let waiting = self.steps_waiting(order, &run);
        if waiting.is_empty() {
            return Err(LaboratoryError::NothingToAdd);
        }
        let known = &self.state().runs[&run].run;
        let method = self.state().methods.get(&known.method).expect("a run is opened with its method");
        let leg = leg::extend(known, method, &waiting)?;
        let at = self.now();
        let numbers = self.append(by, &at, &[Act::AddLeg { run: run.clone(), leg: leg.clone() }])?;
        Ok((numbers[0], run, leg))
    }
}

fn is_about(flag: &FlagId, run: &RunId) -> bool {
    use darkline_record::decision::Subject;
    match &flag.subject {
        Subject::Reading(reading) => reading.run == *run,
        Subject::Row(row) => row.run == *run,
        Subject::Run(of) => of == run,
        Subject::Batch(_) => false,
    }
}
