//! Propagation of distributions: the tape replayed with draws, block by block, on as many threads as there are.
//!
//! Invariant: equal models give equal samples, bit for bit, for any number of threads.

use rayon::prelude::*;

use super::draws::BLOCK;
use super::replay::{Plan, Workspace};
use super::sample::Sample;
use super::tape::Model;
use super::term::Term;
use crate::kind::Kind;

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
        let trials = trials as usize;
        let n_blocks = trials.div_ceil(BLOCK);
        if ys.is_empty() {
            return Vec::new();
        }
        let mut blocks = vec![0.0; n_blocks * ys.len() * BLOCK];
        let kept: Vec<usize> = blocks
            .par_chunks_exact_mut(ys.len() * BLOCK)
            .enumerate()
            .map_init(Workspace::default, |workspace, (block, kept)| {
                plan.replay(workspace, block, BLOCK.min(trials - block * BLOCK), kept)
            })
            .collect();
        let failed = trials - kept.iter().sum::<usize>();
        let failed = u32::try_from(failed).expect("not more than there were trials");
        if ys.len() == 1 {
            // The usual case needs no second memory: what is kept moves up.
            let mut end = 0;
            for (block, &n) in kept.iter().enumerate() {
                let first = block * BLOCK;
                if end != first {
                    blocks.copy_within(first..first + n, end);
                }
                end += n;
            }
            blocks.truncate(end);
            return vec![Sample::new(blocks, failed)];
        }
        (0..ys.len())
            .map(|y| {
                let mut values = Vec::with_capacity(trials - failed as usize);
                for (columns, &n) in blocks.chunks_exact(ys.len() * BLOCK).zip(&kept) {
                    values.extend_from_slice(&columns[y * BLOCK..y * BLOCK + n]);
                }
                Sample::new(values, failed)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use crate::source::{PoolId, Shape, Source, SourceId};
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
        assert_eq!(digest, "fb509578b4ca40f1");
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
