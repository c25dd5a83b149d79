//! Cups: which solution stands where on the tray, and how much is in it.
//!
//! [`set_out`] gives each row its cup. A solution keeps its cup as long as there is enough in it; portions keep theirs for all
//! elements of a technique. Where all runs together need more places than there are, the standards of each run
//! take the places of those before, and the tray is set out anew between runs.
//!
//! Source: none needed, sums of volumes.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::run_order::{Cell, PlannedRun};

/// A tray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tray {
    /// Places on it.
    pub places: usize,
    /// Volume of a full cup, in m³.
    pub cup: f64,
    /// What of it the sampler does not reach.
    pub rest: f64,
    /// What evaporates from a cup, in m³ an hour.
    pub evaporation: f64,
}

/// What one run takes from its cups.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taking {
    /// Volume of one reading, in m³.
    pub per_reading: f64,
    /// Readings of a row.
    pub replicates: usize,
}

/// A solution in a cup.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Solution {
    /// A portion; one cup for all elements.
    Portion(usize),
    /// The blank; one for all elements.
    Blank,
    /// A level of an element.
    Level(usize, usize),
    /// The check of an element.
    Check(usize),
    /// The check at the quantification limit of an element.
    LowCheck(usize),
}

/// A filled cup.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cup {
    /// Its place, from 1.
    pub place: usize,
    /// What is in it.
    pub solution: Solution,
    /// How much at least, in m³.
    pub volume: f64,
    /// From which run on it stands there, by its place in the plan.
    pub from_run: usize,
}

/// A tray set out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetOut {
    /// The cups.
    pub cups: Vec<Cup>,
    /// The place of each row of each run.
    pub places: Vec<Vec<usize>>,
    /// Whether cups are exchanged between runs.
    pub is_reloaded: bool,
}

/// A tray that cannot hold what is measured.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrayFault {
    /// Too few places.
    #[error(
        "the tray has {places} places and one run needs {needed}: {portions} portions and {others} standards, checks and blanks; \
         split the order into {parts} parts of at most {most} portions"
    )]
    TooSmall {
        /// Places there are.
        places: usize,
        /// Places needed.
        needed: usize,
        /// Cups of portions.
        portions: usize,
        /// Other cups.
        others: usize,
        /// Parts that would do; 0 where none would.
        parts: usize,
        /// Portions of a part.
        most: usize,
    },
    /// One row takes more than a cup holds.
    #[error("one row takes {needed:.0} µL and a cup gives {gives:.0} µL; take larger cups or fewer replicates")]
    CupTooSmall {
        /// What is taken.
        needed: f64,
        /// What a full cup gives.
        gives: f64,
    },
}

fn solution(element: usize, cell: Cell) -> Solution {
    match cell {
        Cell::CalibrationBlank | Cell::CheckBlank | Cell::CleanOut => Solution::Blank,
        Cell::Level(level) => Solution::Level(element, level),
        Cell::Check => Solution::Check(element),
        Cell::LowCheck => Solution::LowCheck(element),
        Cell::Portion(portion) => Solution::Portion(portion),
    }
}

/// Gives each row of some runs its cup.
///
/// # Arguments
/// * `runs`: those of one technique, in the order measured. `takings`: by the place of the element.
///
/// # Errors
/// [`TrayFault`].
pub fn set_out(tray: &Tray, runs: &[&PlannedRun], takings: &[Taking]) -> Result<SetOut, TrayFault> {
    let hours = runs.iter().map(|run| run.ends - run.starts).fold(0.0, f64::max) / 3600.0;
    let lost = tray.evaporation * hours;
    let gives = tray.cup - tray.rest - lost;
    // Each cup by its solution; those of portions and blanks may serve several runs.
    let mut cups: Vec<(Solution, f64, usize)> = Vec::new();
    let mut in_use: BTreeMap<Solution, usize> = BTreeMap::new();
    let mut of_rows: Vec<Vec<usize>> = Vec::new();
    for (place, run) in runs.iter().enumerate() {
        let taking = takings[run.element];
        let volume = taking.per_reading * taking.replicates as f64;
        if volume > gives || gives.is_nan() {
            return Err(TrayFault::CupTooSmall { needed: volume * 1e9, gives: gives.max(0.0) * 1e9 });
        }
        let mut places = Vec::with_capacity(run.rows.len());
        for &row in &run.rows {
            let solution = solution(run.element, row);
            let cup = match in_use.get(&solution) {
                Some(&cup) if cups[cup].1 + volume <= gives * (1.0 + 1e-12) => cup,
                _ => {
                    cups.push((solution, 0.0, place));
                    in_use.insert(solution, cups.len() - 1);
                    cups.len() - 1
                }
            };
            cups[cup].1 += volume;
            places.push(cup);
        }
        of_rows.push(places);
    }
    let filled = |(cup, place): (&(Solution, f64, usize), usize)| Cup {
        place,
        solution: cup.0,
        volume: cup.1 + tray.rest + lost,
        from_run: cup.2,
    };
    if cups.len() <= tray.places {
        let places = of_rows.iter().map(|rows| rows.iter().map(|cup| cup + 1).collect()).collect();
        let cups = cups.iter().zip(1..).map(filled).collect();
        return Ok(SetOut { cups, places, is_reloaded: false });
    }
    // Portions stay, the rest of each run stands behind them.
    let stays: Vec<usize> = (0..cups.len()).filter(|cup| matches!(cups[*cup].0, Solution::Portion(_))).collect();
    let mut place_of: BTreeMap<usize, usize> = stays.iter().zip(1..).map(|(cup, place)| (*cup, place)).collect();
    let mut most_others = 0;
    for (run, rows) in of_rows.iter().enumerate() {
        let mut others: Vec<usize> = rows.iter().copied().filter(|cup| !stays.contains(cup)).collect();
        others.sort_unstable();
        others.dedup();
        most_others = most_others.max(others.len());
        // A blank that is still in use keeps its place.
        let mut next = stays.len() + 1;
        let kept: Vec<usize> = others.iter().filter_map(|cup| place_of.get(cup)).copied().collect();
        for cup in others {
            if place_of.contains_key(&cup) {
                continue;
            }
            while kept.contains(&next) {
                next += 1;
            }
            place_of.insert(cup, next);
            cups[cup].2 = run;
            next += 1;
        }
    }
    let needed = place_of.values().copied().max().unwrap_or(0);
    if needed > tray.places {
        // Fewer portions need fewer checks too; what the others of one run take is an upper bound.
        let most = tray.places.saturating_sub(most_others);
        let parts = if most == 0 { 0 } else { stays.len().div_ceil(most) };
        return Err(TrayFault::TooSmall {
            places: tray.places,
            needed,
            portions: stays.len(),
            others: most_others,
            parts,
            most,
        });
    }
    let places = of_rows.iter().map(|rows| rows.iter().map(|cup| place_of[cup]).collect()).collect();
    let cups = cups.iter().enumerate().map(|(cup, of)| filled((of, place_of[&cup]))).collect();
    Ok(SetOut { cups, places, is_reloaded: true })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run_order::{Bench, Element, plan};
    use proptest::prelude::*;

    fn planned(n_elements: usize, n_portions: usize) -> Vec<PlannedRun> {
        let element = |place: usize| Element {
            symbol: format!("E{place}"),
            is_furnace: true,
            levels: 4,
            replicates: 3,
            most_between_checks: 10,
            has_low_check: true,
            seconds_per_reading: 100.0,
            warm_up: 0.0,
            carry_over: 0.0,
            tolerated: 1.0,
            check: 10.0,
            expected: vec![5.0; n_portions],
        };
        let elements: Vec<Element> = (0..n_elements).map(element).collect();
        let bench =
            Bench { lamp_places: 2, technique_change: 0.0, firings_left: 5000, tube_life: 5000, tube_change: 0.0 };
        plan(&bench, &elements, 1).unwrap().runs
    }

    fn tray(places: usize) -> Tray {
        Tray { places, cup: 1.5e-6, rest: 0.2e-6, evaporation: 10e-9 }
    }

    const TAKING: Taking = Taking { per_reading: 20e-9, replicates: 3 };

    #[test]
    fn portions_keep_their_cups_for_all_elements() {
        let runs = planned(3, 5);
        let set = set_out(&tray(60), &runs.iter().collect::<Vec<_>>(), &[TAKING; 3]).unwrap();
        assert!(!set.is_reloaded);
        let portions = set.cups.iter().filter(|cup| matches!(cup.solution, Solution::Portion(_))).count();
        assert_eq!(portions, 5, "180 µL of each are in one cup");
        assert!(set.cups.iter().all(|cup| cup.volume <= 1.5e-6));
    }

    #[test]
    fn a_small_tray_is_set_out_anew_and_one_too_small_is_told() {
        let runs = planned(3, 20);
        let runs: Vec<&PlannedRun> = runs.iter().collect();
        let set = set_out(&tray(32), &runs, &[TAKING; 3]).unwrap();
        assert!(set.is_reloaded);
        let told = set_out(&tray(20), &runs, &[TAKING; 3]).unwrap_err();
        let TrayFault::TooSmall { places: 20, portions: 20, parts, most, .. } = told else { panic!("{told}") };
        assert!(parts >= 2 && most < 20);
        let small = Tray { cup: 0.25e-6, ..tray(60) };
        assert!(matches!(set_out(&small, &runs, &[TAKING; 3]), Err(TrayFault::CupTooSmall { .. })));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]
        #[test]
        fn a_place_holds_one_solution_at_a_time_and_enough_of_it(
            n_elements in 1_usize..4, n_portions in 1_usize..30, places in 10_usize..80,
        ) {
            let runs = planned(n_elements, n_portions);
            let runs: Vec<&PlannedRun> = runs.iter().collect();
            if let Ok(set) = set_out(&tray(places), &runs, &[TAKING; 3]) {
                for (run, of_rows) in runs.iter().zip(&set.places) {
                    let mut there: BTreeMap<usize, Solution> = BTreeMap::new();
                    for (row, place) in run.rows.iter().zip(of_rows) {
                        prop_assert!(*place >= 1 && *place <= places);
                        let solution = solution(run.element, *row);
                        prop_assert_eq!(*there.entry(*place).or_insert(solution), solution);
                    }
                }
                prop_assert!(set.cups.iter().all(|cup| cup.volume <= 1.5e-6 * (1.0 + 1e-9)));
            }
        }
    }
}
