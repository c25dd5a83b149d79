//! A qualification: many files of cases, each case run by the functions the program itself uses, and what came of it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::case_file::{CaseFault, CaseFile, Node, Read};
use crate::comparison::{Comparison, Verdict};
use crate::pack::{self, Pack};

/// A file of cases as text, by the name that messages say.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// Its name.
    pub name: &'a str,
    /// What it says.
    pub text: &'a str,
}

/// Finds the file of numbers that a case names beside itself: the name of the case file, and the path from its folder.
pub type Beside<'a> = dyn Fn(&str, &str) -> Option<String> + Sync + 'a;

/// What came of one case.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseReport {
    /// The file it stands in.
    pub file: String,
    /// The line it begins on.
    pub line: usize,
    /// Its name.
    pub case: String,
    /// What is computed.
    pub kind: String,
    /// The publication, and the place in it.
    pub source: String,
    /// What came of it.
    pub outcome: Outcome,
}

/// What came of a case.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// It ran.
    Compared(Vec<Comparison>),
    /// Nothing here computes cases of its kind.
    UnknownKind,
    /// Something in it is missing or is something else than wanted.
    Fault(CaseFault),
}

/// How much came of a qualification.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Cases run.
    pub cases: usize,
    /// Figures compared.
    pub figures: usize,
    /// Those that agree.
    pub agree: usize,
    /// Those known to differ, with the reason.
    pub differ: usize,
    /// Those that disagree, or were not found.
    pub disagree: usize,
    /// Cases of a kind that nothing computes.
    pub unknown: usize,
    /// Faults of files.
    pub faults: usize,
}

/// All that was run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Qualification {
    /// The cases in the order of the files.
    pub cases: Vec<CaseReport>,
    /// Files that are no TOML.
    pub faults: Vec<CaseFault>,
    /// Files without a case: rules, tables, requirements.
    pub without_cases: Vec<String>,
}

impl Qualification {
    /// How much came of it.
    #[must_use]
    pub fn counts(&self) -> Counts {
        let mut counts = Counts { faults: self.faults.len(), ..Counts::default() };
        for case in &self.cases {
            match &case.outcome {
                Outcome::UnknownKind => counts.unknown += 1,
                Outcome::Fault(_) => counts.faults += 1,
                Outcome::Compared(comparisons) => {
                    counts.cases += 1;
                    counts.figures += comparisons.len();
                    for comparison in comparisons {
                        match comparison.verdict {
                            Verdict::Agrees => counts.agree += 1,
                            Verdict::Difference(_) => counts.differ += 1,
                            Verdict::Disagrees | Verdict::NotFound(_) => counts.disagree += 1,
                        }
                    }
                }
            }
        }
        counts
    }

    /// All faults, of files and of cases.
    pub fn all_faults(&self) -> impl Iterator<Item = &CaseFault> {
        let of_cases = self.cases.iter().filter_map(|case| match &case.outcome {
            Outcome::Fault(fault) => Some(fault),
            _ => None,
        });
        self.faults.iter().chain(of_cases)
    }
}

/// One case, ready to run.
pub(crate) struct Case<'a> {
    pub(crate) pack: Pack,
    /// Its table.
    pub(crate) node: Node<'a>,
    pub(crate) name: String,
    pub(crate) kind: String,
    pub(crate) source: String,
}

/// Runs cases.
///
/// One case that cannot run never stops the others.
///
/// # Arguments
/// * `sources`: the files.
/// * `beside`: finds files of numbers that the cases name.
/// * `progress`: told how many cases are done, and how many there are.
#[must_use]
pub fn qualify(sources: &[Source<'_>], beside: &Beside<'_>, progress: &(dyn Fn(usize, usize) + Sync)) -> Qualification {
    let mut found = Qualification::default();
    let mut files = Vec::new();
    for source in sources {
        match CaseFile::read(source.name, source.text) {
            Ok(file) => files.push(file),
            Err(fault) => found.faults.push(*fault),
        }
    }
    let mut cases = Vec::new();
    for file in &files {
        match pack::cases(file.root()) {
            Ok(of_file) if of_file.is_empty() => found.without_cases.push(file.name.clone()),
            Ok(of_file) => cases.extend(of_file.into_iter().map(|case| (case, file.root()))),
            Err(fault) => found.faults.push(*fault),
        }
    }
    let n_done = AtomicUsize::new(0);
    let n = cases.len();
    progress(0, n);
    found.cases = cases
        .par_iter()
        .map(|(case, root)| {
            let report = run(case, *root, beside);
            progress(n_done.fetch_add(1, Ordering::Relaxed) + 1, n);
            report
        })
        .collect();
    found
}

fn run(case: &Case<'_>, root: Node<'_>, beside: &Beside<'_>) -> CaseReport {
    // Nothing below is known to panic; should a case find a way, it is that case's fault alone.
    let ran = catch_unwind(AssertUnwindSafe(|| pack::run(case, root, beside)));
    let outcome = match ran {
        Ok(Ok(Some(comparisons))) => Outcome::Compared(comparisons),
        Ok(Ok(None)) => Outcome::UnknownKind,
        Ok(Err(fault)) => Outcome::Fault(*fault),
        Err(_) => Outcome::Fault(*case.node.fault("this case ended the computation; its figures are beyond it")),
    };
    CaseReport {
        file: case.node.file_name().to_owned(),
        line: case.node.line(),
        case: case.name.clone(),
        kind: case.kind.clone(),
        source: case.source.clone(),
        outcome,
    }
}

/// What a runner of a kind gives: the comparisons, or `None` for a kind it does not know.
pub(crate) type Ran = Read<Option<Vec<Comparison>>>;
