//! Everything one pulse says: its figures, its shape, and what sampling did to it.
//!
//! [`examine`] is the door for a reading as it was recorded, whether its channels were sampled together, in turn, or only
//! the net absorbance is known. What the figures mean beside those of the standards is [`crate::shape_of_standards`].

use serde::{Deserialize, Serialize};

use crate::in_turn::InTurn;
use crate::reduction::{Laid, Reduced};
use crate::shape::Shape;
use crate::trace::{Times, Trace};
use crate::trace_fault::TraceFault;
use crate::window::Window;

/// Fewest samples in the width at half height (our choice: a Gaussian with three has its area within 0.1 %, and the
/// highest of its samples is within 7 % of its height).
pub const LEAST_IN_WIDTH: f64 = 3.0;

/// A pulse has a width of its own where it is higher than this many baseline standard deviations; below, noise makes it.
const WIDTH_IN_SD: f64 = 30.0;

/// A hump stands out by at least this part of the height of the pulse (our choice) ...
const PROMINENT: f64 = 0.05;
/// ... and by ten standard deviations of a smoothed value at the peak's absorbance: 10 times 0.46.
const PROMINENT_IN_SD: f64 = 4.6;

/// The figures and the shape of one pulse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PulseFigures {
    /// Area, height, times, noise, baseline, background.
    pub reduced: Reduced,
    /// Humps, lobe below zero, unfinished tail.
    pub shape: Shape,
    /// What reading the background between its values may have left in a net value; `None` where both channels were
    /// sampled together.
    pub interpolation_error: Option<f64>,
}

impl PulseFigures {
    /// The second highest hump over the highest; `None` where there is one hump or none.
    pub fn second_hump(&self) -> Option<f64> {
        let mut heights: Vec<f64> = self.shape.humps.iter().map(|hump| hump.height).collect();
        heights.sort_by(|a, b| b.total_cmp(a));
        let (first, second) = (heights.first()?, heights.get(1)?);
        (*first > 0.0).then(|| second / first)
    }

    /// Area that is missing behind the integration limits over the area found, if the tail goes on as it ends; 0 for a
    /// pulse that ended.
    pub fn missing_part(&self) -> f64 {
        let missed = self.shape.tail.map_or(0.0, |tail| tail.missed_area());
        let part = missed / self.reduced.integrated_absorbance;
        if self.reduced.integrated_absorbance > 0.0 && part.is_finite() { part } else { 0.0 }
    }

    /// Depth of the lobe below zero in baseline standard deviations of a smoothed value; 0 without a lobe or noise.
    pub fn lobe_in_sd(&self) -> f64 {
        let sd = 0.1 * PROMINENT_IN_SD * self.reduced.baseline_noise;
        let depth = self.shape.lobe.map_or(0.0, |lobe| -lobe.lowest);
        if sd > 0.0 { depth / sd } else { 0.0 }
    }

    /// Rows missing at the longest gap: how many more steps fit into it; 0 where samples are as even as they are.
    pub fn missing_samples(&self) -> u32 {
        let steps = self.reduced.longest_step_s / self.reduced.step_s;
        // A saturating cast: no step at all gives none.
        (steps.round() as u32).saturating_sub(1)
    }
}

/// Examines one pulse as it was recorded.
///
/// # Arguments
/// * `t_s`: moments in seconds since the start of atomisation, increasing.
/// * `total`, `background`: absorbances at those moments. Channels sampled in turn have no number where the other one was
///   sampled ([`InTurn::is`]). Where only the net absorbance is known, zeros stand for the background.
/// * `window`: baseline and limits.
///
/// # Errors
/// Those of [`Trace::new`], [`InTurn::align`] and [`crate::reduce`], and [`TraceFault::TooCoarse`] for a pulse far above
/// the noise with fewer than [`LEAST_IN_WIDTH`] samples in its width.
///
/// # Source
/// As [`crate::reduce`] and [`crate::shape()`].
pub fn examine(t_s: &[f64], total: &[f32], background: &[f32], window: &Window) -> Result<PulseFigures, TraceFault> {
    if InTurn::is(total, background) {
        let aligned = InTurn::align(t_s, total, background)?;
        return examine_trace(&aligned.trace()?, window, Some(aligned.largest_error()));
    }
    examine_trace(&Trace::new(Times::of(t_s), total, background)?, window, None)
}

fn examine_trace(
    trace: &Trace<'_>,
    window: &Window,
    interpolation_error: Option<f64>,
) -> Result<PulseFigures, TraceFault> {
    let laid = Laid::over(trace, window)?;
    let reduced = laid.reduced(trace);
    let is_a_pulse = reduced.peak_absorbance > WIDTH_IN_SD * reduced.baseline_noise && reduced.baseline_noise > 0.0;
    if let Some(n) = reduced.samples_in_width.filter(|n| is_a_pulse && *n < LEAST_IN_WIDTH) {
        return Err(TraceFault::TooCoarse { n, needed: LEAST_IN_WIDTH });
    }
    // A value at the peak has the noise of its own absorbance.
    let at_peak = reduced.peak_absorbance.max(0.0) + reduced.background_at_peak.max(0.0);
    let sd_at_peak = reduced.baseline_noise * libm::exp10(0.5 * at_peak.min(4.0));
    let least = (PROMINENT * reduced.peak_absorbance).max(PROMINENT_IN_SD * sd_at_peak).max(0.0);
    Ok(PulseFigures { shape: laid.shape(trace, least), reduced, interpolation_error })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pulse_shape::ExponentiallyModifiedGaussian;
    use proptest::prelude::*;

    const WINDOW: Window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };

    fn moments(rate_hz: f64, to_s: f64) -> Vec<f64> {
        (0..((to_s + 0.5) * rate_hz) as usize + 1).map(|i| i as f64 / rate_hz - 0.5).collect()
    }

    /// A ripple that stands for noise.
    fn ripple(i: usize) -> f64 {
        if i.is_multiple_of(3) { 0.001 } else { -0.0005 }
    }

    fn examined(rate_hz: f64, to_s: f64, net: impl Fn(f64) -> f64) -> Result<PulseFigures, TraceFault> {
        let t_s = moments(rate_hz, to_s);
        let total: Vec<f32> = t_s.iter().enumerate().map(|(i, &t)| (net(t) + ripple(i)) as f32).collect();
        examine(&t_s, &total, &vec![0.0; t_s.len()], &WINDOW)
    }

    fn emg(area: f64, centre_s: f64, width_s: f64, decay_s: f64) -> impl Fn(f64) -> f64 {
        let pulse = ExponentiallyModifiedGaussian { area, centre_s, width_s, decay_s };
        move |t| pulse.absorbance(t)
    }

    #[test]
    fn every_rate_from_10_to_400_hz_gives_the_same_area() {
        for rate_hz in [10.0, 17.3, 25.0, 50.0, 100.0, 200.0, 400.0] {
            let found = examined(rate_hz, 5.0, emg(0.3, 0.8, 0.2, 0.4)).expect("a pulse slow enough for 10 Hz");
            let area = found.reduced.integrated_absorbance;
            assert!((area - 0.2999).abs() < 0.002, "{rate_hz} Hz: {area}");
        }
    }

    #[test]
    fn a_pulse_narrower_than_three_samples_is_refused_and_noise_is_not() {
        let fault = examined(10.0, 5.0, emg(0.2, 0.8, 0.05, 0.05)).expect_err("a width of 0.15 s at 10 Hz");
        assert!(matches!(fault, TraceFault::TooCoarse { n, .. } if n < 3.0), "{fault}");
        assert!(fault.to_string().starts_with("the pulse is sampled too coarsely: "), "{fault}");
        assert!(examined(10.0, 5.0, |_| 0.0).is_ok(), "a blank");
    }

    #[test]
    fn a_tailing_pulse_leans_and_what_follows_the_limits_is_the_clean_out() {
        let symmetric = examined(100.0, 6.0, emg(0.3, 1.5, 0.2, 0.01)).expect("a pulse").reduced;
        let tailing = examined(100.0, 6.0, emg(0.3, 0.8, 0.1, 0.9)).expect("a pulse").reduced;
        assert!(symmetric.asymmetry.is_some_and(|a| (a - 1.0).abs() < 0.1), "{symmetric:?}");
        assert!(tailing.asymmetry.is_some_and(|a| a > 3.0), "{tailing:?}");
        // Behind 4 s: 0.3 exp(-(4 - 0.8)/0.9) up to 6 s.
        let left = 0.3 * (libm::exp(-3.2 / 0.9) - libm::exp(-5.2 / 0.9));
        assert!(tailing.clean_out_area.is_some_and(|a| (a - left).abs() < 0.002), "{tailing:?} {left}");
        assert!(symmetric.clean_out_area.is_some_and(|a| a.abs() < 0.002));
        let short = examined(100.0, 4.0, emg(0.3, 0.8, 0.1, 0.9)).expect("a pulse").reduced;
        assert_eq!((short.clean_out_area, short.u_clean_out_area), (None, None), "no value behind the limits");
    }

    #[test]
    fn a_drifting_baseline_shows_its_slope_and_what_it_costs() {
        let drifting = examined(100.0, 4.0, |t| 0.01 * t).expect("a blank").reduced;
        assert!((drifting.baseline_drift_per_s - 0.01).abs() < 3.0 * drifting.u_baseline_drift_per_s);
        // From the baseline's middle at -0.25 s the line makes 4 (0.01 (2 + 0.255)) of area.
        assert!((drifting.area_of_drift / drifting.integrated_absorbance - 1.0).abs() < 0.1, "{drifting:?}");
    }

    #[test]
    fn a_gap_is_counted_in_samples() {
        let mut t_s = moments(100.0, 4.0);
        t_s.drain(200..206);
        let pulse = emg(0.3, 0.8, 0.2, 0.4);
        let total: Vec<f32> = t_s.iter().enumerate().map(|(i, &t)| (pulse(t) + ripple(i)) as f32).collect();
        let found = examine(&t_s, &total, &vec![0.0; t_s.len()], &WINDOW).expect("a gap is no fault");
        assert_eq!(found.missing_samples(), 6);
    }

    #[test]
    fn a_fast_background_shows_its_slope_and_its_area() {
        let t_s = moments(100.0, 4.0);
        let bell = |t: f64| 0.6 * libm::exp(-(t - 1.0) * (t - 1.0) / (2.0 * 0.1 * 0.1));
        let background: Vec<f32> = t_s.iter().map(|&t| 0.02 + bell(t) as f32).collect();
        let total: Vec<f32> = background.iter().enumerate().map(|(i, b)| b + ripple(i) as f32).collect();
        let found = examine(&t_s, &total, &background, &WINDOW).expect("a blank").reduced;
        // 0.6/0.1 exp(-1/2) = 3.64 a second; eleven points of a bell ten samples wide take some of it off.
        assert!((found.background_fastest_per_s / 3.64 - 1.0).abs() < 0.1, "{found:?}");
        assert!((found.background_area - 0.6 * 0.1 * 2.506_628).abs() < 1e-4);
    }

    #[test]
    fn two_releases_have_a_second_hump_and_noise_at_high_absorbance_has_none() {
        let (one, other) = (emg(0.2, 0.8, 0.08, 0.1), emg(0.1, 2.0, 0.08, 0.1));
        let found = examined(100.0, 5.0, |t| one(t) + other(t)).expect("two pulses");
        assert!(found.second_hump().is_some_and(|part| (part - 0.5).abs() < 0.05));
        assert_eq!(examined(100.0, 5.0, emg(1.5, 0.8, 0.2, 0.4)).expect("a pulse").second_hump(), None);
    }

    proptest! {
        #[test]
        fn any_samples_give_numbers_or_a_fault(
            samples in prop::collection::vec((any::<f32>(), any::<f32>()), 0..120),
            small in any::<bool>(),
            step in prop_oneof![Just(0.02), 1e-9_f64..1e9],
        ) {
            let t_s: Vec<f64> = (0..samples.len()).map(|i| (i as f64 - 25.0) * step).collect();
            let scaled = |v: f32| if small { v % 2.0 } else { v };
            let total: Vec<f32> = samples.iter().map(|s| scaled(s.0)).collect();
            let background: Vec<f32> = samples.iter().map(|s| scaled(s.1)).collect();
            let window = Window {
                baseline_from_s: -25.0 * step, baseline_to_s: 0.0, from_s: 0.0, to_s: 40.0 * step,
            };
            if let Ok(found) = examine(&t_s, &total, &background, &window) {
                let printed = format!("{found:?} {} {} {}", found.missing_part(), found.lobe_in_sd(), found.missing_samples());
                prop_assert!(!printed.contains("NaN") && !printed.contains("inf"), "{printed}");
            }
        }
    }
}
