//! A run that is still going: the same evaluation after every act, with the reduction of pulses remembered.
//!
//! [`Live`] holds a package and its decisions; [`Live::apply`] adds one act and evaluates. [`Memory`] is what it remembers: a
//! pulse is reduced once, whatever comes after it.
//!
//! Invariant: after any acts, [`Live::outcome`] equals [`crate::evaluate`] of the package and decisions they lead to, bit for
//! bit.

use std::collections::BTreeMap;
use std::sync::Arc;

use darkline_metrology::model::Model;
use darkline_record::canonical::Digest;
use darkline_record::decision::Decision;
use darkline_record::identity::{MethodId, RunId};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Leg, Reading, Signal};
use rayon::prelude::*;

use crate::evaluating::{UnknownEdition, Worked, procedure_of};
use crate::outcome::Outcome;
use crate::procedure::Procedure;
use crate::responses::Responded;

/// One act that changes what is evaluated.
#[derive(Clone, Debug)]
pub enum Act {
    /// A reading came in.
    Read {
        /// The run.
        run: RunId,
        /// The reading.
        reading: Reading,
        /// Its pulse, where its signal names one.
        pulse: Option<Arc<Pulse>>,
    },
    /// Rows were added to a run.
    AddLeg {
        /// The run.
        run: RunId,
        /// The leg.
        leg: Leg,
    },
    /// A person decided.
    Decide(Decision),
}

/// An act about a run that the package does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the package holds no run {run}")]
pub struct NoSuchRun {
    /// The run.
    pub run: RunId,
}

/// Responses of pulses by digest and method; a method of a package does not change.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    reduced: BTreeMap<(Digest, MethodId), Result<Responded, String>>,
}

impl Memory {
    /// What a pulse gave by a method; `None` where it has not been reduced.
    pub fn recall(&self, pulse: &Digest, method: &MethodId) -> Option<&Result<Responded, String>> {
        // A bare evaluation remembers nothing, and builds no key to find that out.
        if self.reduced.is_empty() {
            return None;
        }
        self.reduced.get(&(*pulse, method.clone()))
    }
}

/// A package under measurement.
#[derive(Debug)]
pub struct Live {
    procedure: &'static Procedure,
    package: DataPackage,
    decisions: Vec<Decision>,
    memory: Memory,
}

impl Live {
    /// Begins with what there is.
    ///
    /// # Errors
    /// [`UnknownEdition`].
    pub fn new(package: DataPackage, decisions: Vec<Decision>) -> Result<Self, UnknownEdition> {
        let procedure = procedure_of(&package)?;
        let mut memory = Memory::default();
        for run in &package.runs {
            let reduced: Vec<_> = run
                .readings
                .par_iter()
                .filter_map(|reading| reduced(procedure, &package, &run.method, reading))
                .collect();
            memory.reduced.extend(reduced);
        }
        Ok(Self { procedure, package, decisions, memory })
    }

    /// Takes one act in and evaluates.
    ///
    /// # Errors
    /// [`NoSuchRun`]; nothing is taken in then.
    pub fn apply(&mut self, act: Act) -> Result<Outcome, NoSuchRun> {
        match act {
            Act::Read { run, reading, pulse } => {
                let place = self.place(&run)?;
                if let (Signal::Pulse(digest), Some(pulse)) = (&reading.signal, pulse) {
                    self.package.pulses.entry(*digest).or_insert(pulse);
                }
                let method = self.package.runs[place].method.clone();
                self.memory.reduced.extend(reduced(self.procedure, &self.package, &method, &reading));
                self.package.runs[place].readings.push(reading);
            }
            Act::AddLeg { run, leg } => {
                let place = self.place(&run)?;
                self.package.runs[place].legs.push(leg);
            }
            Act::Decide(decision) => self.decisions.push(decision),
        }
        Ok(self.outcome())
    }

    fn place(&self, run: &RunId) -> Result<usize, NoSuchRun> {
        let place = self.package.runs.iter().position(|candidate| candidate.id == *run);
        place.ok_or_else(|| NoSuchRun { run: run.clone() })
    }

    /// What follows from all acts so far.
    pub fn outcome(&self) -> Outcome {
        let model = Model::new();
        let worked = Worked::new(&model, self.procedure, &self.package, &self.decisions, &self.memory);
        worked.outcome(&model, self.procedure, &self.package)
    }

    /// The package as it stands.
    pub fn package(&self) -> &DataPackage {
        &self.package
    }
    /// The decisions so far.
    pub fn decisions(&self) -> &[Decision] {
        &self.decisions
    }
}

/// A reading's pulse reduced, to be remembered; `None` for other signals, and where method or pulse are not there yet.
fn reduced(
    procedure: &Procedure,
    package: &DataPackage,
    method: &MethodId,
    reading: &Reading,
) -> Option<((Digest, MethodId), Result<Responded, String>)> {
    let Signal::Pulse(digest) = &reading.signal else { return None };
    let known = package.method(method)?;
    // Limits that standards draw move while standards come in.
    if known.response.window.as_ref().is_some_and(|window| window.by_standards) {
        return None;
    }
    package.pulses.get(digest)?;
    Some(((*digest, method.clone()), (procedure.reduce)(package, known, reading, None)))
}
