//! Checks against the literature: every case of `reference/calibration`, each publication in a file of its own.
//!
//! `darkline_qualification` reads the cases and asks this crate; every printed figure must come out within its tolerance,
//! every recomputed one to the digits it has. A case, kind or key that nothing claims fails.

#![allow(clippy::unwrap_used)] // The functions behind the tests are tests too, which the lint does not see.

mod almeida;
mod bader;
mod calcium_in_serum;
mod currie;
mod da_silva_machado;
mod deming;
mod din_32645;
mod din_38402;
mod epa_mdl;
mod epa_standard_addition;
mod eurachem_quam;
mod exact_hyperbola;
mod graybill_iyer;
mod greenwell_schubert_kabban;
mod iso_8466;
mod iso_ts_28037;
mod kirkup;
mod massart;
mod miller;
mod nist_anova;
mod nist_handbook;
mod nist_linear;
mod nist_nonlinear;
mod nist_univariate;
mod odrpack;
mod rocke_lorenzato;
mod unabsorbed_light;
mod vogelgesang_haedrich;
mod york;

mod rules;

use std::collections::BTreeSet;

use darkline_qualification::{Comparison, Outcome, Verdict, shipped};

/// The cases that the files of this folder hold, by publication.
const CLAIMED: &[&[&str]] = &[
    almeida::CASES,
    bader::CASES,
    calcium_in_serum::CASES,
    currie::CASES,
    da_silva_machado::CASES,
    deming::CASES,
    din_32645::CASES,
    din_38402::CASES,
    epa_mdl::CASES,
    epa_standard_addition::CASES,
    eurachem_quam::CASES,
    exact_hyperbola::CASES,
    graybill_iyer::CASES,
    greenwell_schubert_kabban::CASES,
    iso_8466::CASES,
    iso_ts_28037::CASES,
    kirkup::CASES,
    massart::CASES,
    miller::CASES,
    nist_anova::CASES,
    nist_handbook::CASES,
    nist_linear::CASES,
    nist_nonlinear::CASES,
    nist_univariate::CASES,
    odrpack::CASES,
    rocke_lorenzato::CASES,
    unabsorbed_light::CASES,
    vogelgesang_haedrich::CASES,
    york::CASES,
];

/// The folder of the pack.
fn folder() -> std::path::PathBuf {
    std::path::PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference/calibration")
}

/// Computes a case and holds it against its publication; tells how many digits agree with each figure.
fn hold(id: &str) -> Vec<Comparison> {
    let mut found = shipped::run(&format!("calibration/{id}.toml"), &|_, _| {});
    let counts = found.counts();
    let case = found.cases.pop().expect("the case ships");
    let Outcome::Compared(comparisons) = case.outcome else { panic!("{id}: {:?}", case.outcome) };
    for comparison in &comparisons {
        assert_eq!(comparison.verdict, Verdict::Agrees, "{id}: {comparison:?}");
    }
    assert!(counts.agree > 0, "{id}");
    comparisons
}

#[test]
fn every_case_of_the_pack_is_claimed_by_one_publication() {
    let mut claimed = BTreeSet::new();
    for id in CLAIMED.iter().copied().flatten() {
        assert!(claimed.insert((*id).to_owned()), "{id} is claimed twice");
    }
    let mut there = BTreeSet::new();
    for entry in std::fs::read_dir(folder()).expect("the pack is there") {
        let path = entry.expect("the pack can be read").path();
        let stem = path.file_stem().expect("a file has a name").to_string_lossy().into_owned();
        if path.extension().is_some_and(|extension| extension == "toml") && stem != "rules-calibration" {
            there.insert(stem);
        }
    }
    assert_eq!(claimed, there);
    assert_eq!(there.len(), 67);
}
