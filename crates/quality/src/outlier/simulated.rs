//! Tests of several extreme values whose critical values come from simulation: the range over the standard deviation, and
//! the sum of squares without the values furthest from the mean.
//!
//! The simulation draws from a fixed sequence, so that a critical value is the same on every machine.

use darkline_metrology::distribution::normal;
use darkline_metrology::summary;

/// Samples drawn for a critical value, fewer for long series.
const SAMPLES: usize = 200_000;
/// Values drawn at most.
const MOST_DRAWS: usize = 12_000_000;
/// Longer series are not simulated.
const LONGEST: usize = 5_000;

/// The range of a series over its standard deviation: both ends at once.
///
/// # Source
/// ASTM E178.
pub fn range_over_sd(x: &[f64]) -> Option<f64> {
    let x = super::sorted(x)?;
    let sd = summary::sd(&x)?;
    if x.len() < 3 || sd == 0.0 {
        return None;
    }
    Some((x[x.len() - 1] - x[0]) / sd)
}

/// Its upper critical value for a significance.
///
/// # Source
/// Simulation of normal samples. ASTM E178 prints a table.
pub fn critical_range_over_sd(n: usize, significance: f64) -> Option<f64> {
    quantile_of(n, 1.0 - significance, range_over_sd)
}

/// E_k: the sum of squares of a series without the k values furthest from its mean, over that of all.
///
/// # Source
/// G. L. Tietjen, R. H. Moore, Technometrics 14 (1972) 583; NIST/SEMATECH e-Handbook 1.3.5.17.2.
pub fn tietjen_moore(x: &[f64], k: usize) -> Option<f64> {
    if !x.iter().all(|value| value.is_finite()) || k == 0 || k + 2 > x.len() {
        return None;
    }
    let mean = summary::mean(x)?;
    let all = summary::sum_of_squares(x)?;
    if all == 0.0 {
        return None;
    }
    let mut by_distance = x.to_vec();
    by_distance.sort_by(|a, b| (a - mean).abs().total_cmp(&(b - mean).abs()));
    Some(summary::sum_of_squares(&by_distance[..x.len() - k])? / all)
}

/// Its lower critical value for a significance.
///
/// # Source
/// Simulation of normal samples, as the test's own article has it.
pub fn critical_tietjen_moore(n: usize, k: usize, significance: f64) -> Option<f64> {
    quantile_of(n, significance, |x| tietjen_moore(x, k))
}

/// The quantile of a statistic over samples of n normal values.
fn quantile_of(n: usize, probability: f64, statistic: impl Fn(&[f64]) -> Option<f64>) -> Option<f64> {
    let possible = (3..=LONGEST).contains(&n) && probability > 0.0 && probability < 1.0;
    if !possible {
        return None;
    }
    let samples = SAMPLES.min(MOST_DRAWS / n);
    let mut state = 0x9e37_79b9_7f4a_7c15_u64 ^ n as u64;
    let mut draw = || {
        // SplitMix64: G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014, 453 (from memory).
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = state;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        normal::draw(bits ^ (bits >> 31))
    };
    let mut found = Vec::with_capacity(samples);
    let mut x = vec![0.0; n];
    for _ in 0..samples {
        x.iter_mut().for_each(|value| *value = draw());
        found.push(statistic(&x)?);
    }
    let place = ((probability * samples as f64) as usize).min(samples - 1);
    let (_, quantile, _) = found.select_nth_unstable_by(place, f64::total_cmp);
    Some(*quantile)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM E178 (from memory): n = 10, 5 % 3.68; n = 20, 5 % 4.49.
    #[test]
    fn the_range_over_the_standard_deviation_has_its_critical_values() {
        assert!((critical_range_over_sd(10, 0.05).unwrap() - 3.68).abs() < 0.02);
        assert!((critical_range_over_sd(20, 0.05).unwrap() - 4.49).abs() < 0.02);
        assert_eq!(critical_range_over_sd(10_000, 0.05), None);
    }

    #[test]
    fn too_few_values_or_none_left_out_are_not_tested() {
        assert_eq!(tietjen_moore(&[1.0, 2.0, 3.0], 2), None);
        assert_eq!(tietjen_moore(&[1.0, 2.0, 3.0], 0), None);
        assert_eq!(tietjen_moore(&[1.0, 2.0, 3.0, f64::NAN], 1), None);
    }
}
