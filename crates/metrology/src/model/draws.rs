//! Draws of the sources: counter-based, so that neither threads nor added sources move a digit.
//!
//! The stream of a source is keyed by its name and cut into blocks of trials; a trial takes the word of its place in its
//! block, one word of 32 bits one draw.
//!
//! Source: JCGM 101:2008, 6.4 and C.2, for how distributions are drawn from uniform numbers.
//!
//! Invariant: a draw depends on the name of its source, its shape and degrees of freedom, and the number of the trial.

use rand_chacha::ChaCha8Core;
use rand_chacha::rand_core::SeedableRng;
use rand_chacha::rand_core::block::Generator;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

use super::spread::Spread;
use super::tape::KnownSource;
use crate::distribution::draw;
use crate::source::Shape;

/// Trials drawn together: enough to amortise the start of a stream, few enough to stay in cache.
///
/// Part of the arithmetic: another length gives other draws.
pub(super) const BLOCK: usize = 256;

/// Words that the generator gives at once.
const AT_ONCE: usize = 64;
const _: () = assert!(BLOCK.is_multiple_of(AT_ONCE));

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
    /// How many quantities rest on it directly.
    n_uses: usize,
    /// Whether it is the first source of one of them.
    is_first: bool,
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
        self.streams.push(Stream {
            key: key("source", source.id.as_str()),
            shape: source.shape,
            scale,
            n_uses: 0,
            is_first: false,
        });
        self.streams.len() - 1
    }

    /// Notes that one more quantity rests on a source, and whether as on its first.
    pub fn use_of(&mut self, number: usize, is_first: bool) {
        self.streams[number].n_uses += 1;
        self.streams[number].is_first |= is_first;
    }

    /// Whether the draws of a source go into one quantity as they are, before any other, and need no column of their own.
    pub fn goes_straight(&self, number: usize) -> bool {
        let stream = &self.streams[number];
        stream.n_uses == 1 && stream.is_first && stream.scale.is_none() && stream.shape == Shape::Normal
    }

    /// Draws a block of a source that [`Streams::goes_straight`] into the column of its quantity: `mean + u · draw`.
    pub fn draw_straight(
        &self,
        number: usize,
        block: usize,
        (mean, u): (f64, f64),
        words: &mut Words,
        column: &mut [f64],
    ) {
        fill(words, &self.streams[number].key, block);
        draw::normals(&words[..column.len()], mean, u, column);
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

    /// Draws a block of trials of every source that has a column, with standard deviation one before the scale of a t.
    ///
    /// # Arguments
    /// * `block`: its number; its first trial is that times [`BLOCK`].
    pub fn draw(&self, block: usize, drawn: &mut Drawn) {
        let Drawn { words, scales, draws } = drawn;
        scales.resize(self.scales.len() * BLOCK, 0.0);
        draws.resize(self.streams.len() * BLOCK, 0.0);
        for (scale, column) in self.scales.iter().zip(scales.chunks_exact_mut(BLOCK)) {
            fill(words, &scale.key, block);
            match &scale.factor {
                Factors::Spread(spread) => {
                    draw::normals(words, 0.0, 1.0, column);
                    column.iter_mut().for_each(|value| *value = spread.of(*value));
                }
                Factors::Limits { by } => each(words, column, |word| 1.0 + (2.0 * draw::uniform(word) - 1.0) * by),
            }
        }
        for (number, (stream, column)) in self.streams.iter().zip(draws.chunks_exact_mut(BLOCK)).enumerate() {
            if self.goes_straight(number) {
                continue;
            }
            fill(words, &stream.key, block);
            stream.shape.draw(words, column);
            if let Some(scale) = stream.scale {
                for (draw, scale) in column.iter_mut().zip(&scales[scale * BLOCK..]) {
                    *draw *= scale;
                }
            }
        }
    }
}

/// The random words of a block of trials.
pub(super) type Words = [u32; BLOCK];

/// Columns that are drawn anew for each block of trials.
pub(super) struct Drawn {
    pub words: Words,
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
    fn draw(self, words: &[u32], draws: &mut [f64]) {
        match self {
            Shape::Normal => draw::normals(words, 0.0, 1.0, draws),
            Shape::Rectangular => {
                let half_width = 3.0_f64.sqrt();
                each(words, draws, |word| half_width * (2.0 * draw::uniform(word) - 1.0));
            }
            Shape::Triangular => {
                let half_width = 6.0_f64.sqrt();
                let inverse = |p: f64| if p < 0.5 { (2.0 * p).sqrt() - 1.0 } else { 1.0 - (2.0 * (1.0 - p)).sqrt() };
                each(words, draws, |word| half_width * inverse(draw::uniform(word)));
            }
            Shape::Arcsine => {
                let half_width = 2.0_f64.sqrt();
                each(words, draws, |word| half_width * libm::sin(std::f64::consts::PI * (draw::uniform(word) - 0.5)));
            }
        }
    }
}

fn each(words: &[u32], draws: &mut [f64], act: impl Fn(u32) -> f64) {
    for (value, &word) in draws.iter_mut().zip(words) {
        *value = act(word);
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

/// Fills in the words of a block of a stream: a ChaCha8 stream of its own, keyed by that of the source and the number of
/// the block.
fn fill(words: &mut Words, key: &[u8; 32], block: usize) {
    let mut key = *key;
    for (byte, of_block) in key[24..].iter_mut().zip((block as u64).to_le_bytes()) {
        *byte ^= of_block;
    }
    let mut generator = ChaCha8Core::from_seed(key);
    for words in words.as_chunks_mut::<AT_ONCE>().0 {
        generator.generate(words);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{PoolId, SourceId};

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
