//! The area of a pulse beyond the roll-over, restored, with its standard uncertainty.
//!
//! [`restored_area`] reads a pulse along both branches of its curve ([`crate::dipped_pulse`]), makes sure by the total channel
//! that its valley is a dip, and carries the noise of each value, the baseline's and the uncertainty of the curve's two
//! parameters into the area.

use serde::{Deserialize, Serialize};

use crate::dipped_pulse::{self, Restored};
use crate::humps;
use crate::in_turn::InTurn;
use crate::photon_noise;
use crate::reduction::{Laid, trapezoid_weights};
use crate::roll_over::{NetCurve, RollOver};
use crate::smoothing;
use crate::trace::{Times, Trace};
use crate::trace_fault::TraceFault;
use crate::window::Window;

/// A net curve whose two parameters are known with an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredCurve {
    /// Highest net absorbance there is, above 0.
    pub net_at_roll_over: f64,
    /// Its standard uncertainty.
    pub u_net_at_roll_over: f64,
    /// Slope with magnetic field correction over slope without; above 0, below 1.
    pub sensitivity_ratio: f64,
    /// Its standard uncertainty.
    pub u_sensitivity_ratio: f64,
}

impl MeasuredCurve {
    /// The curve at the values of its parameters.
    pub fn curve(&self) -> NetCurve {
        NetCurve::from_roll_over(self.net_at_roll_over, self.sensitivity_ratio)
    }
}

/// The area of a pulse read along both branches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RestoredArea {
    /// Area of the true absorbance times the curve's initial slope, in seconds: it joins the unbent range without a step.
    pub area: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// The part of noise, of the baseline's mean included.
    pub u_noise: f64,
    /// The part of the roll-over absorbance.
    pub u_of_roll_over: f64,
    /// Change of the area with one standard uncertainty of the roll-over absorbance: that part with its sign.
    pub by_roll_over: f64,
    /// The part of the sensitivity ratio.
    pub u_of_sensitivity_ratio: f64,
    /// Change of the area with one standard uncertainty of the sensitivity ratio: that part with its sign.
    pub by_sensitivity_ratio: f64,
    /// True absorbance, value by value, from the first of the window on.
    pub true_absorbance: Vec<f64>,
    /// Moments of those values, in seconds.
    pub t_s: Vec<f64>,
    /// When the pulse went over the roll-over and came back, in seconds; `None` where it does not dip.
    pub dip_s: Option<(f64, f64)>,
}

/// What a restored pulse leaves behind where its values are not kept.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RestoredPulse {
    /// The area as it was measured, in seconds.
    pub measured: f64,
    /// Change of the restored area with one standard uncertainty of the roll-over absorbance, in seconds: shared by all pulses.
    pub by_roll_over: f64,
    /// Change of the restored area with one standard uncertainty of the sensitivity ratio, in seconds: shared by all pulses.
    pub by_sensitivity_ratio: f64,
    /// Change of the area with one standard uncertainty of what the middle field leaves, in seconds; 0 for one range.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub by_left_at_middle: f64,
    /// When the pulse went over the roll-over and came back, in seconds; `None` where it stayed below.
    pub dip_s: Option<(f64, f64)>,
    /// What each of two ranges said; `None` where the pulse was read in one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ranges: Option<Ranges>,
}

/// What two ranges of one firing said.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ranges {
    /// Area of the sensitive range, in seconds.
    pub sensitive: f64,
    /// Area of the reduced range on the scale of the sensitive one, in seconds.
    pub reduced: f64,
    /// Part that the sensitive range has in the response.
    pub weight_sensitive: f64,
    /// Their difference over its standard uncertainty; `None` where the sensitive range is near its roll-over.
    pub zeta: Option<f64>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the form that serde calls")]
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

/// Restores the area of a pulse.
///
/// # Arguments
/// * `trace`, `window`: as for [`crate::reduce`].
/// * `curve`: of this instrument and line.
///
/// `None` where the curve has no roll-over.
///
/// # Errors
/// Those of [`crate::reduce`].
///
/// # Source
/// B. V. L'vov, L. K. Polzik, P. V. Fedorov, W. Slavin, Spectrochim. Acta 47B (1992) 1411 (abstract seen) for the two
/// parameters; uncertainty: JCGM 100:2008, 5.1.2, each derivative as half the difference of two restorations one standard
/// uncertainty apart (5.1.3, note 2), which stays finite at the roll-over. Checked by `tests/replicates/dipped.rs`.
pub fn restored_area(
    trace: &Trace<'_>,
    window: &Window,
    curve: &MeasuredCurve,
) -> Result<Option<RestoredArea>, TraceFault> {
    let laid = Laid::over(trace, window)?;
    let weights = trapezoid_weights(&trace.times(), &laid.spans.window);
    Ok(restore(trace, &laid, &weights, curve))
}

/// The same of samples as they were recorded, whether the channels were sampled together or in turn.
///
/// # Arguments
/// * `t_s`, `total`, `background`, `window`: as for [`crate::examine`].
///
/// # Errors
/// As [`restored_area`], and those of [`Trace::new`] and [`InTurn::align`].
///
/// # Source
/// As [`restored_area`].
pub fn restored_area_of(
    t_s: &[f64],
    total: &[f32],
    background: &[f32],
    window: &Window,
    curve: &MeasuredCurve,
) -> Result<Option<RestoredArea>, TraceFault> {
    if InTurn::is(total, background) {
        return restored_area(&InTurn::align(t_s, total, background)?.trace()?, window, curve);
    }
    restored_area(&Trace::new(Times::of(t_s), total, background)?, window, curve)
}

fn restore(trace: &Trace<'_>, laid: &Laid, weights: &[f64], measured: &MeasuredCurve) -> Option<RestoredArea> {
    let sd = laid.figures.baseline_noise;
    let curve = measured.curve();
    let net = &laid.net;
    // Which stretch lies beyond the roll-over is decided once, on smoothed values, by the parameters as they are.
    let beyond = beyond(trace, laid, &curve, sd);
    let top = curve.roll_over()?;
    let plain = dipped_pulse::restore_between(net, &curve, beyond)?;
    let area = linearised(&plain, &curve, weights);

    // Noise of single values: half the way from one standard deviation below to one above.
    let of_values = of_values(trace, laid, sd, beyond);
    let mut squares = 0.0;
    for (index, &value) in net.iter().enumerate() {
        let is_beyond = beyond.is_some_and(|(from, to)| from < index as f64 && (index as f64) < to);
        let at = |net: f64| dipped_pulse::true_absorbance(net, &curve, top, is_beyond);
        let half = 0.5 * (at(value + of_values[index])? - at(value - of_values[index])?);
        squares += weights[index] * half * weights[index] * half;
    }
    let slope = curve.initial_slope();
    let shifted = |by: f64| -> Option<f64> {
        let net: Vec<f64> = net.iter().map(|value| value + by).collect();
        Some(linearised(&dipped_pulse::restore_between(&net, &curve, beyond)?, &curve, weights))
    };
    let u_mean = sd / (laid.spans.baseline.len() as f64).sqrt();
    let u_offset = 0.5 * (shifted(u_mean)? - shifted(-u_mean)?);
    // Where a hump is, is open within a sample: the values next to it may stand on the other branch.
    let moved = |by: (f64, f64)| -> Option<f64> {
        let places = beyond.map(|(from, to)| (from + by.0, to + by.1));
        Some(linearised(&dipped_pulse::restore_between(net, &curve, places)?, &curve, weights) - area)
    };
    let mut of_places = 0.0;
    for by in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
        let change = moved(by)?;
        // The mean of both ways; a rectangle of half width 1 has a third of its square for variance (JCGM 100:2008, 4.3.7).
        of_places += change * change / 6.0;
    }
    let u_noise = (slope * slope * squares + u_offset * u_offset + of_places).sqrt();

    let with = |net_at_roll_over: f64, sensitivity_ratio: f64| -> Option<f64> {
        let other = NetCurve::from_roll_over(net_at_roll_over, sensitivity_ratio);
        // A curve without a roll-over cannot be read; the half step of the other side then stands for both.
        Some(linearised(&dipped_pulse::restore_between(net, &other, beyond)?, &other, weights))
    };
    let half = |low: Option<f64>, high: Option<f64>| match (low, high) {
        (Some(low), Some(high)) => 0.5 * (high - low),
        (Some(low), None) => area - low,
        (None, Some(high)) => high - area,
        (None, None) => 0.0,
    };
    let (a, u_a) = (measured.net_at_roll_over, measured.u_net_at_roll_over);
    let (r, u_r) = (measured.sensitivity_ratio, measured.u_sensitivity_ratio);
    let by_roll_over = if u_a > 0.0 { half(with(a - u_a, r), with(a + u_a, r)) } else { 0.0 };
    let by_sensitivity_ratio = if u_r > 0.0 { half(with(a, r - u_r), with(a, r + u_r)) } else { 0.0 };
    let (u_of_roll_over, u_of_sensitivity_ratio) = (by_roll_over.abs(), by_sensitivity_ratio.abs());
    let u =
        (u_noise * u_noise + u_of_roll_over * u_of_roll_over + u_of_sensitivity_ratio * u_of_sensitivity_ratio).sqrt();
    let n = plain.true_absorbance.len();
    Some(RestoredArea {
        area,
        u,
        u_noise,
        u_of_roll_over,
        by_roll_over,
        u_of_sensitivity_ratio,
        by_sensitivity_ratio,
        t_s: (0..n).map(|i| laid.time_at(trace, i as f64)).collect(),
        true_absorbance: plain.true_absorbance,
        dip_s: beyond.map(|(from, to)| (laid.time_at(trace, from), laid.time_at(trace, to))),
    })
    .filter(|restored| restored.area.is_finite() && restored.u.is_finite())
}

/// A pulse whose stretch beyond the roll-over is decided, to be read along other curves.
pub(crate) struct Along<'a> {
    laid: &'a Laid,
    weights: Vec<f64>,
    beyond: Option<(f64, f64)>,
}

impl<'a> Along<'a> {
    /// # Arguments
    /// * `curve`: decides which stretch lies beyond.
    pub(crate) fn new(trace: &Trace<'_>, laid: &'a Laid, curve: &NetCurve) -> Self {
        let weights = trapezoid_weights(&trace.times(), &laid.spans.window);
        Self { laid, weights, beyond: beyond(trace, laid, curve, laid.figures.baseline_noise) }
    }

    /// The area of the true absorbance times the initial slope of a curve; `None` where it has no roll-over.
    pub(crate) fn area(&self, curve: &NetCurve) -> Option<f64> {
        Some(linearised(&dipped_pulse::restore_between(&self.laid.net, curve, self.beyond)?, curve, &self.weights))
    }
}

/// Places of the humps between which the true absorbance lies beyond the roll-over; `None` where the pulse does not dip.
fn beyond(trace: &Trace<'_>, laid: &Laid, curve: &NetCurve, sd: f64) -> Option<(f64, f64)> {
    let top = curve.roll_over()?;
    // Values as measured: a fast pulse rushes through its first hump in a few samples, and smoothing would take it off. Noise
    // at the humps' absorbance makes humps of its own; five of its standard deviations leave hardly one.
    let sd_at_top = sd * libm::exp10(0.5 * top.total);
    let found: Vec<humps::Hump> = humps::humps(&laid.net, (5.0 * sd_at_top).max(1e-9))
        .into_iter()
        .filter(|hump| hump.height >= dipped_pulse::REACHES * top.net)
        .collect();
    let [first, .., last] = found[..] else { return None };
    let valley = humps::valley(&laid.smooth, first, last)?;
    let total: Vec<f64> = trace.total()[laid.spans.window.clone()].iter().map(|&t| f64::from(t)).collect();
    let in_valley = smoothing::smooth(&total).get(valley.place.round() as usize).copied()?;
    // The mean of three values, and four standard deviations in favour of a dip: in a true double peak the total channel falls
    // by as much as the net value does.
    let at = |hump: humps::Hump| {
        let place = hump.place.round() as usize;
        let three = total.get(place.saturating_sub(1)..(place + 2).min(total.len())).unwrap_or(&[]);
        three.iter().fold(0.0, |sum, &value| sum + value) / three.len().max(1) as f64 - 4.0 * sd_at_top
    };
    if !dipped_pulse::is_dip((at(first), at(last)), in_valley) {
        return None;
    }
    let place = |hump, side| crossing_of_roll_over(laid, hump, side, curve, top, valley.height);
    Some((place(first, Side::Before), place(last, Side::Behind)))
}

/// On which side of a hump the pulse is below the roll-over.
#[derive(Clone, Copy)]
enum Side {
    Before,
    Behind,
}

/// Where the true absorbance passes the roll-over at a hump.
///
/// A hump is flat, and noise shifts its highest value far. What stands fast are the two places where the smoothed values cross a
/// level below it: their true absorbances lie on either branch, and the roll-over between them in proportion. The level lies
/// half the way down to the valley at the lowest, so that the two places hold one hump.
fn crossing_of_roll_over(
    laid: &Laid,
    hump: humps::Hump,
    side: Side,
    curve: &NetCurve,
    top: RollOver,
    valley: f64,
) -> f64 {
    let smooth = &laid.smooth;
    let place = (hump.place.round() as usize).min(smooth.len() - 1);
    let height = smooth[place].min(top.net);
    let level = (NEAR_HUMP * height).max(0.5 * (height + valley));
    let both = crate::reduction::crossings(smooth, place, level)
        .filter(|_| smooth[place] >= dipped_pulse::REACHES * top.net && smooth[place] > level);
    let branches = curve.rising(level).zip(curve.falling(level));
    match both.zip(branches) {
        Some(((rise, fall), (below, beyond))) if beyond > below => {
            let part = (top.true_absorbance - below) / (beyond - below);
            match side {
                Side::Before => rise + part * (fall - rise),
                Side::Behind => fall - part * (fall - rise),
            }
        }
        _ => hump.place,
    }
}

/// A value near a hump reaches this part of it (our choice).
const NEAR_HUMP: f64 = 0.93;

/// Standard deviation of each net value: by its own absorbance, and beyond the roll-over not below what the values show.
///
/// Where hardly any light is left, the detector's own noise counts as much as the photons do, and the baseline does not tell it.
fn of_values(trace: &Trace<'_>, laid: &Laid, sd: f64, beyond: Option<(f64, f64)>) -> Vec<f64> {
    let window = laid.spans.window.clone();
    let through = |values: &[f32]| {
        let stretch = &values[laid.spans.baseline.clone()];
        let zero = stretch.iter().fold(0.0, |sum, &value| sum + f64::from(value)) / stretch.len() as f64;
        photon_noise::through(&values[window.clone()], zero)
    };
    let (total, background) = (through(trace.total()), through(trace.background()));
    let mut sds: Vec<f64> = total.iter().zip(&background).map(|(t, b)| sd * (0.5 * (t + b)).sqrt()).collect();
    let Some((from, to)) = beyond else { return sds };
    // A fourth difference of white noise has 70 times its variance, and of a smooth pulse hardly anything.
    let (from, to) = (from.ceil() as usize + 4, (to.floor() as usize).saturating_sub(4));
    let (mut seen, mut told) = (0.0, 0.0);
    for (five, at) in laid.net.windows(5).zip(2..).filter(|(_, at)| (from..to).contains(at)) {
        let fourth = five[0] - 4.0 * five[1] + 6.0 * five[2] - 4.0 * five[3] + five[4];
        seen += fourth * fourth / 70.0;
        told += sds[at] * sds[at];
    }
    if seen > told && told > 0.0 && to >= from + LEAST_BEYOND {
        let more = (seen / told).sqrt();
        let dark = 0.5 * sds[from..to].iter().fold(0.0, |high: f64, &sd| high.max(sd));
        sds.iter_mut().filter(|sd| **sd >= dark).for_each(|sd| *sd *= more);
    }
    sds
}

/// Fewest values beyond the roll-over that tell their noise (our choice).
const LEAST_BEYOND: usize = 8;

fn linearised(restored: &Restored, curve: &NetCurve, weights: &[f64]) -> f64 {
    curve.initial_slope()
        * crate::lanes::sum_of(weights.len(), |index| weights[index] * restored.true_absorbance[index])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Times;

    const WINDOW: Window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, from_s: 0.0, to_s: 3.0 };
    const MEASURED: MeasuredCurve = MeasuredCurve {
        net_at_roll_over: 1.2,
        u_net_at_roll_over: 0.012,
        sensitivity_ratio: 0.85,
        u_sensitivity_ratio: 0.005,
    };

    fn restored(absorbance: impl Fn(f64) -> f64, curve: &MeasuredCurve) -> Option<RestoredArea> {
        let truth = MEASURED.curve();
        let at = |i: usize| i as f64 / 100.0 - 0.5;
        let ripple = |i: usize| if i.is_multiple_of(3) { 0.0004 } else { -0.0002 };
        let total: Vec<f32> = (0..351).map(|i| (truth.total(absorbance(at(i))) + ripple(i)) as f32).collect();
        let background: Vec<f32> = (0..351).map(|i| truth.background(absorbance(at(i))) as f32).collect();
        let times = Times::Even { start_s: -0.5, rate_hz: 100.0 };
        restored_area(&Trace::new(times, &total, &background).expect("a sound trace"), &WINDOW, curve)
            .expect("a window")
    }

    fn bell(height: f64) -> impl Fn(f64) -> f64 {
        move |t| height * libm::exp(-(t - 1.2) * (t - 1.2) / (2.0 * 0.2 * 0.2))
    }

    #[test]
    fn below_the_roll_over_nothing_dips_and_the_parameters_matter_little() {
        let low = restored(bell(0.3), &MEASURED).expect("a curve with a roll-over");
        let exact = MEASURED.curve().initial_slope() * 0.3 * 0.2 * 2.506_628;
        assert_eq!(low.dip_s, None);
        assert!((low.area / exact - 1.0).abs() < 0.005, "{} {exact}", low.area);
        let high = restored(bell(5.0), &MEASURED).expect("a curve with a roll-over");
        assert!(high.dip_s.is_some());
        assert!(high.u_of_roll_over / high.area > 2.0 * low.u_of_roll_over / low.area);
    }

    #[test]
    fn a_shallow_dip_has_two_humps_apart_and_its_area() {
        let top = MEASURED.curve().roll_over().expect("a roll-over");
        for height in [1.25, 1.4, 1.7, 2.5] {
            let height = height * top.true_absorbance;
            let found = restored(bell(height), &MEASURED).expect("a curve with a roll-over");
            let (from, to) = found.dip_s.expect("a dip");
            // The humps of a bell stand where it passes the roll-over: centre +- width sqrt(2 ln(P/A0)).
            let half = 0.2 * (2.0 * libm::log(height / top.true_absorbance)).sqrt();
            assert!(
                (from - (1.2 - half)).abs() < 0.02 && (to - (1.2 + half)).abs() < 0.02,
                "{height}: {from} {to} {half}"
            );
            let exact = MEASURED.curve().initial_slope() * height * 0.2 * 2.506_628;
            assert!((found.area / exact - 1.0).abs() < 0.02, "{height}: {} {exact}", found.area);
        }
    }

    #[test]
    fn two_releases_below_the_roll_over_are_no_dip() {
        let two =
            |t: f64| 2.0 * libm::exp(-(t - 0.8) * (t - 0.8) / 0.02) + 2.0 * libm::exp(-(t - 1.6) * (t - 1.6) / 0.02);
        let found = restored(two, &MEASURED).expect("a curve with a roll-over");
        assert_eq!(found.dip_s, None, "the total channel is lower in the valley");
    }

    #[test]
    fn a_curve_without_a_roll_over_restores_nothing() {
        let straight = MeasuredCurve { sensitivity_ratio: 1.0, ..MEASURED };
        assert_eq!(restored(bell(3.0), &straight), None);
    }
}
