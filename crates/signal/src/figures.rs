//! The figures of one pulse in units of samples: the pass over the values every door shares.
//!
//! [`measure`] takes a pulse from memory once; its few plain loops then find it in the first-level
//! cache. It smooths only where a bound says that the peak or a crossing can be. The bounds leave out
//! work, never a result: the figures are those of smoothing everything.
//!
//! Source: none needed, the definitions stand at [`crate::reduce`] and [`crate::smoothing`].
//!
//! Invariant: one pulse, many pulses and any number of threads run this same code, so they give the
//! same bits. Sums run in eight lanes ([`crate::lanes`]).

use crate::lanes::{self, LANES};
use crate::smoothing::{self, END_POSITIVE, HALF, MIDDLE_POSITIVE, POINTS};
use crate::trace::{CLIPPED_ABOVE, CLIPPED_RUN};
use crate::window::Spans;

/// Samples a block; bounds are kept for each.
const BLOCK: usize = 16;

/// Figures of a pulse, times counted in samples from the start of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Figures {
    /// Mean net value of the baseline.
    pub(crate) offset: f64,
    /// Standard deviation of one net value of the baseline.
    pub(crate) baseline_noise: f64,
    /// Trapezoid sum over the window, offset taken off, for a step of 1.
    pub(crate) area: f64,
    /// Highest smoothed value of the window, offset taken off.
    pub(crate) peak: f64,
    /// Its place, the first one where two are equal.
    pub(crate) peak_index: usize,
    /// Where the smoothed pulse crosses half its height, before and behind the peak.
    pub(crate) half_height: Option<(f64, f64)>,
    /// Highest background of the whole trace.
    pub(crate) background_max: f32,
    /// Mean of the last values of the trace, as many as the baseline has, offset taken off.
    pub(crate) end: f64,
    /// Whether every sample of the trace was a finite number.
    pub(crate) finite: bool,
    /// Whether a channel may stay at its highest value; [`crate::Trace::new`] knows.
    pub(crate) may_be_clipped: bool,
}

/// Working memory of [`measure`], kept from pulse to pulse.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    /// Smoothed values of the window, offset and all, valid where `smoothed` says so for the block.
    smooth: Vec<f64>,
    smoothed: Vec<bool>,
    /// Highest and lowest net value of each block, rounded to 32 bits; one more before the first and
    /// behind the last block, so that every block has two neighbours.
    highest: Vec<f32>,
    lowest: Vec<f32>,
    /// No smoothed value of a block is above the one or below the other.
    upper: Vec<f32>,
    lower: Vec<f32>,
    /// Blocks that may hold the peak.
    candidates: Vec<usize>,
}

/// The samples of a window.
#[derive(Clone, Copy)]
struct Samples<'a> {
    total: &'a [f32],
    background: &'a [f32],
}

/// The net value of one moment: the two 32-bit samples are subtracted without loss.
#[inline(always)]
fn net_of(total: f32, background: f32) -> f64 {
    f64::from(total) - f64::from(background)
}

/// Net values of some moments, offset and all.
#[inline(always)]
fn net_values<const N: usize>(samples: Samples<'_>, start: usize) -> [f64; N] {
    let total = &samples.total[start..start + N];
    let background = &samples.background[start..start + N];
    let mut net = [0.0; N];
    for ((y, &t), &b) in net.iter_mut().zip(total).zip(background) {
        *y = net_of(t, b);
    }
    net
}

/// Measures one pulse.
///
/// # Arguments
/// * `total`, `background`: of equal length.
/// * `spans`: inside them; two or more baseline samples, eleven or more of the window.
pub(crate) fn measure(total: &[f32], background: &[f32], spans: &Spans, scratch: &mut Scratch) -> Figures {
    let window = spans.window.clone();
    let samples = Samples { total: &total[window.clone()], background: &background[window.clone()] };
    let n = samples.total.len();
    let sum = net_sum(samples.total, samples.background);
    let before = net_sum(&total[..window.start], &background[..window.start]);
    let behind = net_sum(&total[window.end..], &background[window.end..]);
    // Equal stretches have equal sums: most methods take the baseline from all that comes before the window.
    let baseline_sum = if spans.baseline == (0..window.start) {
        before
    } else {
        net_sum(&total[spans.baseline.clone()], &background[spans.baseline.clone()])
    };
    let (offset, baseline_noise) = baseline(total, background, spans, baseline_sum);
    let ends =
        net_of(samples.total[0], samples.background[0]) + net_of(samples.total[n - 1], samples.background[n - 1]);
    let area = (sum - 0.5 * ends) - (n - 1) as f64 * offset;

    take_bounds(samples, scratch);
    let (peak, peak_index) = find_peak(samples, scratch);
    let half_height = half_height(samples, scratch, offset, peak, peak_index);

    let n_end = spans.baseline.len().min(total.len());
    let from = total.len() - n_end;
    let end_sum = if from == window.end { behind } else { net_sum(&total[from..], &background[from..]) };
    let end = end_sum / n_end as f64 - offset;
    let (total_max, may_stay) = highest(total);
    let (background_max, background_may_stay) = highest(background);
    Figures {
        offset,
        baseline_noise,
        area,
        peak: peak - offset,
        peak_index,
        half_height,
        background_max,
        end,
        // Sums of finite 32-bit values cannot overflow 64 bits; one infinite value or none shows.
        finite: (sum + (before + behind)).is_finite(),
        may_be_clipped: (may_stay && total_max >= CLIPPED_ABOVE)
            || (background_may_stay && background_max >= CLIPPED_ABOVE),
    }
}

/// Net values of the window, offset taken off.
pub(crate) fn net(total: &[f32], background: &[f32], spans: &Spans, offset: f64) -> Vec<f64> {
    spans.window.clone().map(|i| net_of(total[i], background[i]) - offset).collect()
}

/// Mean and standard deviation of the baseline, from its sum. Two passes: the one-pass sum of squares
/// cancels where the offset is large against the noise.
fn baseline(total: &[f32], background: &[f32], spans: &Spans, sum: f64) -> (f64, f64) {
    let total = &total[spans.baseline.clone()];
    let background = &background[spans.baseline.clone()];
    let n = total.len();
    let offset = sum / n as f64;
    let squares = over_lanes(total, background, |net| (net - offset) * (net - offset));
    (offset, (squares / (n - 1) as f64).sqrt())
}

/// Sum of net values, in eight lanes.
fn net_sum(total: &[f32], background: &[f32]) -> f64 {
    over_lanes(total, background, |net| net)
}

/// Sum of a term of each net value, in eight lanes.
#[inline(always)]
fn over_lanes(total: &[f32], background: &[f32], term: impl Fn(f64) -> f64) -> f64 {
    let mut sums = [0.0; LANES];
    let (total_blocks, total_rest) = total.as_chunks::<LANES>();
    let (background_blocks, background_rest) = background.as_chunks::<LANES>();
    for (t, b) in total_blocks.iter().zip(background_blocks) {
        for lane in 0..LANES {
            sums[lane] += term(net_of(t[lane], b[lane]));
        }
    }
    for (lane, (&t, &b)) in total_rest.iter().zip(background_rest).enumerate() {
        sums[lane] += term(net_of(t, b));
    }
    lanes::fold(&sums)
}

// Written as comparisons: `f32::max` also looks for values that are no numbers, which costs three
// instructions for one.
#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

#[inline(always)]
fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// Bounds of the smoothed values of each block, from the raw values they are made of.
///
/// A row of weights adds up to 1, its positive ones to P: a smoothed value is at most P times the
/// highest less (P - 1) times the lowest of its eleven values, and at least the reverse. In 32 bits:
/// twice as many at once, and the rounding is allowed for.
fn take_bounds(samples: Samples<'_>, scratch: &mut Scratch) {
    let n = samples.total.len();
    let n_blocks = n.div_ceil(BLOCK);
    scratch.smooth.resize(n_blocks * BLOCK, 0.0);
    scratch.smoothed.clear();
    scratch.smoothed.resize(n_blocks, false);
    let (highest, lowest) = (&mut scratch.highest, &mut scratch.lowest);
    highest.clear();
    lowest.clear();
    // One more before the first and one behind the last.
    highest.push(f32::NEG_INFINITY);
    lowest.push(f32::INFINITY);
    let (total, total_rest) = samples.total.as_chunks::<BLOCK>();
    let (background, background_rest) = samples.background.as_chunks::<BLOCK>();
    for (t, b) in total.iter().zip(background) {
        let mut net = [0.0_f32; BLOCK];
        for place in 0..BLOCK {
            net[place] = t[place] - b[place];
        }
        // Pushed, not written to a place: the compiler would otherwise work on four blocks at once
        // and gather their values one by one.
        highest.push(across(&net, larger));
        lowest.push(across(&net, smaller));
    }
    if !total_rest.is_empty() {
        let net = total_rest.iter().zip(background_rest).map(|(t, b)| t - b);
        highest.push(net.clone().fold(f32::NEG_INFINITY, larger));
        lowest.push(net.fold(f32::INFINITY, smaller));
    }
    highest.push(f32::NEG_INFINITY);
    lowest.push(f32::INFINITY);

    scratch.upper.resize(n_blocks, 0.0);
    scratch.lower.resize(n_blocks, 0.0);
    let (upper, lower) = (&mut scratch.upper[..], &mut scratch.lower[..]);
    let neighbours = highest.windows(3).zip(lowest.windows(3));
    for ((upper, lower), (high, low)) in upper.iter_mut().zip(&mut *lower).zip(neighbours) {
        (*lower, *upper) = bounds(high, low, MIDDLE_POSITIVE as f32);
    }
    for block in [0, n_blocks.saturating_sub(2), n_blocks - 1] {
        if !is_inside(block, n) {
            let near = block..block + 3;
            let (high, low) = (&highest[near.clone()], &lowest[near]);
            (lower[block], upper[block]) = bounds(high, low, END_POSITIVE as f32);
        }
    }
}

/// Highest value of a channel, and whether it may stand there [`CLIPPED_RUN`] times in a row: values in a row fall into
/// lanes of their own, so that as many lanes then have the highest value.
fn highest(values: &[f32]) -> (f32, bool) {
    let mut lanes = [f32::NEG_INFINITY; BLOCK];
    let (blocks, rest) = values.as_chunks::<BLOCK>();
    for block in blocks {
        for lane in 0..BLOCK {
            lanes[lane] = larger(block[lane], lanes[lane]);
        }
    }
    for (lane, &value) in lanes.iter_mut().zip(rest) {
        *lane = larger(value, *lane);
    }
    let highest = across(&lanes, larger);
    let n = lanes.iter().map(|&lane| u32::from(lane == highest)).sum::<u32>();
    (highest, n >= CLIPPED_RUN as u32)
}

/// Lower and upper bound of smoothed values from the highest and lowest raw ones of three blocks.
#[inline(always)]
fn bounds(high: &[f32], low: &[f32], positive: f32) -> (f32, f32) {
    let high = larger(larger(high[0], high[1]), high[2]);
    let low = smaller(smaller(low[0], low[1]), low[2]);
    let spread = (positive - 1.0) * (high - low) + ROUNDING * (high.abs() + low.abs());
    (low - spread, high + spread)
}

/// More than the rounding of 32-bit differences, of the bounds made of them and of eleven products.
const ROUNDING: f32 = 1e-6;

#[inline(always)]
fn across<T: Copy + Default>(v: &[T; BLOCK], pick: impl Fn(T, T) -> T) -> T {
    let mut four = [T::default(); 4];
    for lane in 0..4 {
        four[lane] = pick(pick(v[lane], v[lane + 4]), pick(v[lane + 8], v[lane + 12]));
    }
    pick(pick(four[0], four[2]), pick(four[1], four[3]))
}

/// Whether every value of the block is the middle of eleven.
fn is_inside(block: usize, n: usize) -> bool {
    block * BLOCK >= HALF && (block + 1) * BLOCK + HALF <= n
}

/// Smooths a block unless that was done before.
fn smooth_block(samples: Samples<'_>, scratch: &mut Scratch, block: usize) {
    if scratch.smoothed[block] {
        return;
    }
    scratch.smoothed[block] = true;
    let n = samples.total.len();
    let start = block * BLOCK;
    if is_inside(block, n) {
        let near: [f64; BLOCK + 2 * HALF] = net_values(samples, start - HALF);
        let out: &mut [f64; BLOCK] = (&mut scratch.smooth[start..start + BLOCK]).try_into().expect("one block");
        for (place, value) in out.iter_mut().enumerate() {
            let eleven: &[f64; POINTS] = near[place..place + POINTS].try_into().expect("eleven of twenty-six values");
            *value = smoothing::middle(eleven);
        }
    } else {
        for index in start..(start + BLOCK).min(n) {
            let (row, from) = smoothing::row_at(index, n);
            scratch.smooth[index] = smoothing::through(row, &net_values(samples, from));
        }
    }
}

/// Highest smoothed value and its first place.
fn find_peak(samples: Samples<'_>, scratch: &mut Scratch) -> (f64, usize) {
    // Begin where the raw values are highest: most other blocks then cannot hold the peak.
    let mut likely = 0;
    let mut high = f32::NEG_INFINITY;
    for (block, &value) in scratch.highest[1..=scratch.upper.len()].iter().enumerate() {
        likely = if value > high { block } else { likely };
        high = larger(value, high);
    }
    let mut peak = peak_of_block(samples, scratch, likely);
    let mut first = likely;
    let mut candidates = core::mem::take(&mut scratch.candidates);
    // Counted on without a branch: which blocks they are follows no pattern.
    candidates.resize(scratch.upper.len() + 1, 0);
    let mut n_candidates = 0;
    for (block, &upper) in scratch.upper.iter().enumerate() {
        candidates[n_candidates] = block;
        // Samples near the end of the 32-bit numbers have no bound.
        n_candidates += usize::from((f64::from(upper) >= peak) | upper.is_nan());
    }
    for &block in &candidates[..n_candidates] {
        let value = peak_of_block(samples, scratch, block);
        let better = value > peak || (value == peak && block < first);
        first = if better { block } else { first };
        peak = if better { value } else { peak };
    }
    scratch.candidates = candidates;
    let mut index = 0;
    let values = block_of(&scratch.smooth, first);
    for place in (0..BLOCK).rev() {
        let (value, place) = (values[place], first * BLOCK + place);
        index = if (value >= peak) & (place < samples.total.len()) { place } else { index };
    }
    (peak, index)
}

/// The values of a block. All sixteen, for loops of one length are the cheap ones; behind the last value
/// of the window they mean nothing.
#[inline(always)]
fn block_of(values: &[f64], block: usize) -> &[f64; BLOCK] {
    &values.as_chunks().0[block]
}

/// Highest smoothed value of a block.
fn peak_of_block(samples: Samples<'_>, scratch: &mut Scratch, block: usize) -> f64 {
    smooth_block(samples, scratch, block);
    let start = block * BLOCK;
    let end = (start + BLOCK).min(samples.total.len());
    let values = &scratch.smooth[start..end];
    let pick = |a: f64, b: f64| if a > b { a } else { b };
    match <&[f64; BLOCK]>::try_from(values) {
        Ok(values) => across(values, pick),
        Err(_) => values.iter().copied().fold(f64::NEG_INFINITY, pick),
    }
}

/// Where the smoothed pulse crosses half its height, linear between neighbours.
fn half_height(
    samples: Samples<'_>,
    scratch: &mut Scratch,
    offset: f64,
    peak: f64,
    peak_index: usize,
) -> Option<(f64, f64)> {
    let height = peak - offset;
    if height <= 0.0 {
        return None;
    }
    let level = offset + 0.5 * height;
    let left = last_below(samples, scratch, level, peak_index)?;
    let right = first_below(samples, scratch, level, peak_index)?;
    let (below, above) = (smoothed(samples, scratch, left), smoothed(samples, scratch, left + 1));
    let rise = left as f64 + (level - below) / (above - below);
    let (above, below) = (smoothed(samples, scratch, right - 1), smoothed(samples, scratch, right));
    let fall = (right - 1) as f64 + (above - level) / (above - below);
    Some((rise, fall))
}

fn smoothed(samples: Samples<'_>, scratch: &mut Scratch, index: usize) -> f64 {
    smooth_block(samples, scratch, index / BLOCK);
    scratch.smooth[index]
}

/// Place of the last smoothed value below `level` before `index`.
fn last_below(samples: Samples<'_>, scratch: &mut Scratch, level: f64, index: usize) -> Option<usize> {
    for block in (0..=index / BLOCK).rev() {
        if f64::from(scratch.lower[block]) >= level {
            continue;
        }
        smooth_block(samples, scratch, block);
        let mut found = usize::MAX;
        let values = block_of(&scratch.smooth, block);
        for (place, value) in values.iter().enumerate() {
            let place = block * BLOCK + place;
            found = if (*value < level) & (place < index) { place } else { found };
        }
        if found != usize::MAX {
            return Some(found);
        }
    }
    None
}

/// Place of the first smoothed value below `level` behind `index`.
fn first_below(samples: Samples<'_>, scratch: &mut Scratch, level: f64, index: usize) -> Option<usize> {
    let n = samples.total.len();
    for block in index / BLOCK..scratch.lower.len() {
        if f64::from(scratch.lower[block]) >= level {
            continue;
        }
        smooth_block(samples, scratch, block);
        let mut found = usize::MAX;
        let values = block_of(&scratch.smooth, block);
        for place in (0..BLOCK).rev() {
            let (value, place) = (values[place], block * BLOCK + place);
            found = if (value < level) & (place > index) & (place < n) { place } else { found };
        }
        if found != usize::MAX {
            return Some(found);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What `measure` gives, by smoothing everything and searching plainly.
    fn plainly(net: &[f64], offset: f64) -> (f64, usize, Option<(f64, f64)>) {
        let smooth = smoothing::smooth(net);
        let mut peak_index = 0;
        for (index, &value) in smooth.iter().enumerate() {
            if value > smooth[peak_index] {
                peak_index = index;
            }
        }
        let peak = smooth[peak_index];
        let half = offset + 0.5 * (peak - offset);
        let left = smooth[..peak_index].iter().rposition(|&value| value < half);
        let right = smooth[peak_index..].iter().position(|&value| value < half);
        let crossings = left.zip(right).filter(|_| peak > offset).map(|(left, right)| {
            let right = peak_index + right;
            let rise = left as f64 + (half - smooth[left]) / (smooth[left + 1] - smooth[left]);
            let fall = (right - 1) as f64 + (smooth[right - 1] - half) / (smooth[right - 1] - smooth[right]);
            (rise, fall)
        });
        (peak - offset, peak_index, crossings)
    }

    proptest! {
        #[test]
        fn leaving_out_blocks_changes_no_bit(
            values in prop::collection::vec(-2.0_f32..2.0, 16..160),
            height in 0.0_f32..4.0,
            centre in 0.0_f32..1.0,
            from in 5_usize..6,
        ) {
            // A hump on noise, so that some blocks are left out and some are not.
            let n = values.len();
            let total: Vec<f32> = values.iter().enumerate().map(|(i, noise)| {
                let x = (i as f32 / n as f32 - centre) / 0.2;
                0.05 * noise + height / (1.0 + x * x)
            }).collect();
            let background = vec![0.0_f32; n];
            let spans = Spans { baseline: 0..5, window: from..n };
            let found = measure(&total, &background, &spans, &mut Scratch::default());
            let net: Vec<f64> = total[from..].iter().map(|&t| f64::from(t)).collect();
            let (peak, peak_index, crossings) = plainly(&net, found.offset);
            prop_assert_eq!(found.peak.to_bits(), peak.to_bits());
            prop_assert_eq!(found.peak_index, peak_index);
            prop_assert_eq!(found.half_height, crossings);
        }
    }
}
