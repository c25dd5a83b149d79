//! Means of portions that are unequal or skewed.

use darkline_metrology::distribution::normal;
use darkline_metrology::summary;

/// Total analyte over total mass.
///
/// # Source
/// Definition; common practice, no source.
pub fn mass_weighted_mean(masses: &[f64], results: &[f64]) -> Option<f64> {
    if masses.len() != results.len() {
        return None;
    }
    let (mut analyte, mut mass) = (0.0, 0.0);
    for (m, x) in masses.iter().zip(results) {
        analyte += m * x;
        mass += m;
    }
    let mean = analyte / mass;
    mean.is_finite().then_some(mean)
}

/// The mean of a log-normal material with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogNormal {
    /// The geometric mean.
    pub geometric_mean: f64,
    /// The mean.
    pub mean: f64,
    /// Its confidence limits.
    pub interval: (f64, f64),
}

/// The mean of results whose logarithms are normal.
///
/// # Source
/// Cox's method, as described by X. H. Zhou, S. Gao, Stat. Med. 16 (1997) 783 (from memory).
pub fn log_normal(x: &[f64], confidence: f64) -> Option<LogNormal> {
    if !x.iter().all(|value| *value > 0.0 && value.is_finite()) {
        return None;
    }
    let y: Vec<f64> = x.iter().map(|value| libm::log(*value)).collect();
    let (mean, variance, n) = (summary::mean(&y)?, summary::variance(&y)?, y.len() as f64);
    let z = normal::upper_quantile(0.5 * (1.0 - confidence))?;
    let half = z * (variance / n + variance * variance / (2.0 * (n - 1.0))).sqrt();
    let centre = mean + 0.5 * variance;
    let found = LogNormal {
        geometric_mean: libm::exp(mean),
        mean: libm::exp(centre),
        interval: (libm::exp(centre - half), libm::exp(centre + half)),
    };
    found.interval.1.is_finite().then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_at_or_below_zero_have_no_logarithm() {
        assert_eq!(log_normal(&[1.0, 0.0], 0.95), None);
        assert_eq!(log_normal(&[1.0], 0.95), None);
        assert_eq!(mass_weighted_mean(&[0.0], &[1.0]), None);
        assert_eq!(mass_weighted_mean(&[1.0], &[]), None);
    }
}
