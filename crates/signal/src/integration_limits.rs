//! Integration limits found from the pulses of the standards, to be the same for a whole element run.
//!
//! Limits that move from pulse to pulse would let the calibration and the samples see different parts of their pulses;
//! [`found`] gives one pair for all, wide enough for the slowest standard.

use crate::reduction::Laid;
use crate::trace::Trace;
use crate::window::Window;

/// A pulse is there where its smoothed net absorbance is above this part of its height (our choice: an exponential tail loses
/// about as large a part of its area) ...
const PART_OF_HEIGHT: f64 = 0.005;
/// ... and above this many baseline standard deviations; a smoothed value has 0.46 of them.
const IN_SD: f64 = 1.5;
/// Pulses below this many standard deviations have no limits of their own.
const SHAPED_IN_SD: f64 = 30.0;
/// Room left on either side, as part of the width found, for samples that come a little early or late (our choice).
const ROOM: f64 = 0.1;

/// The limits that hold every standard's pulse, in seconds; `None` where no pulse stands out of the noise.
///
/// # Arguments
/// * `standards`: traces of one method, in any order.
/// * `within`: baseline, and the widest limits there may be.
///
/// # Source
/// Our own rule.
///
/// # Example
/// ```
/// use darkline_signal::{Times, Trace, Window, integration_limits};
/// // A triangle from 1 s to 2 s with a ripple of 0.001.
/// let total: Vec<f32> = (0..250)
///     .map(|i| 0.001 * (i % 2) as f32 + (0.4 - 0.8 * (i as f32 / 50.0 - 1.5).abs()).max(0.0))
///     .collect();
/// let background = vec![0.0; 250];
/// let trace = Trace::new(Times::Even { start_s: 0.0, rate_hz: 50.0 }, &total, &background)?;
/// let within = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 4.98 };
/// let (from_s, to_s) = integration_limits::found(&[trace], &within).unwrap();
/// assert!(from_s > 0.7 && from_s < 1.0 && to_s > 2.0 && to_s < 2.3);
/// # Ok::<(), darkline_signal::TraceFault>(())
/// ```
pub fn found(standards: &[Trace<'_>], within: &Window) -> Option<(f64, f64)> {
    let mut limits: Option<(f64, f64)> = None;
    for trace in standards {
        let Some((from_s, to_s)) = of_one(trace, within) else { continue };
        limits = Some(limits.map_or((from_s, to_s), |(from, to)| (from.min(from_s), to.max(to_s))));
    }
    let (from_s, to_s) = limits?;
    let room = ROOM * (to_s - from_s);
    Some(((from_s - room).max(within.from_s), (to_s + room).min(within.to_s)))
}

fn of_one(trace: &Trace<'_>, within: &Window) -> Option<(f64, f64)> {
    let laid = Laid::over(trace, within).ok()?;
    let noise = laid.figures.baseline_noise;
    if laid.figures.peak < SHAPED_IN_SD * noise || laid.figures.peak <= 0.0 {
        return None;
    }
    let level = (PART_OF_HEIGHT * laid.figures.peak).max(IN_SD * noise);
    let (smooth, peak) = (&laid.smooth, laid.figures.peak_index);
    // The stretch around the peak: a disturbance apart from it does not widen the limits.
    let from = smooth[..peak].iter().rposition(|&value| value < level).unwrap_or(0);
    let to = smooth[peak..].iter().position(|&value| value < level).map_or(smooth.len() - 1, |steps| peak + steps);
    Some((laid.time_at(trace, from as f64), laid.time_at(trace, to as f64)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pulse_shape::ExponentiallyModifiedGaussian;
    use crate::trace::Times;

    const WITHIN: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 5.0 };

    fn samples(area: f64, decay_s: f64) -> Vec<f32> {
        let pulse = ExponentiallyModifiedGaussian { area, centre_s: 1.2, width_s: 0.08, decay_s };
        (0..501)
            .map(|i| {
                let ripple = if i % 3 == 0 { 0.001 } else { -0.0005 };
                (pulse.absorbance(f64::from(i) / 100.0) + ripple) as f32
            })
            .collect()
    }

    fn limits(of: &[(f64, f64)]) -> Option<(f64, f64)> {
        let samples: Vec<Vec<f32>> = of.iter().map(|&(area, decay_s)| samples(area, decay_s)).collect();
        let zeros = vec![0.0; 501];
        let times = Times::Even { start_s: 0.0, rate_hz: 100.0 };
        let traces: Vec<Trace<'_>> =
            samples.iter().map(|total| Trace::new(times, total, &zeros).expect("a sound trace")).collect();
        found(&traces, &WITHIN)
    }

    #[test]
    fn the_slowest_standard_sets_the_limits_whatever_the_order() {
        let fast = limits(&[(0.3, 0.1)]).expect("a pulse");
        let slow = limits(&[(0.3, 0.4)]).expect("a pulse");
        assert!(fast.1 < slow.1);
        let both = limits(&[(0.3, 0.1), (0.3, 0.4)]);
        assert_eq!(both, limits(&[(0.3, 0.4), (0.3, 0.1)]));
        assert!(both.is_some_and(|(from, to)| from <= slow.0 && to >= slow.1));
    }

    #[test]
    fn the_limits_found_leave_less_than_a_hundredth_of_the_area_outside() {
        let (from_s, to_s) = limits(&[(0.5, 0.3)]).expect("a pulse");
        let pulse = ExponentiallyModifiedGaussian { area: 0.5, centre_s: 1.2, width_s: 0.08, decay_s: 0.3 };
        let inside = pulse.area_until(to_s) - pulse.area_until(from_s);
        assert!(inside > 0.99 * 0.5, "{inside} from {from_s} to {to_s}");
        assert!(to_s < 4.0, "and no second of noise more than needed: {to_s}");
    }

    #[test]
    fn blanks_have_no_limits_and_a_pulse_without_an_end_has_the_widest() {
        assert_eq!(limits(&[(0.0, 0.3)]), None);
        assert_eq!(limits(&[]), None);
        assert_eq!(limits(&[(1.0, 3.0)]).map(|(_, to)| to), Some(5.0));
    }
}
