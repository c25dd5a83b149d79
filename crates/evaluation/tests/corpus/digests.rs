//! Same bits: pinned digests, one thread and many, readings in any order, and a change of 1e-12 in any stage is seen.

use std::collections::BTreeSet;
use std::error::Error;

use darkline_evaluation::calibrating::Calibrated;
use darkline_evaluation::combining::PortionResult;
use darkline_evaluation::live::Memory;
use darkline_evaluation::outcome::Reported;
use darkline_evaluation::outcome::ResultOutcome;
use darkline_evaluation::procedure::{EDITIONS, Procedure, SECOND_TRIAL, TRIAL};
use darkline_evaluation::quantifying::Solution;
use darkline_evaluation::responses::Measured;
use darkline_evaluation::{evaluate, evaluate_by};
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::Model;
use darkline_record::decision::Decision;
use darkline_record::identity::Edition;
use darkline_record::method::ResolvedMethod;
use darkline_record::package::DataPackage;
use darkline_record::run::Run;
use proptest::prelude::*;

use crate::{Held, held, pinned, root};

#[test]
fn every_held_package_gives_its_pinned_digest() -> Result<(), Box<dyn Error>> {
    let pinned = pinned()?;
    let files: BTreeSet<String> = std::fs::read_dir(root().join("corpus"))?
        .flatten()
        .filter_map(|entry| Some(entry.file_name().to_str()?.strip_suffix(".json")?.to_owned()))
        .collect();
    assert_eq!(files, pinned.iter().map(|pinned| pinned.name.clone()).collect());
    for pinned in pinned {
        let Held { package, decisions } = held(&pinned.name)?;
        assert_eq!(package.edition, Edition(pinned.edition), "{}", pinned.name);
        assert_eq!(package.digest().to_string(), pinned.package, "{}", pinned.name);
        assert_eq!(evaluate(&package, &decisions)?.digest().to_string(), pinned.outcome, "{}", pinned.name);
    }
    Ok(())
}

#[test]
fn one_thread_and_two_give_the_same_bits() -> Result<(), Box<dyn Error>> {
    for pinned in pinned()? {
        let Held { package, decisions } = held(&pinned.name)?;
        for threads in [1, 2, 5] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
            let outcome = pool.install(|| evaluate(&package, &decisions))?;
            assert_eq!(outcome.digest().to_string(), pinned.outcome, "{} on {threads} threads", pinned.name);
        }
    }
    Ok(())
}

#[test]
fn an_unknown_edition_is_told_with_those_there_are() -> Result<(), Box<dyn Error>> {
    let Held { mut package, decisions } = held("cadmium-release")?;
    package.edition = Edition(7);
    let told = evaluate(&package, &decisions).unwrap_err().to_string();
    assert_eq!(
        told,
        "this package was evaluated with edition 7; this program has the editions 0, 900: a program that has it is needed"
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]
    #[test]
    fn readings_may_arrive_in_any_order(shuffle in any::<u64>()) {
        for name in ["cadmium-release", "millrace-lead", "copper-water", "cadmium-cocoa"] {
            let Held { mut package, decisions } = held(name).unwrap();
            let wanted = evaluate(&package, &decisions).unwrap();
            for run in &mut package.runs {
                // A shuffle by sorting on a hash of number and seed.
                run.readings.sort_by_key(|reading| (u64::from(reading.number) ^ shuffle).wrapping_mul(0x9E37_79B9_7F4A_7C15));
            }
            let mut found = evaluate(&package, &decisions).unwrap();
            // The package says in which order they came, and its digest with it; the figures do not.
            found.package = wanted.package;
            prop_assert_eq!(found.digest(), wanted.digest());
        }
    }
}

const SMALL: f64 = 1.0 + 1e-12;

fn respond(
    procedure: &Procedure,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    decisions: &[Decision],
    memory: &Memory,
) -> Vec<Measured> {
    moved((TRIAL.respond)(procedure, package, run, method, decisions, memory))
}

fn moved(mut measured: Vec<Measured>) -> Vec<Measured> {
    for responded in measured.iter_mut().filter_map(|measured| measured.response.as_mut().ok()) {
        responded.response *= SMALL;
    }
    measured
}

fn calibrate<'m>(
    model: &'m Model,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    decisions: &[Decision],
) -> Calibrated<'m> {
    (TRIAL.calibrate)(model, run, method, &moved(measured.to_vec()), decisions)
}

fn quantify<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    calibrated: &Calibrated<'m>,
) -> Vec<Solution<'m>> {
    (TRIAL.quantify)(model, package, run, method, &moved(measured.to_vec()), calibrated)
}

fn combine<'m>(
    model: &'m Model,
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    solutions: &[Solution<'m>],
) -> Vec<PortionResult<'m>> {
    let factor = model.exact(Factor::from_si(SMALL));
    let mut solutions = solutions.to_vec();
    for solution in &mut solutions {
        solution.amount = solution.amount.map(|amount| amount * factor);
    }
    (TRIAL.combine)(model, package, run, method, &solutions)
}

fn state(
    model: &Model,
    requested: &darkline_record::order::Requested,
    sample: &darkline_record::identity::SampleId,
    method: &ResolvedMethod,
    worked: &darkline_evaluation::stating::SampleWorked<'_>,
    flags: &[darkline_evaluation::outcome::FlagOutcome],
    controls_passed: bool,
) -> ResultOutcome {
    let mut result = (TRIAL.state)(model, requested, sample, method, worked, flags, controls_passed);
    if let darkline_evaluation::outcome::Reported::Value { result } = &mut result.reported {
        result.expanded_u *= SMALL;
    }
    result
}

#[test]
fn a_change_of_one_in_a_million_million_in_any_stage_is_seen() -> Result<(), Box<dyn Error>> {
    let procedures = [
        ("respond", Procedure { respond, ..TRIAL }),
        ("calibrate", Procedure { calibrate, ..TRIAL }),
        ("quantify", Procedure { quantify, ..TRIAL }),
        ("combine", Procedure { combine, ..TRIAL }),
        ("state", Procedure { state, ..TRIAL }),
    ];
    for pinned in pinned()? {
        let Held { package, decisions } = held(&pinned.name)?;
        assert_eq!(evaluate_by(&TRIAL, &package, &decisions).digest().to_string(), pinned.outcome);
        let second = evaluate_by(&SECOND_TRIAL, &package, &decisions).digest();
        for (stage, procedure) in &procedures {
            let digest = evaluate_by(procedure, &package, &decisions).digest().to_string();
            assert_ne!(digest, pinned.outcome, "{stage} of {}", pinned.name);
            if *stage != "state" {
                // The stages that the second trial edition shares are seen through its own last one too.
                let procedure = Procedure { edition: SECOND_TRIAL.edition, state: SECOND_TRIAL.state, ..*procedure };
                assert_ne!(
                    evaluate_by(&procedure, &package, &decisions).digest(),
                    second,
                    "{stage} of {}",
                    pinned.name
                );
            }
        }
    }
    Ok(())
}

/// The machinery of editions: two run side by side, and a package keeps the digits of the one it names.
#[test]
fn a_second_edition_changes_one_stage_and_moves_no_digit_of_the_first() -> Result<(), Box<dyn Error>> {
    assert_eq!(EDITIONS.iter().map(|procedure| procedure.edition).collect::<Vec<_>>(), [Edition(0), Edition(900)]);
    let mut n_grown = 0;
    for pinned in pinned()? {
        let Held { package, decisions } = held(&pinned.name)?;
        let first = evaluate(&package, &decisions)?;
        assert_eq!(first.digest().to_string(), pinned.outcome);
        let second = evaluate(&DataPackage { edition: SECOND_TRIAL.edition, ..package.clone() }, &decisions)?;
        assert_eq!((second.edition, &second.runs, &second.flags), (Edition(900), &first.runs, &first.flags));
        assert_ne!(second.digest(), first.digest());
        for (then, now) in first.results.iter().zip(&second.results) {
            let (Reported::Value { result: then }, Reported::Value { result: now }) = (&then.reported, &now.reported)
            else {
                continue;
            };
            assert_eq!((now.value, now.u, now.dof), (then.value, then.u, then.dof));
            assert_eq!(now.expanded_u, now.coverage_factor * now.u);
            // Student's law is wider than the normal one, the more so the fewer degrees of freedom there are.
            assert!(
                now.coverage_factor >= then.coverage_factor - 1e-9,
                "{} {}",
                now.coverage_factor,
                then.coverage_factor
            );
            n_grown += usize::from(now.coverage_factor > then.coverage_factor + 1e-3);
        }
        assert_eq!(evaluate(&package, &decisions)?.digest().to_string(), pinned.outcome);
    }
    assert!(n_grown > 0);
    Ok(())
}
