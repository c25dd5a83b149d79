//! A reading whose channels were sampled in turn, brought to the moments of the total channel.
//!
//! [`InTurn::align`] reads the background between its own moments by the cubic through two values before and two behind,
//! at whatever distances they stand, and refuses samples too far apart for what they follow. [`InTurn::trace`] is what
//! [`crate::reduce`] takes; it knows what interpolation did to the noise.
//!
//! The rules themselves, their errors and their noise stand in [`crate::alignment`].

use crate::alignment::Interpolation;
use crate::trace::{Times, Trace, check_times};
use crate::trace_fault::{Channel, TraceFault};

/// A background is read too seldom where what interpolation may leave is more than this part of its highest value (our
/// choice: four values in the width of a Gaussian leave 1 %).
pub const LARGEST_ERROR: f64 = 0.02;

/// A background value stands out from its neighbours where it is further off than this many standard deviations.
const OFF_IN_SD: f64 = 6.0;

/// A cubic through values at -4h, -2h, 2h and 4h is wrong by this many times what one at -3h, -h, h and 3h is: the products
/// of the distances, 64 h⁴ and 9 h⁴.
const ERROR_LEFT_OUT: f64 = 64.0 / 9.0;

/// Total and background absorbance of one reading, at the moments of the total channel.
#[derive(Debug, Clone, PartialEq)]
pub struct InTurn {
    t_s: Vec<f64>,
    total: Vec<f32>,
    background: Vec<f32>,
    largest_error: f64,
}

impl InTurn {
    /// Whether values are those of channels sampled in turn: at each moment one of the two is a number, the other none, and
    /// they take turns.
    pub fn is(total: &[f32], background: &[f32]) -> bool {
        let turns = total.iter().zip(background).map(|(t, b)| (!t.is_nan(), !b.is_nan()));
        let mut before = None;
        for turn in turns {
            if turn.0 == turn.1 || before == Some(turn) {
                return false;
            }
            before = Some(turn);
        }
        total.len() > 1
    }

    /// Brings the background to the moments of the total channel.
    ///
    /// # Arguments
    /// * `t_s`: one moment for each value of either channel, in seconds, increasing.
    /// * `total`, `background`: at each moment the value of the channel sampled then, and not a number in the other
    ///   ([`InTurn::is`]).
    ///
    /// # Errors
    /// * [`TraceFault::LengthsDiffer`], [`TraceFault::TimesDiffer`], [`TraceFault::TimeNotANumber`],
    ///   [`TraceFault::TimeNotIncreasing`], [`TraceFault::NotANumber`]: as for [`Trace::new`].
    /// * [`TraceFault::TooFewOfAChannel`]: fewer than four values of the background or of the total channel.
    /// * [`TraceFault::BackgroundTooFast`]: the background may be wrong by more than [`LARGEST_ERROR`] of its highest value.
    ///
    /// # Source
    /// Lagrange's interpolation; the problem: J. M. Harnly, J. A. Holcombe, Anal. Chem. 57 (1985) 1983 and 58 (1986) 2606
    /// (from memory). The error is told from the values themselves: each, left out, is read from its four neighbours, where
    /// the cubic is wrong by 64/9 times what it is wrong by between the values.
    ///
    /// # Example
    /// ```
    /// use darkline_signal::InTurn;
    /// let t_s: Vec<f64> = (0..40).map(|i| f64::from(i) * 0.01).collect();
    /// let in_turn = |odd: i32, of: fn(f64) -> f64| -> Vec<f32> {
    ///     (0..40).map(|i| if i % 2 == odd { of(f64::from(i) * 0.01) as f32 } else { f32::NAN }).collect()
    /// };
    /// let (total, background) = (in_turn(0, |t| 0.3 + t), in_turn(1, |t| 0.2 + t * t));
    /// let aligned = InTurn::align(&t_s, &total, &background)?;
    /// let at_0_2 = aligned.trace()?.background()[10];
    /// assert!((at_0_2 - 0.24).abs() < 1e-6);
    /// # Ok::<(), darkline_signal::TraceFault>(())
    /// ```
    pub fn align(t_s: &[f64], total: &[f32], background: &[f32]) -> Result<InTurn, TraceFault> {
        let n = total.len();
        if n != background.len() {
            return Err(TraceFault::LengthsDiffer { total: n, background: background.len() });
        }
        check_times(Times::At(t_s), n)?;
        for (channel, values) in [(Channel::Total, total), (Channel::Background, background)] {
            if let Some(index) = values.iter().position(|value| value.is_infinite()) {
                return Err(TraceFault::NotANumber { channel, index, value: values[index] });
            }
        }
        let of = |values: &[f32]| -> Vec<(f64, f32)> {
            t_s.iter().copied().zip(values.iter().copied()).filter(|(_, value)| !value.is_nan()).collect()
        };
        let (measured_total, measured_background) = (of(total), of(background));
        for (channel, values) in [(Channel::Total, &measured_total), (Channel::Background, &measured_background)] {
            if values.len() < 4 {
                return Err(TraceFault::TooFewOfAChannel { channel, n: values.len(), needed: 4 });
            }
        }
        let largest_error = left_out_error(&measured_background)?;
        let (t_s, total): (Vec<f64>, Vec<f32>) = measured_total.into_iter().unzip();
        let mut behind = 0;
        let background = t_s
            .iter()
            .map(|&t| {
                while measured_background.get(behind).is_some_and(|&(at, _)| at < t) {
                    behind += 1;
                }
                let from = behind.saturating_sub(2).min(measured_background.len() - 4);
                // Beyond the first and the last value the nearest one holds: a cubic runs away there.
                match measured_background.get(behind) {
                    Some(&(_, first)) if behind == 0 => first,
                    None => measured_background[behind - 1].1,
                    Some(_) => cubic(&measured_background[from..from + 4], t) as f32,
                }
            })
            .collect();
        Ok(InTurn { t_s, total, background, largest_error })
    }

    /// The trace at the moments of the total channel.
    ///
    /// # Errors
    /// Those of [`Trace::new`].
    pub fn trace(&self) -> Result<Trace<'_>, TraceFault> {
        let trace = Trace::new(Times::of(&self.t_s), &self.total, &self.background)?;
        Ok(trace.interpolated_by(Interpolation::Cubic))
    }

    /// Moments of the total channel, in seconds.
    pub fn t_s(&self) -> &[f64] {
        &self.t_s
    }

    /// What interpolation may have left in a net value at most, noise included.
    pub fn largest_error(&self) -> f64 {
        self.largest_error
    }
}

/// Value at `t` of the cubic through four points.
fn cubic(points: &[(f64, f32)], t: f64) -> f64 {
    let mut sum = 0.0;
    for (i, &(at, value)) in points.iter().enumerate() {
        let mut weight = 1.0;
        for (j, &(other, _)) in points.iter().enumerate() {
            if i != j {
                weight *= (t - other) / (at - other);
            }
        }
        sum += weight * f64::from(value);
    }
    sum
}

/// The largest error of a cubic between the values, from the values themselves.
fn left_out_error(values: &[(f64, f32)]) -> Result<f64, TraceFault> {
    if values.len() < 5 {
        return Ok(0.0);
    }
    // Each value with two before and two behind: those four, and itself left out.
    let off: Vec<(f64, f64)> = values
        .windows(5)
        .map(|five| {
            let around = [five[0], five[1], five[3], five[4]];
            (five[2].0, f64::from(five[2].1) - cubic(&around, five[2].0))
        })
        .collect();
    // Noise by the median, which a background that is fast here and there does not move.
    let mut sizes: Vec<f64> = off.iter().map(|(_, off)| off.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let sd = sizes[sizes.len() / 2] / 0.674_489_750_196_081_7;
    let (at_s, worst) =
        off.iter().fold((0.0, 0.0), |worst, &(t, off)| if off.abs() > worst.1 { (t, off.abs()) } else { worst });
    let error = worst / ERROR_LEFT_OUT;
    let lowest = values.iter().fold(f64::INFINITY, |low, &(_, value)| low.min(f64::from(value)));
    let highest = values.iter().fold(f64::NEG_INFINITY, |high, &(_, value)| high.max(f64::from(value)));
    if worst > OFF_IN_SD * sd && error > LARGEST_ERROR * (highest - lowest) {
        return Err(TraceFault::BackgroundTooFast { at_s, error, of: highest - lowest });
    }
    Ok(error)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Channels in turn at a rate, total first.
    fn in_turn(rate_hz: f64, n: usize, total: impl Fn(f64) -> f64, background: impl Fn(f64) -> f64) -> [Vec<f32>; 2] {
        let at = |i: usize| i as f64 / rate_hz;
        let total = (0..n).map(|i| if i % 2 == 0 { total(at(i)) as f32 } else { f32::NAN }).collect();
        let background = (0..n).map(|i| if i % 2 == 1 { background(at(i)) as f32 } else { f32::NAN }).collect();
        [total, background]
    }

    fn moments(rate_hz: f64, n: usize) -> Vec<f64> {
        (0..n).map(|i| i as f64 / rate_hz).collect()
    }

    fn bell(t: f64, centre_s: f64, sd_s: f64) -> f64 {
        libm::exp(-0.5 * (t - centre_s) * (t - centre_s) / (sd_s * sd_s))
    }

    #[test]
    fn even_moments_give_the_cubic_rule_of_the_table() {
        let [total, background] = in_turn(100.0, 80, |t| t, |t| 0.5 * bell(t, 0.4, 0.1));
        let aligned = InTurn::align(&moments(100.0, 80), &total, &background).expect("slow enough");
        let measured: Vec<f32> = background.iter().copied().filter(|b| !b.is_nan()).collect();
        let first = crate::alignment::FirstRead::Total;
        let table = crate::alignment::background_at_total(&measured, 40, first, Interpolation::Cubic);
        for (found, expected) in aligned.background[2..38].iter().zip(&table[2..38]) {
            assert!((f64::from(*found) - expected).abs() < 1e-7);
        }
    }

    #[test]
    fn uneven_moments_are_read_at_their_own_distances() {
        let t_s: Vec<f64> = (0..60).map(|i| f64::from(i) * 0.01 + if i % 3 == 0 { 0.004 } else { 0.0 }).collect();
        let cube = |t: f64| 0.1 + t - 2.0 * t * t + 3.0 * t * t * t;
        let total: Vec<f32> = (0..60).map(|i| if i % 2 == 0 { 1.0 + i as f32 * 0.01 } else { f32::NAN }).collect();
        let background: Vec<f32> =
            t_s.iter().enumerate().map(|(i, &t)| if i % 2 == 1 { cube(t) as f32 } else { f32::NAN }).collect();
        let aligned = InTurn::align(&t_s, &total, &background).expect("a slow background");
        for (t, found) in aligned.t_s[1..29].iter().zip(&aligned.background[1..29]) {
            assert!((f64::from(*found) - cube(*t)).abs() < 1e-6, "{t} s");
        }
    }

    #[test]
    fn a_background_faster_than_its_samples_is_refused_with_its_moment() {
        // At 50 Hz each channel has 25 Hz: a width of 2.355 × 0.02 s is about one sample.
        let [total, background] = in_turn(50.0, 100, |t| 0.01 * t, |t| 0.8 * bell(t, 1.0, 0.02));
        let fault = InTurn::align(&moments(50.0, 100), &total, &background).expect_err("too fast");
        assert!(matches!(fault, TraceFault::BackgroundTooFast { at_s, .. } if (at_s - 1.0).abs() < 0.08), "{fault}");
        // The same background at 200 Hz has five samples in its width.
        let [total, background] = in_turn(200.0, 400, |t| 0.01 * t, |t| 0.8 * bell(t, 1.0, 0.02));
        let aligned = InTurn::align(&moments(200.0, 400), &total, &background).expect("fast enough a rate");
        assert!(aligned.largest_error() < 0.02 * 0.8, "{}", aligned.largest_error());
    }

    #[test]
    fn the_error_told_is_the_error_made() {
        let truth = |t: f64| 0.8 * bell(t, 1.0, 0.03);
        let [total, background] = in_turn(100.0, 200, |t| 0.01 * t, truth);
        let aligned = InTurn::align(&moments(100.0, 200), &total, &background).expect("four samples in the width");
        let made = aligned.t_s.iter().zip(&aligned.background).map(|(&t, &b)| (f64::from(b) - truth(t)).abs());
        let made = made.fold(0.0, f64::max);
        let told = aligned.largest_error();
        assert!(told > 0.5 * made && told < 2.0 * made, "told {told}, made {made}");
    }

    #[test]
    fn noise_alone_is_no_fast_background() {
        let mut state = 5_u64;
        let mut next = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / 16_777_216.0 - 0.5
        };
        let mut values = || -> Vec<f64> { (0..400).map(|_| 0.002 * (next() + next() + next())).collect() };
        let (a, b) = (values(), values());
        let [total, background] =
            in_turn(100.0, 400, |t| a[(t * 100.0).round() as usize], |t| b[(t * 100.0).round() as usize]);
        assert!(InTurn::align(&moments(100.0, 400), &total, &background).is_ok());
    }

    #[test]
    fn what_does_not_take_turns_is_told() {
        let nan = f32::NAN;
        assert!(InTurn::is(&[0.1, nan, 0.2, nan], &[nan, 0.1, nan, 0.1]));
        assert!(!InTurn::is(&[0.1, nan, nan, 0.2], &[nan, 0.1, 0.1, nan]), "one turn left out");
        assert!(!InTurn::is(&[0.1, 0.2], &[0.0, 0.0]), "sampled together");
        assert!(!InTurn::is(&[nan, 0.2], &[nan, 0.1]), "a value missing");
        assert!(!InTurn::is(&[0.1], &[nan]) && !InTurn::is(&[], &[]));
        let few = InTurn::align(&[0.0, 0.1, 0.2, 0.3], &[0.1, nan, 0.2, nan], &[nan, 0.1, nan, 0.1]);
        assert_eq!(few, Err(TraceFault::TooFewOfAChannel { channel: Channel::Total, n: 2, needed: 4 }));
    }
}
