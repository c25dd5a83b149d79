//! Propagation of distributions: the tape replayed with draws, fits solved again at each trial.
//!
//! Draws are counter-based: the stream of a source is keyed by its name, trial `i` takes the `i`-th 64-bit word of it.
//! Neither threads nor added sources move a digit.
//!
//! Invariant: equal models give equal samples, bit for bit, for any number of threads.

use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

use super::spread::Spread;
use super::tape::{KnownSource, Model, Node, Tape};
use super::term::Term;
use crate::distribution::normal;
use crate::kind::Kind;
use crate::source::Shape;

/// Trials replayed together: enough to amortise the walk along the tape, few enough to stay in cache.
const BLOCK: usize = 256;

/// The values a quantity took in the trials.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample<K> {
    /// Values in the order of the trials, in SI.
    values: Vec<f64>,
    /// The same, sorted.
    sorted: Vec<f64>,
    /// Trials in which a fit had no solution; they are left out for every quantity alike.
    pub n_without_solution: u32,
    kind: std::marker::PhantomData<K>,
}

/// A coverage interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval<K> {
    /// Lower end.
    pub low: K,
    /// Upper end.
    pub high: K,
}

impl<K: Kind> Sample<K> {
    fn new(values: Vec<f64>, n_without_solution: u32) -> Self {
        let mut sorted = values.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        Self { values, sorted, n_without_solution, kind: std::marker::PhantomData }
    }

    /// Values in the order of the trials, in the SI unit.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The mean of the trials: the estimate (JCGM 101:2008, 7.6, equation (16)). `None` without trials.
    pub fn mean(&self) -> Option<K> {
        crate::summary::mean(&self.values).map(K::from_si)
    }

    /// The standard deviation of the trials: u (JCGM 101:2008, 7.6, equation (17)). `None` below two trials.
    pub fn u(&self) -> Option<K> {
        crate::summary::sd(&self.values).map(K::from_si)
    }

    /// The probabilistically symmetric coverage interval.
    ///
    /// # Source
    /// JCGM 101:2008, 7.7.2: q = pM, rounded to an integer where it is none; r = (M − q)/2.
    pub fn symmetric_interval(&self, probability: f64) -> Option<Interval<K>> {
        let q = self.coverage_count(probability)?;
        let m = self.sorted.len();
        let r = (m - q).div_ceil(2).max(1);
        Some(self.between(r - 1, (r + q - 1).min(m - 1)))
    }

    /// The shortest coverage interval.
    ///
    /// # Source
    /// JCGM 101:2008, 7.7.4.
    pub fn shortest_interval(&self, probability: f64) -> Option<Interval<K>> {
        let q = self.coverage_count(probability)?;
        let first = (0..self.sorted.len() - q).min_by(|&a, &b| {
            let (a, b) = (self.sorted[a + q] - self.sorted[a], self.sorted[b + q] - self.sorted[b]);
            a.total_cmp(&b)
        })?;
        Some(self.between(first, first + q))
    }

    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "trials are below 2^32"
    )]
    fn coverage_count(&self, probability: f64) -> Option<usize> {
        let m = self.sorted.len();
        if m < 2 || probability.is_nan() || probability <= 0.0 || probability >= 1.0 {
            return None;
        }
        let q = (probability * m as f64 + 0.5).floor() as usize;
        (q >= 1 && q < m).then_some(q)
    }

    fn between(&self, low: usize, high: usize) -> Interval<K> {
        Interval { low: K::from_si(self.sorted[low]), high: K::from_si(self.sorted[high]) }
    }
}

/// One source as it is drawn.
struct Stream {
    key: [u8; 32],
    shape: Shape,
    /// Place of the stream of its estimated standard deviation or limits.
    scale: Option<usize>,
}

/// What was estimated, and is therefore drawn itself.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Estimated {
    /// A standard deviation.
    Deviation,
    /// The limits of a rectangle.
    Limits,
}

/// A factor on the draws of one source, or of all sources of a pool.
struct Scale {
    key: [u8; 32],
    factor: Factors,
}

/// How the factor comes about.
enum Factors {
    /// That of a t.
    Spread(Spread),
    /// One more or less by up to this, the half-width of a rectangle.
    Limits { by: f64 },
}

impl Model {
    /// Replays the model with draws and returns the values that each quantity took, trial by trial together.
    ///
    /// A normal source with finite degrees of freedom is a scaled and shifted t, and its standard deviation then larger
    /// than u by √(ν/(ν − 2)); a rectangular one is a curvilinear trapezoid, larger by √(1 + 1/(6ν)). Sources of one
    /// pool share one draw of what was estimated, as a multivariate t does. Triangular and arcsine sources are drawn as
    /// if known. Fewer than one degree of freedom count as one.
    ///
    /// # Arguments
    /// * `ys`: the quantities wanted.
    /// * `trials`: how often; JCGM 101 7.2 suggests 10⁶ for a 95 % interval to two digits.
    ///
    /// # Source
    /// JCGM 101:2008, 5.9 and 7; 6.4.3 for the curvilinear trapezoid, 6.4.9 for the t distribution; JCGM 102:2011, 5.3.2
    /// for its multivariate form. Checked by `tests/published/jcgm_101.rs` and `jcgm_102.rs`.
    pub fn monte_carlo<K: Kind>(&self, ys: &[Term<'_, K>], trials: u32) -> Vec<Sample<K>> {
        let tape = self.tape.borrow();
        let plan = Plan::new(&tape, ys.iter().map(|y| y.node).collect());
        let blocks = (trials as usize).div_ceil(BLOCK);
        let done: Vec<Block> = (0..blocks)
            .into_par_iter()
            .map(|block| {
                let first = block * BLOCK;
                plan.replay(first, BLOCK.min(trials as usize - first))
            })
            .collect();
        let failed: u32 = done.iter().map(|block| block.n_without_solution).sum();
        (0..ys.len())
            .map(|y| Sample::new(done.iter().flat_map(|block| block.values[y].iter().copied()).collect(), failed))
            .collect()
    }
}

/// What one block of trials gave: values by quantity, only of trials in which every fit had a solution.
struct Block {
    values: Vec<Vec<f64>>,
    n_without_solution: u32,
}

/// The part of a tape that the wanted quantities rest on, with the streams it draws from.
struct Plan<'t> {
    tape: &'t Tape,
    ys: Vec<u32>,
    needed: Vec<bool>,
    streams: Vec<Option<Stream>>,
    scales: Vec<Scale>,
}

impl<'t> Plan<'t> {
    fn new(tape: &'t Tape, ys: Vec<u32>) -> Self {
        let needed = tape.needed(&ys);
        let mut needed_sources = vec![false; tape.sources.len()];
        for (node, _) in tape.nodes.iter().zip(&needed).filter(|(_, needed)| **needed) {
            if let Node::Input { first, end } = *node {
                for loading in &tape.loadings[first as usize..end as usize] {
                    needed_sources[loading.source as usize] = true;
                }
            }
        }
        let mut scales = Vec::new();
        let mut places = BTreeMap::new();
        let streams = tape
            .sources
            .iter()
            .zip(needed_sources)
            .map(|(source, needed)| {
                needed.then(|| Stream {
                    key: key("source", source.id.as_str()),
                    shape: source.shape,
                    scale: scale_of(source, &mut places, &mut scales),
                })
            })
            .collect();
        Self { tape, ys, needed, streams, scales }
    }

    fn replay(&self, first: usize, n: usize) -> Block {
        let scales: Vec<Vec<f64>> = self
            .scales
            .iter()
            .map(|scale| {
                let factor = |word: u64| match &scale.factor {
                    Factors::Spread(spread) => spread.of(normal::draw(word)),
                    Factors::Limits { by } => 1.0 + (2.0 * uniform(word) - 1.0) * by,
                };
                words(&scale.key, first, n).map(factor).collect()
            })
            .collect();
        let draws: Vec<Vec<f64>> = self
            .streams
            .iter()
            .map(|stream| stream.as_ref().map_or_else(Vec::new, |stream| standard_draws(stream, &scales, first, n)))
            .collect();
        let mut values: Vec<Vec<f64>> = vec![Vec::new(); self.tape.nodes.len()];
        let mut solved: Vec<Option<Vec<f64>>> = vec![None; self.tape.fits.len()];
        let mut has_solution = vec![true; n];
        for (place, node) in
            self.tape.nodes.iter().enumerate().filter(|(place, _)| self.needed.get(*place) == Some(&true))
        {
            let of = |node: u32| &values[node as usize];
            let pairs = |a: u32, b: u32, act: fn(f64, f64) -> f64| -> Vec<f64> {
                of(a).iter().zip(of(b)).map(|(&a, &b)| act(a, b)).collect()
            };
            let each = |a: u32, act: fn(f64) -> f64| -> Vec<f64> { of(a).iter().map(|&a| act(a)).collect() };
            let column = match *node {
                Node::Exact => vec![self.tape.values[place]; n],
                Node::Input { first, end } => {
                    let mut column = vec![self.tape.values[place]; n];
                    for loading in &self.tape.loadings[first as usize..end as usize] {
                        for (value, draw) in column.iter_mut().zip(&draws[loading.source as usize]) {
                            *value += loading.u * draw;
                        }
                    }
                    column
                }
                Node::Add(a, b) => pairs(a, b, |a, b| a + b),
                Node::Sub(a, b) => pairs(a, b, |a, b| a - b),
                Node::Mul(a, b) => pairs(a, b, |a, b| a * b),
                Node::Div(a, b) => pairs(a, b, |a, b| a / b),
                Node::Sum { first, end } => {
                    let mut column = vec![0.0; n];
                    for &term in &self.tape.terms_of_sums[first as usize..end as usize] {
                        for (value, term) in column.iter_mut().zip(of(term)) {
                            *value += term;
                        }
                    }
                    column
                }
                Node::Sqrt(a) => each(a, f64::sqrt),
                Node::Ln(a) => each(a, libm::log),
                Node::Exp(a) => each(a, libm::exp),
                Node::Sin(a) => each(a, libm::sin),
                Node::Cos(a) => each(a, libm::cos),
                Node::Atan2(a, b) => pairs(a, b, libm::atan2),
                Node::Solve { fit, parameter } => {
                    let placed = &self.tape.fits[fit as usize];
                    let parameters = solved[fit as usize].get_or_insert_with(|| {
                        let n_parameters = placed.fit.n_parameters();
                        let mut inputs = vec![0.0; placed.from.len()];
                        let mut solutions = vec![0.0; n_parameters * n];
                        for trial in 0..n {
                            for (input, &from) in inputs.iter_mut().zip(&placed.from) {
                                *input = values[from as usize][trial];
                            }
                            let solution = &mut solutions[trial * n_parameters..(trial + 1) * n_parameters];
                            has_solution[trial] &= placed.fit.solve(&inputs, solution).is_ok();
                        }
                        solutions
                    });
                    let n_parameters = placed.fit.n_parameters();
                    parameters.iter().skip(parameter as usize).step_by(n_parameters).copied().collect()
                }
            };
            values[place] = column;
        }
        // A value that is not finite (a root of a negative draw, a division by a draw of zero) is no solution either.
        for &y in &self.ys {
            for (ok, value) in has_solution.iter_mut().zip(&values[y as usize]) {
                *ok &= value.is_finite();
            }
        }
        let kept = |y: &u32| -> Vec<f64> {
            let column = values[*y as usize].iter().zip(&has_solution);
            column.filter(|(_, ok)| **ok).map(|(value, _)| *value).collect()
        };
        let failed = has_solution.iter().filter(|ok| !**ok).count();
        Block {
            values: self.ys.iter().map(kept).collect(),
            n_without_solution: u32::try_from(failed).expect("a block is short"),
        }
    }
}

/// The place of the scale of a source, which is new unless it shares one.
fn scale_of<'t>(
    source: &'t KnownSource,
    places: &mut BTreeMap<(Estimated, &'static str, &'t str), usize>,
    scales: &mut Vec<Scale>,
) -> Option<usize> {
    let of = match source.shape {
        Shape::Normal => Estimated::Deviation,
        Shape::Rectangular => Estimated::Limits,
        Shape::Triangular | Shape::Arcsine => return None,
    };
    if source.dof == f64::INFINITY {
        return None;
    }
    let (role, name) = match (&source.pool, of) {
        (Some(pool), Estimated::Deviation) => ("pool", pool.as_str()),
        (Some(pool), Estimated::Limits) => ("pool limits", pool.as_str()),
        (None, Estimated::Deviation) => ("deviation", source.id.as_str()),
        (None, Estimated::Limits) => ("limits", source.id.as_str()),
    };
    Some(*places.entry((of, role, name)).or_insert_with(|| {
        let dof = if source.dof >= 1.0 { source.dof } else { 1.0 };
        let factor = match of {
            Estimated::Deviation => Factors::Spread(Spread::new(dof)),
            Estimated::Limits => Factors::Limits { by: 1.0 / (2.0 * dof).sqrt() },
        };
        scales.push(Scale { key: key(role, name), factor });
        scales.len() - 1
    }))
}

/// Key of a stream: SHA-256 of its role and name.
fn key(role: &str, name: &str) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(role.as_bytes());
    hash.update(b"/");
    hash.update(name.as_bytes());
    hash.finalize().into()
}

/// The words of a stream from trial `first` on.
fn words(key: &[u8; 32], first: usize, n: usize) -> impl Iterator<Item = u64> {
    let mut stream = ChaCha12Rng::from_seed(*key);
    stream.set_word_pos(2 * first as u128);
    (0..n).map(move |_| stream.next_u64())
}

/// A uniform number strictly between 0 and 1 from 64 random bits: the middle of one of 2⁵² cells, which is exact, so that
/// neither end is met.
#[expect(clippy::cast_precision_loss, reason = "52 bits and a half are exact")]
fn uniform(word: u64) -> f64 {
    ((word >> 12) as f64 + 0.5) * (1.0 / 4_503_599_627_370_496.0)
}

/// Draws with standard deviation one (before the scale of a t).
fn standard_draws(stream: &Stream, scales: &[Vec<f64>], first: usize, n: usize) -> Vec<f64> {
    let words = words(&stream.key, first, n);
    let mut draws: Vec<f64> = match stream.shape {
        Shape::Normal => words.map(normal::draw).collect(),
        Shape::Rectangular => {
            let half_width = 3.0_f64.sqrt();
            words.map(|word| half_width * (2.0 * uniform(word) - 1.0)).collect()
        }
        Shape::Triangular => {
            let half_width = 6.0_f64.sqrt();
            let inverse = |p: f64| if p < 0.5 { (2.0 * p).sqrt() - 1.0 } else { 1.0 - (2.0 * (1.0 - p)).sqrt() };
            words.map(|word| half_width * inverse(uniform(word))).collect()
        }
        Shape::Arcsine => {
            let half_width = 2.0_f64.sqrt();
            words.map(|word| half_width * libm::sin(std::f64::consts::PI * (uniform(word) - 0.5))).collect()
        }
    };
    if let Some(scale) = stream.scale {
        for (draw, scale) in draws.iter_mut().zip(&scales[scale]) {
            *draw *= scale;
        }
    }
    draws
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use crate::source::{PoolId, Source, SourceId};

    fn two_terms(model: &Model, extra: bool) -> Term<'_, Factor> {
        if extra {
            let _unused = model.input(Factor::from_si(9.0), &[Source::normal(SourceId::new("extra"), 3.0)]);
        }
        let a = model.input(Factor::from_si(2.0), &[Source::normal(SourceId::new("a"), 0.1)]);
        let b = model.input(Factor::from_si(3.0), &[Source::estimated(SourceId::new("b"), 0.2, 7.0)]);
        a * b
    }

    #[test]
    fn threads_and_other_sources_move_no_digit() {
        let plain = {
            let model = Model::new();
            let y = two_terms(&model, false);
            model.monte_carlo(&[y], 5000)
        };
        for threads in [1, 2, 3] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let with_more = pool.install(|| {
                let model = Model::new();
                let y = two_terms(&model, true);
                model.monte_carlo(&[y], 5000)
            });
            assert_eq!(plain, with_more);
        }
        let shorter = {
            let model = Model::new();
            let y = two_terms(&model, false);
            model.monte_carlo(&[y], 100)
        };
        assert_eq!(shorter[0].values(), &plain[0].values()[..100]);
    }

    #[test]
    fn no_draw_meets_an_end() {
        for word in [0, u64::MAX] {
            let p = uniform(word);
            assert!(p > 0.0 && p < 1.0, "{p}");
        }
        assert_eq!(uniform(0), 1.0 - uniform(u64::MAX));
    }

    #[test]
    fn a_source_and_a_pool_of_one_name_are_drawn_apart() {
        let model = Model::new();
        let own = model.input(Factor::from_si(0.0), &[Source::estimated(SourceId::new("a"), 1.0, 3.0)]);
        let pooled =
            model.input(Factor::from_si(0.0), &[Source::pooled(SourceId::new("b"), 1.0, 3.0, PoolId::new("a"))]);
        let tape = model.tape.borrow();
        let plan = Plan::new(&tape, vec![own.node(), pooled.node()]);
        assert_eq!(plan.scales.len(), 2);
        assert_ne!(plan.scales[0].key, plan.scales[1].key);
    }

    #[test]
    fn limits_that_are_estimates_make_a_curvilinear_trapezoid() {
        let model = Model::new();
        let known = Source::shaped(SourceId::new("a"), 1.0, Shape::Rectangular);
        let x = model.input(Factor::from_si(0.0), &[Source { dof: 2.0, ..known }]);
        let sample = &model.monte_carlo(&[x], 200_000)[0];
        // JCGM 101:2008, 6.4.3.3: variance (b − a)²/12 + d²/9; here b − a = 2√3 and d = √3/2.
        let u = sample.u().unwrap().si();
        assert!((u - (1.0_f64 + 1.0 / 12.0).sqrt()).abs() < 0.005, "{u}");
        let furthest = 1.5 * 3.0_f64.sqrt();
        let reach = sample.values().iter().fold(0.0_f64, |reach, x| reach.max(x.abs()));
        assert!(reach < furthest && reach > 0.98 * furthest, "{reach}");
    }

    #[test]
    fn degrees_of_freedom_that_are_none_still_give_draws() {
        for dof in [0.0, -1.0, f64::NAN, f64::NEG_INFINITY] {
            let model = Model::new();
            let x = model.input(Factor::from_si(0.0), &[Source::estimated(SourceId::new("a"), 1.0, dof)]);
            assert_eq!(model.monte_carlo(&[x], 100)[0].n_without_solution, 0, "{dof}");
        }
    }

    #[test]
    fn one_pool_scales_its_sources_together() {
        let model = Model::new();
        let pool = PoolId::new("residual");
        let source = |name: &str| Source::pooled(SourceId::new(name), 1.0, 5.0, pool.clone());
        let a = model.input(Factor::from_si(0.0), &[source("a")]);
        let b = model.input(Factor::from_si(0.0), &[source("b")]);
        let samples = model.monte_carlo(&[a, b, a - b], 200_000);
        // A t with 5 degrees of freedom has the standard deviation √(5/3); the squares of two of one pool correlate.
        let u = samples[0].u().unwrap().si();
        assert!((u - (5.0_f64 / 3.0).sqrt()).abs() < 0.02, "{u}");
        let product: f64 = samples[0].values().iter().zip(samples[1].values()).map(|(a, b)| a * a * b * b).sum();
        let product = product / 200_000.0;
        let independent = (5.0 / 3.0) * (5.0 / 3.0);
        assert!(product > 1.5 * independent, "{product}");
    }
}
