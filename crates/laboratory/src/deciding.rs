//! Deciding: a person rejects a reading, justifies a flag or takes up a next step, always with a reason.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_record::decision::{Decision, FlagId, NextStep, Reason};
use darkline_record::identity::{OrderId, ReadingId, RunId};
use darkline_record::method::{CalibrationModel, CodedReason};
use darkline_record::package::DataPackage;

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};

/// What a person wants to decide; the laboratory adds what was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// A reading shall not count.
    Reject(ReadingId),
    /// A rejected reading shall count again.
    Reinstate(ReadingId),
    /// A flag is explained.
    Justify(FlagId),
    /// A step of a flag is taken up; its first where none is named.
    TakeUp(FlagId, Option<NextStep>),
    /// A run shall be calibrated by this function.
    ChooseModel(RunId, CalibrationModel),
}

impl Laboratory {
    /// Appends decisions, all or none.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownReading`], [`LaboratoryError::UnknownFlag`], [`LaboratoryError::NotOffered`],
    /// [`LaboratoryError::NotAllowed`]; [`LaboratoryError::UnknownReason`] where the methods of the order have a list of reasons
    /// and this is none of it.
    pub fn decide(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        wishes: &[Wish],
        reason: &Reason,
    ) -> Result<Vec<(u64, Decision)>, LaboratoryError> {
        self.admit_now(by, Verb::Decide, order)?;
        let evaluated = self.evaluate(order)?;
        let coded = coded(&evaluated.package, reason)?;
        let mut decisions = Vec::new();
        for wish in wishes {
            let reason = coded.clone();
            decisions.push(match wish {
                Wish::Reject(reading) => Decision::Reject { reading: self.known(order, reading)?, reason },
                Wish::Reinstate(reading) => Decision::Reinstate { reading: self.known(order, reading)?, reason },
                Wish::Justify(flag) => {
                    let seen = find(&evaluated.outcome, flag)?.flag.evidence.digest();
                    Decision::Justify { flag: flag.clone(), seen, reason }
                }
                Wish::TakeUp(flag, step) => {
                    let offered = &find(&evaluated.outcome, flag)?.flag.next;
                    let step = choose(flag, offered, step.as_ref())?;
                    Decision::TakeUp { flag: flag.clone(), step, reason }
                }
                Wish::ChooseModel(run, model) => {
                    allowed(&evaluated.package, run, *model)?;
                    Decision::ChooseModel { run: run.clone(), model: *model, reason }
                }
            });
        }
        let acts: Vec<Act> =
            decisions.iter().map(|decision| Act::Decide { order: order.clone(), decision: decision.clone() }).collect();
        let at = self.now();
        let numbers = self.append(by, &at, &acts)?;
        Ok(numbers.into_iter().zip(decisions).collect())
    }

    fn known(&self, order: &OrderId, reading: &ReadingId) -> Result<ReadingId, LaboratoryError> {
        let run = self.run_of(order, Some(&reading.run))?;
        let readings = &self.state().runs[&run].run.readings;
        if readings.iter().any(|known| known.number == reading.number) {
            return Ok(reading.clone());
        }
        let last = readings.iter().map(|known| known.number).max().unwrap_or(0);
        Err(LaboratoryError::UnknownReading { reading: reading.clone(), last })
    }
}

/// Turns back a function that the method of a run does not let the evidence, or a person, choose.
fn allowed(package: &DataPackage, run: &RunId, model: CalibrationModel) -> Result<(), LaboratoryError> {
    let method = package.runs.iter().find(|known| known.id == *run).and_then(|run| package.method(&run.method));
    // A run of the order has its method; the door lets no other in.
    let Some(method) = method else { return Ok(()) };
    let models = method.calibration.model.allowed();
    if models.contains(&model) && models.len() > 1 {
        return Ok(());
    }
    let words: Vec<String> = models.iter().map(|model| format!("\"{}\"", model.words())).collect();
    Err(LaboratoryError::NotAllowed {
        method: method.id.clone(),
        model: model.words(),
        allowed: if words.len() == 1 { format!("{} alone", words[0]) } else { words.join(", ") },
    })
}

/// A reason as the record keeps it: a code of the method's list with what it means, and the remark behind it. Where no method of
/// the order has a list, any text.
fn coded(package: &DataPackage, reason: &Reason) -> Result<Reason, LaboratoryError> {
    let known: Vec<&CodedReason> = package.methods.iter().flat_map(|method| &method.reasons).collect();
    if known.is_empty() {
        return Ok(reason.clone());
    }
    let (code, remark) = match reason.as_str().split_once(": ") {
        Some((code, remark)) => (code, format!("; {remark}")),
        None => (reason.as_str(), String::new()),
    };
    let unknown = || LaboratoryError::UnknownReason {
        reason: code.chars().take(80).collect(),
        known: known.iter().map(|known| format!("{} ({})", known.code, known.text)).collect::<Vec<_>>().join(", "),
    };
    let found = known.iter().find(|known| known.code == code).ok_or_else(unknown)?;
    Reason::new(&format!("{}: {}{remark}", found.code, found.text)).ok_or_else(unknown)
}

fn find<'o>(
    outcome: &'o darkline_evaluation::outcome::Outcome,
    flag: &FlagId,
) -> Result<&'o darkline_evaluation::outcome::FlagOutcome, LaboratoryError> {
    outcome.flags.iter().find(|candidate| candidate.flag.id == *flag).ok_or_else(|| {
        let flags: Vec<String> = outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect();
        let known = if flags.is_empty() { "there are none".into() } else { format!("there are {}", flags.join(", ")) };
        LaboratoryError::UnknownFlag { flag: flag.clone(), known }
    })
}

/// The step wanted, if the flag offers it; a dilution by another factor is the same step.
fn choose(flag: &FlagId, offered: &[NextStep], wanted: Option<&NextStep>) -> Result<NextStep, LaboratoryError> {
    let not_offered = || LaboratoryError::NotOffered {
        flag: flag.clone(),
        offered: offered.iter().map(step_words).collect::<Vec<_>>().join(", "),
    };
    match wanted {
        None => offered.first().cloned().ok_or_else(not_offered),
        Some(wanted) => {
            let same = |step: &&NextStep| std::mem::discriminant(*step) == std::mem::discriminant(wanted);
            offered.iter().find(same).map(|_| wanted.clone()).ok_or_else(not_offered)
        }
    }
}

/// A step in words.
pub fn step_words(step: &NextStep) -> String {
    match step {
        NextStep::Repeat { replicates: 1 } => "measure one replicate more".into(),
        NextStep::Repeat { replicates } => format!("measure {replicates} replicates more"),
        NextStep::MeasureAgain { .. } => "measure the row again".into(),
        NextStep::Dilute { factor } => format!("dilute by {factor}"),
        NextStep::PrepareAgain => "prepare again".into(),
        NextStep::SampleAgain => "sample again".into(),
        NextStep::Check => "measure a check and a check blank".into(),
        NextStep::RepeatSinceLastCheck => "repeat all since the last passing check".into(),
        NextStep::StandardAdditions => "standard additions".into(),
        NextStep::Stop => "stop the run".into(),
    }
}
