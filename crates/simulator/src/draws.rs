//! Random draws, each stream named by what it is drawn for.
//!
//! Invariant: a stream depends on nothing but the seed and its name. Neither the order of work nor what else is drawn
//! moves a digit, and every transcendental comes from `libm`.

use core::f64::consts::PI;

use darkline_metrology::source::Shape;
use darkline_record::identity::RunId;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sha2::{Digest as _, Sha256};

/// One stream of draws.
pub(crate) struct Draws {
    stream: ChaCha12Rng,
    /// The transform gives normal draws in pairs; the second waits here.
    spare: Option<f64>,
}

impl Draws {
    /// The stream of one firing.
    pub(crate) fn of_firing(seed: u64, run: &RunId, row: u32, replicate: u8, attempt: u8) -> Self {
        let mut hash = Sha256::new();
        hash.update(b"darkline/simulator/1\nfiring\n");
        hash.update(seed.to_le_bytes());
        // The length keeps run R1 row 2 apart from a run whose name goes on where this one ends.
        hash.update((run.as_str().len() as u64).to_le_bytes());
        hash.update(run.as_str());
        hash.update(row.to_le_bytes());
        hash.update([replicate, attempt]);
        Self::keyed(hash)
    }

    /// The stream of a cause of uncertainty: what a flask, a stock or a weighing really is off by.
    pub(crate) fn of_cause(seed: u64, cause: &str) -> Self {
        let mut hash = Sha256::new();
        hash.update(b"darkline/simulator/1\ncause\n");
        hash.update(seed.to_le_bytes());
        hash.update(cause);
        Self::keyed(hash)
    }

    fn keyed(hash: Sha256) -> Self {
        Self { stream: ChaCha12Rng::from_seed(hash.finalize().into()), spare: None }
    }

    /// A number above 0 and at most 1, of 53 bits.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.stream.next_u64() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// A number of the standard normal distribution.
    ///
    /// # Source
    /// G. E. P. Box, M. E. Muller, Ann. Math. Statist. 29 (1958) 610 (from memory). Nothing is rejected, so every
    /// draw takes the same part of the stream.
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        let (sine, cosine) = libm::sincos(2.0 * PI * self.uniform());
        self.spare = Some(radius * sine);
        radius * cosine
    }

    /// A number of mean 0 and standard deviation 1, of a stated shape.
    ///
    /// # Source
    /// JCGM 101:2008, 6.4.2 (rectangular), 6.4.5 (triangular, the sum of two rectangular), 6.4.6 (arcsine).
    pub(crate) fn of_shape(&mut self, shape: Shape) -> f64 {
        match shape {
            Shape::Normal => self.normal(),
            Shape::Rectangular => 3.0_f64.sqrt() * (2.0 * self.uniform() - 1.0),
            Shape::Triangular => 6.0_f64.sqrt() * (self.uniform() + self.uniform() - 1.0),
            Shape::Arcsine => 2.0_f64.sqrt() * libm::sin(2.0 * PI * self.uniform()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const N: usize = 40_000;

    /// Mean and standard deviation, to be held against 0 and 1.
    fn moments(mut draw: impl FnMut() -> f64) -> (f64, f64) {
        let draws: Vec<f64> = (0..N).map(|_| draw()).collect();
        let mean = draws.iter().sum::<f64>() / N as f64;
        let squares: f64 = draws.iter().map(|x| (x - mean) * (x - mean)).sum();
        (mean, (squares / (N - 1) as f64).sqrt())
    }

    #[test]
    fn every_shape_has_mean_0_and_standard_deviation_1() {
        for shape in [Shape::Normal, Shape::Rectangular, Shape::Triangular, Shape::Arcsine] {
            let mut draws = Draws::of_cause(7, "shape");
            let (mean, sd) = moments(|| draws.of_shape(shape));
            // Four standard deviations of each: 1/sqrt(N), and at most 1/sqrt(2 N) for the flatter shapes.
            assert!(mean.abs() < 0.02, "{shape:?}: mean {mean}");
            assert!((sd - 1.0).abs() < 0.0142, "{shape:?}: sd {sd}");
        }
    }

    #[test]
    fn normal_draws_have_the_tails_of_a_normal_distribution() {
        let mut draws = Draws::of_cause(8, "tails");
        let beyond = (0..N).filter(|_| draws.normal().abs() > 1.96).count();
        // 5.0 % of 40 000, four standard deviations of 44 each.
        assert!((beyond as f64 - 2000.0).abs() < 176.0, "{beyond}");
    }

    #[test]
    fn streams_of_other_names_are_other_streams() {
        let run: RunId = "R1".parse().unwrap();
        let first = |mut draws: Draws| draws.uniform();
        let firsts = [
            first(Draws::of_firing(1, &run, 1, 1, 1)),
            first(Draws::of_firing(2, &run, 1, 1, 1)),
            first(Draws::of_firing(1, &"R2".parse().unwrap(), 1, 1, 1)),
            first(Draws::of_firing(1, &run, 2, 1, 1)),
            first(Draws::of_firing(1, &run, 1, 2, 1)),
            first(Draws::of_firing(1, &run, 1, 1, 2)),
            first(Draws::of_cause(1, "R1")),
        ];
        for (place, one) in firsts.iter().enumerate() {
            assert!(firsts[..place].iter().all(|other| other != one), "{place}");
        }
        assert_eq!(first(Draws::of_firing(1, &run, 1, 1, 1)), firsts[0]);
    }
}
