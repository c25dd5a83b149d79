//! Outside crates: which of them the pure floors may use, and how the ones that touch digits are taken.
//!
//! Floors 0 to 3 give the same bits on every machine; each outside crate there is one more that must keep that
//! promise. `libm` is pinned to one version, because another one may round its last bit otherwise. Two features of
//! `serde_json` change what other packages of the build read and write, so that no package may switch them on.

use super::floors::{HIGHEST_PURE_FLOOR, crates, floor_of};
use crate::finding::Finding;
use crate::packages::{Need, Packages};

/// What every pure floor may use.
const PURE: &[&str] = &["jiff", "libm", "rand_chacha", "rayon", "serde", "sha2", "thiserror"];

/// What one crate may use besides, by its folder.
const BESIDES: &[(&str, &[&str])] = &[("handbook", &["toml"]), ("record", &["serde_json", "serde_json_canonicalizer"])];

/// Features that may not be on anywhere in the build: (package, feature, why).
const FEATURES_KEPT_OUT: &[(&str, &str, &str)] = &[
    ("serde_json", "preserve_order", "maps would keep the order of insertion instead of being sorted"),
    ("serde_json", "arbitrary_precision", "numbers would be read as texts"),
];

/// Tells outside crates on pure floors, a `libm` that is not pinned, and features that are kept out.
pub fn check(packages: &Packages) -> Vec<Finding> {
    let mut findings = Vec::new();
    for package in crates(packages) {
        let manifest = format!("crates/{}/Cargo.toml", package.folder);
        let is_pure = floor_of(&package.folder).is_some_and(|floor| floor <= HIGHEST_PURE_FLOOR);
        let besides = BESIDES.iter().find(|(folder, _)| *folder == package.folder).map_or(&[][..], |(_, names)| names);
        for dependency in &package.dependencies {
            let name = dependency.name.as_str();
            let is_ours = packages.ours().any(|other| other.name == name);
            let is_allowed = is_ours || PURE.contains(&name) || besides.contains(&name);
            if is_pure && dependency.need != Need::Test && !is_allowed {
                findings.push(Finding::at(
                    &manifest,
                    format!(
                        "uses {name}; floors 0 to {HIGHEST_PURE_FLOOR} may use {} only. Do it by hand, or one floor up",
                        PURE.join(", ")
                    ),
                ));
            }
            if name == "libm" && !dependency.wanted.starts_with('=') {
                findings.push(Finding::at(
                    &manifest,
                    format!(
                        "wants libm {}; pin it with \"=\", since another version may differ in the last bit",
                        dependency.wanted
                    ),
                ));
            }
        }
    }
    for package in &packages.0 {
        for (name, feature, why) in FEATURES_KEPT_OUT {
            if package.name == *name && package.features.iter().any(|on| on == feature) {
                findings.push(Finding::at(
                    "Cargo.toml",
                    format!("{name} is built with \"{feature}\": {why}; `cargo tree -e features -i {name}` says who wants it"),
                ));
            }
        }
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::super::floors::tests::package;
    use super::*;
    use crate::packages::Package;

    #[test]
    fn the_allowed_crates_are_in_order_and_any_other_is_told() {
        let packages = Packages(vec![
            package("signal", &[("rayon", "^1", Need::Run), ("proptest", "^1", Need::Test), ("csv", "^1", Need::Run)]),
            package("exchange", &[("csv", "^1", Need::Run)]),
        ]);
        let findings = check(&packages);
        assert_eq!(findings.len(), 1);
        assert!(
            findings[0].to_string().starts_with("crates/signal/Cargo.toml: uses csv; floors 0 to 3 may use jiff, ")
        );
    }

    #[test]
    fn what_one_crate_may_use_besides_is_not_for_its_neighbours() {
        let needs = [("serde_json", "^1", Need::Run)];
        assert_eq!(check(&Packages(vec![package("record", &needs)])), []);
        assert_eq!(check(&Packages(vec![package("calibration", &needs)])).len(), 1);
    }

    #[test]
    fn a_libm_that_may_move_is_told_on_every_floor() {
        let moving = Packages(vec![package("report", &[("libm", "^0.2", Need::Run)])]);
        assert!(check(&moving)[0].to_string().contains("pin it with \"=\""));
        assert_eq!(check(&Packages(vec![package("report", &[("libm", "=0.2.16", Need::Run)])])), []);
    }

    #[test]
    fn a_feature_that_is_kept_out_is_told_whoever_wants_it() {
        let built_with = |feature: &str| {
            let package = Package { name: "serde_json".into(), features: vec![feature.into()], ..Package::default() };
            check(&Packages(vec![package])).len()
        };
        assert_eq!(built_with("preserve_order"), 1);
        assert_eq!(built_with("arbitrary_precision"), 1);
        assert_eq!(built_with("float_roundtrip"), 0);
    }
}
