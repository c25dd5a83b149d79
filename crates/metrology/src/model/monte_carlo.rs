//! Propagation of distributions: the sample that a quantity takes when the tape is replayed with draws, and its intervals.
//!
//! Invariant: equal models give equal samples, bit for bit, for any number of threads.

use rayon::prelude::*;

use super::draws::BLOCK;
use super::replay::{Block, Plan, Workspace};
use super::tape::Model;
use super::term::Term;
use crate::kind::Kind;

/// The values a quantity took in the trials.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample<K> {
    /// Values in the order of the trials, in SI.
    values: Vec<f64>,
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
        Self { values, n_without_solution, kind: std::marker::PhantomData }
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
        let m = self.values.len();
        let r = (m - q).div_ceil(2);
        let (low, high) = (r - 1, r + q - 1);
        let mut values = self.values.clone();
        // Two places of the order are wanted, not the order.
        let (below, high, _) = values.select_nth_unstable_by(high, f64::total_cmp);
        let (_, low, _) = below.select_nth_unstable_by(low, f64::total_cmp);
        Some(Interval { low: K::from_si(*low), high: K::from_si(*high) })
    }

    /// The shortest coverage interval.
    ///
    /// # Source
    /// JCGM 101:2008, 7.7.4.
    pub fn shortest_interval(&self, probability: f64) -> Option<Interval<K>> {
        let q = self.coverage_count(probability)?;
        let mut values = self.values.clone();
        // The interval begins among the lowest and ends among as many of the highest; those between need no order.
        let n_ends = values.len() - q;
        if n_ends < q {
            values.select_nth_unstable_by(q, f64::total_cmp);
            values[..q].select_nth_unstable_by(n_ends, f64::total_cmp);
            values[..n_ends].sort_unstable_by(f64::total_cmp);
            values[q..].sort_unstable_by(f64::total_cmp);
        } else {
            values.sort_unstable_by(f64::total_cmp);
        }
        let first = (0..n_ends).min_by(|&a, &b| {
            let (a, b) = (values[a + q] - values[a], values[b + q] - values[b]);
            a.total_cmp(&b)
        })?;
        Some(Interval { low: K::from_si(values[first]), high: K::from_si(values[first + q]) })
    }

    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "trials are below 2^32"
    )]
    fn coverage_count(&self, probability: f64) -> Option<usize> {
        let m = self.values.len();
        if m < 2 || probability.is_nan() || probability <= 0.0 || probability >= 1.0 {
            return None;
        }
        let q = (probability * m as f64 + 0.5).floor() as usize;
        (q >= 1 && q < m).then_some(q)
    }
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
            .map_init(Workspace::default, |workspace, block| {
                let first = block * BLOCK;
                plan.replay(workspace, first, BLOCK.min(trials as usize - first))
            })
            .collect();
        let failed: u32 = done.iter().map(|block| block.n_without_solution).sum();
        (0..ys.len())
            .map(|y| Sample::new(done.iter().flat_map(|block| block.values[y].iter().copied()).collect(), failed))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use crate::source::{PoolId, Shape, Source, SourceId};
    use proptest::prelude::*;
    use sha2::{Digest, Sha256};

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

    /// The same bits on every machine, in debug and release. A change of the digest changes digits of results: say so.
    #[test]
    fn the_digits_of_a_sample_are_pinned() {
        let model = Model::new();
        let shapes = [Shape::Normal, Shape::Rectangular, Shape::Triangular, Shape::Arcsine];
        let known: Vec<_> = shapes
            .iter()
            .map(|shape| {
                let source = Source::shaped(SourceId::new(shape.word()), 0.1, *shape);
                model.input(Factor::from_si(2.0), &[source.clone(), Source { u: -0.05, ..source }])
            })
            .collect();
        let limits = Source { dof: 4.0, ..Source::shaped(SourceId::new("limits"), 0.1, Shape::Rectangular) };
        let spread = Source::estimated(SourceId::new("spread"), 0.1, 4.0);
        let pooled = |name: &str| Source::pooled(SourceId::new(name), 0.1, 3.5, PoolId::new("pool"));
        let a = model.input(Factor::from_si(3.0), &[limits, pooled("a")]);
        let b = model.input(Factor::from_si(4.0), &[spread, pooled("b")]);
        let [normal, rectangular, triangular, arcsine] = known[..] else { panic!("four shapes") };
        let y = normal.sin() * rectangular.exp() / (triangular + arcsine).sqrt() - a.ln().atan2(b.cos());
        let z = model.mean(&[a, b, y]);
        let mut hash = Sha256::new();
        for sample in model.monte_carlo(&[y, z], 3000) {
            sample.values().iter().for_each(|value| hash.update(value.to_bits().to_le_bytes()));
        }
        let digest: String = hash.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(digest, "6813e6cfecaf3aba");
    }

    proptest! {
        #[test]
        fn intervals_are_those_of_the_sorted_values(
            values in prop::collection::vec(prop_oneof![-5.0..5.0_f64, Just(0.0), Just(-0.0), Just(1.0)], 2..60),
            probability in 0.01..0.99_f64,
        ) {
            let sample = Sample::<Factor>::new(values.clone(), 0);
            let mut sorted = values;
            sorted.sort_by(f64::total_cmp);
            let m = sorted.len();
            let q = (probability * m as f64 + 0.5).floor() as usize;
            let (symmetric, shortest) = (sample.symmetric_interval(probability), sample.shortest_interval(probability));
            if q == 0 || q == m {
                prop_assert!(symmetric.is_none() && shortest.is_none());
            } else {
                let ends = |interval: Option<Interval<Factor>>| interval.map(|x| (x.low.si().to_bits(), x.high.si().to_bits()));
                // JCGM 101:2008, 7.7.2, ranks counted from one.
                let r = (m - q).div_ceil(2);
                prop_assert_eq!(ends(symmetric), Some((sorted[r - 1].to_bits(), sorted[r + q - 1].to_bits())));
                let length = |r: usize| sorted[r + q] - sorted[r];
                let first = (1..m - q).fold(0, |best, r| if length(r) < length(best) { r } else { best });
                prop_assert_eq!(ends(shortest), Some((sorted[first].to_bits(), sorted[first + q].to_bits())));
            }
        }
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
