//! A run that is still going: after every act `Live` says what `evaluate` says, bit for bit.

use std::error::Error;

use darkline_evaluation::live::{Act, Live};
use darkline_evaluation::{evaluate, outcome::Outcome};
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use darkline_record::run::{Reading, Signal};
use proptest::prelude::*;

use crate::{Held, held};

/// The package without legs beyond the first, readings and pulses, and the acts that lead to the whole.
fn acts(name: &str) -> Result<(DataPackage, Vec<Act>), Box<dyn Error>> {
    let Held { mut package, decisions } = held(name)?;
    let run = package.runs[0].clone();
    let pulses = std::mem::take(&mut package.pulses);
    package.runs[0].legs.truncate(1);
    package.runs[0].readings.clear();
    let first: Vec<u32> = package.runs[0].rows().map(|row| row.number).collect();
    let read = |reading: &Reading| Act::Read {
        run: run.id.clone(),
        reading: reading.clone(),
        pulse: match &reading.signal {
            Signal::Pulse(digest) => pulses.get(digest).cloned(),
            _ => None,
        },
    };
    let of_first = |reading: &&Reading| first.contains(&reading.row);
    let mut acts: Vec<Act> = run.readings.iter().filter(of_first).map(read).collect();
    acts.extend(decisions.iter().cloned().map(Act::Decide));
    acts.extend(run.legs.iter().skip(1).map(|leg| Act::AddLeg { run: run.id.clone(), leg: leg.clone() }));
    acts.extend(run.readings.iter().filter(|reading| !of_first(reading)).map(read));
    Ok((package, acts))
}

/// What a stranger makes of the package and decisions as they stand.
fn afterwards(live: &Live) -> Outcome {
    evaluate(live.package(), live.decisions()).unwrap()
}

#[test]
fn after_every_act_of_a_whole_run_live_says_what_evaluate_says() -> Result<(), Box<dyn Error>> {
    for name in ["cadmium-release", "millrace-lead", "copper-water", "cadmium-cocoa"] {
        let (package, acts) = acts(name)?;
        let mut live = Live::new(package, Vec::new())?;
        assert_eq!(live.outcome(), afterwards(&live));
        let count = acts.len();
        for (place, act) in acts.into_iter().enumerate() {
            let outcome = live.apply(act)?;
            // Every act of the short run, every fifth of the long one, and its last twenty.
            if count < 50 || place % 5 == 0 || place + 20 > count {
                assert_eq!(outcome, afterwards(&live), "{name}, act {place}");
            }
        }
        let Held { package, decisions } = held(name)?;
        assert_eq!(live.outcome(), evaluate(&package, &decisions)?, "{name}");
    }
    Ok(())
}

#[test]
fn an_act_about_another_run_changes_nothing() -> Result<(), Box<dyn Error>> {
    let (package, _) = acts("cadmium-release")?;
    let leg = package.runs[0].legs[0].clone();
    let mut live = Live::new(package, Vec::new())?;
    let before = live.outcome();
    let told = live.apply(Act::AddLeg { run: "R9".parse()?, leg }).unwrap_err().to_string();
    assert_eq!(told, "the package holds no run R9");
    assert_eq!(live.outcome(), before);
    Ok(())
}

#[test]
fn a_flag_that_a_later_row_overturns_says_which_and_is_gone_after_it() -> Result<(), Box<dyn Error>> {
    use darkline_quality::flag::Settled;
    let (package, acts) = acts("millrace-lead")?;
    let mut live = Live::new(package, Vec::new())?;
    let mut waiting: Vec<(String, u32)> = Vec::new();
    let mut overturned = 0;
    for act in acts {
        let outcome = live.apply(act)?;
        let open: Vec<String> = outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect();
        for flag in &outcome.flags {
            if let Settled::Until(row) = &flag.flag.settled {
                let id = flag.flag.id.to_string();
                if !waiting.iter().any(|(known, _)| *known == id) {
                    waiting.push((id, row.number));
                }
            }
        }
        let is_read = |number: u32| {
            let run = &live.package().runs[0];
            let wanted = run.row(number).map_or(0, |row| usize::from(row.replicates));
            run.readings.iter().filter(|reading| reading.row == number).count() >= wanted
        };
        waiting.retain(|(id, row)| {
            let is_over = is_read(*row);
            if is_over {
                assert!(!open.contains(id), "{id} stands although row {row} has been read");
                overturned += 1;
            }
            !is_over
        });
    }
    assert!(overturned >= 1, "the rejected replicate of S03 is missing until its row is read");
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]
    #[test]
    fn acts_in_any_order_give_what_evaluate_gives(shuffle in any::<u64>(), stop in 1usize..18) {
        let (package, acts) = acts("cadmium-release").unwrap();
        let mut numbered: Vec<(u64, Act)> = acts
            .into_iter()
            .enumerate()
            .map(|(place, act)| ((place as u64 ^ shuffle).wrapping_mul(0x9E37_79B9_7F4A_7C15), act))
            .collect();
        numbered.sort_by_key(|(key, _)| *key);
        let mut live = Live::new(package, Vec::new()).unwrap();
        for (_, act) in numbered.into_iter().take(stop) {
            let rejects = match &act {
                Act::Read { run, reading, .. } if reading.number % 3 == 0 => Some(Decision::Reject {
                    reading: darkline_record::identity::ReadingId { run: run.clone(), number: reading.number },
                    reason: darkline_record::decision::Reason::new("drop beside the tube").unwrap(),
                }),
                _ => None,
            };
            live.apply(act).unwrap();
            if let Some(decision) = rejects {
                live.apply(Act::Decide(decision)).unwrap();
            }
            prop_assert_eq!(live.outcome(), afterwards(&live));
        }
    }
}
