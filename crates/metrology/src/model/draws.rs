//! Draws of the sources: counter-based, so that neither threads nor added sources move a digit.
//!
//! The stream of a source is keyed by its name, trial `i` takes the `i`-th 64-bit word of it, one word one draw.
//!
//! Source: JCGM 101:2008, 6.4 and C.2, for how distributions are drawn from uniform numbers.
//!
//! Invariant: a draw depends on the name of its source, its shape and degrees of freedom, and the number of the trial.

use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

use super::spread::Spread;
use super::tape::KnownSource;
use crate::distribution::normal;
use crate::source::Shape;

/// Trials drawn together: enough to amortise the start of a stream, few enough to stay in cache.
pub(super) const BLOCK: usize = 256;

/// The streams of the sources that a replay needs.
#[derive(Default)]
pub(super) struct Streams<'t> {
    streams: Vec<Stream>,
    scales: Vec<Scale>,
    places: BTreeMap<(Estimated, &'static str, &'t str), usize>,
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

impl<'t> Streams<'t> {
    /// Takes a source up; its draws are the column of this number.
    pub fn take_up(&mut self, source: &'t KnownSource) -> usize {
        let scale = self.scale_of(source);
        self.streams.push(Stream { key: key("source", source.id.as_str()), shape: source.shape, scale });
        self.streams.len() - 1
    }

    /// The place of the scale of a source, which is new unless it shares one.
    fn scale_of(&mut self, source: &'t KnownSource) -> Option<usize> {
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
        let scales = &mut self.scales;
        Some(*self.places.entry((of, role, name)).or_insert_with(|| {
            let dof = if source.dof >= 1.0 { source.dof } else { 1.0 };
            let factor = match of {
                Estimated::Deviation => Factors::Spread(Spread::new(dof)),
                Estimated::Limits => Factors::Limits { by: 1.0 / (2.0 * dof).sqrt() },
            };
            scales.push(Scale { key: key(role, name), factor });
            scales.len() - 1
        }))
    }

    /// Draws trials `first` to `first + n` of every source, each with standard deviation one before the scale of a t.
    ///
    /// # Arguments
    /// * `n`: at most [`BLOCK`].
    pub fn draw(&self, first: usize, n: usize, drawn: &mut Drawn) {
        let Drawn { words, scales, draws } = drawn;
        scales.resize(self.scales.len() * BLOCK, 0.0);
        draws.resize(self.streams.len() * BLOCK, 0.0);
        for (scale, column) in self.scales.iter().zip(scales.chunks_exact_mut(BLOCK)) {
            let words = words_of(&scale.key, first, &mut words[..n]);
            let column = &mut column[..n];
            match &scale.factor {
                Factors::Spread(spread) => {
                    normal::draws(words, column);
                    column.iter_mut().for_each(|value| *value = spread.of(*value));
                }
                Factors::Limits { by } => each(words, column, |word| 1.0 + (2.0 * uniform(word) - 1.0) * by),
            }
        }
        for (stream, column) in self.streams.iter().zip(draws.chunks_exact_mut(BLOCK)) {
            let words = words_of(&stream.key, first, &mut words[..n]);
            let column = &mut column[..n];
            stream.shape.draw(words, column);
            if let Some(scale) = stream.scale {
                for (draw, scale) in column.iter_mut().zip(&scales[scale * BLOCK..]) {
                    *draw *= scale;
                }
            }
        }
    }
}

/// Columns that are drawn anew for each block of trials.
pub(super) struct Drawn {
    words: [u64; BLOCK],
    scales: Vec<f64>,
    draws: Vec<f64>,
}

impl Default for Drawn {
    fn default() -> Self {
        Self { words: [0; BLOCK], scales: Vec::new(), draws: Vec::new() }
    }
}

impl Drawn {
    /// The draws of a source, by its number from [`Streams::take_up`].
    pub fn column(&self, number: usize) -> &[f64] {
        &self.draws[number * BLOCK..(number + 1) * BLOCK]
    }
}

impl Shape {
    /// Draws with mean zero and standard deviation one.
    fn draw(self, words: &[u64], draws: &mut [f64]) {
        match self {
            Shape::Normal => normal::draws(words, draws),
            Shape::Rectangular => {
                let half_width = 3.0_f64.sqrt();
                each(words, draws, |word| half_width * (2.0 * uniform(word) - 1.0));
            }
            Shape::Triangular => {
                let half_width = 6.0_f64.sqrt();
                let inverse = |p: f64| if p < 0.5 { (2.0 * p).sqrt() - 1.0 } else { 1.0 - (2.0 * (1.0 - p)).sqrt() };
                each(words, draws, |word| half_width * inverse(uniform(word)));
            }
            Shape::Arcsine => {
                let half_width = 2.0_f64.sqrt();
                each(words, draws, |word| half_width * libm::sin(std::f64::consts::PI * (uniform(word) - 0.5)));
            }
        }
    }
}

fn each(words: &[u64], draws: &mut [f64], draw: impl Fn(u64) -> f64) {
    for (value, &word) in draws.iter_mut().zip(words) {
        *value = draw(word);
    }
}

/// Key of a stream: SHA-256 of its role and name.
fn key(role: &str, name: &str) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(role.as_bytes());
    hash.update(b"/");
    hash.update(name.as_bytes());
    hash.finalize().into()
}

/// Fills in the words of a stream from trial `first` on.
fn words_of<'w>(key: &[u8; 32], first: usize, words: &'w mut [u64]) -> &'w [u64] {
    let mut stream = ChaCha12Rng::from_seed(*key);
    stream.set_word_pos(2 * first as u128);
    let mut bytes = [0; 8 * BLOCK];
    let bytes = &mut bytes[..8 * words.len()];
    stream.fill_bytes(bytes);
    for (word, bytes) in words.iter_mut().zip(bytes.as_chunks::<8>().0) {
        *word = u64::from_le_bytes(*bytes);
    }
    words
}

/// A uniform number strictly between 0 and 1 from 64 random bits: the middle of one of 2⁵² cells, which is exact, so that
/// neither end is met.
#[expect(clippy::cast_precision_loss, reason = "52 bits and a half are exact")]
fn uniform(word: u64) -> f64 {
    ((word >> 12) as f64 + 0.5) * (1.0 / 4_503_599_627_370_496.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{PoolId, SourceId};

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
        let known = |id: &str, pool: Option<&str>| KnownSource {
            id: SourceId::new(id),
            dof: 3.0,
            pool: pool.map(PoolId::new),
            shape: Shape::Normal,
        };
        let (own, pooled, also_pooled) = (known("a", None), known("b", Some("a")), known("c", Some("a")));
        let mut streams = Streams::default();
        for source in [&own, &pooled, &also_pooled] {
            streams.take_up(source);
        }
        assert_eq!(streams.scales.len(), 2);
        assert_ne!(streams.scales[0].key, streams.scales[1].key);
    }
}
