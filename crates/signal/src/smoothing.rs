//! Smoothing of a pulse: the quadratic through eleven neighbouring values, and what smoothing costs.
//!
//! [`smooth`] is the filter the peak is read from. [`noise_gain`], [`mean_noise_gain`],
//! [`gaussian_height_kept`] and [`gaussian_height_kept_by_mean`] say how much noise a filter leaves
//! and how much of a summit it takes.
//!
//! Invariant: the eleven products are added in one stated order, from the middle outwards.

use core::f64::consts::{PI, SQRT_2};

/// Number of values the quadratic is laid through.
pub const POINTS: usize = 11;
/// Values on either side of the middle.
pub(crate) const HALF: usize = POINTS / 2;

/// Row `i`: weights with which the eleven values give the quadratic's value at place `i`.
///
/// Least squares on places -5 to 5: with S0 = 11, S2 = 110, S4 = 1958 the weight of the value at v
/// for the value at u is (S4 - S2 (u² + v²) + S0 u² v²)/(S0 S4 - S2²) + u v/S2.
pub(crate) const ROWS: [[f64; POINTS]; POINTS] = {
    let mut rows = [[0.0; POINTS]; POINTS];
    let mut i = 0;
    while i < POINTS {
        let mut j = 0;
        while j < POINTS {
            let (u, v) = (i as f64 - 5.0, j as f64 - 5.0);
            rows[i][j] = (1958.0 - 110.0 * (u * u + v * v) + 11.0 * u * u * v * v) / 9438.0 + u * v / 110.0;
            j += 1;
        }
        i += 1;
    }
    rows
};

/// Weights of the middle row by distance from the middle: 89, 84, 69, 44, 9, -36 over 429.
const MIDDLE: [f64; HALF + 1] = [89.0 / 429.0, 84.0 / 429.0, 69.0 / 429.0, 44.0 / 429.0, 9.0 / 429.0, -36.0 / 429.0];

/// A row of weights adds up to 1; its positive weights to this at most in the middle row ...
pub(crate) const MIDDLE_POSITIVE: f64 = 501.0 / 429.0;
/// ... and in the rows at the ends (the first row has the most).
pub(crate) const END_POSITIVE: f64 = {
    let (mut sum, mut j) = (0.0, 0);
    while j < POINTS {
        if ROWS[0][j] > 0.0 {
            sum += ROWS[0][j];
        }
        j += 1;
    }
    sum
};

/// Smoothed value in the middle of eleven.
#[inline(always)]
pub(crate) fn middle(v: &[f64; POINTS]) -> f64 {
    MIDDLE[0] * v[5]
        + MIDDLE[1] * (v[4] + v[6])
        + MIDDLE[2] * (v[3] + v[7])
        + MIDDLE[3] * (v[2] + v[8])
        + MIDDLE[4] * (v[1] + v[9])
        + MIDDLE[5] * (v[0] + v[10])
}

/// Which row of weights place `index` of `n` values has, and where its eleven values begin.
pub(crate) fn row_at(index: usize, n: usize) -> (usize, usize) {
    if index < HALF {
        (index, 0)
    } else if index + HALF >= n {
        (POINTS - (n - index), n - POINTS)
    } else {
        (HALF, index - HALF)
    }
}

/// The value a row of weights makes of its eleven values.
pub(crate) fn through(row: usize, eleven: &[f64; POINTS]) -> f64 {
    if row == HALF {
        return middle(eleven);
    }
    let mut sum = 0.0;
    for (weight, value) in ROWS[row].iter().zip(eleven) {
        sum += weight * value;
    }
    sum
}

/// Smooths evenly spaced values by the quadratic through eleven neighbours.
///
/// The first and last five values are read from the quadratic through the first and last eleven.
///
/// # Arguments
/// * `values`: evenly spaced; fewer than eleven are given back as they are.
///
/// # Source
/// A. Savitzky, M. J. E. Golay, Anal. Chem. 36 (1964) 1627 (from memory): weights
/// (-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36)/429. The ends are the same least squares.
///
/// # Example
/// ```
/// // A quadratic passes unchanged, ends included.
/// let values: Vec<f64> = (0..20).map(|i| 0.3 + 0.01 * f64::from(i * i)).collect();
/// for (smooth, value) in darkline_signal::smoothing::smooth(&values).iter().zip(&values) {
///     assert!((smooth - value).abs() < 1e-12);
/// }
/// ```
pub fn smooth(values: &[f64]) -> Vec<f64> {
    if values.len() < POINTS {
        return values.to_vec();
    }
    let n = values.len();
    let at = |index: usize| {
        let (row, start) = row_at(index, n);
        let mut eleven = [0.0; POINTS];
        eleven.copy_from_slice(&values[start..start + POINTS]);
        through(row, &eleven)
    };
    (0..n).map(at).collect()
}

/// The mean of each value with two on either side, of fewer at the ends: 0.45 of the noise of one value, and no lobes of its own.
pub(crate) fn means_of_five(values: &[f64]) -> Vec<f64> {
    (0..values.len())
        .map(|place| {
            let near = &values[place.saturating_sub(2)..(place + 3).min(values.len())];
            near.iter().fold(0.0, |sum, &value| sum + value) / near.len() as f64
        })
        .collect()
}

/// Weights of the quadratic filter of `m` values, from the first to the last.
///
/// # Arguments
/// * `m`: odd, 5 or more; other numbers give no weights.
fn weights(m: usize) -> Vec<f64> {
    if m < 5 || m.is_multiple_of(2) {
        return Vec::new();
    }
    let m_f = m as f64;
    let half = (m / 2) as f64;
    (0..m)
        .map(|index| {
            let k = index as f64 - half;
            3.0 * (3.0 * m_f * m_f - 7.0 - 20.0 * k * k) / (4.0 * m_f * (m_f * m_f - 4.0))
        })
        .collect()
}

/// Variance of a value smoothed by the quadratic filter of `m` points over that of one value, for
/// white noise: the sum of the squared weights, which is the filter's central weight.
///
/// # Arguments
/// * `m`: odd, 5 or more; `None` otherwise.
///
/// # Source
/// Savitzky and Golay 1964 (from memory); central weight 3 (3 m² - 7)/(4 m (m² - 4)).
/// Checked by `tests/published/main.rs`.
pub fn noise_gain(m: usize) -> Option<f64> {
    weights(m).get(m / 2).copied()
}

/// Variance of the mean of `m` values over that of one value, for white noise: `1/m`.
///
/// # Source
/// JCGM 100:2008, 4.2.3. Checked by `tests/published/main.rs`.
pub fn mean_noise_gain(m: usize) -> f64 {
    1.0 / m as f64
}

/// Part of a Gaussian's height that the quadratic filter of `m` points keeps.
///
/// # Arguments
/// * `m`: odd, 5 or more; `None` otherwise.
/// * `sigma_points`: width (sd) of the Gaussian in samples.
///
/// # Source
/// The sum of weight times Gaussian; derived here. Checked by `tests/published/main.rs`.
pub fn gaussian_height_kept(m: usize, sigma_points: f64) -> Option<f64> {
    let weights = weights(m);
    if weights.is_empty() {
        return None;
    }
    let half = (m / 2) as f64;
    let kept = weights.iter().enumerate().map(|(index, weight)| {
        let x = (index as f64 - half) / sigma_points;
        weight * libm::exp(-0.5 * x * x)
    });
    Some(kept.fold(0.0, |sum, part| sum + part))
}

/// Part of a Gaussian's height that a running mean keeps.
///
/// # Arguments
/// * `width_in_sigma`: width of the mean over the Gaussian's sd.
///
/// # Source
/// sqrt(2 pi)/w erf(w/(2 sqrt 2)); derived here. Checked by `tests/published/main.rs`.
pub fn gaussian_height_kept_by_mean(width_in_sigma: f64) -> f64 {
    let w = width_in_sigma;
    if w == 0.0 {
        return 1.0;
    }
    (2.0 * PI).sqrt() / w * libm::erf(w / (2.0 * SQRT_2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_adds_up_to_one_and_the_middle_row_is_the_published_one() {
        for row in ROWS {
            let sum: f64 = row.iter().sum();
            assert!((sum - 1.0).abs() < 1e-14);
        }
        for (j, weight) in ROWS[HALF].iter().enumerate() {
            assert!((weight - MIDDLE[j.abs_diff(HALF)]).abs() < 1e-15);
        }
        for (weight, expected) in weights(11).iter().zip(ROWS[HALF]) {
            assert!((weight - expected).abs() < 1e-15);
        }
    }

    #[test]
    fn no_row_has_more_positive_weight_than_the_bounds_say() {
        for (i, row) in ROWS.iter().enumerate() {
            let positive: f64 = row.iter().filter(|weight| **weight > 0.0).sum();
            let bound = if i == HALF { MIDDLE_POSITIVE } else { END_POSITIVE };
            assert!(positive <= bound + 1e-14, "row {i}: {positive}");
        }
    }

    #[test]
    fn an_even_or_short_filter_is_none() {
        assert_eq!(noise_gain(4), None);
        assert_eq!(noise_gain(10), None);
        assert_eq!(gaussian_height_kept(2, 5.0), None);
        assert_eq!(smooth(&[1.0, 2.0]), vec![1.0, 2.0]);
    }
}
