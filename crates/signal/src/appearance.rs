//! When a pulse appears: the first moment it exceeds three standard deviations of the baseline.

/// A pulse appears where it first exceeds this many standard deviations of the baseline.
pub const APPEARANCE_IN_SD: f64 = 3.0;

/// First place where the values exceed three standard deviations of the baseline, counted in samples, linear
/// between neighbours.
///
/// # Arguments
/// * `values`: net absorbance, offset taken off, in the order of time.
/// * `noise_sd`: standard deviation of the baseline; without noise there is no such place.
///
/// # Source
/// Signal to noise of three: IUPAC Gold Book A00423 (appearance temperature; it asks for one hundred times the
/// characteristic mass). Checked by `tests/published/main.rs`.
///
/// # Example
/// ```
/// let place = darkline_signal::appearance::place(&[0.0, 0.0, 0.004, 0.012, 0.3], 0.002);
/// assert_eq!(place, Some(2.25));
/// ```
pub fn place(values: &[f64], noise_sd: f64) -> Option<f64> {
    let threshold = APPEARANCE_IN_SD * noise_sd;
    // Also turns away a noise that is no number.
    if threshold.is_nan() || threshold <= 0.0 {
        return None;
    }
    let index = values.iter().position(|&value| value > threshold)?;
    if index == 0 {
        return Some(0.0);
    }
    let (below, above) = (values[index - 1], values[index]);
    Some((index - 1) as f64 + (threshold - below) / (above - below))
}

/// Temperature of the atomiser at a time of a linear ramp, in kelvin.
///
/// # Arguments
/// * `start_k`: temperature at time 0.
/// * `heating_rate_k_per_s`: of the ramp.
/// * `time_s`: not beyond the end of the ramp.
pub fn temperature_k(start_k: f64, heating_rate_k_per_s: f64, time_s: f64) -> f64 {
    start_k + heating_rate_k_per_s * time_s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blank_or_a_noiseless_baseline_has_no_appearance() {
        assert_eq!(place(&[0.001, -0.002, 0.0015], 0.002), None);
        assert_eq!(place(&[0.0, 0.5], 0.0), None);
        assert_eq!(place(&[0.0, 0.5], f64::NAN), None);
        assert_eq!(place(&[], 0.002), None);
    }

    #[test]
    fn a_pulse_that_is_there_from_the_start_appears_at_the_start() {
        assert_eq!(place(&[0.5, 0.4], 0.002), Some(0.0));
    }
}
