//! Draws for Monte Carlo: a uniform number and a standard normal deviate from 32 random bits each.
//!
//! [`normal`] inverts the normal distribution. The quantile itself costs a logarithm and a quotient of polynomials; a draw
//! needs no more than it can tell apart, so a table of short polynomials stands in for it.
//!
//! Source: JCGM 101:2008, C.2 (from memory), for inversion; the table at Chebyshev nodes is our own, held by its tests.
//!
//! Invariant: every word gives a draw, draws rise with the word read as an integer, `normal(!word) = −normal(word)` bit for
//! bit, and each lies within 10⁻¹² of the quantile of the middle of its cell.

use std::sync::LazyLock;

use super::normal;

/// The middle of one of 2³² equally wide cells between 0 and 1: exact, and neither end is met.
///
/// # Source
/// JCGM 101:2008, C.3 (from memory): numbers of a rectangular distribution between 0 and 1, ends not included.
#[inline]
#[must_use]
pub fn uniform(word: u32) -> f64 {
    (f64::from(word) + 0.5) * (1.0 / 4_294_967_296.0)
}

/// A standard normal deviate.
///
/// One word, one deviate: no draw is ever turned back, which keeps counter-based draws in step. The highest 31 bits choose
/// the middle of one of 2³¹ equally probable cells. The outermost lie at ±6.2, which 10⁹ draws do not pass as a rule.
///
/// # Source
/// Inversion: JCGM 101:2008, C.2 (from memory); the quantile as [`normal::quantile`].
#[inline]
#[must_use]
pub fn normal(word: u32) -> f64 {
    let mut deviate = [0.0];
    normals(&[word], 0.0, 1.0, &mut deviate);
    deviate[0]
}

/// `mean + sd · normal(word)` of many words, with the same bits.
///
/// # Arguments
/// * `deviates`: a place for each word.
pub(crate) fn normals(words: &[u32], mean: f64, sd: f64, deviates: &mut [f64]) {
    let table: &Table = &TABLE;
    let mut cells = [0; TOGETHER];
    let (whole, rest) = words.as_chunks();
    let (whole_deviates, rest_deviates) = deviates.as_chunks_mut();
    for (words, deviates) in whole.iter().zip(whole_deviates) {
        together(table, words, &mut cells, (mean, sd), deviates);
    }
    if !rest.is_empty() {
        let (mut words, mut deviates) = ([0; TOGETHER], [0.0; TOGETHER]);
        words[..rest.len()].copy_from_slice(rest);
        together(table, &words, &mut cells, (mean, sd), &mut deviates);
        rest_deviates[..rest.len()].copy_from_slice(&deviates[..rest.len()]);
    }
}

/// How many deviates are worked out together.
const TOGETHER: usize = 64;

/// First what is the same for all, which the compiler does several at a time; then the table, one by one; then the signs.
fn together(
    table: &Table,
    words: &[u32; TOGETHER],
    cells: &mut [u64; TOGETHER],
    (mean, sd): (f64, f64),
    deviates: &mut [f64; TOGETHER],
) {
    for i in 0..TOGETHER {
        (cells[i], deviates[i]) = cell_and_place(words[i]);
    }
    // Four at a time, so that counting them costs little.
    for (deviates, cells) in deviates.as_chunks_mut::<4>().0.iter_mut().zip(cells.as_chunks::<4>().0) {
        for k in 0..4 {
            deviates[k] = within(&table[cells[k] as usize % CELLS], deviates[k]);
        }
    }
    for i in 0..TOGETHER {
        deviates[i] = mean + sd * with_sign_of(words[i], deviates[i]);
    }
}

/// Cells of the table between a number and its double, as a power of two.
const CELL_BITS: u32 = 6;
/// Doublings from 1 to 2³¹.
const OCTAVES: usize = 31;
/// A power of two, so that a place beyond the table need not be looked for.
const CELLS: usize = (OCTAVES << CELL_BITS).next_power_of_two();
/// Coefficients of a cell.
const N: usize = 5;
/// What the sign, exponent and first digits of 1 are as an integer: the lowest cell.
const FIRST: u64 = 1023 << CELL_BITS;

type Table = [[f64; N]; CELLS];

/// The quantile of the lower half as a function of 2³² times the probability: polynomials in the place within a cell.
///
/// A cell spans 1/64 of its octave: there the quantile, which turns to −∞ like a root of a logarithm at no probability, has
/// a Chebyshev series that falls by a factor of 250 a term.
static TABLE: LazyLock<Box<Table>> = LazyLock::new(|| {
    let mut nodes = [0.0; N];
    for (node, odd) in nodes.iter_mut().zip((1..).step_by(2)) {
        *node = 1.5 + 0.5 * libm::cos(f64::from(odd) * std::f64::consts::PI / (2.0 * N as f64));
    }
    let mut table = Box::new([[0.0; N]; CELLS]);
    for (cell, coefficients) in (FIRST..).zip(&mut table[..OCTAVES << CELL_BITS]) {
        let from = f64::from_bits(cell << (52 - CELL_BITS));
        let width = f64::from_bits((cell + 1) << (52 - CELL_BITS)) - from;
        let values = nodes.map(|node| {
            let p = (from + width * (node - 1.0)) * (1.0 / 4_294_967_296.0);
            normal::quantile(p).expect("a probability between 0 and 1/2")
        });
        *coefficients = interpolated(&nodes, values);
    }
    table
});

/// Coefficients, from the constant upwards, of the polynomial through values at nodes.
fn interpolated(nodes: &[f64; N], mut values: [f64; N]) -> [f64; N] {
    // Newton's divided differences in place, then multiplied out from the innermost bracket.
    for order in 1..N {
        for i in (order..N).rev() {
            values[i] = (values[i] - values[i - 1]) / (nodes[i] - nodes[i - order]);
        }
    }
    let mut coefficients = [0.0; N];
    for i in (0..N).rev() {
        for k in (1..N).rev() {
            coefficients[k] = coefficients[k - 1] - nodes[i] * coefficients[k];
        }
        coefficients[0] = values[i] - nodes[i] * coefficients[0];
    }
    coefficients
}

/// The cell of a word and its place within it, from 1 to 2.
#[inline]
fn cell_and_place(word: u32) -> (u64, f64) {
    // All bits of a word above the middle are turned, so that the number lies below 2³¹.
    let half = word as i32 ^ (word as i32 >> 31);
    // Odd numbers are the middles between even ones.
    let bits = f64::from(half | 1).to_bits();
    // The digits after those of the cell, read as a number between 1 and 2.
    let place = f64::from_bits(0x3ff0_0000_0000_0000 | ((bits << CELL_BITS) & 0x000f_ffff_ffff_ffff));
    ((bits >> (52 - CELL_BITS)) - FIRST, place)
}

/// The polynomial of a cell.
#[inline]
fn within([c0, c1, c2, c3, c4]: &[f64; N], place: f64) -> f64 {
    (((c4 * place + c3) * place + c2) * place + c1) * place + c0
}

/// A deviate of the lower half, turned over where the word lies above the middle.
#[inline]
fn with_sign_of(word: u32, lower: f64) -> f64 {
    f64::from_bits(lower.to_bits() ^ (u64::from(word >> 31) << 63))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn draws_reach_neither_end_and_meet_in_the_middle() {
        assert!(uniform(0) > 0.0 && uniform(0) == 1.0 - uniform(u32::MAX));
        assert!((normal(0) + 6.23).abs() < 0.01, "{}", normal(0));
        let (below, above) = (normal((1 << 31) - 1), normal(1 << 31));
        assert!(below < 0.0 && above == -below && above < 1e-9, "{above}");
    }

    /// Bits that must not change: a changed bit here changes the digits of Monte Carlo.
    #[test]
    fn some_draws_have_these_bits_for_ever() {
        let words = [0, 1, 0x0123_4567, 0x4000_0000, 0x7fff_ffff, 0x89ab_cdef];
        assert_eq!(
            words.map(|word| normal(word).to_bits()),
            PINNED,
            "{:#x?}",
            words.map(|word| normal(word).to_bits())
        );
    }

    const PINNED: [u64; 6] = [
        0xc018_ebc9_5048_f0ce,
        0xc018_ebc9_5048_f0ce,
        0xc004_ee2d_c1f4_5d6e,
        0xbfe5_956b_86ed_d20c,
        0xbe04_0daa_3000_0000,
        0x3fb8_4739_b87e_2272,
    ];

    #[test]
    fn cells_meet_where_they_touch() {
        for (cell, pair) in TABLE[..OCTAVES << CELL_BITS].windows(2).enumerate() {
            let (left, right) = (within(&pair[0], 2.0), within(&pair[1], 1.0));
            assert!((left - right).abs() < 1e-12, "{cell}: {left} {right}");
        }
    }

    #[test]
    fn the_draws_of_all_cells_have_the_moments_of_a_normal_law() {
        // Every 2¹²th cell: 2²⁰ of them, evenly spread.
        let (mut squares, mut fourths) = (0.0, 0.0);
        for word in (0..1_u32 << 20).map(|cell| (cell << 12) + 2047) {
            let z = normal(word);
            squares += z * z;
            fourths += z * z * z * z;
        }
        let n = f64::from(1 << 20);
        // What the middles of so wide cells leave of the tails.
        assert!(
            (squares / n - 1.0).abs() < 1e-5 && (fourths / n - 3.0).abs() < 1e-3,
            "{} {}",
            squares / n,
            fourths / n
        );
    }

    proptest! {
        #[test]
        fn a_draw_is_the_quantile_of_the_middle_of_its_cell(word in any::<u32>(), shift in 0..32_u32) {
            let word = word >> shift;
            for word in [word, !word] {
                let p = f64::from(word.min(!word) | 1) / 4_294_967_296.0;
                let exact = if word >> 31 == 0 { normal::quantile(p) } else { normal::upper_quantile(p) };
                prop_assert!((normal(word) - exact.unwrap()).abs() < 1e-12, "{word:x}: {} {exact:?}", normal(word));
            }
        }

        #[test]
        fn draws_rise_with_their_word_and_mirror(a in any::<u32>(), b in any::<u32>()) {
            prop_assert!(normal(a.min(b)) <= normal(a.max(b)));
            prop_assert!(normal(a) <= normal(a.saturating_add(1)));
            prop_assert_eq!(normal(a), -normal(!a));
        }

        #[test]
        fn draws_together_have_the_bits_of_draws_alone(words in prop::collection::vec(any::<u32>(), 0..70)) {
            let mut together = vec![0.0; words.len()];
            normals(&words, 2.0, 0.1, &mut together);
            for (together, &word) in together.iter().zip(&words) {
                prop_assert_eq!(together.to_bits(), (2.0 + 0.1 * normal(word)).to_bits());
            }
        }
    }
}
