//! The run order of one or several elements: all that the sampling rules ask for, in the least time, then with the least at risk.
//!
//! [`plan`] arranges each run ([`arranged`]: calibration, checks and blanks, brackets of portions from low to high, clean-outs
//! where something would be carried over) and puts the runs one behind the other so that lamps warm up while others
//! measure. [`simple`] is what people do without it: as they come. Both are timed by the same [`timed`].
//!
//! The objective: first the time to the last reading; of what takes equally long, the sum over brackets of their size squared,
//! which is what a check that fails costs on average.
//!
//! Source: none needed, counting of rows and seconds; the argument for the least number of clean-outs stands at `brackets`.
//!
//! Invariant: a seed gives the same order on every machine.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde::Serialize;

/// What of an amount may be wrong by carry-over, at most.
pub const CARRIED: f64 = 0.01;

/// One element: what its run is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// Its symbol.
    pub symbol: String,
    /// Whether it is measured in the furnace; its readings are firings of the tube.
    pub is_furnace: bool,
    /// Calibration levels beside the blank.
    pub levels: usize,
    /// Replicates of each row.
    pub replicates: usize,
    /// Most portions between two checks.
    pub most_between_checks: usize,
    /// Whether a check at the quantification limit is measured behind the calibration.
    pub has_low_check: bool,
    /// Time from one reading to the next, in s.
    pub seconds_per_reading: f64,
    /// Time that its lamp needs to warm up, in s.
    pub warm_up: f64,
    /// Part of an amount that the next reading shows.
    pub carry_over: f64,
    /// Carried-over amount that does not matter: a third of the quantification limit.
    pub tolerated: f64,
    /// Amount of the check.
    pub check: f64,
    /// What each portion is expected to hold in the solution measured; one for each portion that this element is measured in.
    pub expected: Vec<f64>,
}

/// What the bench brings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bench {
    /// Lamps that can burn at the same time.
    pub lamp_places: usize,
    /// Time to change from flame to furnace or back, in s.
    pub technique_change: f64,
    /// Firings that the tube in place still has.
    pub firings_left: usize,
    /// Firings of a new tube.
    pub tube_life: usize,
    /// Time to change the tube and condition the new one, in s.
    pub tube_change: f64,
}

/// A row of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cell {
    /// The calibration blank.
    CalibrationBlank,
    /// A calibration level, from the lowest.
    Level(usize),
    /// The check standard.
    Check,
    /// The check blank.
    CheckBlank,
    /// The check at the quantification limit.
    LowCheck,
    /// A check blank behind something high: it proves the tube or the nebuliser clean.
    CleanOut,
    /// A portion, by its place.
    Portion(usize),
}

/// A run in its place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlannedRun {
    /// Which element, by its place.
    pub element: usize,
    /// Its rows.
    pub rows: Vec<Cell>,
    /// When its first reading starts, in s from the start of the day's work.
    pub starts: f64,
    /// When its last reading ends.
    pub ends: f64,
    /// Whether a new tube is put in before it.
    pub new_tube: bool,
}

/// A plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// The runs in the order measured.
    pub runs: Vec<PlannedRun>,
    /// Time to the last reading, in s.
    pub seconds: f64,
    /// Sum over all brackets of their size squared.
    pub at_risk: usize,
    /// Firings of the tube.
    pub firings: usize,
}

/// Rules that contradict each other, or a bench that cannot.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanFault {
    /// Nothing may stand between two checks.
    #[error("{symbol}: the method allows no portion between two checks; write most_between_checks = 1 or more")]
    NoBracket {
        /// The element.
        symbol: String,
    },
    /// More is carried over than may be.
    #[error(
        "{symbol}: {found:.1} % is carried over into the next reading, and 1 % is all that an order of rows can make up for; \
         clean out longer, or dilute"
    )]
    CarryOver {
        /// The element.
        symbol: String,
        /// Carried over, in per cent.
        found: f64,
    },
    /// One run outlives a tube.
    #[error(
        "{symbol}: the run takes {firings} firings and a new tube lasts {life}; split its portions into {parts} runs"
    )]
    TubeLife {
        /// The element.
        symbol: String,
        /// Firings of the run.
        firings: usize,
        /// Firings of a tube.
        life: usize,
        /// Runs that would do.
        parts: usize,
    },
    /// A figure that is none.
    #[error("{symbol}: {what} is no figure above zero")]
    NoFigure {
        /// The element.
        symbol: String,
        /// What.
        what: &'static str,
    },
}

fn checked(bench: &Bench, elements: &[Element]) -> Result<(), PlanFault> {
    for element in elements {
        let symbol = || element.symbol.clone();
        if element.most_between_checks == 0 {
            return Err(PlanFault::NoBracket { symbol: symbol() });
        }
        let figures =
            [("the time of a reading", element.seconds_per_reading), ("the amount of the check", element.check)];
        for (what, figure) in figures {
            if !(figure.is_finite() && figure > 0.0) {
                return Err(PlanFault::NoFigure { symbol: symbol(), what });
            }
        }
        let expected = element.expected.iter().all(|amount| amount.is_finite() && *amount >= 0.0);
        if !(expected && element.tolerated.is_finite() && element.warm_up.is_finite()) {
            return Err(PlanFault::NoFigure { symbol: symbol(), what: "an expected amount" });
        }
        if element.carry_over.is_nan() || element.carry_over > CARRIED {
            return Err(PlanFault::CarryOver { symbol: symbol(), found: 100.0 * element.carry_over });
        }
        let firings = arranged(element, 0).len() * element.replicates;
        if element.is_furnace && firings > bench.tube_life {
            let parts = firings.div_ceil(bench.tube_life.max(1)) + 1;
            return Err(PlanFault::TubeLife { symbol: symbol(), firings, life: bench.tube_life, parts });
        }
    }
    Ok(())
}

/// The best plan.
///
/// # Arguments
/// * `seed`: decides the order of portions between which nothing is carried over.
///
/// # Errors
/// [`PlanFault`].
pub fn plan(bench: &Bench, elements: &[Element], seed: u64) -> Result<Plan, PlanFault> {
    checked(bench, elements)?;
    let rows: Vec<Vec<Cell>> =
        elements.iter().enumerate().map(|(place, element)| arranged(element, seed ^ ((place as u64) << 32))).collect();
    let given: Vec<usize> = (0..elements.len()).collect();
    let mut best = (timed(bench, elements, &rows, &given).seconds, given);
    if elements.len() <= 8 {
        let mut order = Vec::new();
        every_order(bench, elements, &rows, &mut order, &mut best);
    } else {
        exchanged(bench, elements, &rows, &mut best);
    }
    Ok(timed(bench, elements, &rows, &best.1))
}

/// As they come: elements and portions in the order given, brackets filled up, clean-outs where they are needed.
///
/// # Errors
/// [`PlanFault`].
pub fn simple(bench: &Bench, elements: &[Element]) -> Result<Plan, PlanFault> {
    checked(bench, elements)?;
    let rows: Vec<Vec<Cell>> = elements
        .iter()
        .map(|element| {
            let all: Vec<usize> = (0..element.expected.len()).collect();
            let brackets: Vec<Vec<usize>> = all.chunks(element.most_between_checks).map(<[usize]>::to_vec).collect();
            rows_of(element, &brackets)
        })
        .collect();
    Ok(timed(bench, elements, &rows, &(0..elements.len()).collect::<Vec<_>>()))
}

/// The rows of one element, arranged.
pub fn arranged(element: &Element, seed: u64) -> Vec<Cell> {
    rows_of(element, &brackets(element, seed))
}

/// What may be carried over into an amount.
fn tolerance(element: &Element, amount: f64) -> f64 {
    element.tolerated.max(CARRIED * amount)
}

/// Whether a clean-out has to stand between two amounts.
fn needs_clean_out(element: &Element, before: f64, after: f64) -> bool {
    element.carry_over * before > tolerance(element, after)
}

/// Calibration, checks, and the brackets with their clean-outs; each bracket is closed by a check and a blank.
fn rows_of(element: &Element, brackets: &[Vec<usize>]) -> Vec<Cell> {
    let mut rows = vec![Cell::CalibrationBlank];
    rows.extend((0..element.levels).map(Cell::Level));
    rows.extend([Cell::Check, Cell::CheckBlank]);
    if element.has_low_check {
        rows.push(Cell::LowCheck);
    }
    for bracket in brackets {
        let mut before: Option<f64> = None;
        for &portion in bracket {
            let amount = element.expected[portion];
            if before.is_some_and(|before| needs_clean_out(element, before, amount)) {
                rows.push(Cell::CleanOut);
            }
            rows.push(Cell::Portion(portion));
            before = Some(amount);
        }
        if before.is_some_and(|before| needs_clean_out(element, before, element.check)) {
            rows.push(Cell::CleanOut);
        }
        rows.extend([Cell::Check, Cell::CheckBlank]);
    }
    rows
}

/// The portions in brackets, as few as the rule allows, with the fewest clean-outs, then of nearly equal size.
///
/// What is carried over is at most a hundredth and a hundredth is tolerated: from low to high no clean-out is needed. What
/// is left is the check behind each bracket. A portion is *high* when the check may not follow it. A bracket without high
/// portions needs no clean-out; one with them needs none when a portion that is not high, but large enough, comes last; else
/// one. The highest portions therefore share the brackets that need a clean-out, and as few of them as can be.
fn brackets(element: &Element, seed: u64) -> Vec<Vec<usize>> {
    let order = low_to_high(element, seed);
    let (n, most) = (order.len(), element.most_between_checks);
    let n_brackets = n.div_ceil(most);
    let is_high = |place: &usize| needs_clean_out(element, element.expected[*place], element.check);
    let by_amount = |a: &usize, b: &usize| element.expected[*a].total_cmp(&element.expected[*b]).then(a.cmp(b));
    let mut high: Vec<usize> = order.iter().copied().filter(is_high).collect();
    let mut rest: Vec<usize> = order.iter().copied().filter(|place| !is_high(place)).collect();
    high.sort_by(|a, b| by_amount(b, a));
    rest.sort_by(|a, b| by_amount(b, a));
    // As few brackets with a clean-out as can be: the rest of the high portions end on one of the largest others.
    let full = high.len().div_ceil(most);
    let closed_by_another = |with: usize| -> Option<Vec<(Vec<usize>, usize)>> {
        let left = high.get((with * most).min(high.len())..).unwrap_or(&[]);
        if left.is_empty() {
            return Some(Vec::new());
        }
        if most == 1 {
            return None;
        }
        let groups: Vec<&[usize]> = left.chunks(most - 1).collect();
        if with + groups.len() > n_brackets || groups.len() > rest.len() {
            return None;
        }
        let pairs = groups.iter().zip(&rest).map(|(group, last)| {
            let fits = !needs_clean_out(element, element.expected[group[0]], element.expected[*last]);
            fits.then(|| (group.to_vec(), *last))
        });
        pairs.collect()
    };
    let (with, closed) = (0..=full)
        .find_map(|with| Some((with, closed_by_another(with)?)))
        .expect("with all of them in brackets that have a clean-out none is left");
    let taken = (with * most).min(high.len());
    let mut sets: Vec<(Vec<usize>, Option<usize>)> = vec![(Vec::new(), None); n_brackets - with - closed.len()];
    sets.extend(closed.iter().map(|(group, last)| (group.clone(), Some(*last))));
    for place in 0..with {
        let share = high[..taken].iter().copied().skip(place).step_by(with).collect();
        sets.push((share, None));
    }
    // The others fill up the smallest brackets, in their order.
    let closing: Vec<usize> = closed.iter().map(|(_, last)| *last).collect();
    let others: Vec<usize> =
        order.iter().copied().filter(|place| !is_high(place) && !closing.contains(place)).collect();
    let mut room = vec![0_usize; sets.len()];
    for _ in 0..others.len() {
        let size = |place: &usize| sets[*place].0.len() + usize::from(sets[*place].1.is_some()) + room[*place];
        let smallest = (0..sets.len()).filter(|place| size(place) < most).min_by_key(size);
        if let Some(smallest) = smallest {
            room[smallest] += 1;
        }
    }
    let mut others = others.into_iter();
    let rank = |wanted: usize| order.iter().position(|place| *place == wanted);
    sets.into_iter()
        .zip(room)
        .map(|((mut bracket, last), room)| {
            bracket.extend(others.by_ref().take(room));
            bracket.sort_by_key(|place| rank(*place));
            bracket.extend(last);
            bracket
        })
        .collect()
}

/// Portions from low to high; those between which nothing is carried over in either order are shuffled.
fn low_to_high(element: &Element, seed: u64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..element.expected.len()).collect();
    order.sort_by(|a, b| element.expected[*a].total_cmp(&element.expected[*b]).then(a.cmp(b)));
    let mut draws = ChaCha8Rng::seed_from_u64(seed);
    let mut from = 0;
    while from < order.len() {
        let lowest = element.expected[order[from]];
        let same = order[from..]
            .iter()
            .take_while(|place| !needs_clean_out(element, element.expected[**place], lowest))
            .count()
            .max(1);
        let block = &mut order[from..from + same];
        for place in (1..block.len()).rev() {
            let other = (u128::from(draws.next_u64()) * (place as u128 + 1)) >> 64;
            block.swap(place, usize::try_from(other).unwrap_or(0));
        }
        from += same;
    }
    order
}

/// When each run starts and ends, in an order of elements.
pub fn timed(bench: &Bench, elements: &[Element], rows: &[Vec<Cell>], order: &[usize]) -> Plan {
    let mut runs: Vec<PlannedRun> = Vec::with_capacity(order.len());
    let mut left = bench.firings_left;
    let (mut firings, mut at_risk) = (0, 0);
    for (place, &which) in order.iter().enumerate() {
        let element = &elements[which];
        let readings = rows[which].len() * element.replicates;
        let mut ready = 0.0;
        if let Some(before) = runs.last() {
            ready = before.ends;
            if elements[before.element].is_furnace != element.is_furnace {
                ready += bench.technique_change;
            }
        }
        let mut new_tube = false;
        if element.is_furnace {
            if readings > left {
                new_tube = true;
                left = bench.tube_life;
                ready += bench.tube_change;
            }
            left = left.saturating_sub(readings);
            firings += readings;
        }
        // Its lamp is lit when a place for it is free.
        let lit = match place.checked_sub(bench.lamp_places.max(1)) {
            Some(before) => runs[before].ends,
            None => 0.0,
        };
        let starts = if ready > lit + element.warm_up { ready } else { lit + element.warm_up };
        let ends = starts + readings as f64 * element.seconds_per_reading;
        at_risk += squares(&rows[which]);
        runs.push(PlannedRun { element: which, rows: rows[which].clone(), starts, ends, new_tube });
    }
    let seconds = runs.last().map_or(0.0, |run| run.ends);
    Plan { runs, seconds, at_risk, firings }
}

/// The sum of the squares of the brackets' sizes.
fn squares(rows: &[Cell]) -> usize {
    let (mut sum, mut size) = (0, 0);
    for row in rows {
        match row {
            Cell::Portion(_) => size += 1,
            Cell::Check => {
                sum += size * size;
                size = 0;
            }
            _ => {}
        }
    }
    sum + size * size
}

/// Goes through every order of the elements, leaving those that are late already.
fn every_order(
    bench: &Bench,
    elements: &[Element],
    rows: &[Vec<Cell>],
    order: &mut Vec<usize>,
    best: &mut (f64, Vec<usize>),
) {
    let seconds = timed_only(bench, elements, rows, order);
    let still: f64 = (0..elements.len())
        .filter(|which| !order.contains(which))
        .map(|which| (rows[which].len() * elements[which].replicates) as f64 * elements[which].seconds_per_reading)
        .sum();
    if seconds + still >= best.0 {
        return;
    }
    if order.len() == elements.len() {
        *best = (seconds, order.clone());
        return;
    }
    for which in 0..elements.len() {
        if !order.contains(&which) {
            order.push(which);
            every_order(bench, elements, rows, order, best);
            order.pop();
        }
    }
}

fn timed_only(bench: &Bench, elements: &[Element], rows: &[Vec<Cell>], order: &[usize]) -> f64 {
    timed(bench, elements, rows, order).seconds
}

/// Exchanges two elements as long as that ends earlier: for more of them than all orders of can be looked at.
fn exchanged(bench: &Bench, elements: &[Element], rows: &[Vec<Cell>], best: &mut (f64, Vec<usize>)) {
    loop {
        let before = best.0;
        for a in 0..elements.len() {
            for b in a + 1..elements.len() {
                let mut order = best.1.clone();
                order.swap(a, b);
                let seconds = timed_only(bench, elements, rows, &order);
                if seconds < best.0 {
                    *best = (seconds, order);
                }
            }
        }
        if best.0 >= before {
            return;
        }
    }
}

/// The most elements whose runs end in time, and of equally many those that end first.
///
/// # Arguments
/// * `seconds`: from the start of the day's work to when the last reading must have ended.
///
/// # Errors
/// [`PlanFault`].
pub fn in_time(bench: &Bench, elements: &[Element], seconds: f64, seed: u64) -> Result<Vec<usize>, PlanFault> {
    let n = elements.len().min(12);
    let mut best: (usize, f64, Vec<usize>) = (0, 0.0, Vec::new());
    for mask in 1_u32..(1 << n) {
        let chosen: Vec<usize> = (0..n).filter(|place| mask & (1 << place) != 0).collect();
        if chosen.len() < best.0 {
            continue;
        }
        let some: Vec<Element> = chosen.iter().map(|place| elements[*place].clone()).collect();
        let ends = plan(bench, &some, seed)?.seconds;
        if ends <= seconds && (chosen.len() > best.0 || ends < best.1) {
            best = (chosen.len(), ends, chosen);
        }
    }
    Ok(best.2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn element(symbol: &str, expected: Vec<f64>, most_between_checks: usize) -> Element {
        Element {
            symbol: symbol.into(),
            is_furnace: true,
            levels: 5,
            replicates: 3,
            most_between_checks,
            has_low_check: true,
            seconds_per_reading: 100.0,
            warm_up: 900.0,
            carry_over: 0.005,
            tolerated: 0.5,
            check: 25.0,
            expected,
        }
    }

    fn bench() -> Bench {
        Bench { lamp_places: 2, technique_change: 1200.0, firings_left: 400, tube_life: 2000, tube_change: 1800.0 }
    }

    #[test]
    fn low_comes_before_high_and_every_bracket_is_closed() {
        let rows = arranged(&element("Pb", vec![300.0, 2.0, 5.0, 80.0, 1.0], 3), 1);
        let first: Vec<Cell> = rows[..9].to_vec();
        assert_eq!(first[0], Cell::CalibrationBlank);
        assert_eq!(first[5], Cell::Level(4));
        assert_eq!(&first[6..9], [Cell::Check, Cell::CheckBlank, Cell::LowCheck]);
        let clean_outs = rows.iter().filter(|row| **row == Cell::CleanOut).count();
        assert_eq!(clean_outs, 1, "{rows:?}");
        let end = &rows[rows.len() - 4..];
        assert_eq!(end, [Cell::Portion(0), Cell::CleanOut, Cell::Check, Cell::CheckBlank]);
    }

    #[test]
    fn lamps_warm_up_while_others_measure() {
        let slow = Element { warm_up: 1800.0, ..element("As", vec![1.0; 4], 10) };
        let quick = Element { warm_up: 300.0, ..element("Cd", vec![1.0; 4], 10) };
        let elements = [slow, quick];
        let plan = plan(&bench(), &elements, 3).unwrap();
        assert_eq!(plan.runs[0].element, 1, "the one whose lamp is warm first");
        assert_eq!(plan.runs[0].starts, 300.0);
        let one_place = Bench { lamp_places: 1, ..bench() };
        assert!(super::plan(&one_place, &elements, 3).unwrap().seconds > plan.seconds);
    }

    #[test]
    fn a_seed_gives_one_order_and_another_seed_another() {
        let many = element("Pb", (0..30).map(|place| 4.0 + f64::from(place) * 0.01).collect(), 10);
        assert_eq!(arranged(&many, 5), arranged(&many, 5));
        assert_ne!(arranged(&many, 5), arranged(&many, 6));
    }

    #[test]
    fn contradictory_rules_are_told() {
        let none = Element { most_between_checks: 0, ..element("Pb", vec![1.0], 1) };
        assert!(matches!(plan(&bench(), &[none], 0), Err(PlanFault::NoBracket { .. })));
        let sticky = Element { carry_over: 0.05, ..element("Pb", vec![1.0], 1) };
        assert!(matches!(plan(&bench(), &[sticky], 0), Err(PlanFault::CarryOver { .. })));
        let long = element("Pb", vec![1.0; 700], 10);
        let told = plan(&bench(), &[long], 0).unwrap_err();
        assert!(matches!(told, PlanFault::TubeLife { life: 2000, .. }), "{told}");
    }

    #[test]
    fn what_ends_in_time_is_the_most_that_can() {
        let elements =
            [element("Pb", vec![1.0; 10], 10), element("Cd", vec![1.0; 4], 10), element("Ni", vec![1.0; 4], 10)];
        let all = plan(&bench(), &elements, 0).unwrap().seconds;
        assert_eq!(in_time(&bench(), &elements, all, 0).unwrap(), [0, 1, 2]);
        assert_eq!(in_time(&bench(), &elements, all - 1.0, 0).unwrap(), [1, 2]);
        assert!(in_time(&bench(), &elements, 10.0, 0).unwrap().is_empty());
    }

    #[test]
    fn two_hundred_samples_and_six_elements_are_planned_at_once() {
        let expected: Vec<f64> = (0..200).map(|place| f64::from(place * 37 % 101) * 0.9).collect();
        let elements: Vec<Element> =
            ["Pb", "Cd", "Ni", "Cr", "Cu", "As"].iter().map(|symbol| element(symbol, expected.clone(), 10)).collect();
        let plan = plan(&bench(), &elements, 7).unwrap();
        assert!(
            plan.runs.iter().all(|run| run.rows.iter().filter(|row| matches!(row, Cell::Portion(_))).count() == 200)
        );
        assert!(plan.seconds <= simple(&bench(), &elements).unwrap().seconds);
    }

    fn any_element() -> impl Strategy<Value = Element> {
        let amount = prop_oneof![0.0..5.0_f64, 5.0..60.0_f64, 60.0..3000.0_f64];
        (
            prop::collection::vec(amount, 0..40),
            1_usize..12,
            any::<bool>(),
            60.0..2000.0_f64,
            prop::sample::select(vec![0.0, 0.001, 0.005, 0.01]),
            5.0..50.0_f64,
        )
            .prop_map(|(expected, most, is_furnace, warm_up, carry_over, check)| Element {
                is_furnace,
                warm_up,
                carry_over,
                check,
                ..element("X", expected, most)
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(500))]
        #[test]
        fn no_order_is_worse_than_the_simple_one(
            elements in prop::collection::vec(any_element(), 1..6),
            lamp_places in 1_usize..4,
            firings_left in 0_usize..600,
            seed in any::<u64>(),
        ) {
            let bench = Bench { lamp_places, firings_left, ..bench() };
            let (best, simple) = (plan(&bench, &elements, seed).unwrap(), simple(&bench, &elements).unwrap());
            prop_assert!(best.seconds <= simple.seconds, "{} {}", best.seconds, simple.seconds);
            for run in &best.runs {
                let element = &elements[run.element];
                let mut portions: Vec<usize> =
                    run.rows.iter().filter_map(|row| match row { Cell::Portion(place) => Some(*place), _ => None }).collect();
                portions.sort_unstable();
                prop_assert_eq!(portions, (0..element.expected.len()).collect::<Vec<_>>());
                let mut since = 0;
                for row in &run.rows {
                    match row {
                        Cell::Portion(_) => since += 1,
                        Cell::Check => since = 0,
                        _ => {}
                    }
                    prop_assert!(since <= element.most_between_checks);
                }
            }
        }
    }

    /// Every order of the portions in every division into brackets: the fewest rows, then the least at risk.
    fn exhaustive(element: &Element) -> (usize, usize) {
        fn go(element: &Element, left: &mut Vec<usize>, brackets: &mut Vec<Vec<usize>>, best: &mut (usize, usize)) {
            if left.is_empty() {
                let rows = rows_of(element, brackets);
                *best = (*best).min((rows.len(), squares(&rows)));
                return;
            }
            for place in 0..left.len() {
                let portion = left.remove(place);
                brackets.push(vec![portion]);
                go(element, left, brackets, best);
                brackets.pop();
                if let Some(last) = brackets.last_mut()
                    && last.len() < element.most_between_checks
                {
                    last.push(portion);
                    go(element, left, brackets, best);
                    brackets.last_mut().unwrap().pop();
                }
                left.insert(place, portion);
            }
        }
        let mut best = (usize::MAX, usize::MAX);
        go(element, &mut (0..element.expected.len()).collect(), &mut Vec::new(), &mut best);
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(150))]
        #[test]
        fn small_runs_have_as_few_rows_as_can_be(
            expected in prop::collection::vec(prop::sample::select(vec![0.0, 1.0, 20.0, 90.0, 400.0, 2000.0]), 1..6),
            most in 1_usize..4,
            carry_over in prop::sample::select(vec![0.0, 0.001, 0.003, 0.01]),
            seed in any::<u64>(),
        ) {
            let element = Element { carry_over, ..element("X", expected, most) };
            let rows = arranged(&element, seed);
            let (fewest, least) = exhaustive(&element);
            prop_assert_eq!(rows.len(), fewest, "{:?}", rows);
            // Where no bracket needs a clean-out, they are as even as can be.
            if !rows.contains(&Cell::CleanOut) && element.expected.iter().all(|a| !needs_clean_out(&element, *a, element.check)) {
                prop_assert_eq!(squares(&rows), least);
            }
        }

        #[test]
        fn small_sets_of_elements_end_as_early_as_can_be(
            elements in prop::collection::vec(any_element(), 1..5),
            lamp_places in 1_usize..4,
            firings_left in 0_usize..300,
        ) {
            let bench = Bench { lamp_places, firings_left, ..bench() };
            let best = plan(&bench, &elements, 1).unwrap();
            let rows: Vec<Vec<Cell>> = elements.iter().map(|element| arranged(element, 1)).collect();
            let mut least = f64::INFINITY;
            // Heap's algorithm, every order once.
            let mut order: Vec<usize> = (0..elements.len()).collect();
            let mut counts = vec![0; order.len()];
            least = least.min(timed(&bench, &elements, &rows, &order).seconds);
            let mut place = 0;
            while place < order.len() {
                if counts[place] < place {
                    let other = if place % 2 == 0 { 0 } else { counts[place] };
                    order.swap(other, place);
                    least = least.min(timed(&bench, &elements, &rows, &order).seconds);
                    counts[place] += 1;
                    place = 0;
                } else {
                    counts[place] = 0;
                    place += 1;
                }
            }
            prop_assert!((best.seconds - least).abs() < 1e-6, "{} {least}", best.seconds);
        }
    }
}
