//! Mean, standard deviation and their like, of readings in the order measured.
//!
//! [`mean`], [`variance`] and [`sd`] summarise one series; [`type_a`] is the Type A evaluation of the
//! GUM; [`pooled_sd`] joins several series; [`lag_one`] tells whether neighbours resemble each other.
//!
//! Sums run in the order of the readings. The mean is corrected by the mean of the deviations from it,
//! the variance by the square of their sum: 13 equal leading digits cost no digit that the data have.
//!
//! Invariant: `None` says that there are too few readings, or one that is not finite, or that a sum left
//! the range; never a NaN.

/// The arithmetic mean.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2.1. Checked by `tests/statistics/nist_strd.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::summary;
/// assert_eq!(summary::mean(&[0.101, 0.103, 0.102]), Some(0.102));
/// assert_eq!(summary::mean(&[]), None);
/// ```
#[must_use]
pub fn mean(x: &[f64]) -> Option<f64> {
    if x.is_empty() {
        return None;
    }
    let n = x.len() as f64;
    let rough: f64 = x.iter().sum::<f64>() / n;
    let rest: f64 = x.iter().map(|x| x - rough).sum::<f64>() / n;
    Some(rough + rest).filter(|m| m.is_finite())
}

/// The sum of squared deviations from the mean.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values.
///
/// # Source
/// Two passes with the correction of T. F. Chan, G. H. Golub, R. J. LeVeque, Am. Stat. 37 (1983) 242,
/// equation 1.7 (from memory).
#[must_use]
pub fn sum_of_squares(x: &[f64]) -> Option<f64> {
    let mean = mean(x)?;
    let (mut squares, mut sum) = (0.0, 0.0);
    for x in x {
        let d = x - mean;
        squares += d * d;
        sum += d;
    }
    Some((squares - sum * sum / x.len() as f64).max(0.0)).filter(|s| s.is_finite())
}

/// The variance with denominator n − 1.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2.2.
#[must_use]
pub fn variance(x: &[f64]) -> Option<f64> {
    if x.len() < 2 {
        return None;
    }
    sum_of_squares(x).map(|s| s / (x.len() - 1) as f64)
}

/// The standard deviation with denominator n − 1.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2.2. Checked by `tests/statistics/nist_strd.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::summary;
/// assert_eq!(summary::sd(&[10_000_001.0, 10_000_003.0, 10_000_002.0]), Some(1.0));
/// ```
#[must_use]
pub fn sd(x: &[f64]) -> Option<f64> {
    variance(x).map(f64::sqrt)
}

/// The standard deviation relative to the magnitude of the mean; `None` also for a mean of 0.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values.
///
/// # Source
/// ISO 3534-1:2006, 2.38 (from memory).
#[must_use]
pub fn rsd(x: &[f64]) -> Option<f64> {
    let mean = mean(x)?;
    sd(x).map(|s| s / mean.abs()).filter(|r| r.is_finite())
}

/// A mean of repeated readings with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypeA {
    /// Number of readings.
    pub n: usize,
    /// The mean.
    pub mean: f64,
    /// The standard deviation of one reading.
    pub sd: f64,
    /// The standard uncertainty of the mean, `sd/√n`.
    pub u: f64,
    /// Degrees of freedom, n − 1.
    pub dof: f64,
}

/// The Type A evaluation of repeated independent readings.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2.1 to 4.2.3. Checked by `tests/statistics/gum.rs`.
#[must_use]
pub fn type_a(x: &[f64]) -> Option<TypeA> {
    let (mean, sd) = (mean(x)?, sd(x)?);
    let n = x.len();
    Some(TypeA { n, mean, sd, u: sd / (n as f64).sqrt(), dof: (n - 1) as f64 })
}

/// The standard deviation within series, pooled over them, and its degrees of freedom.
///
/// # Arguments
/// * `series`: any number of series; those with fewer than two values carry nothing and are passed over.
///
/// # Source
/// JCGM 100:2008 (GUM), H.3.6, and ISO 3534-1: s² = Σ νⱼsⱼ²/Σ νⱼ.
#[must_use]
pub fn pooled_sd<'a>(series: impl IntoIterator<Item = &'a [f64]>) -> Option<(f64, f64)> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for x in series {
        if x.len() >= 2 {
            squares += sum_of_squares(x)?;
            dof += (x.len() - 1) as f64;
        }
    }
    (dof > 0.0).then(|| ((squares / dof).sqrt(), dof)).filter(|(s, _)| s.is_finite())
}

/// The autocorrelation of neighbouring values; `None` also where all values are equal.
///
/// # Arguments
/// * `x`: n ≥ 2 finite values in the order measured.
///
/// # Source
/// NIST Statistical Reference Datasets, univariate summary statistics: Σ(xᵢ − x̄)(xᵢ₊₁ − x̄)/Σ(xᵢ − x̄)².
#[must_use]
pub fn lag_one(x: &[f64]) -> Option<f64> {
    if x.len() < 2 {
        return None;
    }
    let mean = mean(x)?;
    let products: f64 = x.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
    Some(products / sum_of_squares(x)?).filter(|r| r.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn too_few_readings_have_no_spread() {
        assert_eq!(mean(&[]), None);
        assert_eq!(sd(&[]), None);
        assert_eq!(sd(&[1.0]), None);
        assert_eq!(type_a(&[1.0]), None);
        assert_eq!(lag_one(&[1.0]), None);
        assert_eq!(pooled_sd([&[1.0][..], &[2.0][..]]), None);
        assert_eq!(pooled_sd(std::iter::empty::<&[f64]>()), None);
    }

    #[test]
    fn a_reading_that_is_no_number_gives_no_summary() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(mean(&[1.0, bad]), None);
            assert_eq!(sd(&[1.0, bad]), None);
            assert_eq!(lag_one(&[1.0, bad]), None);
            assert_eq!(pooled_sd([&[1.0, bad][..]]), None);
        }
        assert_eq!(mean(&[f64::MAX, f64::MAX]), None);
    }

    #[test]
    fn equal_readings_have_no_spread_at_all() {
        assert_eq!(sd(&[0.1; 7]), Some(0.0));
        assert_eq!(lag_one(&[0.1; 7]), None);
        assert_eq!(rsd(&[0.0; 3]), None);
    }

    #[test]
    fn pooling_equal_series_gives_the_series_back() {
        let x = [1.0, 2.0, 4.0];
        let (s, dof) = pooled_sd([&x[..], &x[..], &[9.0][..]]).unwrap();
        assert_eq!((s, dof), (sd(&x).unwrap(), 4.0));
    }

    proptest! {
        #[test]
        fn moving_all_readings_leaves_the_spread(x in prop::collection::vec(-1.0_f64..1.0, 2..40), by in -1.0e3_f64..1.0e3) {
            let moved: Vec<f64> = x.iter().map(|x| x + by).collect();
            let (one, other) = (sd(&x).unwrap(), sd(&moved).unwrap());
            prop_assert!((one - other).abs() <= 1.0e-12 + 1.0e-12 * one);
        }

        #[test]
        fn scaling_the_unit_by_two_scales_mean_and_spread_exactly(x in prop::collection::vec(-1.0e6_f64..1.0e6, 2..40)) {
            let doubled: Vec<f64> = x.iter().map(|x| 2.0 * x).collect();
            prop_assert_eq!(mean(&doubled).unwrap(), 2.0 * mean(&x).unwrap());
            prop_assert_eq!(sd(&doubled).unwrap(), 2.0 * sd(&x).unwrap());
        }

        #[test]
        fn the_mean_lies_among_the_readings(x in prop::collection::vec(-1.0e6_f64..1.0e6, 1..40)) {
            let m = mean(&x).unwrap();
            let low = x.iter().copied().fold(f64::INFINITY, f64::min);
            let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(m >= low - 1.0e-9 && m <= high + 1.0e-9);
        }
    }
}
