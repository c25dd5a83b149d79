//! Shewhart charts: single values with moving range, mean with range, mean with standard deviation.

use darkline_metrology::summary;

use super::constants::{c4, d2};

/// A centre with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The centre.
    pub centre: f64,
    /// The lower limit.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
}

impl Limits {
    /// The places of values beyond the limits, from zero.
    pub fn outside(&self, x: &[f64]) -> Vec<usize> {
        let is_outside = |value: &f64| *value > self.upper || *value < self.lower;
        x.iter().enumerate().filter(|(_, value)| is_outside(value)).map(|(place, _)| place).collect()
    }
}

/// A chart of location with one of spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chart {
    /// Limits of the values or means.
    pub location: Limits,
    /// Limits of ranges or standard deviations.
    pub spread: Limits,
}

/// 3/d₂ and D₄ of two neighbours as they are printed: 1.128 and 3.267.
const PRINTED_D2: f64 = 1.128;
const PRINTED_D4: f64 = 3.267;

/// Single values with the range of two neighbours.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.2, with the printed constants.
pub fn individuals(x: &[f64]) -> Option<Chart> {
    let ranges: Vec<f64> = x.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let (centre, range) = (summary::mean(x)?, summary::mean(&ranges)?);
    let half = 3.0 * range / PRINTED_D2;
    Some(Chart {
        location: Limits { centre, lower: centre - half, upper: centre + half },
        spread: Limits { centre: range, lower: 0.0, upper: PRINTED_D4 * range },
    })
}

/// The factors of a chart of mean and range: A₂, D₃, D₄.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RangeFactors {
    /// A₂.
    pub a2: f64,
    /// D₃.
    pub d3: f64,
    /// D₄.
    pub d4: f64,
}

/// Means and ranges of subgroups of one size.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2; ISO 7870-2.
pub fn mean_and_range(groups: &[Vec<f64>], factors: RangeFactors) -> Option<Chart> {
    let means = means(groups)?;
    let range = |group: &Vec<f64>| {
        let (low, high) =
            group.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
        high - low
    };
    let ranges: Vec<f64> = groups.iter().map(range).collect();
    let (centre, range) = (summary::mean(&means)?, summary::mean(&ranges)?);
    let half = factors.a2 * range;
    Some(Chart {
        location: Limits { centre, lower: centre - half, upper: centre + half },
        spread: Limits { centre: range, lower: factors.d3 * range, upper: factors.d4 * range },
    })
}

/// The standard deviation that a mean range of n values tells, by the unrounded d₂.
pub fn sigma_of_range(mean_range: f64, n: usize) -> Option<f64> {
    Some(mean_range / d2(n)?)
}

/// Means and standard deviations of subgroups of one size, limits at three standard deviations.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.
pub fn mean_and_sd(groups: &[Vec<f64>]) -> Option<Chart> {
    let means = means(groups)?;
    let sds = sds(groups)?;
    let n = groups.first()?.len();
    let c4 = c4(n)?;
    let (centre, sd) = (summary::mean(&means)?, summary::mean(&sds)?);
    let half = 3.0 * sd / (c4 * (n as f64).sqrt());
    let of_sd = 3.0 * sd * (1.0 - c4 * c4).max(0.0).sqrt() / c4;
    Some(Chart {
        location: Limits { centre, lower: centre - half, upper: centre + half },
        spread: Limits { centre: sd, lower: (sd - of_sd).max(0.0), upper: sd + of_sd },
    })
}

/// The means of groups of one size; `None` where they differ in size.
pub fn means(groups: &[Vec<f64>]) -> Option<Vec<f64>> {
    let n = groups.first()?.len();
    groups.iter().map(|group| if group.len() == n { summary::mean(group) } else { None }).collect()
}

/// The standard deviations of groups.
pub fn sds(groups: &[Vec<f64>]) -> Option<Vec<f64>> {
    groups.iter().map(|group| summary::sd(group)).collect()
}

/// Limits for recoveries of a fortified blank: own three-sigma limits, never wider than what is required.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.3.3 (from memory).
pub fn recovery_limits(recoveries: &[f64], required: (f64, f64)) -> Option<(Limits, Limits)> {
    let (mean, sd) = (summary::mean(recoveries)?, summary::sd(recoveries)?);
    let own = Limits { centre: mean, lower: mean - 3.0 * sd, upper: mean + 3.0 * sd };
    let used = Limits { centre: mean, lower: own.lower.max(required.0), upper: own.upper.min(required.1) };
    Some((own, used))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_on_a_limit_is_not_outside() {
        let limits = Limits { centre: 0.0, lower: -1.0, upper: 1.0 };
        assert_eq!(limits.outside(&[1.0, -1.0, 1.5, 0.0, -2.0]), [2, 4]);
    }

    #[test]
    fn groups_of_unequal_size_have_no_chart() {
        assert_eq!(mean_and_sd(&[vec![1.0, 2.0], vec![1.0]]), None);
        assert_eq!(individuals(&[1.0]), None);
        assert_eq!(mean_and_sd(&[]), None);
    }
}
