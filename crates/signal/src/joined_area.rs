//! The area of a pulse read at three field strengths: both of its ranges joined, with what the curve is unsure of apart.
//!
//! The sensitive range is the total less the background, the reduced one the middle field less the background. Each is read
//! along its own curve ([`crate::restored_area`]) and both become one reading ([`crate::two_ranges::joined`]).

use crate::reduction::Laid;
use crate::restored_area::{Along, MeasuredCurve, restored_area};
use crate::roll_over::NetCurve;
use crate::trace::{Times, Trace};
use crate::trace_fault::TraceFault;
use crate::two_ranges::{self, Joined, Reading, ThreeFields};
use crate::window::Window;

/// An instrument with three field strengths, whose parameters are known with an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredFields {
    /// The curve of the sensitive range.
    pub curve: MeasuredCurve,
    /// Part of the absorbance left at the middle field strength, below 1 and above what the full field leaves.
    pub left_at_middle: f64,
    /// Its standard uncertainty.
    pub u_left_at_middle: f64,
}

/// A pulse in both of its ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JoinedArea {
    /// The joined area on the scale of the sensitive range, in seconds.
    pub area: f64,
    /// The part of noise in its standard uncertainty.
    pub u_noise: f64,
    /// Change with one standard uncertainty of the roll-over absorbance.
    pub by_roll_over: f64,
    /// Change with one standard uncertainty of the sensitivity ratio.
    pub by_sensitivity_ratio: f64,
    /// Change with one standard uncertainty of what the middle field leaves.
    pub by_left_at_middle: f64,
    /// The area of the sensitive range alone.
    pub sensitive: f64,
    /// The area of the reduced range alone, on the scale of the sensitive one.
    pub reduced: f64,
    /// Part that the sensitive range has in the area.
    pub weight_sensitive: f64,
    /// Difference of the two over its standard uncertainty; `None` where the sensitive range is near its roll-over.
    pub zeta: Option<f64>,
    /// When the pulse of the sensitive range was beyond the roll-over, in seconds.
    pub dip_s: Option<(f64, f64)>,
}

/// Parameters of the three fields: roll-over absorbance, sensitivity ratio, part left at the middle.
type Parameters = [f64; 3];

fn fields(parameters: &Parameters) -> ThreeFields {
    let [net_at_roll_over, ratio, left_at_middle] = *parameters;
    let stray_fraction = NetCurve::from_roll_over(net_at_roll_over, ratio).stray_fraction;
    ThreeFields { stray_fraction, left_at_middle, left_at_full: 1.0 - ratio }
}

/// Joins both ranges of a pulse.
///
/// # Arguments
/// * `t_s`, `total`, `middle`, `background`: one value of each a moment, sampled together.
/// * `window`: baseline and limits.
///
/// `None` where the curves have no roll-over, or the middle field leaves no more than the full one.
///
/// # Errors
/// Those of [`Trace::new`] and [`crate::reduce`].
///
/// # Source
/// [`crate::two_ranges::joined`]; the correlation of the ranges is that of their baselines. Uncertainty of the parameters: JCGM
/// 100:2008, 5.1.3, note 2. Checked by `tests/replicates/ranges.rs`.
pub fn joined_area(
    t_s: &[f64],
    total: &[f32],
    middle: &[f32],
    background: &[f32],
    window: &Window,
    measured: &MeasuredFields,
) -> Result<Option<JoinedArea>, TraceFault> {
    let times = Times::of(t_s);
    let sensitive = Trace::new(times, total, background)?;
    let reduced = Trace::new(times, middle, background)?;
    let (laid, laid_reduced) = (Laid::over(&sensitive, window)?, Laid::over(&reduced, window)?);
    let exact = |net_at_roll_over: f64, sensitivity_ratio: f64| MeasuredCurve {
        net_at_roll_over,
        u_net_at_roll_over: 0.0,
        sensitivity_ratio,
        u_sensitivity_ratio: 0.0,
    };
    let curve = &measured.curve;
    let parameters = [curve.net_at_roll_over, curve.sensitivity_ratio, measured.left_at_middle];
    let nominal = fields(&parameters);
    if nominal.left_at_middle <= nominal.left_at_full || nominal.left_at_middle >= 1.0 {
        return Ok(None);
    }
    let Some(top) = nominal.reduced().roll_over() else { return Ok(None) };
    let one = restored_area(&sensitive, window, &exact(curve.net_at_roll_over, curve.sensitivity_ratio))?;
    let other = restored_area(&reduced, window, &exact(top.net, nominal.reduced().sensitivity_ratio))?;
    let (Some(one), Some(other)) = (one, other) else { return Ok(None) };

    let highest = if one.dip_s.is_some() { 1.0 } else { laid.figures.peak / curve.net_at_roll_over };
    let correlation = correlation(&sensitive, &reduced, &laid);
    let along = Along::new(&sensitive, &laid, &nominal.sensitive());
    let along_reduced = Along::new(&reduced, &laid_reduced, &nominal.reduced());
    let areas = |parameters: &Parameters| -> Option<(f64, f64)> {
        let fields = fields(parameters);
        Some((along.area(&fields.sensitive())?, along_reduced.area(&fields.reduced())? / fields.slope_ratio()))
    };
    let us = [curve.u_net_at_roll_over, curve.u_sensitivity_ratio, measured.u_left_at_middle];
    let changes: Vec<(f64, f64)> = (0..3).map(|place| change(&areas, &parameters, us, place)).collect();
    // What the parameters are unsure of is no noise of this pulse, and the two ranges differ by it: it is the ratio's.
    let reduced_value = other.area / nominal.slope_ratio();
    let squares = changes.iter().fold(0.0, |sum, (of_one, of_other)| {
        let between = of_other - of_one;
        sum + between * between
    });
    let relative = if reduced_value.abs() > 0.0 { squares.sqrt() / reduced_value.abs() } else { 0.0 };
    let ratio = Reading { value: nominal.slope_ratio(), u: 0.0 };
    let (one_noise, other_noise) =
        (Reading { value: one.area, u: one.u_noise }, Reading { value: other.area, u: other.u_noise });
    let found = two_ranges::joined(one_noise, other_noise, ratio, highest, correlation);
    let unsure = Reading { u: relative * ratio.value, ..ratio };
    let Joined { zeta, .. } = two_ranges::joined(one_noise, other_noise, unsure, highest, correlation);
    let weight = found.weight_sensitive;
    let by = |place: usize| weight * changes[place].0 + (1.0 - weight) * changes[place].1;
    let joined = JoinedArea {
        area: found.reading.value,
        u_noise: found.reading.u,
        by_roll_over: by(0),
        by_sensitivity_ratio: by(1),
        by_left_at_middle: by(2),
        sensitive: one.area,
        reduced: reduced_value,
        weight_sensitive: weight,
        zeta: zeta.filter(|zeta| zeta.is_finite()),
        dip_s: one.dip_s,
    };
    Ok(Some(joined).filter(|joined| joined.area.is_finite() && joined.u_noise.is_finite()))
}

/// Half the difference of both areas one standard uncertainty of a parameter to either side; 0 where one side cannot be read.
fn change(
    areas: &impl Fn(&Parameters) -> Option<(f64, f64)>,
    at: &Parameters,
    us: [f64; 3],
    place: usize,
) -> (f64, f64) {
    let moved = |by: f64| {
        let mut parameters = *at;
        parameters[place] += by * us[place];
        areas(&parameters)
    };
    match (us[place] > 0.0).then(|| moved(1.0).zip(moved(-1.0))).flatten() {
        Some((high, low)) => (0.5 * (high.0 - low.0), 0.5 * (high.1 - low.1)),
        None => (0.0, 0.0),
    }
}

/// Correlation of the noise of the two ranges: that of their baselines, for the background is in both.
fn correlation(sensitive: &Trace<'_>, reduced: &Trace<'_>, laid: &Laid) -> f64 {
    let stretch = laid.spans.baseline.clone();
    let net = |trace: &Trace<'_>| -> Vec<f64> {
        let values: Vec<f64> = trace.total()[stretch.clone()]
            .iter()
            .zip(&trace.background()[stretch.clone()])
            .map(|(total, background)| f64::from(*total) - f64::from(*background))
            .collect();
        let mean = values.iter().fold(0.0, |sum, value| sum + value) / values.len() as f64;
        values.iter().map(|value| value - mean).collect()
    };
    let (one, other) = (net(sensitive), net(reduced));
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).fold(0.0, |sum, (a, b)| sum + a * b);
    let scale = (product(&one, &one) * product(&other, &other)).sqrt();
    // Few values of a baseline may seem to run together; no more than this do (our choice).
    if scale > 0.0 { (product(&one, &other) / scale).clamp(-0.95, 0.95) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDOW: Window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, from_s: 0.0, to_s: 3.0 };
    const FIELDS: ThreeFields = ThreeFields { stray_fraction: 0.01, left_at_middle: 0.3, left_at_full: 0.06 };

    fn measured() -> MeasuredFields {
        let top = FIELDS.sensitive().roll_over().expect("a roll-over").net;
        MeasuredFields {
            curve: MeasuredCurve {
                net_at_roll_over: top,
                u_net_at_roll_over: 0.005,
                sensitivity_ratio: 0.94,
                u_sensitivity_ratio: 0.002,
            },
            left_at_middle: 0.3,
            u_left_at_middle: 0.003,
        }
    }

    fn joined(height: f64, fields: &MeasuredFields) -> JoinedArea {
        let at = |i: usize| i as f64 / 100.0 - 0.5;
        let truth = |t: f64| height * libm::exp(-(t - 1.2) * (t - 1.2) / (2.0 * 0.2 * 0.2));
        let curve = FIELDS.sensitive();
        let read = |left: f64, off: usize| -> Vec<f32> {
            (0..351)
                .map(|i| {
                    (curve.total(left * truth(at(i))) + if (i + off).is_multiple_of(3) { 0.0004 } else { -0.0002 })
                        as f32
                })
                .collect()
        };
        let t_s: Vec<f64> = (0..351).map(at).collect();
        let (total, middle, full) = (read(1.0, 0), read(0.3, 1), read(0.06, 2));
        joined_area(&t_s, &total, &middle, &full, &WINDOW, fields).expect("a window").expect("three fields")
    }

    /// Area of the true pulse on the scale of the sensitive range.
    fn straight(height: f64) -> f64 {
        FIELDS.sensitive().initial_slope() * height * 0.2 * 2.506_628
    }

    #[test]
    fn both_ranges_say_the_same_and_hand_over_where_the_sensitive_one_rolls_over() {
        for height in [0.05, 0.5, 1.5, 3.0, 6.0] {
            let found = joined(height, &measured());
            assert!((found.area / straight(height) - 1.0).abs() < 0.01, "{height}: {found:?} {}", straight(height));
            assert!(found.zeta.is_none_or(|zeta| zeta.abs() < 2.0), "{height}: {found:?}");
        }
        assert!(joined(0.05, &measured()).weight_sensitive > 0.5);
        assert_eq!(joined(6.0, &measured()).weight_sensitive, 0.0);
    }

    #[test]
    fn a_wrong_part_at_the_middle_is_told_by_the_ranges() {
        let wrong = MeasuredFields { left_at_middle: 0.36, ..measured() };
        assert!(joined(1.0, &wrong).zeta.is_some_and(|zeta| zeta.abs() > 2.0));
    }

    #[test]
    fn the_part_left_at_the_middle_matters_where_the_reduced_range_stands_alone() {
        let (low, high) = (joined(0.3, &measured()), joined(5.0, &measured()));
        assert!(low.by_left_at_middle.abs() / low.area < high.by_left_at_middle.abs() / high.area);
        assert!((high.by_left_at_middle / high.area).abs() > 0.005);
    }

    #[test]
    fn a_middle_field_that_leaves_nothing_more_joins_nothing() {
        let none = MeasuredFields { left_at_middle: 0.06, ..measured() };
        let ripple = |i: i32| if i % 3 == 0 { 0.0004 } else { -0.0002 };
        let (t_s, values): (Vec<f64>, Vec<f32>) = (0..351).map(|i| (f64::from(i) / 100.0 - 0.5, ripple(i))).unzip();
        assert_eq!(joined_area(&t_s, &values, &values, &values, &WINDOW, &none), Ok(None));
    }
}
