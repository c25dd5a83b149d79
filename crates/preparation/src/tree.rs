//! The dilution tree: which intermediate solutions to make, and from what each calibration level, so that the levels are as
//! sure as the ware at hand allows.
//!
//! [`plan`] searches all trees of up to so many intermediates whose volumes people set ([`Pipette::round_settings`]); levels are
//! met exactly, at any setting of the scale. It minimises the sum over the levels of their relative variances. The search is
//! exact: a branch is left only when a bound shows that nothing better lies on it. Where the number of trees would be too
//! large it stops at [`MOST_TREES`] and says that the tree is not proved the best, and below what none can be.
//!
//! Deviations of ware are taken as independent from step to step.
//!
//! Invariant: levels draw no more from an intermediate than it holds less its rest; equal input gives the same tree.

use serde::Serialize;

use crate::dilution::Dilution;
use crate::ware::{Flask, Pipette, SAME};

/// Trees looked at before the search gives up the proof.
pub const MOST_TREES: u64 = 300_000;

/// A further intermediate is made only where it makes the levels surer by this part of their relative uncertainty.
///
/// Our choice: each flask more is a chance of a slip.
pub const WORTH_IT: f64 = 0.05;

/// What is to be reached, and with what.
#[derive(Clone, Debug)]
pub struct Task<'a> {
    /// Amount of the stock, in any unit; the levels have the same.
    pub stock: f64,
    /// Volume of stock that may be used, in m³.
    pub stock_volume: f64,
    /// The levels, above zero.
    pub levels: &'a [f64],
    /// The pipettes at hand.
    pub pipettes: &'a [Pipette],
    /// The flasks at hand; each can be used again.
    pub flasks: &'a [Flask],
    /// Least volume of each level, in m³.
    pub least_volume: f64,
    /// Smallest volume pipetted, in m³.
    pub least_pipetted: f64,
    /// Most steps from the stock to a level.
    pub most_steps: usize,
    /// Most intermediate solutions.
    pub most_intermediates: usize,
    /// The part of an intermediate that cannot be drawn.
    pub rest: f64,
}

/// What a solution is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum From {
    /// The stock.
    Stock,
    /// An intermediate, by its place.
    Intermediate(usize),
}

/// A solution that is made.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Made {
    /// Of what.
    pub from: From,
    /// With which pipette, by its place.
    pub pipette: usize,
    /// In which flask, by its place.
    pub flask: usize,
    /// The volumes.
    pub step: Dilution,
    /// Its amount.
    pub amount: f64,
    /// Relative standard uncertainty that all steps from the stock to it add to that of the stock.
    pub u_relative: f64,
}

/// A tree.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tree {
    /// The intermediates, each made of the stock or of one before it.
    pub intermediates: Vec<Made>,
    /// The levels, in the order asked for.
    pub levels: Vec<Made>,
    /// Sum over the levels of their relative variances.
    pub variance: f64,
}

/// What the search found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Found {
    /// The tree to make: the one with the fewest intermediates that is within [`WORTH_IT`] of the best.
    pub tree: Tree,
    /// The best tree of at most 0, 1, 2, … intermediates; none where the levels cannot be reached with so few.
    pub best: Vec<Option<Tree>>,
    /// Whether no tree of those asked for is better than the best found.
    pub is_proved: bool,
    /// No tree has a smaller variance than this.
    pub bound: f64,
}

/// Why there is no tree.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TreeFault {
    /// A level that is none.
    #[error("a level of {level} cannot be made of a stock of {stock}: it has to lie above nothing and below the stock")]
    NoLevel {
        /// The level.
        level: f64,
        /// The stock.
        stock: f64,
    },
    /// No pipette or no flask.
    #[error("there is no {what} that may be used")]
    NoWare {
        /// What is missing.
        what: &'static str,
    },
    /// One level cannot be reached.
    #[error(
        "level {level} cannot be reached from {stock} with {intermediates} intermediate(s), pipetting {smallest:.1} µL or more into at most {largest:.0} mL"
    )]
    OutOfReach {
        /// The level.
        level: f64,
        /// The stock.
        stock: f64,
        /// Intermediates allowed.
        intermediates: usize,
        /// Smallest volume pipetted, in µL.
        smallest: f64,
        /// Largest flask, in mL.
        largest: f64,
    },
    /// Each level can be reached, but not all from so few solutions.
    #[error(
        "the levels cannot all be drawn from {intermediates} intermediate(s) of at most {largest:.0} mL; allow one more, or a larger flask"
    )]
    TooLittle {
        /// Intermediates allowed.
        intermediates: usize,
        /// Largest flask, in mL.
        largest: f64,
    },
}

#[derive(Clone, Copy)]
struct Way {
    pipette: usize,
    flask: usize,
    step: Dilution,
    variance: f64,
}

#[derive(Clone)]
struct Source {
    amount: f64,
    variance: f64,
    steps: usize,
    holds: f64,
    /// How it is made; none for the stock.
    made: Option<(usize, Way)>,
}

/// The best tree of a task.
///
/// # Errors
/// [`TreeFault`]: what cannot be reached, and with what.
///
/// # Source
/// Relative variances add along a chain of dilutions (GUM 5.1.6); branch and bound, A. H. Land, A. G. Doig, Econometrica 28 (1960)
/// 497 (from memory).
pub fn plan(task: &Task<'_>) -> Result<Found, TreeFault> {
    for &level in task.levels {
        if !(level > 0.0 && level < task.stock) {
            return Err(TreeFault::NoLevel { level, stock: task.stock });
        }
    }
    if task.pipettes.is_empty() {
        return Err(TreeFault::NoWare { what: "pipette" });
    }
    if task.flasks.is_empty() {
        return Err(TreeFault::NoWare { what: "flask" });
    }
    let mut search = Search::new(task);
    let mut best = Vec::new();
    for most in 0..=task.most_intermediates {
        search.run(most);
        best.push(search.incumbent.clone());
    }
    let Some(last) = &search.incumbent else { return Err(why_none(task)) };
    // Relative uncertainties within a part p of each other: variances within (1 + p)².
    let worth = (1.0 + WORTH_IT) * (1.0 + WORTH_IT) * last.variance;
    let tree = best.iter().flatten().find(|tree| tree.variance <= worth).unwrap_or(last).clone();
    let is_proved = search.trees < MOST_TREES;
    let bound = if is_proved { last.variance } else { search.least_possible() };
    Ok(Found { tree, best, is_proved, bound })
}

fn why_none(task: &Task<'_>) -> TreeFault {
    let largest = task.flasks.iter().map(|flask| flask.volume * 1e6).fold(0.0, f64::max);
    let intermediates = task.most_intermediates;
    for level in task.levels {
        let alone = Task { levels: std::slice::from_ref(level), ..task.clone() };
        let mut search = Search::new(&alone);
        search.run(intermediates);
        if search.incumbent.is_none() {
            return TreeFault::OutOfReach {
                level: *level,
                stock: task.stock,
                intermediates,
                smallest: task.least_pipetted * 1e9,
                largest,
            };
        }
    }
    TreeFault::TooLittle { intermediates, largest }
}

struct Search<'a> {
    task: &'a Task<'a>,
    settings: Vec<Vec<f64>>,
    lowest: f64,
    /// Least variance of any level that is made of an intermediate.
    floor: f64,
    trees: u64,
    incumbent: Option<Tree>,
}

impl<'a> Search<'a> {
    fn new(task: &'a Task<'a>) -> Self {
        let settings: Vec<Vec<f64>> = task
            .pipettes
            .iter()
            .map(|pipette| {
                let mut settings = pipette.round_settings();
                settings.retain(|volume| *volume >= task.least_pipetted * (1.0 - SAME));
                settings
            })
            .collect();
        let lowest = task.levels.iter().copied().fold(f64::INFINITY, f64::min);
        let mut search = Self { task, settings, lowest, floor: 0.0, trees: 0, incumbent: None };
        let least = |volumes: &dyn Fn(usize) -> Vec<f64>| {
            let mut least = f64::INFINITY;
            for place in 0..task.pipettes.len() {
                for volume in volumes(place) {
                    for flask in 0..task.flasks.len() {
                        if let Some(way) = search.way(place, flask, volume) {
                            least = least.min(way.variance);
                        }
                    }
                }
            }
            least
        };
        let of_intermediate = least(&|place| search.settings[place].clone());
        let of_level = least(&|place| vec![task.pipettes[place].largest()]);
        // A level may be drawn with less than the largest volume only at a greater relative uncertainty, but a flask smaller
        // than that volume may still be the better one: then there is no floor but that of the intermediate.
        let always_fits =
            task.pipettes.iter().all(|pipette| task.flasks.iter().all(|flask| pipette.largest() < flask.volume));
        search.floor = of_intermediate + if always_fits { of_level } else { 0.0 };
        search
    }

    fn way(&self, pipette: usize, flask: usize, volume: f64) -> Option<Way> {
        let made_up_to = self.task.flasks[flask].volume;
        if volume < self.task.least_pipetted * (1.0 - SAME) || volume >= made_up_to {
            return None;
        }
        let u_taken = self.task.pipettes[pipette].step(volume)?;
        let step = Dilution { taken: volume, u_taken, made_up_to, u_made_up_to: self.task.flasks[flask].u() };
        Some(Way { pipette, flask, step, variance: step.relative_variance() })
    }

    /// All ways from a solution to a level, the surest first.
    fn ways(&self, amount: f64, level: f64) -> Vec<Way> {
        let mut ways = Vec::new();
        for (flask, made_up_to) in self.task.flasks.iter().map(|flask| flask.volume).enumerate() {
            if made_up_to < self.task.least_volume * (1.0 - SAME) {
                continue;
            }
            let volume = made_up_to * level / amount;
            ways.extend((0..self.task.pipettes.len()).filter_map(|pipette| self.way(pipette, flask, volume)));
        }
        ways.sort_by(|a, b| a.variance.total_cmp(&b.variance).then(a.step.taken.total_cmp(&b.step.taken)));
        ways
    }

    fn best_way(&self, amount: f64, level: f64) -> f64 {
        let mut least = f64::INFINITY;
        for (flask, made_up_to) in self.task.flasks.iter().map(|flask| flask.volume).enumerate() {
            if made_up_to >= self.task.least_volume * (1.0 - SAME) {
                let volume = made_up_to * level / amount;
                for pipette in 0..self.task.pipettes.len() {
                    least = self.way(pipette, flask, volume).map_or(least, |way| least.min(way.variance));
                }
            }
        }
        least
    }

    /// The intermediates that can be made of a solution: of those alike in amount and volume the surest.
    fn intermediates(&self, source: &Source) -> Vec<Source> {
        if source.steps + 2 > self.task.most_steps {
            return Vec::new();
        }
        let mut found: Vec<Source> = Vec::new();
        for pipette in 0..self.task.pipettes.len() {
            for &volume in &self.settings[pipette] {
                for flask in 0..self.task.flasks.len() {
                    let Some(way) = self.way(pipette, flask, volume) else { continue };
                    let amount = way.step.of(source.amount);
                    if amount > self.lowest * (1.0 + SAME) && volume <= source.holds * (1.0 + SAME) {
                        found.push(Source {
                            amount,
                            variance: source.variance + way.variance,
                            steps: source.steps + 1,
                            holds: way.step.made_up_to * (1.0 - self.task.rest),
                            made: Some((0, way)),
                        });
                    }
                }
            }
        }
        found.sort_by(|a, b| {
            a.holds.total_cmp(&b.holds).then(a.amount.total_cmp(&b.amount)).then(a.variance.total_cmp(&b.variance))
        });
        // The same amount comes out by way of several divisions, apart by their rounding.
        found.dedup_by(|a, b| a.holds == b.holds && (a.amount - b.amount).abs() <= SAME * b.amount);
        found
    }

    fn run(&mut self, most: usize) {
        let stock =
            Source { amount: self.task.stock, variance: 0.0, steps: 0, holds: self.task.stock_volume, made: None };
        let best = self.reached(&stock);
        let mut sources = vec![stock];
        self.grow(&mut sources, &best, most, None);
    }

    fn reached(&self, source: &Source) -> Vec<f64> {
        if source.steps + 1 > self.task.most_steps {
            return vec![f64::INFINITY; self.task.levels.len()];
        }
        self.task.levels.iter().map(|level| source.variance + self.best_way(source.amount, *level)).collect()
    }

    /// Tries the tree as it stands, then with each further intermediate: not before the last in the order of parents, so that each set of
    /// intermediates comes once; one may be made twice.
    fn grow(&mut self, sources: &mut Vec<Source>, best: &[f64], most: usize, last: Option<(usize, usize)>) {
        self.trees += 1;
        let so_far = self.incumbent.as_ref().map_or(f64::INFINITY, |tree| tree.variance);
        let variance: f64 = best.iter().sum();
        if variance < so_far {
            self.assign(sources);
        }
        if most == 0 || self.trees >= MOST_TREES {
            return;
        }
        let so_far = self.incumbent.as_ref().map_or(f64::INFINITY, |tree| tree.variance);
        if best.iter().map(|one| one.min(self.floor)).sum::<f64>() >= so_far {
            return;
        }
        let (first_parent, first_place) = last.map_or((0, 0), |(parent, place)| (parent, place));
        for parent in first_parent..sources.len() {
            let from = if parent == first_parent { first_place } else { 0 };
            for (place, mut source) in self.intermediates(&sources[parent]).into_iter().enumerate().skip(from) {
                if let Some(made) = &mut source.made {
                    made.0 = parent;
                }
                let reached = self.reached(&source);
                let better: Vec<f64> = best.iter().zip(&reached).map(|(a, b)| a.min(*b)).collect();
                sources.push(source);
                self.grow(sources, &better, most - 1, Some((parent, place)));
                sources.pop();
                if self.trees >= MOST_TREES {
                    return;
                }
            }
        }
    }

    /// The best choice of a source for each level that the volumes allow.
    fn assign(&mut self, sources: &[Source]) {
        let mut holds: Vec<f64> = sources.iter().map(|source| source.holds).collect();
        for source in &sources[1..] {
            if let Some((parent, way)) = &source.made {
                holds[*parent] -= way.step.taken;
            }
        }
        if holds.iter().any(|left| *left < -SAME) {
            return;
        }
        let options: Vec<Vec<(usize, Way)>> = self
            .task
            .levels
            .iter()
            .map(|level| {
                let mut all: Vec<(usize, Way)> = Vec::new();
                for (place, source) in sources.iter().enumerate() {
                    if source.steps < self.task.most_steps {
                        all.extend(self.ways(source.amount, *level).into_iter().map(|way| (place, way)));
                    }
                }
                let total = |(place, way): &(usize, Way)| sources[*place].variance + way.variance;
                all.sort_by(|a, b| total(a).total_cmp(&total(b)));
                all
            })
            .collect();
        let least: Vec<f64> = options
            .iter()
            .map(|all| all.first().map_or(f64::INFINITY, |(place, way)| sources[*place].variance + way.variance))
            .collect();
        let mut chosen = Vec::with_capacity(options.len());
        self.choose(sources, &options, &least, &mut holds, &mut chosen, 0.0);
    }

    fn choose(
        &mut self,
        sources: &[Source],
        options: &[Vec<(usize, Way)>],
        least: &[f64],
        holds: &mut [f64],
        chosen: &mut Vec<(usize, Way)>,
        variance: f64,
    ) {
        let level = chosen.len();
        let so_far = self.incumbent.as_ref().map_or(f64::INFINITY, |tree| tree.variance);
        if variance + least[level..].iter().sum::<f64>() >= so_far {
            return;
        }
        if level == options.len() {
            self.incumbent = Some(self.tree(sources, chosen, variance));
            return;
        }
        for (place, way) in &options[level] {
            if way.step.taken <= holds[*place] * (1.0 + SAME) {
                holds[*place] -= way.step.taken;
                chosen.push((*place, *way));
                self.choose(sources, options, least, holds, chosen, variance + sources[*place].variance + way.variance);
                chosen.pop();
                holds[*place] += way.step.taken;
            }
        }
    }

    fn tree(&self, sources: &[Source], chosen: &[(usize, Way)], variance: f64) -> Tree {
        let from = |place: usize| if place == 0 { From::Stock } else { From::Intermediate(place - 1) };
        let made = |place: usize, way: &Way, amount: f64, variance: f64| Made {
            from: from(place),
            pipette: way.pipette,
            flask: way.flask,
            step: way.step,
            amount,
            u_relative: variance.sqrt(),
        };
        let intermediates = sources
            .iter()
            .filter_map(|source| {
                source.made.as_ref().map(|(parent, way)| made(*parent, way, source.amount, source.variance))
            })
            .collect();
        let levels = chosen
            .iter()
            .zip(self.task.levels)
            .map(|((place, way), level)| made(*place, way, *level, sources[*place].variance + way.variance))
            .collect();
        Tree { intermediates, levels, variance }
    }

    /// What no tree can be better than: each level straight from the stock, or at the floor of those by way of an intermediate.
    fn least_possible(&self) -> f64 {
        self.task.levels.iter().map(|level| self.best_way(self.task.stock, *level).min(self.floor)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ware::PipetteKind;
    use proptest::prelude::*;

    fn one_mark(ml: f64, tolerance_ml: f64) -> Pipette {
        let kind = PipetteKind::OneMark { volume: ml / 1e6, tolerance: tolerance_ml / 1e6 };
        Pipette { id: format!("B{ml}"), kind, due: None }
    }

    fn piston(from_ul: f64, to_ul: f64, systematic_ul: f64, random_ul: f64) -> Pipette {
        let kind = PipetteKind::Piston {
            from: from_ul / 1e9,
            to: to_ul / 1e9,
            increment: to_ul / 1e3 / 1e9,
            systematic: systematic_ul / 1e9,
            random: random_ul / 1e9,
        };
        Pipette { id: format!("P{to_ul}"), kind, due: None }
    }

    fn flask(ml: f64, tolerance_ml: f64) -> Flask {
        Flask { id: format!("F{ml}"), volume: ml / 1e6, tolerance: tolerance_ml / 1e6, due: None }
    }

    fn task<'a>(levels: &'a [f64], pipettes: &'a [Pipette], flasks: &'a [Flask]) -> Task<'a> {
        Task {
            stock: 1000.0,
            stock_volume: 1.0,
            levels,
            pipettes,
            flasks,
            least_volume: 0.0,
            least_pipetted: 0.0,
            most_steps: 3,
            most_intermediates: 2,
            rest: 0.0,
        }
    }

    /// Every tree there is, one after the other, with every choice of source and ware: the least variance.
    fn exhaustive(task: &Task<'_>, most: usize) -> f64 {
        // Amount, variance, steps, what it holds.
        fn go(task: &Task<'_>, sources: &mut Vec<(f64, f64, usize, f64)>, most: usize) -> f64 {
            let mut least = levels(task, sources, 0);
            if most == 0 {
                return least;
            }
            for parent in 0..sources.len() {
                let (amount, variance, steps, holds) = sources[parent];
                for pipette in task.pipettes {
                    for volume in pipette.round_settings() {
                        for flask in task.flasks {
                            let Some(u) = pipette.step(volume) else { continue };
                            if steps + 2 > task.most_steps
                                || volume < task.least_pipetted
                                || volume >= flask.volume
                                || volume > holds
                            {
                                continue;
                            }
                            let own = libm::pow(u / volume, 2.0) + libm::pow(flask.u() / flask.volume, 2.0);
                            sources[parent].3 -= volume;
                            sources.push((
                                amount * volume / flask.volume,
                                variance + own,
                                steps + 1,
                                flask.volume * (1.0 - task.rest),
                            ));
                            least = least.min(go(task, sources, most - 1));
                            sources.pop();
                            sources[parent].3 += volume;
                        }
                    }
                }
            }
            least
        }
        fn levels(task: &Task<'_>, sources: &mut Vec<(f64, f64, usize, f64)>, level: usize) -> f64 {
            let Some(wanted) = task.levels.get(level) else { return 0.0 };
            let mut least = f64::INFINITY;
            for place in 0..sources.len() {
                let (amount, variance, steps, holds) = sources[place];
                for pipette in task.pipettes {
                    for flask in task.flasks {
                        let volume = flask.volume * wanted / amount;
                        let Some(u) = pipette.step(volume) else { continue };
                        if steps >= task.most_steps
                            || flask.volume < task.least_volume
                            || volume < task.least_pipetted * (1.0 - 1e-9)
                            || volume >= flask.volume
                            || volume > holds * (1.0 + 1e-9)
                        {
                            continue;
                        }
                        let own = libm::pow(u / volume, 2.0) + libm::pow(flask.u() / flask.volume, 2.0);
                        sources[place].3 -= volume;
                        least = least.min(variance + own + levels(task, sources, level + 1));
                        sources[place].3 += volume;
                    }
                }
            }
            least
        }
        go(task, &mut vec![(task.stock, 0.0, 0, task.stock_volume)], most)
    }

    #[test]
    fn five_levels_of_lead_are_reached_from_a_stock_of_a_gram_a_litre() {
        let pipettes = [piston(100.0, 1000.0, 8.0, 3.0), one_mark(5.0, 0.015), one_mark(10.0, 0.02)];
        let flasks = [flask(50.0, 0.06), flask(100.0, 0.1)];
        // In mg/L: 5 to 50 µg/L.
        let levels = [0.005, 0.01, 0.02, 0.035, 0.05];
        let found = plan(&task(&levels, &pipettes, &flasks)).unwrap();
        assert!(found.is_proved);
        assert_eq!(found.tree.levels.len(), 5);
        for (made, level) in found.tree.levels.iter().zip(levels) {
            let From::Intermediate(place) = made.from else { panic!("no level is near enough to the stock") };
            let of = found.tree.intermediates[place].amount;
            assert!((made.step.of(of) / level - 1.0).abs() < 1e-9);
        }
        assert!(found.best[0].is_none(), "not straight from the stock");
    }

    #[test]
    fn what_cannot_be_reached_is_told_with_the_ware() {
        let (pipettes, flasks) = ([one_mark(10.0, 0.02)], [flask(100.0, 0.1)]);
        let told = plan(&Task { most_intermediates: 1, ..task(&[0.1], &pipettes, &flasks) }).unwrap_err();
        assert!(matches!(told, TreeFault::OutOfReach { level: 0.1, .. }), "{told}");
        assert!(plan(&task(&[1.0], &pipettes, &flasks)).is_ok(), "1000, 100, 10, 1: three steps");
        assert!(matches!(plan(&task(&[1.0], &pipettes, &[])), Err(TreeFault::NoWare { what: "flask" })));
        for none in [0.0, -1.0, 1000.0, f64::NAN] {
            assert!(matches!(plan(&task(&[none], &pipettes, &flasks)), Err(TreeFault::NoLevel { .. })), "{none}");
        }
    }

    #[test]
    fn levels_share_what_an_intermediate_holds() {
        // 10 mL of 100 are ten times 1 mL; with a rest of 1 mL nine times.
        let (pipettes, flasks) = ([one_mark(1.0, 0.008)], [flask(10.0, 0.025)]);
        let levels = [10.0; 10];
        let all = Task { most_intermediates: 1, ..task(&levels, &pipettes, &flasks) };
        assert!(plan(&all).is_ok());
        let with_rest = Task { rest: 0.1, ..all };
        assert!(matches!(plan(&with_rest), Err(TreeFault::TooLittle { .. })));
        assert!(plan(&Task { most_intermediates: 2, ..with_rest }).is_ok());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn no_tree_that_exists_is_surer_than_the_one_found(
            volumes in prop::collection::btree_set(prop::sample::select(vec![1_u32, 2, 5, 10, 20]), 1..3),
            flasks in prop::collection::btree_set(prop::sample::select(vec![25_u32, 50, 100]), 1..3),
            levels in prop::collection::vec(prop::sample::select(vec![0.4, 1.0, 2.0, 4.0, 10.0, 20.0, 40.0, 100.0]), 1..4),
            piston_too in any::<bool>(),
            stock_volume in prop::sample::select(vec![10e-6, 1.0]),
            rest in prop::sample::select(vec![0.0, 0.2, 0.6]),
            most in 0_usize..3,
        ) {
            let mut pipettes: Vec<Pipette> =
                volumes.iter().map(|ml| one_mark(f64::from(*ml), 0.005 + 0.002 * f64::from(*ml))).collect();
            if piston_too {
                let kind = PipetteKind::Piston { from: 0.8e-6, to: 1.0e-6, increment: 0.1e-6, systematic: 8e-9, random: 3e-9 };
                pipettes.push(Pipette { id: "P".into(), kind, due: None });
            }
            let flasks: Vec<Flask> = flasks.iter().map(|ml| flask(f64::from(*ml), 0.0015 * f64::from(*ml))).collect();
            let task = Task { stock_volume, rest, most_intermediates: most, ..task(&levels, &pipettes, &flasks) };
            let least = exhaustive(&task, most);
            match plan(&task) {
                Ok(found) => {
                    prop_assert!(found.is_proved);
                    let best = found.best[most].as_ref().unwrap().variance;
                    prop_assert!((best / least - 1.0).abs() < 1e-9, "{best} {least}");
                    let worth = (1.0 + WORTH_IT) * (1.0 + WORTH_IT);
                    prop_assert!(found.tree.variance <= worth * least * (1.0 + 1e-9));
                }
                Err(_) => prop_assert!(least.is_infinite(), "{least}"),
            }
        }
    }
}
