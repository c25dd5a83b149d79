//! A flame reading in time: how long to wait, how long to read, what a small volume gives, how drift is taken off.
//!
//! [`StepResponse`] follows the absorbance after a new solution is taken up, [`ReadingNoise`] says what a longer
//! reading gains, [`area_of_injection`] what a small volume gives as a pulse, [`DriftBetweenChecks`] takes a slow change
//! of sensitivity off. The mean of a reading itself is [`crate::reduce_steady`].

use crate::sign_change::falls_through_zero;

/// The rise of absorbance after a new solution is taken up, as part of its final value: `1 - exp(-(t - d)/tau)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepResponse {
    /// When the solution reaches the flame, in seconds after it is taken up.
    pub arrives_s: f64,
    /// Time constant of spray chamber and flame, in seconds, above 0.
    pub time_constant_s: f64,
}

impl StepResponse {
    /// Part of the final absorbance at a time; 0 before the solution arrives.
    pub fn at(&self, t_s: f64) -> f64 {
        if t_s <= self.arrives_s {
            return 0.0;
        }
        -libm::expm1(-(t_s - self.arrives_s) / self.time_constant_s)
    }

    /// Part of the final absorbance that the mean over a read time has.
    ///
    /// # Arguments
    /// * `from_s`: start of the read, not before the solution arrives.
    /// * `read_s`: its length, above 0.
    ///
    /// # Source
    /// `1 - (tau/w) [exp(-(a-d)/tau) - exp(-(a+w-d)/tau)]`, the mean of the step response of first order; derived
    /// here. Checked by `tests/published/main.rs`.
    ///
    /// # Example
    /// ```
    /// let step = darkline_signal::flame_reading::StepResponse { arrives_s: 1.5, time_constant_s: 0.8 };
    /// assert_eq!(format!("{:.4}", step.mean(5.0, 3.0)), "0.9967");
    /// ```
    pub fn mean(&self, from_s: f64, read_s: f64) -> f64 {
        let tau = self.time_constant_s;
        let missing = libm::exp(-(from_s - self.arrives_s) / tau);
        1.0 + tau / read_s * missing * libm::expm1(-read_s / tau)
    }

    /// Delay after the arrival from which a single value is low by less than a part: `tau ln(1/eps)`.
    ///
    /// # Arguments
    /// * `low_by`: above 0 and below 1.
    ///
    /// # Source
    /// The step response of first order solved for time. Checked by `tests/published/main.rs`.
    pub fn delay_for_value(&self, low_by: f64) -> f64 {
        -self.time_constant_s * libm::log(low_by)
    }

    /// Delay after the arrival from which the mean over a read time is low by less than a part; 0 where it always is.
    ///
    /// # Arguments
    /// * `low_by`: above 0 and below 1.
    /// * `read_s`: length of the read, above 0.
    ///
    /// # Source
    /// `tau ln[tau (1 - exp(-w/tau))/(eps w)]`, [`StepResponse::mean`] solved for the delay. Checked by
    /// `tests/published/main.rs`.
    pub fn delay_for_mean(&self, low_by: f64, read_s: f64) -> f64 {
        let tau = self.time_constant_s;
        (tau * libm::log(-tau * libm::expm1(-read_s / tau) / (low_by * read_s))).max(0.0)
    }
}

/// Relative noise of a steady reading against its length: a part that averages out and one that does not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingNoise {
    /// Relative standard deviation of a mean over 1 s by the noise that averages out.
    pub white_over_1_s: f64,
    /// Relative standard deviation that stays however long is read.
    pub slow: f64,
}

impl ReadingNoise {
    /// The two parts from the scatter of short and of long readings; `None` where the two are no such noise.
    ///
    /// # Arguments
    /// * `short`, `long`: length of the reading in seconds and relative standard deviation of such readings.
    ///
    /// # Source
    /// `rsd² = a²/T + b²` at two lengths, solved. The form and its size in flames (1 % at 1 s, two to three times less at
    /// 10 s): N. W. Bower, J. D. Ingle, Anal. Chem. (abstract seen). Checked by `tests/published/main.rs`.
    pub fn from_two(short: (f64, f64), long: (f64, f64)) -> Option<ReadingNoise> {
        let ((t1, r1), (t2, r2)) = (short, long);
        let white = (r1 * r1 - r2 * r2) / (1.0 / t1 - 1.0 / t2);
        let slow = r1 * r1 - white / t1;
        (white >= 0.0 && slow >= 0.0).then(|| ReadingNoise { white_over_1_s: white.sqrt(), slow: slow.sqrt() })
    }

    /// Relative standard deviation of a reading over a time above 0.
    ///
    /// # Source
    /// `sqrt(a²/T + b²)`. Checked by `tests/published/main.rs`.
    pub fn rsd(&self, read_s: f64) -> f64 {
        (self.white_over_1_s * self.white_over_1_s / read_s + self.slow * self.slow).sqrt()
    }

    /// Length of a reading in seconds that brings the relative standard deviation down to a value; `None` where no length
    /// does.
    pub fn read_s_for(&self, rsd: f64) -> Option<f64> {
        let left = rsd * rsd - self.slow * self.slow;
        (left > 0.0).then(|| self.white_over_1_s * self.white_over_1_s / left)
    }
}

/// Area in seconds of the pulse that a small volume gives, nothing lost: `A_steady V/q`.
///
/// # Arguments
/// * `steady`: absorbance of the same solution taken up for long.
/// * `volume_ul`: volume taken up, in microlitres.
/// * `uptake_ml_per_min`: rate of uptake, above 0, in millilitres a minute.
///
/// # Source
/// The steady absorbance lasts as long as the volume does; derived here. Checked by
/// `tests/published/main.rs`.
pub fn area_of_injection(steady: f64, volume_ul: f64, uptake_ml_per_min: f64) -> f64 {
    // A microlitre over a millilitre a minute is 0.06 s.
    steady * volume_ul * 0.06 / uptake_ml_per_min
}

/// A slow, straight change of sensitivity between two readings of one check solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftBetweenChecks {
    /// Time in seconds and response of the first check.
    pub first: (f64, f64),
    /// Time and response of the second one, later than the first.
    pub second: (f64, f64),
}

impl DriftBetweenChecks {
    /// Change of the response from check to check, as part of the first: `R2/R1 - 1`.
    pub fn change(&self) -> f64 {
        self.second.1 / self.first.1 - 1.0
    }

    /// A response between the two checks as it would have been at the first.
    ///
    /// # Source
    /// `response/[1 + D (t - t1)/(t2 - t1)]`, `D = R2/R1 - 1`; linear interpolation of the sensitivity. Checked by
    /// `tests/published/main.rs`.
    pub fn taken_off(&self, t_s: f64, response: f64) -> f64 {
        let part = (t_s - self.first.0) / (self.second.0 - self.first.0);
        response / (1.0 + self.change() * part)
    }
}

/// Time constant of a rise from the time it takes to half the final value after the arrival.
///
/// # Source
/// `1 - exp(-t/tau) = 1/2`.
pub fn time_constant_of_half(half_s: f64) -> f64 {
    half_s / core::f64::consts::LN_2
}

/// Read time, in seconds, that gives the least relative standard deviation within a cycle of given length, when waiting
/// and reading share it; the bias of reading too early counts as noise does.
///
/// # Arguments
/// * `cycle_s`: time from the arrival of the solution to the end of the read, above 0.
///
/// # Source
/// The least of `rsd(w)² + bias(cycle - w, w)²`, found by halving on its slope; our own rule.
pub fn best_read_s(step: &StepResponse, noise: &ReadingNoise, cycle_s: f64) -> f64 {
    let arrived = StepResponse { arrives_s: 0.0, ..*step };
    let cost = |w: f64| {
        let bias = 1.0 - arrived.mean(cycle_s - w, w);
        let rsd = noise.rsd(w);
        rsd * rsd + bias * bias
    };
    let step = cycle_s * 1e-6;
    falls_through_zero(cycle_s * 1e-3, cycle_s * (1.0 - 1e-3), |w| cost(w - step) - cost(w + step))
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP: StepResponse = StepResponse { arrives_s: 1.5, time_constant_s: 0.8 };

    #[test]
    fn the_mean_is_the_mean_of_the_values() {
        let n = 20_000;
        let values = (0..n).map(|i| STEP.at(3.0 + (f64::from(i) + 0.5) * 3.0 / f64::from(n)));
        let mean = values.sum::<f64>() / f64::from(n);
        assert!((mean - STEP.mean(3.0, 3.0)).abs() < 1e-8);
    }

    #[test]
    fn after_the_delay_the_bias_is_what_was_asked_for() {
        let delay = STEP.delay_for_mean(0.001, 3.0);
        assert!((1.0 - STEP.mean(STEP.arrives_s + delay, 3.0) - 0.001).abs() < 1e-12);
        assert_eq!(STEP.delay_for_mean(0.9, 3.0), 0.0);
        assert!((1.0 - STEP.at(STEP.arrives_s + STEP.delay_for_value(0.01)) - 0.01).abs() < 1e-12);
        assert_eq!(STEP.at(1.0), 0.0);
        assert!((STEP.at(1.5 + 0.3) - 1.0 + libm::exp(-0.3 / 0.8)).abs() < 1e-12);
        assert!(
            (StepResponse { arrives_s: 0.0, time_constant_s: time_constant_of_half(0.4) }.at(0.4) - 0.5).abs() < 1e-12
        );
    }

    #[test]
    fn noise_that_grows_with_the_read_time_is_no_white_noise() {
        assert_eq!(ReadingNoise::from_two((1.0, 0.01), (10.0, 0.02)), None);
        // Less than the square root of ten times better would be: nothing slow is left.
        assert_eq!(ReadingNoise::from_two((1.0, 0.01), (10.0, 0.001)), None);
    }

    #[test]
    fn a_read_time_is_found_for_a_noise_above_the_slow_one() {
        let noise = ReadingNoise { white_over_1_s: 0.01, slow: 0.002 };
        let read_s = noise.read_s_for(0.004).expect("above the slow part");
        assert!((noise.rsd(read_s) - 0.004).abs() < 1e-12);
        assert_eq!(noise.read_s_for(0.002), None);
    }

    #[test]
    fn the_best_read_time_is_better_than_its_neighbours() {
        let noise = ReadingNoise { white_over_1_s: 0.01, slow: 0.002 };
        let best = best_read_s(&STEP, &noise, 8.0);
        let arrived = StepResponse { arrives_s: 0.0, ..STEP };
        let cost = |w: f64| {
            let bias = 1.0 - arrived.mean(8.0 - w, w);
            noise.rsd(w) * noise.rsd(w) + bias * bias
        };
        assert!(best > 1.0 && best < 7.9, "{best}");
        assert!(cost(best) <= cost(best + 0.05) && cost(best) <= cost(best - 0.05));
    }

    #[test]
    fn a_check_reads_alike_at_both_ends_when_drift_is_taken_off() {
        let drift = DriftBetweenChecks { first: (0.0, 0.412), second: (1800.0, 0.389) };
        assert!((drift.taken_off(0.0, 0.412) - 0.412).abs() < 1e-15);
        assert!((drift.taken_off(1800.0, 0.389) - 0.412).abs() < 1e-15);
    }
}
