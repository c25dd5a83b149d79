//! A trace: total and background absorbance of one reading, sample by sample.
//!
//! [`Trace::new`] is the door: whoever holds a [`Trace`] holds two channels of equal length, every
//! value a number, times that increase. What the samples mean is not known here.

use crate::alignment::Interpolation;
use crate::trace_fault::{Channel, TraceFault};

/// A channel counts as clipped when it stays at its own highest value for this many samples in a
/// row (our choice: noise never repeats a 32-bit value that often) ...
pub const CLIPPED_RUN: usize = 5;
/// ... and that value is at least this absorbance (our choice: ceilings lie higher, and a coarse
/// display repeats low values).
pub const CLIPPED_ABOVE: f32 = 1.0;

/// No reading is taken later than this, in seconds: some thirty thousand years. Later times are
/// refused, so that no product of times and absorbances overflows.
const LATEST_S: f64 = 1e12;

/// When the samples of a trace were taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Times<'a> {
    /// Sample `i` at `start_s + i / rate_hz`.
    Even {
        /// Time of the first sample.
        start_s: f64,
        /// Samples a second.
        rate_hz: f64,
    },
    /// One time for each sample, in seconds, increasing.
    At(&'a [f64]),
}

impl<'a> Times<'a> {
    /// Moments as an even sequence where they are one to a microsecond, else as they are.
    ///
    /// An even sequence is reduced faster and without the rounding of single moments. A rate that is a whole number of
    /// hertz to within a millionth is taken as such.
    pub fn of(t_s: &'a [f64]) -> Times<'a> {
        let (Some(&first), Some(&last)) = (t_s.first(), t_s.last()) else { return Times::At(t_s) };
        let step = (last - first) / (t_s.len().max(2) - 1) as f64;
        let is_even = step > 0.0 && t_s.iter().enumerate().all(|(i, t)| (t - (first + step * i as f64)).abs() < 1e-6);
        if !is_even {
            return Times::At(t_s);
        }
        let rate_hz = 1.0 / step;
        let whole = rate_hz.round();
        let rate_hz = if (rate_hz - whole).abs() < 1e-6 * whole { whole } else { rate_hz };
        Times::Even { start_s: first, rate_hz }
    }
}

impl Times<'_> {
    /// Time of sample `index` in seconds.
    ///
    /// # Arguments
    /// * `index`: counted from 0. Beyond explicit times the last one is given, 0 where there is none.
    pub fn at(&self, index: usize) -> f64 {
        match *self {
            Times::Even { start_s, rate_hz } => start_s + index as f64 / rate_hz,
            Times::At(times) => times.get(index).or(times.last()).copied().unwrap_or(0.0),
        }
    }

    /// Time at a place between two samples, linear between their times.
    pub(crate) fn between(&self, position: f64) -> f64 {
        match *self {
            Times::Even { start_s, rate_hz } => start_s + position / rate_hz,
            Times::At(_) => {
                let before = position.floor();
                let index = before as usize;
                let (a, b) = (self.at(index), self.at(index + 1));
                a + (position - before) * (b - a)
            }
        }
    }

    /// Index of the first of `n` samples at `t_s` or later, `n` where there is none.
    ///
    /// A millionth of a step early counts as "at", so that 0.29 s at 100 Hz is sample 29 although
    /// `0.29 * 100.0` is a little less.
    pub(crate) fn first_from(&self, t_s: f64, n: usize) -> usize {
        match *self {
            Times::Even { start_s, rate_hz } => {
                let place = ((t_s - start_s) * rate_hz - 1e-6).ceil();
                // A saturating cast: below zero is 0, beyond the trace is cut to n.
                (place as usize).min(n)
            }
            Times::At(times) => {
                let slack = self.mean_step_s(n) * 1e-6;
                times.partition_point(|&t| t < t_s - slack).min(n)
            }
        }
    }

    /// Index just behind the last of `n` samples at `t_s` or earlier.
    pub(crate) fn end_at(&self, t_s: f64, n: usize) -> usize {
        match *self {
            Times::Even { start_s, rate_hz } => {
                let place = ((t_s - start_s) * rate_hz + 1e-6).floor() + 1.0;
                (place as usize).min(n)
            }
            Times::At(times) => {
                let slack = self.mean_step_s(n) * 1e-6;
                times.partition_point(|&t| t <= t_s + slack).min(n)
            }
        }
    }

    /// Mean distance of the first `n` samples in seconds.
    pub(crate) fn mean_step_s(&self, n: usize) -> f64 {
        match *self {
            Times::Even { rate_hz, .. } => 1.0 / rate_hz,
            Times::At(_) if n > 1 => (self.at(n - 1) - self.at(0)) / (n - 1) as f64,
            Times::At(_) => 0.0,
        }
    }
}

/// Total and background absorbance of one reading, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trace<'a> {
    times: Times<'a>,
    total: &'a [f32],
    background: &'a [f32],
    interpolation: Option<Interpolation>,
}

impl<'a> Trace<'a> {
    /// Takes the samples of one reading after checking them.
    ///
    /// # Arguments
    /// * `times`: when the samples were taken.
    /// * `total`: absorbance of analyte and background, in the order of time.
    /// * `background`: absorbance of the background at the same moments. Where the two channels were
    ///   sampled in turn, bring them to the same moments first: [`crate::InTurn`]. Where only the net
    ///   absorbance is known, zeros beside it; noise then grows as that of one channel.
    ///
    /// # Errors
    /// * [`TraceFault::LengthsDiffer`], [`TraceFault::TimesDiffer`], [`TraceFault::NoSamples`]: not one
    ///   value of each for every moment.
    /// * [`TraceFault::RateNotAboveZero`], [`TraceFault::TimeNotANumber`],
    ///   [`TraceFault::TimeNotIncreasing`]: times that are none.
    /// * [`TraceFault::NotANumber`]: an infinite value or none.
    /// * [`TraceFault::AllEqual`]: the total channel never moves.
    /// * [`TraceFault::Clipped`]: [`CLIPPED_RUN`] samples in a row at a channel's highest value, and
    ///   that above [`CLIPPED_ABOVE`].
    ///
    /// # Example
    /// ```
    /// use darkline_signal::{Times, Trace, TraceFault};
    /// let times = Times::Even { start_s: 0.0, rate_hz: 50.0 };
    /// assert!(Trace::new(times, &[0.001, 0.002, 0.001], &[0.0, 0.0, 0.0]).is_ok());
    /// let fault = Trace::new(times, &[0.001, 0.002], &[0.0]);
    /// assert_eq!(fault, Err(TraceFault::LengthsDiffer { total: 2, background: 1 }));
    /// ```
    pub fn new(times: Times<'a>, total: &'a [f32], background: &'a [f32]) -> Result<Self, TraceFault> {
        let n = total.len();
        if n != background.len() {
            return Err(TraceFault::LengthsDiffer { total: n, background: background.len() });
        }
        if n == 0 {
            return Err(TraceFault::NoSamples);
        }
        check_times(times, n)?;
        for (channel, values) in [(Channel::Total, total), (Channel::Background, background)] {
            if let Some(index) = values.iter().position(|value| !value.is_finite()) {
                return Err(TraceFault::NotANumber { channel, index, value: values[index] });
            }
        }
        if total.iter().all(|&value| value == total[0]) {
            return Err(TraceFault::AllEqual { n, value: total[0] });
        }
        for (channel, values) in [(Channel::Total, total), (Channel::Background, background)] {
            if let Some((ceiling, from, n)) = run_at_ceiling(values) {
                return Err(TraceFault::Clipped { channel, ceiling, from_s: times.at(from), n });
            }
        }
        Ok(Trace { times, total, background, interpolation: None })
    }

    /// The same trace, its background known to be interpolated by a rule: [`crate::InTurn`].
    pub(crate) fn interpolated_by(self, rule: Interpolation) -> Trace<'a> {
        Trace { interpolation: Some(rule), ..self }
    }

    /// The rule the background was interpolated by; `None` where both channels were read at the same moments.
    pub fn interpolation(&self) -> Option<Interpolation> {
        self.interpolation
    }

    /// When the samples were taken.
    pub fn times(&self) -> Times<'a> {
        self.times
    }

    /// Total absorbance, in the order of time.
    pub fn total(&self) -> &'a [f32] {
        self.total
    }

    /// Background absorbance, in the order of time.
    pub fn background(&self) -> &'a [f32] {
        self.background
    }

    /// Number of moments; never zero.
    pub fn n_samples(&self) -> usize {
        self.total.len()
    }

    /// Time of the first sample in seconds.
    pub fn from_s(&self) -> f64 {
        self.times.at(0)
    }

    /// Time of the last sample in seconds.
    pub fn to_s(&self) -> f64 {
        self.times.at(self.n_samples() - 1)
    }
}

fn is_time(t_s: f64) -> bool {
    t_s.abs() <= LATEST_S
}

pub(crate) fn check_times(times: Times<'_>, n: usize) -> Result<(), TraceFault> {
    match times {
        Times::Even { rate_hz, .. } => {
            if !(rate_hz > 0.0 && rate_hz.is_finite()) {
                return Err(TraceFault::RateNotAboveZero { rate_hz });
            }
            for index in [0, n - 1] {
                let value = times.at(index);
                if !is_time(value) {
                    return Err(TraceFault::TimeNotANumber { index, value });
                }
            }
        }
        Times::At(seconds) => {
            if seconds.len() != n {
                return Err(TraceFault::TimesDiffer { times: seconds.len(), samples: n });
            }
            if let Some(index) = seconds.iter().position(|&t| !is_time(t)) {
                return Err(TraceFault::TimeNotANumber { index, value: seconds[index] });
            }
            if let Some(before) = seconds.windows(2).position(|pair| pair[1] <= pair[0]) {
                return Err(TraceFault::TimeNotIncreasing {
                    index: before + 1,
                    before_s: seconds[before],
                    at_s: seconds[before + 1],
                });
            }
        }
    }
    Ok(())
}

/// The ceiling a channel is clipped at, where that begins, and for how many samples in a row.
fn run_at_ceiling(values: &[f32]) -> Option<(f32, usize, usize)> {
    let ceiling = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    if ceiling < CLIPPED_ABOVE {
        return None;
    }
    let (mut from, mut n) = (0, 0);
    for (index, &value) in values.iter().enumerate() {
        if value < ceiling {
            if n >= CLIPPED_RUN {
                break;
            }
            n = 0;
        } else {
            if n == 0 {
                from = index;
            }
            n += 1;
        }
    }
    (n >= CLIPPED_RUN).then_some((ceiling, from, n))
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVEN: Times<'static> = Times::Even { start_s: 0.0, rate_hz: 100.0 };

    #[test]
    fn an_empty_trace_is_told_so() {
        assert_eq!(Trace::new(EVEN, &[], &[]), Err(TraceFault::NoSamples));
    }

    #[test]
    fn the_first_value_that_is_no_number_is_named() {
        let fault = Trace::new(EVEN, &[0.1, 0.2, f32::INFINITY], &[0.0; 3]);
        let told = fault.expect_err("an infinite sample").to_string();
        assert_eq!(told, "sample 2 of the total channel is inf, which is not an absorbance");
    }

    #[test]
    fn a_doubled_row_shows_as_a_time_that_does_not_increase() {
        let times = [0.0, 0.02, 0.02, 0.04];
        let fault = Trace::new(Times::At(&times), &[0.1, 0.2, 0.2, 0.3], &[0.0; 4]);
        assert_eq!(fault, Err(TraceFault::TimeNotIncreasing { index: 2, before_s: 0.02, at_s: 0.02 }));
    }

    #[test]
    fn a_dead_channel_is_not_taken_for_a_blank() {
        assert_eq!(Trace::new(EVEN, &[0.0; 40], &[0.0; 40]), Err(TraceFault::AllEqual { n: 40, value: 0.0 }));
    }

    #[test]
    fn a_ceiling_is_seen_only_where_it_lasts() {
        let mut total = vec![0.001_f32, 0.002, 0.9];
        total.extend([2.3; 4]);
        total.push(0.5);
        let background = vec![0.0; total.len()];
        assert!(Trace::new(EVEN, &total, &background).is_ok(), "four samples are no ceiling");
        total.insert(3, 2.3);
        let background = vec![0.0; total.len()];
        let fault = Trace::new(EVEN, &total, &background).expect_err("five samples at 2.3");
        assert_eq!(
            fault.to_string(),
            "the total channel stays at its highest value, 2.3, for 5 samples from 0.03 s: clipped"
        );
    }

    #[test]
    fn a_rate_of_zero_or_less_or_none_is_refused() {
        for rate_hz in [0.0, -50.0, f64::NAN, f64::INFINITY] {
            let times = Times::Even { start_s: 0.0, rate_hz };
            let fault = Trace::new(times, &[0.1, 0.2], &[0.0; 2]);
            assert!(matches!(fault, Err(TraceFault::RateNotAboveZero { .. })), "{rate_hz}");
        }
    }

    #[test]
    fn a_time_no_reading_can_have_is_refused() {
        for times in [
            Times::Even { start_s: f64::NAN, rate_hz: 50.0 },
            Times::Even { start_s: 0.0, rate_hz: 1e-320 },
            Times::At(&[0.0, f64::INFINITY]),
            Times::At(&[-1e300, 0.0]),
        ] {
            let fault = Trace::new(times, &[0.1, 0.2], &[0.0; 2]);
            assert!(matches!(fault, Err(TraceFault::TimeNotANumber { .. })), "{times:?}");
        }
    }

    #[test]
    fn limits_fall_on_the_sample_they_name() {
        for (index, t) in [(29, 0.29), (57, 0.57), (58, 0.58), (0, 0.0)] {
            assert_eq!(EVEN.first_from(t, 500), index);
            assert_eq!(EVEN.end_at(t, 500), index + 1);
        }
        assert_eq!(EVEN.first_from(-3.0, 500), 0);
        assert_eq!(EVEN.end_at(-3.0, 500), 0);
        assert_eq!(EVEN.first_from(9.0, 500), 500);
        let seconds: Vec<f64> = (0..500).map(|i| f64::from(i) / 100.0).collect();
        let explicit = Times::At(&seconds);
        for t in [0.0, 0.004, 0.29, 0.57, 0.577, 4.99, 7.0, -1.0] {
            assert_eq!(explicit.first_from(t, 500), EVEN.first_from(t, 500), "{t}");
            assert_eq!(explicit.end_at(t, 500), EVEN.end_at(t, 500), "{t}");
        }
    }
}
