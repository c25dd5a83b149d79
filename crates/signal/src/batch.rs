//! Many evenly sampled pulses of one length at once, on all cores.
//!
//! [`reduce_many`] and [`reduce_into`] give the figures of [`crate::reduce`] that need no look at single values; whoever
//! wants the uncertainty of a pulse reduces that pulse alone.
//!
//! Invariant: a pulse's figures depend on that pulse alone, so neither the order of the pulses nor the
//! number of threads changes a bit.

use rayon::prelude::*;

use crate::figures::{self, Figures, Scratch};
use crate::trace::{Times, Trace};
use crate::trace_fault::TraceFault;
use crate::window::{Spans, Window};

/// Fewest pulses a thread takes at a time: some 250 kB of samples.
const TOGETHER: usize = 64;

/// Pulses of one method: as many samples each, at the same times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Batch<'a> {
    /// Total absorbance, one pulse after the other.
    pub total: &'a [f32],
    /// Background absorbance, in the same order.
    pub background: &'a [f32],
    /// Samples of one pulse.
    pub n_samples: usize,
    /// Time of each pulse's first sample, in seconds.
    pub start_s: f64,
    /// Samples a second.
    pub rate_hz: f64,
}

/// What a pulse of a batch gives; every figure has the bits [`crate::reduce`] gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatchFigures {
    /// Area of the net pulse between the integration limits, in seconds.
    pub integrated_absorbance: f64,
    /// Highest smoothed net absorbance.
    pub peak_absorbance: f64,
    /// When it was reached, in seconds.
    pub peak_time_s: f64,
    /// Width of the smoothed pulse at half its height, in seconds.
    pub width_s: Option<f64>,
    /// Baseline offset taken off.
    pub offset: f64,
    /// Standard deviation of one net value of the baseline.
    pub baseline_noise: f64,
    /// Highest background absorbance.
    pub background_max: f64,
    /// What was still there when the read ended, over the height.
    pub tail: Option<f64>,
}

/// Reduces every pulse of a batch.
///
/// # Arguments
/// * `batch`: pulses of equal length.
/// * `window`: baseline and limits, the same for all.
///
/// # Errors
/// [`TraceFault::NoSamples`] where a pulse has no samples, [`TraceFault::LengthsDiffer`] and
/// [`TraceFault::PulseCut`] where the channels do not hold the same whole number of pulses. A fault of a single pulse stands in its place in the
/// answer and is the one [`crate::reduce`] gives.
///
/// # Source
/// As [`crate::reduce`].
pub fn reduce_many(batch: &Batch<'_>, window: &Window) -> Result<Vec<Answer>, TraceFault> {
    let mut answers = Vec::new();
    reduce_into(batch, window, &mut answers)?;
    Ok(answers)
}

/// What became of one pulse of a batch: its figures, or its fault.
pub type Answer = Result<BatchFigures, TraceFault>;

/// Reduces every pulse of a batch into a list that is kept from batch to batch.
///
/// As [`reduce_many`]. Fresh memory for the answers costs a sixth of the time: the operating system clears every page.
///
/// # Arguments
/// * `answers`: what it holds is replaced; with an error it is left empty.
///
/// # Errors
/// Those of [`reduce_many`].
///
/// # Source
/// As [`crate::reduce`].
pub fn reduce_into(batch: &Batch<'_>, window: &Window, answers: &mut Vec<Answer>) -> Result<(), TraceFault> {
    answers.clear();
    let n = batch.n_samples;
    if n == 0 {
        return Err(TraceFault::NoSamples);
    }
    let (total, background) = (batch.total, batch.background);
    if total.len() != background.len() {
        return Err(TraceFault::LengthsDiffer { total: total.len(), background: background.len() });
    }
    if !total.len().is_multiple_of(n) {
        return Err(TraceFault::PulseCut { n: total.len(), n_samples: n });
    }
    let spans = common_spans(batch, window);
    total
        .par_chunks_exact(n)
        .zip(background.par_chunks_exact(n))
        .with_min_len(TOGETHER)
        .map_init(Scratch::default, |scratch, (total, background)| {
            reduce_one(batch, window, spans.as_ref(), total, background, scratch)
        })
        .collect_into_vec(answers);
    Ok(())
}

/// Where the window falls, the same for every pulse; `None` where it does not fit.
fn common_spans(batch: &Batch<'_>, window: &Window) -> Option<Spans> {
    // Any samples do: the place of the window depends on the times alone.
    let total: Vec<f32> = (0..batch.n_samples).map(|index| (index % 2) as f32 * 0.5).collect();
    let times = Times::Even { start_s: batch.start_s, rate_hz: batch.rate_hz };
    let trace = Trace::new(times, &total, &vec![0.0; batch.n_samples]).ok().map(|trace| window.spans(&trace));
    trace?.ok()
}

fn reduce_one(
    batch: &Batch<'_>,
    window: &Window,
    spans: Option<&Spans>,
    total: &[f32],
    background: &[f32],
    scratch: &mut Scratch,
) -> Result<BatchFigures, TraceFault> {
    if let Some(spans) = spans {
        let figures = figures::measure(total, background, spans, scratch);
        if is_sound(&figures, total) {
            return Ok(in_seconds(batch, spans, &figures));
        }
    }
    let times = Times::Even { start_s: batch.start_s, rate_hz: batch.rate_hz };
    let spans = window.spans(&Trace::new(times, total, background)?)?;
    Ok(in_seconds(batch, &spans, &figures::measure(total, background, &spans, scratch)))
}

/// Whether nothing hints at a fault of the samples. A hint is looked into by [`Trace::new`], which
/// alone decides.
fn is_sound(figures: &Figures, total: &[f32]) -> bool {
    figures.finite && !figures.may_be_clipped && total.iter().any(|&value| value != total[0])
}

fn in_seconds(batch: &Batch<'_>, spans: &Spans, figures: &Figures) -> BatchFigures {
    let times = Times::Even { start_s: batch.start_s, rate_hz: batch.rate_hz };
    let has_height = figures.peak > 0.0;
    BatchFigures {
        integrated_absorbance: figures.area / batch.rate_hz,
        peak_absorbance: figures.peak,
        peak_time_s: times.at(spans.window.start + figures.peak_index),
        width_s: figures.half_height.map(|(rise, fall)| (fall - rise) / batch.rate_hz),
        offset: figures.offset,
        baseline_noise: figures.baseline_noise,
        background_max: f64::from(figures.background_max),
        tail: has_height.then_some(figures.end / figures.peak),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reduction::reduce;
    use proptest::prelude::*;

    const N: usize = 60;
    const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.2, from_s: 0.2, to_s: 1.15 };

    fn batch<'a>(total: &'a [f32], background: &'a [f32]) -> Batch<'a> {
        Batch { total, background, n_samples: N, start_s: 0.0, rate_hz: 50.0 }
    }

    fn one_by_one(batch: &Batch<'_>, window: &Window) -> Vec<Result<BatchFigures, TraceFault>> {
        let times = Times::Even { start_s: batch.start_s, rate_hz: batch.rate_hz };
        let pulses = batch.total.chunks(batch.n_samples).zip(batch.background.chunks(batch.n_samples));
        pulses
            .map(|(total, background)| {
                let reduced = reduce(&Trace::new(times, total, background)?, window)?;
                Ok(BatchFigures {
                    integrated_absorbance: reduced.integrated_absorbance,
                    peak_absorbance: reduced.peak_absorbance,
                    peak_time_s: reduced.peak_time_s,
                    width_s: reduced.width_s,
                    offset: reduced.offset,
                    baseline_noise: reduced.baseline_noise,
                    background_max: reduced.background_max,
                    tail: reduced.tail,
                })
            })
            .collect()
    }

    /// A batch whose pulses may each be ordinary or faulty.
    fn samples() -> impl Strategy<Value = Vec<f32>> {
        let pulse = prop_oneof![
            6 => prop::collection::vec(-0.1_f32..1.4, N),
            1 => prop::collection::vec(any::<f32>(), N),
            1 => Just(vec![0.3; N]),
            1 => (0.9_f32..2.5).prop_map(|ceiling| {
                (0..N).map(|i| (i as f32 * 0.1).min(ceiling)).collect()
            }),
        ];
        prop::collection::vec(pulse, 1..5).prop_map(|pulses| pulses.concat())
    }

    proptest! {
        #[test]
        fn a_pulse_among_many_has_the_bits_and_the_faults_of_the_pulse_alone(
            total in samples(),
            background in prop::collection::vec(0.0_f32..1.2, N * 4),
        ) {
            let batch = batch(&total, &background[..total.len().min(N * 4)]);
            let many = reduce_many(&batch, &WINDOW).expect("whole pulses");
            // Faults may hold values that are no numbers, which equal nothing.
            prop_assert_eq!(format!("{many:?}"), format!("{:?}", one_by_one(&batch, &WINDOW)));
        }

        #[test]
        fn shuffled_pulses_give_shuffled_figures(seed in any::<u64>()) {
            let mut state = seed;
            let mut random = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 40) as f32 / 16_777_216.0
            };
            let n_pulses = 200;
            let total: Vec<f32> = (0..n_pulses * N).map(|_| random()).collect();
            let background: Vec<f32> = (0..n_pulses * N).map(|_| 0.1 * random()).collect();
            let mut order: Vec<usize> = (0..n_pulses).collect();
            order.sort_by_cached_key(|_| random().to_bits());
            let shuffle = |values: &[f32]| -> Vec<f32> {
                order.iter().flat_map(|&pulse| values[pulse * N..(pulse + 1) * N].to_vec()).collect()
            };
            let plain = reduce_many(&batch(&total, &background), &WINDOW).expect("whole pulses");
            let (total, background) = (shuffle(&total), shuffle(&background));
            let shuffled = reduce_many(&batch(&total, &background), &WINDOW).expect("whole pulses");
            for (place, &pulse) in order.iter().enumerate() {
                prop_assert_eq!(&shuffled[place], &plain[pulse]);
            }
        }
    }

    #[test]
    fn one_thread_and_many_give_the_same_bits() {
        let total: Vec<f32> = (0..300 * N).map(|i| ((i * 7919) % 1009) as f32 * 1e-3).collect();
        let background: Vec<f32> = (0..300 * N).map(|i| ((i * 31) % 101) as f32 * 1e-3).collect();
        let batch = batch(&total, &background);
        let many = reduce_many(&batch, &WINDOW).expect("whole pulses");
        let one = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .expect("one thread")
            .install(|| reduce_many(&batch, &WINDOW).expect("whole pulses"));
        assert_eq!(one, many);
    }

    #[test]
    fn a_window_that_does_not_fit_is_told_for_every_pulse() {
        let total: Vec<f32> = (0..2 * N).map(|i| i as f32 * 1e-3).collect();
        let background = vec![0.0; 2 * N];
        let late = Window { to_s: 30.0, ..WINDOW };
        let answers = reduce_many(&batch(&total, &background), &late).expect("whole pulses");
        assert_eq!(answers.len(), 2);
        for answer in answers {
            assert!(matches!(answer, Err(TraceFault::IntegrationOutsideTrace { .. })));
        }
    }

    #[test]
    fn a_batch_of_no_pulses_gives_none_and_half_a_pulse_is_refused() {
        assert_eq!(reduce_many(&batch(&[], &[]), &WINDOW), Ok(Vec::new()));
        let half = reduce_many(&batch(&[0.0; 30], &[0.0; 30]), &WINDOW);
        assert_eq!(half, Err(TraceFault::PulseCut { n: 30, n_samples: N }));
        let none = Batch { n_samples: 0, ..batch(&[], &[]) };
        assert_eq!(reduce_many(&none, &WINDOW), Err(TraceFault::NoSamples));
    }
}
