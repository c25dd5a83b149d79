//! The cases that ship in the program.

use crate::qualification::{Qualification, Source, qualify};

/// Every file of the packs, by its path below the reference folder.
static FILES: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/shipped.rs"));

/// The files of cases.
#[must_use]
pub fn sources() -> Vec<Source<'static>> {
    FILES.iter().filter(|(name, _)| name.ends_with(".toml")).map(|&(name, text)| Source { name, text }).collect()
}

/// The file of numbers that a shipped case names.
#[must_use]
pub fn beside(case: &str, path: &str) -> Option<String> {
    let folder = case.rsplit_once('/').map_or("", |(folder, _)| folder);
    let wanted = format!("{folder}/{path}");
    FILES.iter().find(|(name, _)| *name == wanted).map(|(_, text)| (*text).to_owned())
}

/// Runs the shipped cases whose file begins with a path; all of them for an empty one.
#[must_use]
pub fn run(beginning: &str, progress: &(dyn Fn(usize, usize) + Sync)) -> Qualification {
    let sources: Vec<Source<'static>> =
        sources().into_iter().filter(|source| source.name.starts_with(beginning)).collect();
    qualify(&sources, &beside, progress)
}
