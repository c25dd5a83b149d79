//! The figures of one pulse in units of samples: the pass over the values every door shares.
//!
//! [`measure`] reads each sample once, keeps the net values in a scratch that fits the first-level
//! cache, and smooths only where a bound says that the peak or a crossing can be. The bounds leave
//! out work, never a result: the figures are those of smoothing everything.
//!
//! Invariant: one pulse, many pulses and any number of threads run this same code, so they give the
//! same bits. Sums run in eight lanes ([`crate::lanes`]).

use crate::lanes::{LANES, fold, sum_of};
use crate::smoothing::{self, END_POSITIVE, HALF, MIDDLE_POSITIVE, POINTS};
use crate::window::Spans;

/// Samples a block; bounds are kept for each.
const BLOCK: usize = 2 * LANES;

/// Figures of a pulse, times counted in samples from the start of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Figures {
    /// Mean net value of the baseline.
    pub(crate) offset: f64,
    /// Standard deviation of one net value of the baseline.
    pub(crate) baseline_noise: f64,
    /// Trapezoid sum over the window, offset taken off, for a step of 1.
    pub(crate) area: f64,
    /// Highest smoothed value of the window.
    pub(crate) peak: f64,
    /// Its place, the first one where two are equal.
    pub(crate) peak_index: usize,
    /// Where the smoothed pulse crosses half its height, before and behind the peak.
    pub(crate) half_height: Option<(f64, f64)>,
    /// Highest total absorbance of the whole trace.
    pub(crate) total_max: f32,
    /// Highest background of the whole trace.
    pub(crate) background_max: f32,
    /// Mean of the last values of the trace, as many as the baseline has, offset taken off.
    pub(crate) end: f64,
    /// Whether every sample of the trace was a finite number.
    pub(crate) finite: bool,
}

/// Working memory of [`measure`], kept from pulse to pulse.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    /// Net values of the window, offset taken off.
    net: Vec<f64>,
    /// Smoothed values, valid where `smoothed` says so for the block.
    smooth: Vec<f64>,
    smoothed: Vec<bool>,
    highest: Vec<f64>,
    lowest: Vec<f64>,
}

impl Scratch {
    /// Net values of the window last measured, offset taken off.
    pub(crate) fn net(&self) -> &[f64] {
        &self.net
    }
}

/// The net value of one moment: the two 32-bit samples are subtracted without loss.
#[inline(always)]
fn net_of(total: f32, background: f32) -> f64 {
    f64::from(total) - f64::from(background)
}

/// Measures one pulse.
///
/// # Arguments
/// * `total`, `background`: of equal length.
/// * `spans`: inside them; two or more baseline samples, eleven or more of the window.
pub(crate) fn measure(
    total: &[f32],
    background: &[f32],
    spans: &Spans,
    scratch: &mut Scratch,
) -> Figures {
    let (offset, baseline_noise) = baseline(total, background, spans);
    let sum = take_net(total, background, spans, offset, scratch);
    let n = scratch.net.len();
    let area = sum - 0.5 * (scratch.net[0] + scratch.net[n - 1]);
    let (peak, peak_index) = find_peak(scratch);
    let half_height = half_height(scratch, peak, peak_index);
    let n_end = spans.baseline.len().min(total.len());
    let from = total.len() - n_end;
    let end_sum = sum_of(n_end, |i| {
        net_of(total[from + i], background[from + i]) - offset
    });
    let end = end_sum / n_end as f64;
    let (total_max, background_max, finite) = extremes(total, background);
    Figures {
        offset,
        baseline_noise,
        area,
        peak,
        peak_index,
        half_height,
        total_max,
        background_max,
        end,
        finite,
    }
}

/// Mean and standard deviation of the baseline. Two passes: the one-pass sum of squares cancels
/// where the offset is large against the noise.
fn baseline(total: &[f32], background: &[f32], spans: &Spans) -> (f64, f64) {
    let total = &total[spans.baseline.clone()];
    let background = &background[spans.baseline.clone()];
    let n = total.len();
    let offset = sum_of(n, |i| net_of(total[i], background[i])) / n as f64;
    let squares = sum_of(n, |i| {
        let residual = net_of(total[i], background[i]) - offset;
        residual * residual
    });
    (offset, (squares / (n - 1) as f64).sqrt())
}

/// Fills the net values of the window and the bounds of its blocks; gives the sum.
fn take_net(
    total: &[f32],
    background: &[f32],
    spans: &Spans,
    offset: f64,
    scratch: &mut Scratch,
) -> f64 {
    let total = &total[spans.window.clone()];
    let background = &background[spans.window.clone()];
    let n = total.len();
    let n_blocks = n.div_ceil(BLOCK);
    scratch.net.resize(n, 0.0);
    scratch.smooth.resize(n_blocks * BLOCK, 0.0);
    scratch.smoothed.clear();
    scratch.smoothed.resize(n_blocks, false);
    scratch.highest.clear();
    scratch.lowest.clear();
    let mut lanes = [0.0; LANES];
    let (total_blocks, total_rest) = total.as_chunks::<BLOCK>();
    let (background_blocks, background_rest) = background.as_chunks::<BLOCK>();
    let (net_blocks, net_rest) = scratch.net.as_chunks_mut::<BLOCK>();
    for ((t, b), y) in total_blocks.iter().zip(background_blocks).zip(net_blocks) {
        let mut highest = [0.0; LANES];
        let mut lowest = [0.0; LANES];
        for lane in 0..LANES {
            let first = net_of(t[lane], b[lane]) - offset;
            let second = net_of(t[lane + LANES], b[lane + LANES]) - offset;
            y[lane] = first;
            y[lane + LANES] = second;
            lanes[lane] += first;
            lanes[lane] += second;
            highest[lane] = larger(first, second);
            lowest[lane] = smaller(first, second);
        }
        scratch.highest.push(across(highest, larger));
        scratch.lowest.push(across(lowest, smaller));
    }
    if !net_rest.is_empty() {
        let (mut highest, mut lowest) = (f64::NEG_INFINITY, f64::INFINITY);
        for (place, ((&t, &b), y)) in total_rest
            .iter()
            .zip(background_rest)
            .zip(net_rest)
            .enumerate()
        {
            *y = net_of(t, b) - offset;
            lanes[place % LANES] += *y;
            highest = larger(highest, *y);
            lowest = smaller(lowest, *y);
        }
        scratch.highest.push(highest);
        scratch.lowest.push(lowest);
    }
    fold(lanes)
}

// Written as comparisons: `f64::max` also looks for values that are no numbers, which costs three
// instructions for one.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[inline(always)]
fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

#[inline(always)]
fn across(v: [f64; LANES], pick: impl Fn(f64, f64) -> f64) -> f64 {
    let four = [
        pick(v[0], v[4]),
        pick(v[1], v[5]),
        pick(v[2], v[6]),
        pick(v[3], v[7]),
    ];
    pick(pick(four[0], four[2]), pick(four[1], four[3]))
}

/// Highest value of each channel, and whether all values of both are finite.
fn extremes(total: &[f32], background: &[f32]) -> (f32, f32, bool) {
    let mut total_max = [f32::NEG_INFINITY; LANES];
    let mut background_max = [f32::NEG_INFINITY; LANES];
    // A finite value times zero is zero; any other is not a number, and stays so in the sum.
    let mut zeros = [0.0_f32; LANES];
    let (total_blocks, total_rest) = total.as_chunks::<LANES>();
    let (background_blocks, background_rest) = background.as_chunks::<LANES>();
    for (t, b) in total_blocks.iter().zip(background_blocks) {
        for lane in 0..LANES {
            total_max[lane] = if t[lane] > total_max[lane] {
                t[lane]
            } else {
                total_max[lane]
            };
            background_max[lane] = if b[lane] > background_max[lane] {
                b[lane]
            } else {
                background_max[lane]
            };
            zeros[lane] += t[lane] * 0.0 + b[lane] * 0.0;
        }
    }
    let finite = zeros.iter().all(|&zero| zero == 0.0)
        && total_rest
            .iter()
            .chain(background_rest)
            .all(|value| value.is_finite());
    let over = |lanes: [f32; LANES], rest: &[f32]| {
        lanes.iter().chain(rest).fold(
            f32::NEG_INFINITY,
            |high, &value| if value > high { value } else { high },
        )
    };
    (
        over(total_max, total_rest),
        over(background_max, background_rest),
        finite,
    )
}

/// Bounds of the smoothed values of a block, from the raw values they are made of.
///
/// A row of weights adds up to 1, its positive ones to P: the smoothed value is at most
/// P times the highest less (P - 1) times the lowest of its eleven values.
fn bounds(scratch: &Scratch, block: usize) -> (f64, f64) {
    let n_blocks = scratch.highest.len();
    let (from, to) = (block.saturating_sub(1), (block + 1).min(n_blocks - 1));
    let (mut high, mut low) = (scratch.highest[block], scratch.lowest[block]);
    for near in [from, to] {
        high = larger(high, scratch.highest[near]);
        low = smaller(low, scratch.lowest[near]);
    }
    let positive = if is_inside(block, scratch.net.len()) {
        MIDDLE_POSITIVE
    } else {
        END_POSITIVE
    };
    // Room for the rounding of eleven products.
    let room = 1e-14 * (high.abs() + low.abs());
    let spread = (positive - 1.0) * (high - low) + room;
    (low - spread, high + spread)
}

/// Whether every value of the block is the middle of eleven.
fn is_inside(block: usize, n: usize) -> bool {
    block * BLOCK >= HALF && (block + 1) * BLOCK + HALF <= n
}

/// Smooths a block unless that was done before.
fn smooth_block(scratch: &mut Scratch, block: usize) {
    if scratch.smoothed[block] {
        return;
    }
    scratch.smoothed[block] = true;
    let n = scratch.net.len();
    let start = block * BLOCK;
    if is_inside(block, n) {
        let near: &[f64; BLOCK + 2 * HALF] = scratch.net[start - HALF..start + BLOCK + HALF]
            .try_into()
            .expect("a block and five values on either side");
        let out: &mut [f64; BLOCK] = (&mut scratch.smooth[start..start + BLOCK])
            .try_into()
            .expect("one block");
        for (place, value) in out.iter_mut().enumerate() {
            let eleven: &[f64; POINTS] = near[place..place + POINTS]
                .try_into()
                .expect("eleven of twenty-six values");
            *value = smoothing::middle(eleven);
        }
    } else {
        for index in start..(start + BLOCK).min(n) {
            scratch.smooth[index] = smoothing::at(&scratch.net, index);
        }
    }
}

/// Highest smoothed value and its first place.
fn find_peak(scratch: &mut Scratch) -> (f64, usize) {
    let n_blocks = scratch.highest.len();
    // Begin where the raw values are highest: most other blocks then cannot hold the peak.
    let mut likely = 0;
    for block in 1..n_blocks {
        if scratch.highest[block] > scratch.highest[likely] {
            likely = block;
        }
    }
    let (mut peak, mut peak_index) = peak_of_block(scratch, likely);
    for block in 0..n_blocks {
        if block == likely || bounds(scratch, block).1 < peak {
            continue;
        }
        let (value, index) = peak_of_block(scratch, block);
        if value > peak || (value == peak && index < peak_index) {
            (peak, peak_index) = (value, index);
        }
    }
    (peak, peak_index)
}

fn peak_of_block(scratch: &mut Scratch, block: usize) -> (f64, usize) {
    smooth_block(scratch, block);
    let start = block * BLOCK;
    let end = (start + BLOCK).min(scratch.net.len());
    let mut best = (scratch.smooth[start], start);
    for (index, &value) in scratch.smooth[start..end].iter().enumerate() {
        if value > best.0 {
            best = (value, start + index);
        }
    }
    best
}

/// Where the smoothed pulse crosses half its height, linear between neighbours.
fn half_height(scratch: &mut Scratch, peak: f64, peak_index: usize) -> Option<(f64, f64)> {
    if peak <= 0.0 {
        return None;
    }
    let half = 0.5 * peak;
    let left = last_below(scratch, half, peak_index)?;
    let right = first_below(scratch, half, peak_index)?;
    let (below, above) = (smoothed(scratch, left), smoothed(scratch, left + 1));
    let rise = left as f64 + (half - below) / (above - below);
    let (above, below) = (smoothed(scratch, right - 1), smoothed(scratch, right));
    let fall = (right - 1) as f64 + (above - half) / (above - below);
    Some((rise, fall))
}

fn smoothed(scratch: &mut Scratch, index: usize) -> f64 {
    smooth_block(scratch, index / BLOCK);
    scratch.smooth[index]
}

/// Place of the last smoothed value below `level` before `index`.
fn last_below(scratch: &mut Scratch, level: f64, index: usize) -> Option<usize> {
    for block in (0..=index / BLOCK).rev() {
        if bounds(scratch, block).0 >= level {
            continue;
        }
        smooth_block(scratch, block);
        let start = block * BLOCK;
        let end = (start + BLOCK).min(index);
        if let Some(place) = scratch.smooth[start..end]
            .iter()
            .rposition(|&value| value < level)
        {
            return Some(start + place);
        }
    }
    None
}

/// Place of the first smoothed value below `level` behind `index`.
fn first_below(scratch: &mut Scratch, level: f64, index: usize) -> Option<usize> {
    let n = scratch.net.len();
    for block in index / BLOCK..scratch.highest.len() {
        if bounds(scratch, block).0 >= level {
            continue;
        }
        smooth_block(scratch, block);
        let start = (block * BLOCK).max(index + 1).min(n);
        let end = ((block + 1) * BLOCK).min(n);
        if let Some(place) = scratch.smooth[start..end]
            .iter()
            .position(|&value| value < level)
        {
            return Some(start + place);
        }
    }
    None
}

/// Smoothed values of the window last measured, all of them.
pub(crate) fn smooth_all(scratch: &mut Scratch) -> &[f64] {
    for block in 0..scratch.highest.len() {
        smooth_block(scratch, block);
    }
    &scratch.smooth[..scratch.net.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What `measure` gives, by smoothing everything and searching plainly.
    fn plainly(net: &[f64]) -> (f64, usize, Option<(f64, f64)>) {
        let smooth = smoothing::smooth(net);
        let mut peak_index = 0;
        for (index, &value) in smooth.iter().enumerate() {
            if value > smooth[peak_index] {
                peak_index = index;
            }
        }
        let peak = smooth[peak_index];
        let half = 0.5 * peak;
        let left = smooth[..peak_index].iter().rposition(|&value| value < half);
        let right = smooth[peak_index..].iter().position(|&value| value < half);
        let crossings = left.zip(right).filter(|_| peak > 0.0).map(|(left, right)| {
            let right = peak_index + right;
            let rise = left as f64 + (half - smooth[left]) / (smooth[left + 1] - smooth[left]);
            let fall = (right - 1) as f64
                + (smooth[right - 1] - half) / (smooth[right - 1] - smooth[right]);
            (rise, fall)
        });
        (peak, peak_index, crossings)
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
            let mut scratch = Scratch::default();
            let found = measure(&total, &background, &spans, &mut scratch);
            let (peak, peak_index, crossings) = plainly(scratch.net());
            prop_assert_eq!(found.peak.to_bits(), peak.to_bits());
            prop_assert_eq!(found.peak_index, peak_index);
            prop_assert_eq!(found.half_height, crossings);
            let whole = smoothing::smooth(scratch.net());
            prop_assert_eq!(smooth_all(&mut scratch), &whole[..]);
        }
    }
}
