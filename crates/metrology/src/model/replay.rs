//! The tape replayed for a block of trials: every term a column, fits solved again at each trial.
//!
//! Source: JCGM 101:2008, 7.4: the model is evaluated for each draw of its inputs.

use super::draws::{BLOCK, Drawn, Streams};
use super::tape::{Node, PlacedFit, Tape};

/// The part of a tape that the wanted quantities rest on, with the streams it draws from.
pub(super) struct Plan<'t> {
    tape: &'t Tape,
    ys: Vec<u32>,
    /// Places of the tape that are replayed, in order.
    steps: Vec<u32>,
    /// Column of each place that is replayed.
    columns: Vec<u32>,
    /// Number of the draws of each source that is drawn.
    numbers: Vec<usize>,
    streams: Streams<'t>,
}

/// The columns of a block. One thread fills the same ones again and again.
#[derive(Default)]
pub(super) struct Workspace {
    drawn: Drawn,
    columns: Vec<f64>,
    /// Parameters of each fit, one after the other for each trial; empty until it is solved in this block.
    solutions: Vec<Vec<f64>>,
    inputs: Vec<f64>,
    has_solution: Vec<bool>,
}

impl<'t> Plan<'t> {
    pub fn new(tape: &'t Tape, ys: Vec<u32>) -> Self {
        let needed = tape.needed(&ys);
        let mut columns = vec![0; needed.len()];
        let mut steps = Vec::new();
        let mut taken_up: Vec<Option<usize>> = vec![None; tape.sources.len()];
        let mut streams = Streams::default();
        for place in (0..needed.len()).filter(|&place| needed[place]) {
            let place_on_tape = u32::try_from(place).expect("places of a tape are 32-bit numbers");
            columns[place] = u32::try_from(steps.len()).expect("steps are fewer than places");
            steps.push(place_on_tape);
            if let Node::Input { first, end } = tape.nodes[place] {
                for (rank, loading) in tape.loadings[first as usize..end as usize].iter().enumerate() {
                    let source = loading.source as usize;
                    let number = *taken_up[source].get_or_insert_with(|| streams.take_up(&tape.sources[source]));
                    streams.use_of(number, rank == 0);
                }
            }
        }
        let numbers = taken_up.into_iter().map(Option::unwrap_or_default).collect();
        Self { tape, ys, steps, columns, numbers, streams }
    }

    /// Replays the first `n` trials of a block and says how many had a solution.
    ///
    /// # Arguments
    /// * `n`: at most [`BLOCK`].
    /// * `kept`: [`BLOCK`] places for each wanted quantity, filled from the first on with the values of those trials.
    pub fn replay(&self, workspace: &mut Workspace, block: usize, n: usize, kept: &mut [f64]) -> usize {
        let Workspace { drawn, columns, solutions, inputs, has_solution } = workspace;
        self.streams.draw(block, drawn);
        columns.resize(self.steps.len() * BLOCK, 0.0);
        solutions.resize(self.tape.fits.len(), Vec::new());
        solutions.iter_mut().for_each(Vec::clear);
        has_solution.clear();
        has_solution.resize(n, true);
        for (step, &place) in self.steps.iter().enumerate() {
            let (before, column) = columns.split_at_mut(step * BLOCK);
            let before = Before { columns: before, places: &self.columns, n };
            let column = &mut column[..n];
            let one = |a: u32, column: &mut [f64], act: fn(f64) -> f64| {
                column.iter_mut().zip(before.of(a)).for_each(|(value, &a)| *value = act(a));
            };
            match self.tape.nodes[place as usize] {
                Node::Exact => column.fill(self.tape.values[place as usize]),
                Node::Input { first, end } => {
                    let middle = self.tape.values[place as usize];
                    let number = |source: u32| self.numbers[source as usize];
                    let loadings = &self.tape.loadings[first as usize..end as usize];
                    let Some((one, others)) = loadings.split_first() else {
                        column.fill(middle);
                        continue;
                    };
                    if self.streams.goes_straight(number(one.source)) {
                        let (number, words) = (number(one.source), &mut drawn.words);
                        self.streams.draw_straight(number, block, (middle, one.u), words, column);
                    } else {
                        let draws = drawn.column(number(one.source));
                        column.iter_mut().zip(draws).for_each(|(value, draw)| *value = middle + one.u * draw);
                    }
                    for loading in others {
                        let draws = drawn.column(number(loading.source));
                        column.iter_mut().zip(draws).for_each(|(value, draw)| *value += loading.u * draw);
                    }
                }
                Node::Add(a, b) => before.pairs(a, b, column, |a, b| a + b),
                Node::Sub(a, b) => before.pairs(a, b, column, |a, b| a - b),
                Node::Mul(a, b) => before.pairs(a, b, column, |a, b| a * b),
                Node::Div(a, b) => before.pairs(a, b, column, |a, b| a / b),
                Node::Atan2(a, b) => before.pairs(a, b, column, libm::atan2),
                Node::Sum { first, end } => {
                    column.fill(0.0);
                    for &term in &self.tape.terms_of_sums[first as usize..end as usize] {
                        column.iter_mut().zip(before.of(term)).for_each(|(value, term)| *value += term);
                    }
                }
                Node::Sqrt(a) => one(a, column, f64::sqrt),
                Node::Ln(a) => one(a, column, libm::log),
                Node::Exp(a) => one(a, column, libm::exp),
                Node::Sin(a) => one(a, column, libm::sin),
                Node::Cos(a) => one(a, column, libm::cos),
                Node::Solve { fit, parameter } => {
                    let (placed, solution) = (&self.tape.fits[fit as usize], &mut solutions[fit as usize]);
                    if solution.is_empty() {
                        solve(placed, &before, inputs, solution, has_solution);
                    }
                    let found = solution.iter().skip(parameter as usize).step_by(placed.fit.n_parameters());
                    column.iter_mut().zip(found).for_each(|(value, found)| *value = *found);
                }
            }
        }
        self.keep(columns, has_solution, kept)
    }

    /// Takes the wanted quantities over, in the trials that have a solution.
    fn keep(&self, columns: &[f64], has_solution: &mut [bool], kept: &mut [f64]) -> usize {
        let n = has_solution.len();
        let before = Before { columns, places: &self.columns, n };
        // A value that is not finite (a root of a negative draw, a division by a draw of zero) is no solution either.
        let mut all_have = has_solution.iter().fold(true, |all, ok| all & ok);
        for (&y, kept) in self.ys.iter().zip(kept.chunks_exact_mut(BLOCK)) {
            for (kept, value) in kept.iter_mut().zip(before.of(y)) {
                *kept = *value;
                all_have &= value.is_finite();
            }
        }
        if all_have {
            return n;
        }
        for &y in &self.ys {
            has_solution.iter_mut().zip(before.of(y)).for_each(|(ok, value)| *ok &= value.is_finite());
        }
        for (&y, kept) in self.ys.iter().zip(kept.chunks_exact_mut(BLOCK)) {
            let found = before.of(y).iter().zip(has_solution.iter()).filter(|(_, ok)| **ok);
            kept.iter_mut().zip(found).for_each(|(kept, (value, _))| *kept = *value);
        }
        has_solution.iter().filter(|ok| **ok).count()
    }
}

/// Solves a fit for every trial of a block.
fn solve(
    placed: &PlacedFit,
    before: &Before<'_>,
    inputs: &mut Vec<f64>,
    found: &mut Vec<f64>,
    has_solution: &mut [bool],
) {
    let n_parameters = placed.fit.n_parameters();
    found.resize(n_parameters * has_solution.len(), 0.0);
    for (trial, (solution, ok)) in found.chunks_exact_mut(n_parameters).zip(has_solution).enumerate() {
        inputs.clear();
        inputs.extend(placed.from.iter().map(|&from| before.of(from)[trial]));
        *ok &= placed.fit.solve(inputs, solution).is_ok();
    }
}

/// The columns filled so far.
struct Before<'w> {
    columns: &'w [f64],
    places: &'w [u32],
    n: usize,
}

impl Before<'_> {
    /// The column of a place of the tape.
    fn of(&self, place: u32) -> &[f64] {
        let start = self.places[place as usize] as usize * BLOCK;
        &self.columns[start..start + self.n]
    }

    fn pairs(&self, a: u32, b: u32, column: &mut [f64], act: impl Fn(f64, f64) -> f64) {
        for ((value, &a), &b) in column.iter_mut().zip(self.of(a)).zip(self.of(b)) {
            *value = act(a, b);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::kind::{Factor, Kind};
    use crate::model::{Fit, Model, NoSolution};
    use crate::source::{Source, SourceId};

    /// Sum and product of two numbers, from the larger root and the smaller: no solution where they are not in order.
    #[derive(Debug)]
    struct InOrder;

    impl Fit for InOrder {
        fn n_parameters(&self) -> usize {
            2
        }
        fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
            if inputs[0] < inputs[1] {
                return Err(NoSolution { reason: format!("{} is below {}", inputs[0], inputs[1]) });
            }
            parameters.copy_from_slice(&[inputs[0] + inputs[1], inputs[0] * inputs[1]]);
            Ok(())
        }
        fn partials(&self, inputs: &[f64], _: &[f64], partials: &mut [f64]) {
            partials.copy_from_slice(&[1.0, 1.0, inputs[1], inputs[0]]);
        }
        fn describe(&self) -> String {
            "two numbers in order".into()
        }
    }

    #[test]
    fn a_fit_is_solved_again_at_each_trial_and_left_out_where_it_cannot_be() {
        let model = Model::new();
        let input =
            |name: &str, value: f64| model.input(Factor::from_si(value), &[Source::normal(SourceId::new(name), 0.1)]);
        let (a, b) = (input("a", 2.0), input("b", 1.9));
        let solved = model.solve(Arc::new(InOrder), vec![a.node(), b.node()]).unwrap();
        let (sum, product) = (model.term::<Factor>(solved[0]), model.term::<Factor>(solved[1]));
        assert!((model.first_order(product).u() - libm::hypot(0.2, 0.19)).abs() < 1e-15);
        assert_eq!(model.second_order(product), None);

        let trials = 10_000;
        let samples = model.monte_carlo(&[a, b, sum, product], trials);
        let n_kept = samples[0].values().len();
        assert_eq!(n_kept + samples[0].n_without_solution as usize, trials as usize);
        // The difference is 0.1 with u = 0.1·√2: below zero in 24 % of the trials.
        assert!((0.22..0.26).contains(&(f64::from(samples[0].n_without_solution) / f64::from(trials))));
        let [a, b, sum, product] = &samples[..] else { panic!("four quantities") };
        for trial in 0..n_kept {
            let (a, b) = (a.values()[trial], b.values()[trial]);
            assert!(a >= b);
            assert_eq!((sum.values()[trial], product.values()[trial]), (a + b, a * b));
        }
    }
}
