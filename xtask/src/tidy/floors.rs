//! Floors: a crate imports from floors below its own, never from its own floor or above.
//!
//! The numbers are those of ARCHITECTURE.md. Dependencies for tests are exempt: a test may look down from above.

use crate::finding::Finding;
use crate::packages::{Need, Package, Packages};

/// The floor of each crate by its folder. A crate that is planned but not built yet may stand here.
pub const FLOORS: &[(&str, u8)] = &[
    ("metrology", 0),
    ("record", 1),
    ("signal", 1),
    ("calibration", 1),
    ("handbook", 1),
    ("quality", 2),
    ("preparation", 2),
    ("evaluation", 3),
    ("planning", 4),
    ("simulator", 4),
    ("exchange", 4),
    ("audit_trail", 4),
    ("laboratory", 5),
    ("report", 5),
    ("qualification", 5),
    ("web", 6),
    ("cli", 7),
];

/// The highest floor that must give the same bits everywhere: no clock, no files, few outside crates.
pub const HIGHEST_PURE_FLOOR: u8 = 3;

/// The floor of a crate by its folder.
pub fn floor_of(folder: &str) -> Option<u8> {
    FLOORS.iter().find(|(name, _)| *name == folder).map(|(_, floor)| *floor)
}

/// Tells each import that does not go down.
pub fn check(packages: &Packages) -> Vec<Finding> {
    let mut findings = Vec::new();
    for package in crates(packages) {
        let Some(floor) = floor_of(&package.folder) else {
            findings.push(Finding::at(
                format!("crates/{}", package.folder),
                "has no floor; give it one in xtask/src/tidy/floors.rs and in ARCHITECTURE.md",
            ));
            continue;
        };
        for dependency in package.dependencies.iter().filter(|dependency| dependency.need != Need::Test) {
            let Some(below) = crates(packages).find(|other| other.name == dependency.name) else {
                continue;
            };
            if let Some(its_floor) = floor_of(&below.folder)
                && its_floor >= floor
            {
                findings.push(Finding::at(
                    format!("crates/{}/Cargo.toml", package.folder),
                    format!(
                        "stands on floor {floor} and imports {} of floor {its_floor}; imports go down only",
                        below.folder
                    ),
                ));
            }
        }
    }
    findings
}

/// Imports for tests that would not be allowed otherwise: no findings, told by `cargo xtask tidy`.
pub fn upward_for_tests(packages: &Packages) -> Vec<String> {
    let mut told = Vec::new();
    for package in crates(packages) {
        for dependency in package.dependencies.iter().filter(|dependency| dependency.need == Need::Test) {
            let Some(other) = crates(packages).find(|other| other.name == dependency.name) else {
                continue;
            };
            if floor_of(&other.folder) >= floor_of(&package.folder) {
                told.push(format!("the tests of {} use {}", package.folder, other.folder));
            }
        }
    }
    told
}

/// The crates of the product: ours without `xtask`.
pub fn crates(packages: &Packages) -> impl Iterator<Item = &Package> {
    packages.ours().filter(|package| package.name != "xtask")
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::packages::Dependency;

    /// One of ours with what it needs: (name, version wanted, need).
    pub fn package(folder: &str, needs: &[(&str, &str, Need)]) -> Package {
        Package {
            name: format!("darkline-{}", folder.replace('_', "-")),
            folder: folder.to_owned(),
            licence: Some("MIT".to_owned()),
            ours: true,
            shipped: true,
            dependencies: needs
                .iter()
                .map(|(name, wanted, need)| Dependency {
                    name: (*name).to_owned(),
                    wanted: (*wanted).to_owned(),
                    need: *need,
                })
                .collect(),
            ..Package::default()
        }
    }

    fn house(needs_of_record: &[(&str, &str, Need)]) -> Packages {
        Packages(vec![
            package("metrology", &[]),
            package("record", needs_of_record),
            package("signal", &[]),
            package("audit_trail", &[]),
        ])
    }

    #[test]
    fn an_import_from_below_is_in_order() {
        assert_eq!(check(&house(&[("darkline-metrology", "*", Need::Run)])), []);
    }

    #[test]
    fn an_import_from_the_same_floor_or_above_is_told() {
        let findings =
            check(&house(&[("darkline-signal", "*", Need::Run), ("darkline-audit-trail", "*", Need::Build)]));
        let said: Vec<String> = findings.iter().map(Finding::to_string).collect();
        assert_eq!(
            said,
            [
                "crates/record/Cargo.toml: stands on floor 1 and imports signal of floor 1; imports go down only",
                "crates/record/Cargo.toml: stands on floor 1 and imports audit_trail of floor 4; imports go down only",
            ]
        );
    }

    #[test]
    fn tests_may_look_down_from_above_and_are_listed() {
        let house = house(&[("darkline-audit-trail", "*", Need::Test)]);
        assert_eq!(check(&house), []);
        assert_eq!(upward_for_tests(&house), ["the tests of record use audit_trail"]);
    }

    #[test]
    fn a_crate_without_a_floor_is_told() {
        let findings = check(&Packages(vec![package("cellar", &[])]));
        assert!(findings[0].to_string().starts_with("crates/cellar: has no floor"));
    }
}
