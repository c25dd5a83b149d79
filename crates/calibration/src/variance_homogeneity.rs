//! Homogeneity of variances: whether replicates scatter alike over the working range.
//!
//! [`ratio`] compares two standards, [`Cochran::of`] asks whether one of several stands out, [`power_law`] says how the
//! variance grows with the response. Unequal variances ask for weights ([`crate::weighting`]).

use darkline_metrology::distribution::fisher_f;
use darkline_metrology::kind::{Kind, Response};
use darkline_metrology::summary;

use crate::level::Level;
use crate::point::count;

/// The larger of two variances over the smaller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// PG: larger over smaller variance.
    pub f: f64,
    /// Degrees of freedom of the larger.
    pub dof_over: f64,
    /// Degrees of freedom of the smaller.
    pub dof_under: f64,
}

impl Ratio {
    /// The quantile of F that PG is held against; the standard takes 0.99.
    pub fn critical(&self, level: f64) -> Option<f64> {
        fisher_f::quantile(level, self.dof_over, self.dof_under)
    }
}

/// Compares the replicates of the lowest and the highest standard.
///
/// `None` where either has fewer than two readings, or does not scatter.
///
/// # Source
/// ISO 8466-1:1990, clause 4: ten replicates each, 99 %. Checked by `tests/published/massart.rs`.
pub fn ratio(low: &[Response], high: &[Response]) -> Option<Ratio> {
    let variance = |readings: &[Response]| {
        let figures: Vec<f64> = readings.iter().map(|reading| reading.si()).collect();
        summary::variance(&figures).map(|variance| (variance, count(figures.len() - 1)))
    };
    let (one, other) = (variance(low)?, variance(high)?);
    let (over, under) = if one.0 >= other.0 { (one, other) } else { (other, one) };
    let f = over.0 / under.0;
    f.is_finite().then_some(Ratio { f, dof_over: over.1, dof_under: under.1 })
}

/// Cochran's test: the largest variance against the sum of all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cochran {
    /// C: largest variance over the sum.
    pub c: f64,
    /// Place of the largest, from zero.
    pub largest: usize,
    /// Number of variances.
    pub k: usize,
}

impl Cochran {
    /// The test of several variances; `None` for fewer than two, or where nothing scatters.
    ///
    /// # Source
    /// ISO 5725-2:1994, 7.3.3 (from memory). Checked by `tests/published/massart.rs`.
    pub fn of(variances: &[f64]) -> Option<Cochran> {
        if variances.len() < 2 || variances.iter().any(|variance| !(*variance >= 0.0 && variance.is_finite())) {
            return None;
        }
        let mut largest = 0;
        for (place, variance) in variances.iter().enumerate() {
            if *variance > variances[largest] {
                largest = place;
            }
        }
        let c = variances[largest] / variances.iter().sum::<f64>();
        c.is_finite().then_some(Cochran { c, largest, k: variances.len() })
    }

    /// The C that is exceeded with probability 1 − `level` if all variances are equal.
    ///
    /// # Arguments
    /// * `dof`: degrees of freedom of each variance.
    ///
    /// # Source
    /// R. U. E. 't Lam, Anal. Chim. Acta 659 (2010) 68: 1/(1 + (k − 1)/F(1 − α/k; ν, (k − 1)·ν)) (from memory).
    pub fn critical(&self, level: f64, dof: f64) -> Option<f64> {
        let others = count(self.k - 1);
        let f = fisher_f::upper_quantile((1.0 - level) / count(self.k), dof, others * dof)?;
        Some(1.0 / (1.0 + others / f))
    }
}

/// The variance as a power of the response: `ln s² = constant + power · ln(mean response)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerLaw {
    /// The power: 0 for constant, 2 for proportional scatter.
    pub power: f64,
    /// The constant, natural logarithm of the variance at the response one.
    pub constant: f64,
}

/// Fits the power law to levels, unweighted; levels without scatter or with a mean that is not above zero are left out.
///
/// `None` where fewer than two are left, or all have one mean.
///
/// # Source
/// Common practice, no source: straight line through logarithms. Checked by `tests/published/massart.rs`.
pub fn power_law(levels: &[Level]) -> Option<PowerLaw> {
    let logs: Vec<(f64, f64)> = levels
        .iter()
        .filter_map(|level| Some((level.mean()?.si(), level.sd()?.si())))
        .filter(|(mean, sd)| *mean > 0.0 && *sd > 0.0)
        .map(|(mean, sd)| (libm::log(mean), 2.0 * libm::log(sd)))
        .collect();
    if logs.len() < 2 {
        return None;
    }
    let x: Vec<f64> = logs.iter().map(|(x, _)| *x).collect();
    let y: Vec<f64> = logs.iter().map(|(_, y)| *y).collect();
    let (mean_x, mean_y) = (summary::mean(&x)?, summary::mean(&y)?);
    let (mut s_xx, mut s_xy) = (0.0, 0.0);
    for (x, y) in x.iter().zip(&y) {
        s_xx += (x - mean_x) * (x - mean_x);
        s_xy += (x - mean_x) * (y - mean_y);
    }
    let power = s_xy / s_xx;
    power.is_finite().then_some(PowerLaw { power, constant: mean_y - power * mean_x })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn single_readings_and_equal_ones_have_no_ratio() {
        let responses = |figures: &[f64]| figures.iter().map(|&figure| Response::from_si(figure)).collect::<Vec<_>>();
        assert_eq!(ratio(&responses(&[0.1]), &responses(&[0.1, 0.2])), None);
        assert_eq!(ratio(&responses(&[0.1, 0.1]), &responses(&[0.1, 0.2])), None);
        let found = ratio(&responses(&[0.1, 0.3]), &responses(&[0.1, 0.2])).unwrap();
        assert!((found.f - 4.0).abs() < 1e-12);
    }

    /// ISO 5725-2:1994, table 4 (from memory): p = 6 laboratories, n = 3, 5 %: 0.616.
    #[test]
    fn the_critical_value_of_cochran_is_that_of_the_table() {
        let test = Cochran::of(&[1.0, 1.0, 2.0, 1.0, 1.0, 1.0]).unwrap();
        assert_eq!(test.largest, 2);
        assert!((test.critical(0.95, 2.0).unwrap() - 0.616).abs() < 5e-4);
        assert_eq!(Cochran::of(&[1.0]), None);
        assert_eq!(Cochran::of(&[0.0, 0.0]), None);
        assert_eq!(Cochran::of(&[1.0, f64::NAN]), None);
    }
}
