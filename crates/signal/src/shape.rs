//! The shape of one measured pulse: its humps, its lobe below zero, its unfinished tail.
//!
//! [`shape`] is the door for a trace; the readings of values without a trace are [`crate::humps`],
//! [`crate::over_correction`] and [`crate::unfinished`]. What a shape means is judged elsewhere.

use serde::{Deserialize, Serialize};

use crate::appearance::APPEARANCE_IN_SD;
use crate::humps::{self, Valley};
use crate::over_correction;
use crate::reduction::Laid;
use crate::smoothing;
use crate::trace::Trace;
use crate::trace_fault::TraceFault;
use crate::unfinished::Tail;
use crate::window::Window;

/// A local maximum of the smoothed net absorbance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Hump {
    /// Time of the summit, in seconds.
    pub time_s: f64,
    /// Height of the summit.
    pub height: f64,
    /// How far it stands above its surroundings ([`humps::Hump::prominence`]).
    pub prominence: f64,
    /// Lowest smoothed value between this hump and the next; `None` for the last.
    pub valley_behind: Option<f64>,
}

/// The deepest stretch of net absorbance below zero, as the mean of five values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lobe {
    /// Lowest value.
    pub lowest: f64,
    /// When it is reached, in seconds.
    pub time_s: f64,
    /// When the net absorbance next rises through zero, in seconds; `None` where it does not.
    pub ends_at_s: Option<f64>,
}

/// What the shape of a pulse shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shape {
    /// Humps of the smoothed pulse that stand out far enough, in the order of time.
    pub humps: Vec<Hump>,
    /// Deepest lobe below zero; noise alone makes a shallow one.
    pub lobe: Option<Lobe>,
    /// The exponential the window cuts; `None` where the pulse came down to three baseline standard
    /// deviations before, or does not fall.
    pub tail: Option<Tail>,
}

/// Reads the shape of a pulse.
///
/// # Arguments
/// * `trace`, `window`: as for [`crate::reduce`].
/// * `least_prominence`: absorbance a hump must stand out by. A smoothed value has 0.46 of the noise of one
///   value; ten times that leaves hardly a hump of noise.
///
/// # Errors
/// Those of [`crate::reduce`].
///
/// # Source
/// As the readings it combines; the factor 0.46 is the square root of 89/429, A. Savitzky, M. J. E. Golay, Anal.
/// Chem. 36 (1964) 1627 (from memory).
pub fn shape(trace: &Trace<'_>, window: &Window, least_prominence: f64) -> Result<Shape, TraceFault> {
    Ok(Laid::over(trace, window)?.shape(trace, least_prominence))
}

impl Laid {
    pub(crate) fn shape(&self, trace: &Trace<'_>, least_prominence: f64) -> Shape {
        let smooth = &self.smooth;
        let time_at = |place: f64| self.time_at(trace, place);
        let found = humps::humps(smooth, least_prominence);
        let humps = found
            .iter()
            .enumerate()
            .map(|(index, &hump)| {
                let next = found.get(index + 1);
                let valley = next.and_then(|&next| humps::valley(smooth, hump, next));
                Hump {
                    time_s: time_at(hump.place),
                    height: hump.height,
                    prominence: hump.prominence,
                    valley_behind: valley.map(|Valley { height, .. }| height),
                }
            })
            .collect();
        // The quadratic undershoots beside a steep rise; a mean, whose weights are all positive, goes below zero only where the
        // values do.
        let lobe = over_correction::deepest_lobe(&smoothing::means_of_five(&self.net)).map(|lobe| Lobe {
            lowest: lobe.lowest,
            time_s: time_at(lobe.lowest_place),
            ends_at_s: lobe.ends_at.map(time_at),
        });
        let still_there = smooth[smooth.len() - 1] > APPEARANCE_IN_SD * self.figures.baseline_noise;
        let tail = if still_there { self.falling_tail(trace) } else { None };
        Shape { humps, lobe, tail }
    }

    /// The exponential through the values from where the pulse last falls through half its height.
    fn falling_tail(&self, trace: &Trace<'_>) -> Option<Tail> {
        let half = 0.5 * self.figures.peak;
        let from = self.smooth.iter().rposition(|&value| value >= half)?;
        Tail::of(&self.net[from..], trace.times().mean_step_s(trace.n_samples()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pulse_shape::ExponentiallyModifiedGaussian;
    use crate::trace::Times;

    const TIMES: Times<'static> = Times::Even { start_s: 0.0, rate_hz: 50.0 };
    const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 4.0 };

    fn shape_of(net: impl Fn(f64) -> f64) -> Shape {
        // A ripple of 0.001 for noise.
        let total: Vec<f32> =
            (0..201).map(|i| (net(f64::from(i) / 50.0) + if i % 2 == 0 { 0.001 } else { -0.001 }) as f32).collect();
        let background = vec![0.0; 201];
        let trace = Trace::new(TIMES, &total, &background).expect("a sound trace");
        shape(&trace, &WINDOW, 0.01).expect("a window that fits")
    }

    fn emg(area: f64, centre_s: f64, decay_s: f64) -> impl Fn(f64) -> f64 {
        let pulse = ExponentiallyModifiedGaussian { area, centre_s, width_s: 0.08, decay_s };
        move |t| pulse.absorbance(t)
    }

    #[test]
    fn a_plain_pulse_has_one_hump_and_nothing_else() {
        let found = shape_of(emg(0.2, 1.0, 0.3));
        assert_eq!(found.humps.len(), 1);
        assert_eq!((found.humps[0].valley_behind, found.tail), (None, None));
        assert!(found.lobe.is_none_or(|lobe| lobe.lowest > -0.001));
    }

    #[test]
    fn two_releases_have_two_humps_and_a_valley() {
        let (one, other) = (emg(0.1, 1.0, 0.1), emg(0.1, 2.0, 0.1));
        let found = shape_of(|t| one(t) + other(t));
        assert_eq!(found.humps.len(), 2);
        assert!(found.humps[0].valley_behind.is_some_and(|valley| valley < 0.01));
        assert!((found.humps[1].time_s - found.humps[0].time_s - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_slow_pulse_is_unfinished_and_what_is_missing_is_found() {
        let found = shape_of(emg(0.3, 0.8, 1.5));
        let tail = found.tail.expect("a tail above the noise");
        // 0.3 exp(-(4 - 0.8)/1.5) = 0.0355, and the Gaussian adds a little.
        assert!((tail.missed_area() - 0.0356).abs() < 0.001, "{tail:?}");
    }

    #[test]
    fn over_correction_shows_as_a_lobe_that_ends_when_the_analyte_comes() {
        let pulse = emg(0.05, 1.6, 0.3);
        let found = shape_of(|t| pulse(t) - 0.05 * libm::exp(-(t - 1.1) * (t - 1.1) / 0.01));
        let lobe = found.lobe.expect("a value below zero");
        assert!((lobe.lowest + 0.049).abs() < 0.003 && (lobe.time_s - 1.1).abs() < 0.03);
        assert!(lobe.ends_at_s.is_some_and(|t| t > 1.2 && t < 1.6));
    }
}
