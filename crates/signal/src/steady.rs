//! A steady signal: the mean absorbance of a flame reading.
//!
//! [`reduce_steady`] takes the mean over the read time. There is no baseline in a steady signal; its
//! zero is the blank's business.

use serde::{Deserialize, Serialize};

use crate::lanes::sum_of;
use crate::trace::Trace;
use crate::trace_fault::TraceFault;
use crate::window::integration_span;

/// Fewest values of a steady reading: a standard deviation needs two.
const LEAST: usize = 2;

/// What one steady reading gives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Steady {
    /// Mean net absorbance over the read time.
    pub mean_absorbance: f64,
    /// Standard uncertainty of the mean, the noise's autocorrelation included.
    pub u_mean: f64,
    /// Standard deviation of one net value.
    pub sd: f64,
    /// Correlation of one value with the next, between -1 and 1; 0 where the values do not vary.
    pub lag_one_autocorrelation: f64,
    /// Slope of the straight line through the net values, per second.
    pub drift_per_s: f64,
    /// Mean background absorbance over the read time.
    pub background_mean: f64,
    /// Highest background absorbance over the read time.
    pub background_max: f64,
    /// Number of values.
    pub n: usize,
}

/// Reduces a steady reading to its mean.
///
/// Values of a flame are correlated: droplets, flicker of flame and lamp. With the correlation `r` of
/// neighbours taken for that of a first-order process, the mean of n values has
/// `u² = sd²/n [1 + 2 sum (1 - k/n) r^k]`. A negative `r` counts as 0: chance shall not make a mean
/// better than independent values do. Noise slower than the read time shows between readings only.
///
/// # Arguments
/// * `trace`: checked samples.
/// * `from_s`, `to_s`: the read time, samples at both limits taken; two samples or more.
///
/// # Errors
/// [`TraceFault::WindowNotANumber`], [`TraceFault::WindowReversed`],
/// [`TraceFault::IntegrationOutsideTrace`], [`TraceFault::TooFewSamples`].
///
/// # Source
/// Variance of a mean of correlated values: JCGM 100:2008, 5.2.2, equation (13), all covariances
/// `sd² r^k`. Checked against the exact double sum by a unit test.
///
/// # Example
/// ```
/// use darkline_signal::{Times, Trace, reduce_steady};
/// let total = [0.201, 0.199, 0.202, 0.198, 0.200];
/// let times = Times::Even { start_s: 0.0, rate_hz: 1.0 };
/// let trace = Trace::new(times, &total, &[0.0; 5])?;
/// let steady = reduce_steady(&trace, 0.0, 4.0)?;
/// assert!((steady.mean_absorbance - 0.2).abs() < 1e-7);
/// # Ok::<(), darkline_signal::TraceFault>(())
/// ```
pub fn reduce_steady(trace: &Trace<'_>, from_s: f64, to_s: f64) -> Result<Steady, TraceFault> {
    let span = integration_span(trace, from_s, to_s, LEAST)?;
    let total = &trace.total()[span.clone()];
    let background = &trace.background()[span.clone()];
    let n = total.len();
    let n_f = n as f64;
    let net = |i: usize| f64::from(total[i]) - f64::from(background[i]);
    let mean = sum_of(n, net) / n_f;
    let squares = sum_of(n, |i| (net(i) - mean) * (net(i) - mean));
    let products = sum_of(n - 1, |i| (net(i) - mean) * (net(i + 1) - mean));
    let lag_one = if squares > 0.0 { (products / squares).clamp(-1.0, 1.0) } else { 0.0 };
    let sd = (squares / (n_f - 1.0)).sqrt();

    let time = |i: usize| trace.times().at(span.start + i);
    let mean_time = sum_of(n, time) / n_f;
    let time_squares = sum_of(n, |i| (time(i) - mean_time) * (time(i) - mean_time));
    let time_products = sum_of(n, |i| (time(i) - mean_time) * (net(i) - mean));
    // Steps too small for the square of a 64-bit number leave no slope to tell.
    let slope = time_products / time_squares;
    let drift_per_s = if slope.is_finite() { slope } else { 0.0 };

    Ok(Steady {
        mean_absorbance: mean,
        u_mean: sd / n_f.sqrt() * mean_inflation(lag_one.max(0.0), n).sqrt(),
        sd,
        lag_one_autocorrelation: lag_one,
        drift_per_s,
        background_mean: sum_of(n, |i| f64::from(background[i])) / n_f,
        background_max: f64::from(background.iter().copied().fold(f32::NEG_INFINITY, f32::max)),
        n,
    })
}

/// Variance of a mean of `n` values with correlation `rho^k`, over that of independent values.
fn mean_inflation(rho: f64, n: usize) -> f64 {
    let n_f = n as f64;
    let mut power = 1.0;
    let mut sum = 0.0;
    for k in 1..n {
        power *= rho;
        sum += (1.0 - k as f64 / n_f) * power;
    }
    1.0 + 2.0 * sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Times;

    const SECONDS: Times<'static> = Times::Even { start_s: 0.0, rate_hz: 1.0 };

    #[test]
    fn inflation_is_the_double_sum_over_all_pairs() {
        for (rho, n) in [(0.0_f64, 7), (0.5, 12), (0.9, 40), (1.0, 5)] {
            let mut sum = 0.0;
            for i in 0..n {
                for j in 0..n {
                    let mut power = 1.0;
                    for _ in 0..usize::abs_diff(i, j) {
                        power *= rho;
                    }
                    sum += power;
                }
            }
            let found = mean_inflation(rho, n);
            assert!((found - sum / n as f64).abs() < 1e-9 * found, "rho {rho}, n {n}");
        }
    }

    #[test]
    fn a_drifting_signal_shows_its_slope_and_a_larger_u() {
        let total: Vec<f32> = (0..30).map(|i| 0.2 + 0.001 * i as f32).collect();
        let background = vec![0.01; 30];
        let trace = Trace::new(SECONDS, &total, &background).expect("a whole trace");
        let steady = reduce_steady(&trace, 0.0, 29.0).expect("30 values");
        assert!((steady.drift_per_s - 0.001).abs() < 1e-8);
        assert!((steady.background_mean - 0.01).abs() < 1e-9);
        assert!(steady.lag_one_autocorrelation > 0.8);
        assert!(steady.u_mean > 2.0 * steady.sd / 30.0_f64.sqrt());
    }

    #[test]
    fn one_value_is_no_steady_reading() {
        let trace = Trace::new(SECONDS, &[0.2, 0.21, 0.2], &[0.0; 3]).expect("a whole trace");
        let fault = reduce_steady(&trace, 1.0, 1.0);
        assert!(matches!(fault, Err(TraceFault::TooFewSamples { n: 1, needed: 2, .. })));
    }

    #[test]
    fn values_that_alternate_are_not_better_than_independent_ones() {
        let total: Vec<f32> = (0..20).map(|i| if i % 2 == 0 { 0.2 } else { 0.21 }).collect();
        let background = vec![0.0; 20];
        let trace = Trace::new(SECONDS, &total, &background).expect("a whole trace");
        let steady = reduce_steady(&trace, 0.0, 19.0).expect("20 values");
        assert!(steady.lag_one_autocorrelation < -0.9);
        assert!((steady.u_mean - steady.sd / 20.0_f64.sqrt()).abs() < 1e-15);
    }
}
