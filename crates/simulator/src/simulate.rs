//! Firing the rows of a run, one after the other.
//!
//! [`simulate`] is the door; [`simulate_on`] and [`simulate_in_flame`] take a bench whose constants were changed.
//!
//! Invariant: a pulse depends on the seed, the run, the row, the replicate and the attempt, on what the documents and the
//! truth say about that row, and on how many firings the rows before it take; not on which other rows are asked for, nor
//! on any row that comes later.

use core::f64::consts::PI;
use std::collections::{BTreeMap, BTreeSet};

use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_metrology::kind::{Mass, Response};
use darkline_record::decision::Reason;
use darkline_record::figure::Written;
use darkline_record::identity::RunId;
use darkline_record::method::{ResolvedMethod, ResponseKind};
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::{Reading, Row, Run, Signal};
use darkline_record::time::Timestamp;
use jiff::SignedDuration;
use jiff::civil::DateTime;

use crate::cup::{Bench, Cup};
use crate::disturbance::{Plan, REMEMBERED, Standing, Takes, is_flame, nth_power};
use crate::draws::Draws;
use crate::flame::Flame;
use crate::simulator_fault::SimulatorFault;
use crate::spectrometer::{Firing, Spectrometer};
use crate::truth::Truth;

/// From one firing to the next, in s: 2.2 min with drying, pyrolysis, clean-out and cooling (common practice, no source).
pub const SECONDS_A_FIRING: i64 = 132;

/// From one reading in a flame to the next, in s: delay, reading and rinsing (common practice, no source).
pub const SECONDS_A_FLAME_READING: i64 = 20;

/// One reading of the virtual spectrometer, with what it should have been.
#[derive(Clone, Debug, PartialEq)]
pub struct SimulatedReading {
    /// The row it was measured at.
    pub row: u32,
    /// Which replicate of the row, from 1.
    pub replicate: u8,
    /// Which attempt at this replicate, from 1.
    pub attempt: u8,
    /// When.
    pub at: Timestamp,
    /// The mass noted of a portion that was weighed into the tube; `None` for solutions.
    pub mass: Option<Written<Mass>>,
    /// What came.
    pub came: SimulatedSignal,
    /// Response that the solution of the row gives without noise, drift, fault or error of injection: integrated absorbance
    /// in s, in a flame an absorbance.
    pub true_response: f64,
    /// What the cup of the row holds.
    pub true_concentration: MassConcentration,
}

/// What a reading of the virtual spectrometer brought.
#[derive(Clone, Debug, PartialEq)]
pub enum SimulatedSignal {
    /// A trace: the pulse of a furnace, the steady signal of a flame.
    Pulse(Pulse),
    /// A mean absorbance, where the method names no part of a trace.
    Bare(f64),
    /// Nothing, and why.
    Failed(&'static str),
}

impl SimulatedReading {
    /// Its trace, where it has one.
    pub fn pulse(&self) -> Option<&Pulse> {
        match &self.came {
            SimulatedSignal::Pulse(pulse) => Some(pulse),
            SimulatedSignal::Bare(_) | SimulatedSignal::Failed(_) => None,
        }
    }

    /// The reading as a run records it; its pulse goes beside it, by its digest.
    ///
    /// # Arguments
    /// * `number`: its number in the run.
    pub fn reading(&self, number: u32) -> Reading {
        Reading {
            number,
            row: self.row,
            replicate: self.replicate,
            attempt: self.attempt,
            at: self.at.clone(),
            mass: self.mass.clone(),
            printed: None,
            signal: match &self.came {
                SimulatedSignal::Pulse(pulse) => Signal::Pulse(pulse.digest()),
                SimulatedSignal::Bare(absorbance) => Signal::Bare(printed(*absorbance)),
                SimulatedSignal::Failed(why) => {
                    Signal::Failed { why: Reason::new(why).expect("the reasons here are short and not empty") }
                }
            },
        }
    }
}

/// An absorbance as an instrument prints it: five decimals.
pub fn printed(absorbance: f64) -> Written<Response> {
    format!("{absorbance:.5}").parse().expect("a finite number with five decimals is a figure")
}

/// Fires rows of a run on the bench the truth speaks of.
///
/// # Arguments
/// * `package`: holds the run, its method, and the portions of its rows. Readings it already holds are not touched; a
///   replicate measured before is a further attempt.
/// * `run`: the run.
/// * `rows`: numbers of the rows to fire, of any leg. They are fired in the order of the run, each once, whatever their
///   order here.
/// * `truth`: what is really in the vessels.
/// * `seed`: another seed gives another day: other noise, other errors of stock, flask, weighing and dilution.
/// * `started`: when the first of these firings starts, RFC 3339 with an offset.
///
/// # Errors
/// [`SimulatorFault`]: what is missing, by name, or what cannot be.
///
/// # Example
/// ```
/// use darkline_record::package::DataPackage;
/// use darkline_simulator::{SimulatedReading, SimulatorFault, Truth, simulate};
/// fn whole_run(package: &DataPackage, truth: &Truth) -> Result<Vec<SimulatedReading>, SimulatorFault> {
///     let run = &package.runs[0];
///     let rows: Vec<u32> = run.rows().map(|row| row.number).collect();
///     simulate(package, &run.id, &rows, truth, truth.seed, "2026-03-05T08:30:00+01:00")
/// }
/// ```
pub fn simulate(
    package: &DataPackage,
    run: &RunId,
    rows: &[u32],
    truth: &Truth,
    seed: u64,
    started: &str,
) -> Result<Vec<SimulatedReading>, SimulatorFault> {
    truth.check()?;
    let found = package.runs.iter().find(|candidate| candidate.id == *run);
    let method = found.and_then(|run| package.method(&run.method));
    let bench = match method {
        Some(method) if is_flame(method) => AnyBench::Flame(Flame::of(truth, method)?),
        Some(method) => AnyBench::Furnace(Spectrometer::of_method(truth, method)?),
        // What is missing is told below.
        None => AnyBench::Furnace(Spectrometer::of(truth)),
    };
    simulate_at(&bench, package, run, rows, truth, seed, started)
}

/// Fires rows of a run on a bench of one's own.
///
/// # Arguments
/// * `bench`: the spectrometer; the others as in [`simulate`].
///
/// # Errors
/// As [`simulate`], and [`SimulatorFault::Bench`].
pub fn simulate_on(
    bench: &Spectrometer,
    package: &DataPackage,
    run: &RunId,
    rows: &[u32],
    truth: &Truth,
    seed: u64,
    started: &str,
) -> Result<Vec<SimulatedReading>, SimulatorFault> {
    simulate_at(&AnyBench::Furnace(*bench), package, run, rows, truth, seed, started)
}

/// Reads rows of a run in a flame of one's own.
///
/// # Arguments
/// * `flame`: the flame; the others as in [`simulate`].
///
/// # Errors
/// As [`simulate`], and [`SimulatorFault::Bench`].
pub fn simulate_in_flame(
    flame: &Flame,
    package: &DataPackage,
    run: &RunId,
    rows: &[u32],
    truth: &Truth,
    seed: u64,
    started: &str,
) -> Result<Vec<SimulatedReading>, SimulatorFault> {
    simulate_at(&AnyBench::Flame(*flame), package, run, rows, truth, seed, started)
}

/// One of the two benches.
enum AnyBench {
    Furnace(Spectrometer),
    Flame(Flame),
}

fn simulate_at(
    bench: &AnyBench,
    package: &DataPackage,
    run: &RunId,
    rows: &[u32],
    truth: &Truth,
    seed: u64,
    started: &str,
) -> Result<Vec<SimulatedReading>, SimulatorFault> {
    truth.check()?;
    match bench {
        AnyBench::Furnace(bench) => bench.check()?,
        AnyBench::Flame(flame) => flame.check()?,
    }
    let started: Timestamp = started.parse()?;
    let found = package.runs.iter().find(|candidate| candidate.id == *run);
    let run = found.ok_or_else(|| SimulatorFault::NoRun { run: run.clone() })?;
    let method = package.method(&run.method);
    let method = method.ok_or_else(|| SimulatorFault::NoMethod { run: run.id.clone(), method: run.method.clone() })?;
    if method.element != truth.element {
        return Err(SimulatorFault::OtherElement {
            method: method.id.clone(),
            wanted: method.element.clone(),
            found: truth.element.clone(),
        });
    }
    let plan = Plan::of(truth, package, run, method)?;
    let cups = Bench { package, run, method, truth, plan: &plan, seed };
    let swing_cause = format!("{}/swing", run.id);
    let swing_phase = 2.0 * PI * Draws::of_cause(seed, &swing_cause).uniform();
    let mut attempts = attempts(run);
    let before = order_of_readings(run);
    let memory = truth.spectrometer.memory.as_ref().map_or(0.0, |part| part.value().si());
    let of_row = |number: u32| match run.row(number) {
        Some(row) => cups.cup(row),
        None => Ok(Cup::diluent()),
    };

    let mut readings = Vec::new();
    for (row, earlier_in_run) in asked(run, rows)? {
        let cup = cups.cup(row)?;
        for replicate in 1..=row.replicates {
            let last = attempts.entry((row.number, replicate)).or_insert(0);
            let attempt = last.checked_add(1).ok_or(SimulatorFault::Attempts { row: row.number, replicate })?;
            *last = attempt;
            let earlier = earlier_in_run + u64::from(replicate) - 1;
            let disturbance = plan.at(row, Standing { replicate, attempt, earlier });
            let weighed = cups.weighed(row, replicate, attempt, &disturbance)?;
            let (portion, mass) = weighed.map_or((cup, None), |(portion, mass)| (portion, Some(mass)));
            let mut taken = match disturbance.takes {
                Takes::Own => portion,
                Takes::Nothing => Cup::diluent(),
                Takes::Row(other) => of_row(other)?,
            };
            let mut carried = 0.0;
            for &(other, part) in &disturbance.carried {
                carried += part * of_row(other)?.seen.si();
            }
            if memory > 0.0 {
                for behind in 1..=REMEMBERED.min(earlier) {
                    let other = usize::try_from(earlier - behind).ok().and_then(|place| before.get(place));
                    let Some(&other) = other else { continue };
                    carried += nth_power(memory, behind) * of_row(other)?.seen.si();
                }
            }
            if carried > 0.0 {
                taken.seen = MassConcentration::from_si(taken.seen.si() + carried);
            }
            let firing = Firing { earlier, swing_phase, disturbance: &disturbance };
            let mut draws = Draws::of_firing(seed, &run.id, row.number, replicate, attempt);
            let (pulse, true_response, seconds) = match bench {
                AnyBench::Furnace(bench) => {
                    (bench.fire(&taken, firing, &mut draws), bench.expected_area(cup.amount).si(), SECONDS_A_FIRING)
                }
                AnyBench::Flame(flame) => {
                    let expected = flame.expected_absorbance(cup.amount);
                    (flame.read(&taken, firing, &mut draws), expected, SECONDS_A_FLAME_READING)
                }
            };
            readings.push(SimulatedReading {
                row: row.number,
                replicate,
                attempt,
                at: moment(&started, readings.len(), seconds, &mut draws)?,
                mass,
                came: came(pulse, method, disturbance.lost),
                true_response,
                true_concentration: cup.amount,
            });
        }
    }
    Ok(readings)
}

/// What the method makes of a trace: the trace itself, or its mean.
fn came(pulse: Pulse, method: &ResolvedMethod, is_lost: bool) -> SimulatedSignal {
    if is_lost {
        SimulatedSignal::Failed("the instrument gave no reading")
    } else if method.response.kind == ResponseKind::Absorbance && method.response.window.is_none() {
        let net =
            pulse.total().iter().zip(pulse.background()).map(|(total, back)| f64::from(*total) - f64::from(*back));
        let (sum, n) = net.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
        if n > 0.0 { SimulatedSignal::Bare(sum / n) } else { SimulatedSignal::Failed("the instrument gave no reading") }
    } else {
        SimulatedSignal::Pulse(pulse)
    }
}

/// The row of each reading that the run order plans, one after the other.
fn order_of_readings(run: &Run) -> Vec<u32> {
    run.rows().flat_map(|row| (0..row.replicates).map(|_| row.number)).collect()
}

/// The rows asked for in the order of the run, each with the number of firings that come before it.
fn asked<'a>(run: &'a Run, rows: &[u32]) -> Result<Vec<(&'a Row, u64)>, SimulatorFault> {
    let mut missing: BTreeSet<u32> = rows.iter().copied().collect();
    let mut asked = Vec::new();
    let mut earlier = 0;
    for row in run.rows() {
        if missing.remove(&row.number) {
            asked.push((row, earlier));
        }
        earlier += u64::from(row.replicates);
    }
    match missing.first() {
        Some(&row) => Err(SimulatorFault::NoRow { run: run.id.clone(), row }),
        None => Ok(asked),
    }
}

/// How often each replicate was attempted so far.
fn attempts(run: &Run) -> BTreeMap<(u32, u8), u8> {
    let mut attempts = BTreeMap::new();
    for reading in &run.readings {
        let last = attempts.entry((reading.row, reading.replicate)).or_insert(0);
        *last = reading.attempt.max(*last);
    }
    attempts
}

/// When a firing ends up in the record: the sampler is not as punctual as the clock.
fn moment(started: &Timestamp, place: usize, seconds: i64, draws: &mut Draws) -> Result<Timestamp, SimulatorFault> {
    let beyond = || SimulatorFault::Calendar { started: started.to_string() };
    let late_s = (seconds as f64 / 11.0 * draws.uniform()).floor() as i64;
    let place = i64::try_from(place).map_err(|_| beyond())?;
    let after_s = place.checked_mul(seconds).ok_or_else(beyond)? + late_s;
    // The day and time as written, moved on; the offset stays as it was written.
    let text = started.as_str();
    let civil: DateTime = text[..19].parse().map_err(|_| beyond())?;
    let later = civil.checked_add(SignedDuration::from_secs(after_s)).map_err(|_| beyond())?;
    let offset = if text.ends_with(['Z', 'z']) { "Z" } else { &text[text.len() - 6..] };
    format!("{}{offset}", later.strftime("%Y-%m-%dT%H:%M:%S")).parse().map_err(|_| beyond())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;
    use darkline_record::canonical::Digest;
    use darkline_record::method::Technique;
    use proptest::prelude::*;

    const STARTED: &str = "2026-03-05T08:30:00+01:00";
    const ALL: [u32; 9] = [1, 2, 3, 4, 5, 6, 7, 8, 9];

    fn fire(package: &DataPackage, rows: &[u32], seed: u64) -> Vec<SimulatedReading> {
        let truth = small_run::truth();
        simulate(package, &package.runs[0].id, rows, &truth, seed, STARTED).unwrap()
    }

    fn pulse(reading: &SimulatedReading) -> &Pulse {
        reading.pulse().unwrap()
    }

    fn digest(readings: &[SimulatedReading]) -> String {
        let bytes: Vec<u8> = readings.iter().flat_map(|reading| pulse(reading).canonical_bytes()).collect();
        Digest::of(&bytes).to_string()
    }

    #[test]
    fn a_seed_gives_the_same_bytes_for_ever() {
        let package = small_run::package();
        let readings = fire(&package, &ALL, 41);
        assert_eq!(readings.len(), 27);
        assert_eq!(digest(&readings), "414e397a6b5137ab6126ba37bf349b9bc28efd71ac9ec201573d659a1263425a");
        assert_eq!(fire(&package, &ALL, 41), readings);
        assert_ne!(digest(&fire(&package, &ALL, 42)), digest(&readings));
    }

    #[test]
    fn the_order_of_rows_and_the_rows_left_out_change_nothing() {
        let package = small_run::package();
        let all = fire(&package, &ALL, 41);
        assert_eq!(fire(&package, &[9, 3, 1, 2, 5, 4, 8, 7, 6, 6, 1], 41), all);
        let some = fire(&package, &[8, 5], 41);
        let expected: Vec<&SimulatedReading> = all.iter().filter(|reading| matches!(reading.row, 5 | 8)).collect();
        assert_eq!(some.len(), 6);
        for (one, other) in some.iter().zip(expected) {
            assert_eq!((one.row, one.replicate, &one.came), (other.row, other.replicate, &other.came));
        }
    }

    #[test]
    fn a_later_leg_moves_nothing_of_earlier_rows() {
        let package = small_run::package();
        let mut before = package.clone();
        before.runs[0].legs.pop();
        assert_eq!(fire(&before, &ALL[..8], 41), fire(&package, &ALL, 41)[..24]);
    }

    #[test]
    fn a_fault_moves_nothing_but_its_own_firing_and_is_over_at_the_next_attempt() {
        let mut package = small_run::package();
        let with_fault = fire(&package, &ALL, 41);
        let truth = Truth { faults: vec![], ..small_run::truth() };
        let run = package.runs[0].id.clone();
        let without = simulate(&package, &run, &ALL, &truth, 41, STARTED).unwrap();
        let differ: Vec<(u32, u8)> = with_fault
            .iter()
            .zip(&without)
            .filter(|(one, other)| one != other)
            .map(|(one, _)| (one.row, one.replicate))
            .collect();
        assert_eq!(differ, [(5, 2)]);
        // Measured again, the row goes well, and its other replicates are other readings.
        let readings = with_fault.iter().zip(1..).map(|(reading, number)| reading.reading(number));
        package.runs[0].readings = readings.collect();
        let again = fire(&package, &[5], 41);
        assert!(again.iter().all(|reading| reading.attempt == 2));
        assert_eq!(again[1].came, simulate(&package, &run, &[5], &truth, 41, STARTED).unwrap()[1].came);
        assert_ne!(again[0].came, with_fault[12].came);
    }

    #[test]
    fn replicates_of_a_row_differ_and_share_their_truth() {
        let readings = fire(&small_run::package(), &[2], 41);
        assert_ne!(readings[0].came, readings[1].came);
        assert_eq!(readings[0].true_concentration, readings[1].true_concentration);
        let expected = 0.0044 * readings[0].true_concentration.si() * 20e-9 / 15e-15;
        assert!((readings[0].true_response / expected - 1.0).abs() < 1e-12);
    }

    #[test]
    fn firings_follow_one_another_every_two_minutes_and_a_bit() {
        let package = small_run::package();
        let readings = fire(&package, &ALL, 41);
        assert_eq!(&readings[0].at.as_str()[..17], "2026-03-05T08:30:");
        assert!(readings[0].at.as_str().ends_with("+01:00"));
        for pair in readings.windows(2) {
            let gap = pair[1].at.moment().duration_since(pair[0].at.moment()).as_secs();
            assert!((SECONDS_A_FIRING - 11..=SECONDS_A_FIRING + 11).contains(&gap), "{gap}");
        }
        let truth = small_run::truth();
        let at = |started: &str| simulate(&package, &package.runs[0].id, &ALL, &truth, 41, started);
        assert!(at("2026-03-05T23:59:59.5Z").unwrap()[26].at.as_str().starts_with("2026-03-06T00:5"));
        assert!(at("2026-03-05T23:59:59.5Z").unwrap()[26].at.as_str().ends_with('Z'));
        assert_eq!(
            at("5 March, half past eight").unwrap_err().to_string(),
            "\"5 March, half past eight\" is no time with an offset; write 2026-03-14T09:30:00+01:00"
        );
        assert!(at("9999-12-30T21:30:00Z").is_err());
    }

    #[test]
    fn a_run_that_cannot_be_fired_is_told_why() {
        let told = |change: fn(&mut DataPackage, &mut Truth), run: &str, rows: &[u32]| {
            let (mut package, mut truth) = (small_run::package(), small_run::truth());
            change(&mut package, &mut truth);
            let run = run.parse().unwrap();
            simulate(&package, &run, rows, &truth, 41, STARTED).unwrap_err().to_string()
        };
        assert_eq!(told(|_, _| (), "R7", &[1]), "the package holds no run R7");
        assert_eq!(told(|_, _| (), "R1", &[1, 77, 12]), "run R1 has no row 12");
        assert_eq!(
            told(|package, _| package.methods.clear(), "R1", &[1]),
            "the package does not hold method pb-plant-furnace that run R1 follows"
        );
        assert_eq!(
            told(|package, _| package.methods[0].technique = Technique::Flame, "R1", &[1]),
            "method pb-plant-furnace is for a flame; the truth does not say its characteristic_concentration"
        );
        assert_eq!(
            told(|_, truth| truth.element = "Cd".parse().unwrap(), "R1", &[1]),
            "method pb-plant-furnace determines Pb, the truth is about Cd"
        );
        assert_eq!(
            told(|_, truth| truth.spectrometer.characteristic_mass = "0 pg".parse().ok(), "R1", &[1]),
            "the characteristic mass is 0 pg; it has to be above zero"
        );
        assert_eq!(
            told(
                |package, _| {
                    package.runs[0].readings = vec![Reading {
                        number: 1,
                        row: 1,
                        replicate: 2,
                        attempt: 255,
                        at: STARTED.parse().unwrap(),
                        mass: None,
                        printed: None,
                        signal: Signal::Failed { why: Reason::new("lamp out").unwrap() },
                    }];
                },
                "R1",
                &[1]
            ),
            "row 1, replicate 2 was attempted 255 times"
        );
    }

    #[test]
    fn nothing_asked_for_is_nothing_fired() {
        assert_eq!(fire(&small_run::package(), &[], 41), []);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn no_truth_makes_a_panic_or_a_value_that_is_no_number(
            exponent in -320..308_i32, sign in "-?", unit in "mg/kg|g/kg|mg/L|µg/dm²|µg|%", mass in "15 pg|1e-290 kg|1 g",
            background in "0.3|1e9|-1|5e-324", stray in "0|1 %|1", recovery in "0.98|0|10|1e308",
        ) {
            let text = small_run::TRUTH
                .replacen("1.20 mg/kg", &format!("{sign}1e{exponent} {unit}"), 1)
                .replacen("injected_volume", &format!("stray_light = \"{stray}\"\ninjected_volume"), 1)
                .replacen("15 pg", &mass, 1)
                .replacen("\"0.3\"", &format!("\"{background}\""), 1)
                .replacen("\"0.98\"", &format!("\"{recovery}\""), 1);
            let Ok(truth) = Truth::from_toml(&text) else { return Ok(()) };
            let package = small_run::package();
            if let Ok(readings) = simulate(&package, &package.runs[0].id, &[5], &truth, 41, STARTED) {
                for reading in readings {
                    prop_assert!(reading.true_response.is_finite());
                    let pulse = pulse(&reading);
                    prop_assert!(pulse.total().iter().chain(pulse.background()).all(|value| value.is_finite()));
                }
            }
        }
    }

    #[test]
    fn a_huge_amount_is_read_as_darkness_and_not_as_a_number_without_end() {
        let mut truth = small_run::truth();
        let value: Written<_> = "900 g/kg".parse().unwrap();
        truth.samples[0].value = darkline_record::order::ResultFigure::MassFraction(value);
        let package = small_run::package();
        let readings = simulate(&package, &package.runs[0].id, &[5], &truth, 41, STARTED).unwrap();
        let highest = pulse(&readings[0]).total().iter().copied().fold(0.0_f32, f32::max);
        assert!((3.0..4.0).contains(&highest), "{highest}");
    }
}
