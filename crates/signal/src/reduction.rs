//! Reduction of one pulse: area, height, times, noise and uncertainty from a trace and a window.
//!
//! [`reduce`] is the door for a pulse; a steady signal of a flame goes through [`crate::steady`], many
//! evenly sampled pulses at once through [`crate::batch`], a pulse with its shape through [`crate::examine`].
//!
//! Invariant: the figures are those of [`crate::figures::measure`], so one pulse alone and the same
//! pulse among many give the same bits.

use serde::{Deserialize, Serialize};

use crate::appearance::{self, APPEARANCE_IN_SD};
use crate::figures::{self, Figures, Scratch};
use crate::lanes::sum_of;
use crate::photon_noise;
use crate::pulse_noise::{PulseNoise, Weights};
use crate::smoothing::{self, HALF, POINTS};
use crate::trace::{Times, Trace};
use crate::trace_fault::TraceFault;
use crate::window::{Spans, Window};

/// What one pulse gives. Absorbances and times are those of the net pulse, offset taken off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reduced {
    /// Area of the net pulse between the integration limits, in seconds.
    pub integrated_absorbance: f64,
    /// Standard uncertainty of the area from noise, in seconds.
    pub u_integrated: f64,
    /// Highest smoothed net absorbance between the limits. On a blank it is above zero by chance.
    pub peak_absorbance: f64,
    /// Standard uncertainty of the height from noise.
    pub u_peak: f64,
    /// Time of the highest smoothed value, in seconds.
    pub peak_time_s: f64,
    /// When the smoothed pulse first exceeds three baseline standard deviations; `None` where it
    /// never does, or where the baseline has no noise.
    pub appearance_time_s: Option<f64>,
    /// Width of the smoothed pulse at half its height, in seconds; `None` where the pulse does not
    /// fall below half on both sides.
    pub width_s: Option<f64>,
    /// How far the pulse leans: time from the peak to where it falls through a tenth of its height, over the time
    /// it took to rise from there; 1 for a symmetric pulse, above 1 for one that tails. `None` where it does not cross a
    /// tenth on both sides, or a tenth is not above three baseline standard deviations.
    pub asymmetry: Option<f64>,
    /// Samples in the width at half height of the values as measured, not smoothed; `None` where the pulse does not fall
    /// below half on both sides.
    pub samples_in_width: Option<f64>,
    /// Baseline offset taken off: mean net absorbance before the pulse.
    pub offset: f64,
    /// Standard deviation of one net value of the baseline.
    pub baseline_noise: f64,
    /// Slope of the straight line through the baseline values, per second.
    pub baseline_drift_per_s: f64,
    /// Its standard uncertainty from noise.
    pub u_baseline_drift_per_s: f64,
    /// What that slope adds to the area if it goes on, in seconds.
    pub area_of_drift: f64,
    /// Photoelectrons of one value that such a noise stands for; `None` without noise.
    pub light_level: Option<f64>,
    /// Highest background absorbance of the trace.
    pub background_max: f64,
    /// When it was reached, in seconds.
    pub background_max_time_s: f64,
    /// Background absorbance at the time of the peak.
    pub background_at_peak: f64,
    /// Area of the background between the integration limits, its mean over the baseline taken off, in seconds.
    pub background_area: f64,
    /// Highest slope of the background between the limits, up or down, per second: that of the quadratic through eleven
    /// neighbours.
    pub background_fastest_per_s: f64,
    /// Most negative net absorbance between the limits, not above zero.
    pub negative_lobe: f64,
    /// When it was reached, in seconds; `None` where no net value is negative.
    pub negative_lobe_time_s: Option<f64>,
    /// Mean of the last values of the trace (as many as the baseline has) over the height: what was
    /// still there when the read ended. `None` where the height is not above zero.
    pub tail: Option<f64>,
    /// Net area behind the integration limits, in seconds: what the clean-out still drives off. `None` where the trace has
    /// fewer than eleven values there.
    pub clean_out_area: Option<f64>,
    /// Its standard uncertainty from noise.
    pub u_clean_out_area: Option<f64>,
    /// Mean distance between two samples, in seconds.
    pub step_s: f64,
    /// Longest distance between two samples in the window, in seconds; above the others where rows
    /// are missing.
    pub longest_step_s: f64,
    /// Number of samples between the integration limits.
    pub n_window: usize,
    /// Number of baseline samples.
    pub n_baseline: usize,
}

/// Reduces one pulse.
///
/// The area is the trapezoid sum of the net values between the limits, the mean of the baseline taken
/// off each. The height is the highest value of the quadratic through eleven neighbours.
///
/// The uncertainty is that of noise. Each net value has the baseline's variance times
/// `(10^T + 10^B)/2`: the light that is left makes the noise ([`photon_noise::light_level`]). The
/// area is a weighted sum, so `u² = sum w² var` with trapezoid weights in the window and minus their
/// sum over n_b in the baseline. Without absorbance this is dt sd sqrt(n + n²/n_b), the two half
/// weights at the ends aside. Where the background was read in turn and interpolated
/// ([`crate::InTurn`]), each measured background value counts with the sum of its weights. Noise that is
/// correlated from value to value by a wandering lamp makes it larger
/// ([`crate::baseline::autocorrelation_factor`]); read noise counts as photon noise, which understates u
/// where little light is left. Repeatability of firings is not in it.
///
/// # Arguments
/// * `trace`: checked samples.
/// * `window`: baseline and limits of the method.
///
/// # Errors
/// Those of the window: [`TraceFault::WindowNotANumber`], [`TraceFault::WindowReversed`],
/// [`TraceFault::TooFewBeforeAtomisation`], [`TraceFault::IntegrationOutsideTrace`],
/// [`TraceFault::TooFewSamples`].
///
/// # Source
/// Area and weights: JCGM 100:2008, 5.1.2, for a linear function of the values. Height: A. Savitzky,
/// M. J. E. Golay, Anal. Chem. 36 (1964) 1627 (from memory). Photon noise: J. D. Ingle, S. R. Crouch,
/// Spectrochemical Analysis, Prentice Hall, 1988 (from memory). Appearance: IUPAC Gold Book A00423.
/// Checked by `tests/published/main.rs` and `tests/published/main.rs`, and against the
/// scatter of simulated replicates by `tests/replicates`.
///
/// # Example
/// ```
/// use darkline_signal::{Times, Trace, Window, reduce};
/// // A triangle of height 0.4 and base 1 s from 1 s to 2 s, on an offset of 0.01.
/// let total: Vec<f32> = (0..150)
///     .map(|i| 0.01 + (0.4 - 0.8 * (i as f32 / 50.0 - 1.5).abs()).max(0.0))
///     .collect();
/// let background = vec![0.0; 150];
/// let times = Times::Even { start_s: 0.0, rate_hz: 50.0 };
/// let trace = Trace::new(times, &total, &background)?;
/// let window = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 2.98 };
/// let reduced = reduce(&trace, &window)?;
/// assert!((reduced.integrated_absorbance - 0.2).abs() < 1e-6);
/// assert_eq!(reduced.peak_time_s, 1.5);
/// # Ok::<(), darkline_signal::TraceFault>(())
/// ```
pub fn reduce(trace: &Trace<'_>, window: &Window) -> Result<Reduced, TraceFault> {
    Ok(Laid::over(trace, window)?.reduced(trace))
}

/// A window laid over a trace, and what both [`reduce`] and [`crate::shape`] begin with.
pub(crate) struct Laid {
    pub(crate) spans: Spans,
    pub(crate) figures: Figures,
    /// Net values of the window, offset taken off.
    pub(crate) net: Vec<f64>,
    /// The same, smoothed.
    pub(crate) smooth: Vec<f64>,
}

impl Laid {
    pub(crate) fn over(trace: &Trace<'_>, window: &Window) -> Result<Laid, TraceFault> {
        let spans = window.spans(trace)?;
        let figures = figures::measure(trace.total(), trace.background(), &spans, &mut Scratch::default());
        let net = figures::net(trace.total(), trace.background(), &spans, figures.offset);
        let smooth = smoothing::smooth(&net);
        Ok(Laid { spans, figures, net, smooth })
    }

    /// Time of a place of the window.
    pub(crate) fn time_at(&self, trace: &Trace<'_>, place: f64) -> f64 {
        trace.times().between(self.spans.window.start as f64 + place)
    }

    pub(crate) fn reduced(&self, trace: &Trace<'_>) -> Reduced {
        let Laid { spans, figures, net, smooth } = self;
        let times = trace.times();
        let time_at = |place: f64| self.time_at(trace, place);
        let weights = trapezoid_weights(&times, &spans.window);
        let integrated_absorbance = match times {
            Times::Even { rate_hz, .. } => figures.area / rate_hz,
            Times::At(_) => sum_of(net.len(), |i| net[i] * weights[i]),
        };
        let noise = PulseNoise::new(trace, &spans.baseline, figures.baseline_noise);
        let u_integrated = noise.u(&Weights::less_baseline(&weights, spans.window.start, &spans.baseline));
        let (row, start) = smoothing::row_at(figures.peak_index, net.len());
        let row = &smoothing::ROWS[row];
        let u_peak = noise.u(&Weights::less_baseline(row, spans.window.start + start, &spans.baseline));
        let clean_out = self.clean_out(trace, &noise);
        let negative = lowest_place(net);
        let background = trace.background();
        let background_max_index = background.iter().position(|&b| b == figures.background_max).unwrap_or(0);
        let has_height = figures.peak > 0.0;
        let (baseline_drift_per_s, u_baseline_drift_per_s) = self.drift(trace);
        Reduced {
            integrated_absorbance,
            u_integrated,
            peak_absorbance: figures.peak,
            u_peak,
            peak_time_s: time_at(figures.peak_index as f64),
            appearance_time_s: appearance::place(smooth, figures.baseline_noise).map(time_at),
            width_s: figures.half_height.map(|(rise, fall)| match times {
                Times::Even { rate_hz, .. } => (fall - rise) / rate_hz,
                Times::At(_) => time_at(fall) - time_at(rise),
            }),
            asymmetry: self.asymmetry(trace),
            samples_in_width: samples_in_width(net),
            offset: figures.offset,
            baseline_noise: figures.baseline_noise,
            baseline_drift_per_s,
            u_baseline_drift_per_s,
            area_of_drift: baseline_drift_per_s * self.leverage(trace, &weights),
            light_level: photon_noise::light_level(figures.baseline_noise),
            background_max: f64::from(figures.background_max),
            background_max_time_s: times.at(background_max_index),
            background_at_peak: f64::from(background[spans.window.start + figures.peak_index]),
            background_area: self.background_area(trace, &weights),
            background_fastest_per_s: self.background_fastest(trace),
            negative_lobe: negative.map_or(0.0, |(value, _)| value),
            negative_lobe_time_s: negative.map(|(_, index)| time_at(index as f64)),
            tail: has_height.then_some(figures.end / figures.peak),
            clean_out_area: clean_out.map(|(area, _)| area),
            u_clean_out_area: clean_out.map(|(_, u)| u),
            step_s: times.mean_step_s(trace.n_samples()),
            longest_step_s: longest_step_s(&times, spans),
            n_window: spans.window.len(),
            n_baseline: spans.baseline.len(),
        }
    }

    /// Slope of the line through the baseline values, and its standard uncertainty.
    fn drift(&self, trace: &Trace<'_>) -> (f64, f64) {
        let baseline = self.spans.baseline.clone();
        let n = baseline.len();
        let time = |i: usize| trace.times().at(baseline.start + i);
        let net = |i: usize| {
            let place = baseline.start + i;
            f64::from(trace.total()[place]) - f64::from(trace.background()[place]) - self.figures.offset
        };
        let mean = sum_of(n, time) / n as f64;
        let spread = sum_of(n, |i| (time(i) - mean) * (time(i) - mean));
        let slope = sum_of(n, |i| (time(i) - mean) * net(i)) / spread;
        let u = self.figures.baseline_noise / spread.sqrt();
        // Steps too small for the square of a 64-bit number leave no slope to tell.
        if slope.is_finite() && u.is_finite() { (slope, u) } else { (0.0, 0.0) }
    }

    /// Area of a net value that is 0 in the middle of the baseline and rises by 1 a second.
    fn leverage(&self, trace: &Trace<'_>, weights: &[f64]) -> f64 {
        let times = trace.times();
        let baseline = self.spans.baseline.clone();
        let middle = sum_of(baseline.len(), |i| times.at(baseline.start + i)) / baseline.len() as f64;
        sum_of(weights.len(), |i| weights[i] * (times.at(self.spans.window.start + i) - middle))
    }

    fn asymmetry(&self, trace: &Trace<'_>) -> Option<f64> {
        let (smooth, peak) = (&self.smooth, self.figures.peak_index);
        let level = 0.1 * self.figures.peak;
        if level <= APPEARANCE_IN_SD * self.figures.baseline_noise || level <= 0.0 {
            return None;
        }
        let (rise, fall) = crossings(smooth, peak, level)?;
        let at = |place: f64| self.time_at(trace, place);
        let peak = at(peak as f64);
        let found = (at(fall) - peak) / (peak - at(rise));
        found.is_finite().then_some(found)
    }

    fn background_area(&self, trace: &Trace<'_>, weights: &[f64]) -> f64 {
        let background = trace.background();
        let baseline = self.spans.baseline.clone();
        let zero = sum_of(baseline.len(), |i| f64::from(background[baseline.start + i])) / baseline.len() as f64;
        sum_of(weights.len(), |i| weights[i] * (f64::from(background[self.spans.window.start + i]) - zero))
    }

    fn background_fastest(&self, trace: &Trace<'_>) -> f64 {
        let background = &trace.background()[self.spans.window.clone()];
        let mut fastest = 0.0_f64;
        for (index, eleven) in background.windows(POINTS).enumerate() {
            // Slope of the quadratic in its middle: sum of place times value over 110.
            let mut slope = 0.0;
            for k in 1..=HALF {
                slope += k as f64 * (f64::from(eleven[HALF + k]) - f64::from(eleven[HALF - k]));
            }
            let span_s = self.time_at(trace, (index + POINTS - 1) as f64) - self.time_at(trace, index as f64);
            let slope = slope / 110.0 * (POINTS - 1) as f64 / span_s;
            if slope.is_finite() {
                fastest = fastest.max(slope.abs());
            }
        }
        fastest
    }

    /// Net area behind the integration limits and its standard uncertainty.
    fn clean_out(&self, trace: &Trace<'_>, noise: &PulseNoise) -> Option<(f64, f64)> {
        // The last value of the window begins the stretch, so that no step is left out.
        let behind = self.spans.window.end - 1..trace.n_samples();
        if behind.len() <= POINTS {
            return None;
        }
        let weights = trapezoid_weights(&trace.times(), &behind);
        let net = |i: usize| {
            let place = behind.start + i;
            f64::from(trace.total()[place]) - f64::from(trace.background()[place]) - self.figures.offset
        };
        let area = sum_of(weights.len(), |i| weights[i] * net(i));
        Some((area, noise.u(&Weights::less_baseline(&weights, behind.start, &self.spans.baseline))))
    }
}

/// Samples in the width at half height, from the values as measured.
fn samples_in_width(net: &[f64]) -> Option<f64> {
    let mut top = 0;
    for (index, &value) in net.iter().enumerate() {
        if value > net[top] {
            top = index;
        }
    }
    if net[top] <= 0.0 {
        return None;
    }
    let (rise, fall) = crossings(net, top, 0.5 * net[top])?;
    Some(fall - rise)
}

/// Where values cross a level before and behind a place above it, linear between neighbours.
pub(crate) fn crossings(values: &[f64], top: usize, level: f64) -> Option<(f64, f64)> {
    let left = values[..top].iter().rposition(|&value| value < level)?;
    let right = top + values[top..].iter().position(|&value| value < level)?;
    let rise = left as f64 + (level - values[left]) / (values[left + 1] - values[left]);
    let fall = (right - 1) as f64 + (values[right - 1] - level) / (values[right - 1] - values[right]);
    Some((rise, fall))
}

/// Net absorbance between the integration limits, value by value, baseline offset taken off: what
/// [`crate::dipped_pulse::restore`] reads and a figure draws.
///
/// # Errors
/// Those of [`reduce`].
pub fn net_pulse(trace: &Trace<'_>, window: &Window) -> Result<Vec<f64>, TraceFault> {
    let spans = window.spans(trace)?;
    let figures = figures::measure(trace.total(), trace.background(), &spans, &mut Scratch::default());
    Ok(figures::net(trace.total(), trace.background(), &spans, figures.offset))
}

/// Trapezoid weights of a stretch of values in seconds: half the distance of a value's neighbours.
pub(crate) fn trapezoid_weights(times: &Times<'_>, stretch: &core::ops::Range<usize>) -> Vec<f64> {
    let (first, last) = (stretch.start, stretch.end - 1);
    (first..=last)
        .map(|index| match *times {
            Times::Even { rate_hz, .. } => {
                let ends = if index == first || index == last { 0.5 } else { 1.0 };
                ends / rate_hz
            }
            Times::At(_) => {
                let before = times.at(index.saturating_sub(1).max(first));
                let after = times.at((index + 1).min(last));
                0.5 * (after - before)
            }
        })
        .collect()
}

fn longest_step_s(times: &Times<'_>, spans: &Spans) -> f64 {
    match *times {
        Times::Even { rate_hz, .. } => 1.0 / rate_hz,
        Times::At(seconds) => {
            seconds[spans.window.clone()].windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max)
        }
    }
}

/// Lowest negative value and its place.
fn lowest_place(net: &[f64]) -> Option<(f64, usize)> {
    let mut lowest = None;
    let mut bound = 0.0;
    for (index, &value) in net.iter().enumerate() {
        if value < bound {
            bound = value;
            lowest = Some((value, index));
        }
    }
    lowest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pulse_shape::ExponentiallyModifiedGaussian;
    use proptest::prelude::*;

    const RATE: f64 = 50.0;
    const EVEN: Times<'static> = Times::Even { start_s: 0.0, rate_hz: RATE };
    const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 4.0 };

    fn reduced(total: &[f32], background: &[f32]) -> Reduced {
        reduce(&Trace::new(EVEN, total, background).expect("a sound trace"), &WINDOW).expect("a window that fits")
    }

    /// Uniform values from -1 to 1, the same ones for the same seed.
    fn uniform(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / 4_503_599_627_370_496.0 - 1.0
        }
    }

    /// A normal value of standard deviation 1, nearly: twelve uniform ones added.
    fn normal(next: &mut impl FnMut() -> f64) -> f64 {
        (0..12).map(|_| 0.5 * next()).fold(0.0, |sum, value| sum + value)
    }

    fn close(found: f64, expected: f64, within: f64) -> bool {
        (found - expected).abs() <= within
    }

    #[test]
    fn noise_of_many_blanks_and_pulses_is_the_uncertainty_given() {
        // Photon noise of the model itself, so that the spread of area and height must be their u.
        let shape = ExponentiallyModifiedGaussian { area: 0.9, centre_s: 1.2, width_s: 0.15, decay_s: 0.4 };
        let sd = 0.002_f64;
        for height in [0.0, 1.0] {
            let mut next = uniform(1);
            let (mut areas, mut heights, mut u_area, mut u_height) = (vec![], vec![], 0.0, 0.0);
            let n_pulses = 3000;
            for _ in 0..n_pulses {
                let mut channel = |absorbance: f64| -> f32 {
                    let noise = sd / 2.0_f64.sqrt() * libm::exp10(0.5 * absorbance);
                    (absorbance + noise * normal(&mut next)) as f32
                };
                let at = |i: usize| i as f64 / RATE;
                let hump = |i: usize| 0.3 * libm::exp(-(at(i) - 1.0) * (at(i) - 1.0) / 0.02);
                let total: Vec<f32> = (0..201).map(|i| channel(hump(i) + height * shape.absorbance(at(i)))).collect();
                let background: Vec<f32> = (0..201).map(|i| channel(hump(i))).collect();
                let pulse = reduced(&total, &background);
                areas.push(pulse.integrated_absorbance);
                heights.push(pulse.peak_absorbance);
                // Variances: the mean of sd would be low, for each u has its own baseline's sd.
                u_area += pulse.u_integrated * pulse.u_integrated / f64::from(n_pulses);
                u_height += pulse.u_peak * pulse.u_peak / f64::from(n_pulses);
            }
            let variance = |values: &[f64]| {
                let n = values.len() as f64;
                let mean = values.iter().sum::<f64>() / n;
                values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)
            };
            // The variance of 3000 values is known to 2.6 %; 8 % is three times that.
            let ratio = variance(&areas) / u_area;
            assert!(close(ratio, 1.0, 0.08), "area at height {height}: {ratio}");
            if height > 0.0 {
                // The highest of several noisy values near a flat summit scatters a little less than one.
                let ratio = variance(&heights) / u_height;
                assert!((0.8..1.08).contains(&ratio), "height: {ratio}");
            }
        }
    }

    #[test]
    fn a_blank_has_the_closed_form_but_for_the_half_weights_at_the_ends() {
        let mut next = uniform(5);
        let total: Vec<f32> = (0..201).map(|_| (0.001 * normal(&mut next)) as f32).collect();
        let blank = reduced(&total, &[0.0; 201]);
        let n = blank.n_window as f64;
        let closed = crate::baseline::u_area(blank.baseline_noise, 1.0 / RATE, n, Some(25.0));
        assert_eq!((blank.n_window, blank.n_baseline), (176, 25));
        assert!(close(blank.u_integrated / closed, 1.0, 0.01));
    }

    #[test]
    fn a_baseline_inside_the_window_shares_its_values() {
        // Baseline and window are the same values: the area is the trapezoid's departure from the mean.
        let mut next = uniform(9);
        let total: Vec<f32> = (0..40).map(|_| (0.001 * next()) as f32).collect();
        let background = [0.0; 40];
        let window = Window { baseline_from_s: 0.0, baseline_to_s: 0.8, from_s: 0.0, to_s: 0.78 };
        let trace = Trace::new(EVEN, &total, &background).expect("a sound trace");
        let found = reduce(&trace, &window).expect("a window that fits");
        let weights: Vec<f64> = (0..40).map(|i| if i == 0 || i == 39 { 0.5 } else { 1.0 } - 39.0 / 40.0).collect();
        let expected = crate::baseline::u_of_weighted_sum(found.baseline_noise, 1.0 / RATE, &weights);
        // Values a little off zero have a little more or less noise in the model.
        assert!(close(found.u_integrated / expected, 1.0, 0.02));
    }

    #[test]
    fn explicit_times_give_the_figures_of_even_ones_and_show_a_gap() {
        let shape = ExponentiallyModifiedGaussian { area: 0.3, centre_s: 1.2, width_s: 0.15, decay_s: 0.4 };
        let mut seconds: Vec<f64> = (0..201).map(|i| f64::from(i) / RATE).collect();
        let mut total: Vec<f32> = seconds.iter().map(|&t| 0.01 + shape.absorbance(t) as f32).collect();
        let background = vec![0.002_f32; 201];
        let even = reduced(&total, &background);
        let trace = Trace::new(Times::At(&seconds), &total, &background).expect("a sound trace");
        let explicit = reduce(&trace, &WINDOW).expect("a window that fits");
        assert!(close(explicit.integrated_absorbance, even.integrated_absorbance, 1e-12));
        assert!(close(explicit.u_integrated, even.u_integrated, 1e-12));
        assert!(close(explicit.width_s.unwrap(), even.width_s.unwrap(), 1e-12));
        assert!(close(explicit.peak_time_s, even.peak_time_s, 1e-12));
        assert!(close(explicit.longest_step_s, 0.02, 1e-12));
        seconds.drain(150..160);
        total.drain(150..160);
        let trace = Trace::new(Times::At(&seconds), &total, &background[10..]).expect("a sound trace");
        let gap = reduce(&trace, &WINDOW).expect("a window that fits");
        assert!(close(gap.longest_step_s, 0.22, 1e-12));
        assert!(close(gap.integrated_absorbance, even.integrated_absorbance, 1e-3));
    }

    #[test]
    fn a_pulse_upside_down_has_no_width_no_tail_and_a_lobe() {
        let total: Vec<f32> = (0..201).map(|i| if i < 25 { 0.0 } else { -0.2 - 1e-4 * i as f32 }).collect();
        let found = reduced(&total, &[0.0; 201]);
        assert_eq!(found.width_s, None);
        assert!(found.peak_absorbance > -0.21 && found.peak_absorbance < 0.0 && found.integrated_absorbance < 0.0);
        assert_eq!(found.negative_lobe_time_s, Some(4.0));
        assert!(close(found.negative_lobe, -0.22, 1e-6));
        assert_eq!((found.appearance_time_s, found.light_level), (None, None), "no noise");
    }

    #[test]
    fn the_background_is_told_at_its_height_and_at_the_peak() {
        let total: Vec<f32> =
            (0..201).map(|i| if (100..110).contains(&i) { 0.5 + 0.01 * i as f32 } else { 0.6 }).collect();
        let background: Vec<f32> = (0..201).map(|i| 0.6 - 0.001 * (i as f32 - 60.0).abs()).collect();
        let found = reduced(&total, &background);
        assert_eq!(found.background_max_time_s, 1.2);
        assert!(close(found.background_max, 0.6, 1e-7));
        let index = (found.peak_time_s * RATE) as usize;
        assert_eq!(found.background_at_peak, f64::from(background[index]));
    }

    #[test]
    fn the_net_pulse_is_what_the_area_is_the_sum_of() {
        let total: Vec<f32> = (0..201).map(|i| 0.1 + 0.001 * ((i * 37) % 101) as f32).collect();
        let background = vec![0.05_f32; 201];
        let trace = Trace::new(EVEN, &total, &background).expect("a sound trace");
        let net = net_pulse(&trace, &WINDOW).expect("a window that fits");
        let sum = net.iter().sum::<f64>() - 0.5 * (net[0] + net[net.len() - 1]);
        let area = reduced(&total, &background).integrated_absorbance;
        assert!(close(sum / RATE, area, 1e-12));
    }

    fn pulses() -> impl Strategy<Value = (Vec<f32>, Vec<f32>)> {
        let noise = prop::collection::vec((-0.01_f32..0.01, -0.01_f32..0.01), 201);
        (noise, 0.0_f32..0.8, 0.0_f32..0.15, 1.0_f64..2.0).prop_map(|(noise, height, hump, centre)| {
            let at = |i: usize| (i as f64 / RATE - centre) / 0.3;
            let bell = |i: usize| libm::exp(-at(i) * at(i)) as f32;
            let total = noise.iter().enumerate().map(|(i, n)| n.0 + (height + hump) * bell(i)).collect();
            let background = noise.iter().enumerate().map(|(i, n)| n.1 + hump * bell(i)).collect();
            (total, background)
        })
    }

    proptest! {
        #[test]
        fn scaled_samples_scale_area_height_and_noise((total, background) in pulses(), power in 0..3) {
            let factor = [0.125_f32, 0.25, 0.5][power as usize];
            let plain = reduced(&total, &background);
            let scaled = |values: &[f32]| -> Vec<f32> { values.iter().map(|v| v * factor).collect() };
            let found = reduced(&scaled(&total), &scaled(&background));
            let factor = f64::from(factor);
            // Powers of two: not a bit is rounded anew.
            prop_assert_eq!(found.integrated_absorbance, plain.integrated_absorbance * factor);
            prop_assert_eq!(found.peak_absorbance, plain.peak_absorbance * factor);
            prop_assert_eq!(found.baseline_noise, plain.baseline_noise * factor);
            prop_assert_eq!(found.width_s, plain.width_s);
            prop_assert_eq!(found.tail, plain.tail);
            prop_assert_eq!(found.appearance_time_s, plain.appearance_time_s);
            // The noise grows with what is absorbed, so u shrinks by more than the factor or as much.
            prop_assert!(found.u_integrated <= plain.u_integrated * factor * 1.01);
        }

        #[test]
        fn a_constant_added_to_both_channels_or_to_one_changes_nothing(
            (total, background) in pulses(), constant in -0.1_f32..0.1,
        ) {
            let plain = reduced(&total, &background);
            let raised = |values: &[f32]| -> Vec<f32> { values.iter().map(|v| v + constant).collect() };
            for found in [
                reduced(&raised(&total), &raised(&background)),
                reduced(&raised(&total), &background),
                reduced(&total, &raised(&background)),
            ] {
                // A sample of up to 1.1 is rounded to 6e-8 by the addition.
                prop_assert!(close(found.integrated_absorbance, plain.integrated_absorbance, 1e-6));
                prop_assert!(close(found.peak_absorbance, plain.peak_absorbance, 3e-7));
                prop_assert!(close(found.u_integrated, plain.u_integrated, 1e-7));
                prop_assert!(close(found.baseline_noise, plain.baseline_noise, 1e-7));
                prop_assert!(close(found.negative_lobe, plain.negative_lobe, 3e-7));
            }
        }

        #[test]
        fn no_samples_times_or_limits_make_it_panic_or_give_nan(
            total in prop::collection::vec(any::<f32>(), 0..40),
            background in prop::collection::vec(any::<f32>(), 0..40),
            seconds in prop::collection::vec(any::<f64>(), 0..40),
            (start_s, rate_hz) in (any::<f64>(), any::<f64>()),
            limits in prop::array::uniform4(any::<f64>()),
        ) {
            let [baseline_from_s, baseline_to_s, from_s, to_s] = limits;
            let window = Window { baseline_from_s, baseline_to_s, from_s, to_s };
            for times in [Times::Even { start_s, rate_hz }, Times::At(&seconds)] {
                if let Ok(trace) = Trace::new(times, &total, &background) {
                    let _ = reduce(&trace, &window);
                    let _ = crate::reduce_steady(&trace, from_s, to_s);
                }
            }
        }

        #[test]
        fn finite_samples_give_figures_that_are_numbers(
            samples in prop::collection::vec(
                (any::<f32>().prop_filter("finite", |v| v.is_finite()), -3.0_f32..3.0, any::<bool>()), 60),
            explicit in any::<bool>(),
        ) {
            let total: Vec<f32> = samples.iter().map(|s| if s.2 { s.0 } else { s.1 }).collect();
            let background: Vec<f32> = samples.iter().rev().map(|s| if s.2 { s.1 } else { s.0 }).collect();
            let seconds: Vec<f64> = (0..60).map(|i| f64::from(i) / RATE).collect();
            let times = if explicit { Times::At(&seconds) } else { EVEN };
            let window = Window { baseline_from_s: 0.0, baseline_to_s: 0.2, from_s: 0.1, to_s: 1.0 };
            if let Ok(trace) = Trace::new(times, &total, &background) {
                let found = reduce(&trace, &window).expect("a window that fits");
                let told = format!("{found:?} {:?}", crate::reduce_steady(&trace, 0.0, 1.0));
                prop_assert!(!told.contains("NaN"), "{}", told);
            }
        }
    }
}
