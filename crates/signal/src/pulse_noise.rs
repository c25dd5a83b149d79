//! The noise of a pulse: standard uncertainty of any weighted sum of its net values.
//!
//! Area and height are such sums. [`PulseNoise::u`] gives each channel's value the variance its own absorbance makes of
//! it, and carries the weights of an interpolated background back to the values that were measured.

use core::ops::Range;

use crate::lanes::{self, sum_of};
use crate::photon_noise;
use crate::trace::Trace;

/// Weights of net values that stand together.
pub(crate) struct Weights {
    /// Place of the first in the trace.
    start: usize,
    values: Vec<f64>,
}

impl Weights {
    /// Weights of some values, and of the baseline whose mean is taken off each of them.
    ///
    /// # Arguments
    /// * `weights`, `start`: weights of the values from that place of the trace on.
    pub(crate) fn less_baseline(weights: &[f64], start: usize, baseline: &Range<usize>) -> Weights {
        let from = start.min(baseline.start);
        let to = (start + weights.len()).max(baseline.end);
        let mut values = vec![0.0; to - from];
        values[start - from..start - from + weights.len()].copy_from_slice(weights);
        // A value that stands in the baseline and among the others counts with the difference of its weights.
        let each = lanes::sum(weights) / baseline.len() as f64;
        for value in &mut values[baseline.start - from..baseline.end - from] {
            *value -= each;
        }
        Weights { start: from, values }
    }
}

/// Variances of a trace's values, relative to that of a net value without absorbance.
pub(crate) struct PulseNoise {
    sd: f64,
    /// 10^A of each channel's values, counted from its mean over the baseline.
    total: Vec<f64>,
    background: Vec<f64>,
    /// Weights with which four background values made one, and the variance of what they made.
    interpolation: Option<([f64; 4], f64)>,
}

impl PulseNoise {
    /// The noise of a trace.
    ///
    /// # Arguments
    /// * `sd`: standard deviation of a net value of the baseline.
    pub(crate) fn new(trace: &Trace<'_>, baseline: &Range<usize>, sd: f64) -> PulseNoise {
        let through = |values: &[f32]| {
            let stretch = &values[baseline.clone()];
            let zero = sum_of(stretch.len(), |i| f64::from(stretch[i])) / stretch.len() as f64;
            photon_noise::through(values, zero)
        };
        let interpolation = trace.interpolation().map(|rule| (rule.weights(), rule.noise_gain()));
        PulseNoise { sd, total: through(trace.total()), background: through(trace.background()), interpolation }
    }

    /// Standard uncertainty of a weighted sum of net values.
    ///
    /// # Source
    /// JCGM 100:2008, equation (11a): the squared weight of each measured value times its variance. A net value of the
    /// baseline has the variances of one total and of g background values, g the noise gain of the interpolation.
    pub(crate) fn u(&self, weights: &Weights) -> f64 {
        let w = &weights.values;
        let (total, background) = (&self.total[weights.start..], &self.background[weights.start..]);
        let of_total = sum_of(w.len(), |i| w[i] * w[i] * total[i]);
        let (of_background, gain) = match &self.interpolation {
            None => (sum_of(w.len(), |i| w[i] * w[i] * background[i]), 1.0),
            Some((four, gain)) => {
                let carried = |j: usize| {
                    let mut sum = 0.0;
                    for (k, weight) in four.iter().enumerate() {
                        sum += weight * j.checked_sub(k).and_then(|i| w.get(i)).copied().unwrap_or(0.0);
                    }
                    sum
                };
                // A measured value stands within two steps of the places it was read for.
                let near = |j: usize| background[j.saturating_sub(2).min(w.len() - 1)];
                let sum = sum_of(w.len() + 3, |j| {
                    let carried = carried(j);
                    carried * carried * near(j)
                });
                (sum, *gain)
            }
        };
        self.sd * ((of_total + of_background) / (1.0 + gain)).max(0.0).sqrt()
    }
}
