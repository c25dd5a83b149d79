//! The tidy checks: what holds for every file of the house, one check a file.
//!
//! A check looks at the files ([`House`]) or at the packages ([`Packages`]) and returns findings; none writes.

pub mod claimed_references;
pub mod drawers;
pub mod error_words;
pub mod floors;
pub mod heads;
pub mod licences;
pub mod links;
pub mod lock_file;
pub mod manifests;
pub mod map_of_crates;
pub mod naming;
pub mod outside_crates;
pub mod provenance;
pub mod pure_core;
pub mod readme;
pub mod rule_pages;
pub mod sources;
pub mod unfit_words;

use std::path::Path;

use crate::finding::Finding;
use crate::house::House;
use crate::packages::Packages;

type Check<Seen> = fn(&Seen) -> Vec<Finding>;

/// Checks of files by name.
const OF_FILES: &[(&str, Check<House>)] = &[
    ("heads", heads::check),
    ("sources", sources::check),
    ("pure core", pure_core::check),
    ("drawers", drawers::check),
    ("manifests", manifests::check),
    ("lock file", lock_file::check),
    ("provenance", provenance::check),
    ("claimed references", claimed_references::check),
    ("unfit words", unfit_words::check),
    ("error words", error_words::check),
    ("naming", naming::check),
    ("rule pages", rule_pages::check),
    ("map of crates", map_of_crates::check),
    ("readme", readme::check),
    ("links", links::check),
    ("clauses", crate::clause_page::check),
];

/// Checks of packages by name.
const OF_PACKAGES: &[(&str, Check<Packages>)] =
    &[("floors", floors::check), ("outside crates", outside_crates::check), ("licences", licences::check)];

/// What one check found.
pub struct Told {
    /// The check.
    pub check: &'static str,
    /// What it found; empty where all is in order.
    pub findings: Vec<Finding>,
}

/// Runs every check on files and packages.
pub fn all(house: &House, packages: &Packages) -> Vec<Told> {
    let of_packages = OF_PACKAGES.iter().map(|(name, check)| Told { check: name, findings: check(packages) });
    let of_files = OF_FILES.iter().map(|(name, check)| Told { check: name, findings: check(house) });
    of_packages.chain(of_files).collect()
}

/// Runs every check on a repository, prints one line a check and one a finding.
///
/// # Errors
/// Says how many findings there are, or why the checks could not run.
pub fn tell(root: &Path) -> Result<(), String> {
    let house = House::open(root).map_err(|fault| fault.to_string())?;
    let packages = Packages::ask(root)?;
    let told = all(&house, &packages);
    for Told { check, findings } in &told {
        match findings.len() {
            0 => println!("  in order  {check}"),
            n => println!("  {n:>8}  {check}"),
        }
        for finding in findings {
            println!("    {finding}");
        }
    }
    for line in floors::upward_for_tests(&packages) {
        println!("  allowed: {line}");
    }
    match told.iter().map(|told| told.findings.len()).sum::<usize>() {
        0 => Ok(()),
        1 => Err("1 finding".to_owned()),
        n => Err(format!("{n} findings")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The repository itself, with everything that is not ignored.
    #[test]
    fn the_house_is_tidy() {
        let root = crate::root().unwrap();
        let house = House::open(&root).unwrap();
        let packages = Packages::ask(&root).unwrap();
        let findings: Vec<String> = all(&house, &packages)
            .iter()
            .flat_map(|told| told.findings.iter().map(move |finding| format!("{}: {finding}", told.check)))
            .collect();
        assert!(findings.is_empty(), "{} findings\n{}", findings.len(), findings.join("\n"));
    }
}
