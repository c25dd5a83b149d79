//! Sensitivity and its drift, carry-over, and how far a calibration reaches.

use darkline_metrology::summary;

/// Absorbance of one per cent absorption, as the trade rounds it.
pub const CHARACTERISTIC_ABSORBANCE: f64 = 0.0044;

/// The mass that gives an integrated absorbance of 0.0044 s.
///
/// # Source
/// IUPAC definition (from memory).
pub fn characteristic_mass(mass: f64, integrated_absorbance: f64) -> Option<f64> {
    let found = CHARACTERISTIC_ABSORBANCE * mass / integrated_absorbance;
    found.is_finite().then_some(found)
}

/// The concentration that gives an absorbance of 0.0044.
///
/// # Source
/// As [`characteristic_mass`].
pub fn characteristic_concentration(concentration: f64, net_absorbance: f64) -> Option<f64> {
    let found = CHARACTERISTIC_ABSORBANCE * concentration / net_absorbance;
    found.is_finite().then_some(found)
}

/// A deviation from a reference in per cent of it.
pub fn deviation_percent(found: f64, reference: f64) -> Option<f64> {
    let percent = 100.0 * (found - reference) / reference;
    percent.is_finite().then_some(percent)
}

/// The carry-over of three high and three low readings in turn, in per cent.
///
/// # Source
/// P. M. G. Broughton and others, Ann. Clin. Biochem. 11 (1974) 207-218.
pub fn carry_over_percent(high: [f64; 3], low: [f64; 3]) -> Option<f64> {
    let percent = 100.0 * (low[0] - low[2]) / (high[2] - low[2]);
    percent.is_finite().then_some(percent)
}

/// What is left of a high sample in the readings behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Memory {
    /// Up to this a reading counts as blank: mean and three standard deviations of the blanks before.
    pub limit: f64,
    /// What is left in each reading, in per cent of the high one.
    pub percent: Vec<f64>,
    /// The first reading that counts as blank, from zero.
    pub clean_from: Option<usize>,
}

/// Looks for memory behind a high sample.
///
/// # Source
/// Common practice, no source; EPA Method 200.9, 4.4, asks for the check in words (from memory).
pub fn memory(high: f64, blanks_before: &[f64], after: &[f64]) -> Option<Memory> {
    let (mean, sd) = (summary::mean(blanks_before)?, summary::sd(blanks_before)?);
    let limit = mean + 3.0 * sd;
    let percent: Vec<f64> = after.iter().map(|reading| 100.0 * (reading - mean) / (high - mean)).collect();
    if !percent.iter().all(|percent| percent.is_finite()) {
        return None;
    }
    let clean_from = after.iter().position(|reading| *reading <= limit);
    Some(Memory { limit, percent, clean_from })
}

/// A check solution and a blank before and after the samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftBracket {
    /// Concentration of the check solution.
    pub check: f64,
    /// When it was read.
    pub times: [f64; 2],
    /// Absorbances of the check.
    pub absorbances: [f64; 2],
    /// Absorbances of the blank.
    pub blanks: [f64; 2],
}

/// Sensitivity and blank at a time between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtTime {
    /// The sensitivity.
    pub sensitivity: f64,
    /// The blank.
    pub blank: f64,
}

impl DriftBracket {
    fn sensitivity(&self, place: usize) -> f64 {
        (self.absorbances[place] - self.blanks[place]) / self.check
    }

    /// Between the two checks, in a straight line by time.
    ///
    /// # Source
    /// Common practice, no source.
    pub fn at(&self, time: f64) -> Option<AtTime> {
        let part = (time - self.times[0]) / (self.times[1] - self.times[0]);
        let between = |before: f64, after: f64| before + part * (after - before);
        let found = AtTime {
            sensitivity: between(self.sensitivity(0), self.sensitivity(1)),
            blank: between(self.blanks[0], self.blanks[1]),
        };
        (found.sensitivity.is_finite() && found.blank.is_finite()).then_some(found)
    }

    /// The change of sensitivity in per cent.
    pub fn drift_percent(&self) -> Option<f64> {
        deviation_percent(self.sensitivity(1), self.sensitivity(0))
    }
}

/// The factor that brings readings back to the sensitivity of the calibration.
///
/// # Arguments
/// * `calibration`, `now`: absorbances of blank and standard.
///
/// # Source
/// Common practice, no source.
pub fn reslope_factor(calibration: (f64, f64), now: (f64, f64)) -> Option<f64> {
    let factor = (calibration.1 - calibration.0) / (now.1 - now.0);
    factor.is_finite().then_some(factor)
}

/// A straight line of responses on amounts, without weights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straight {
    /// Slope.
    pub slope: f64,
    /// Intercept.
    pub intercept: f64,
    /// Correlation coefficient.
    pub r: f64,
}

impl Straight {
    /// Least squares of y on x.
    pub fn of(x: &[f64], y: &[f64]) -> Option<Self> {
        if x.len() != y.len() || x.len() < 2 {
            return None;
        }
        let (x_mean, y_mean) = (summary::mean(x)?, summary::mean(y)?);
        let (s_xx, s_yy) = (summary::sum_of_squares(x)?, summary::sum_of_squares(y)?);
        let s_xy: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
        let slope = s_xy / s_xx;
        let found = Self { slope, intercept: y_mean - slope * x_mean, r: s_xy / (s_xx * s_yy).sqrt() };
        slope.is_finite().then_some(found)
    }

    /// On the line.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// How far responses stay near the line of the lower standards.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearRange {
    /// The line of the lower standards.
    pub line: Straight,
    /// What the higher ones lack, in per cent of the line.
    pub deficits: Vec<f64>,
    /// The highest level that lacks at most ten per cent.
    pub upper_limit: f64,
}

/// The linear range from standards by rising concentration.
///
/// # Source
/// EPA Method 200.9, rev. 2.2, 9.2.2 (from memory); samples above 90 % of the limit are diluted.
pub fn linear_range(concentrations: &[f64], signals: &[f64], n_lower: usize) -> Option<LinearRange> {
    if n_lower > concentrations.len() || concentrations.len() != signals.len() {
        return None;
    }
    let line = Straight::of(&concentrations[..n_lower], &signals[..n_lower])?;
    let higher = concentrations[n_lower..].iter().zip(&signals[n_lower..]);
    let deficits: Vec<f64> = higher.map(|(c, signal)| 100.0 * (line.at(*c) - signal) / line.at(*c)).collect();
    let within = concentrations[n_lower..].iter().zip(&deficits).filter(|(_, deficit)| **deficit <= 10.0);
    let upper_limit =
        within.map(|(c, _)| *c).fold(None, |high: Option<f64>, c| Some(high.map_or(c, |high| high.max(c))));
    Some(LinearRange {
        line,
        deficits,
        upper_limit: upper_limit.unwrap_or(*concentrations.get(n_lower.checked_sub(1)?)?),
    })
}

/// The change of absorbance over the lowest and the highest fifth of a calibration.
///
/// # Arguments
/// * `concentrations`: rising.
///
/// # Source
/// ISO flame methods for steel and non-ferrous metals, annex on instrument performance (from memory).
pub fn fifths(concentrations: &[f64], absorbances: &[f64]) -> Option<(f64, f64)> {
    if concentrations.len() != absorbances.len() || !concentrations.windows(2).all(|pair| pair[0] < pair[1]) {
        return None;
    }
    let (low, high) = (*concentrations.first()?, *concentrations.last()?);
    let fifth = 0.2 * (high - low);
    let at = |c: f64| {
        let place = concentrations.partition_point(|known| *known < c).clamp(1, concentrations.len() - 1);
        let (c0, c1) = (concentrations[place - 1], concentrations[place]);
        absorbances[place - 1] + (c - c0) / (c1 - c0) * (absorbances[place] - absorbances[place - 1])
    };
    if concentrations.len() < 2 {
        return None;
    }
    Some((at(low + fifth) - at(low), at(high) - at(high - fifth)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_without_an_answer_have_none() {
        assert_eq!(characteristic_mass(1.0, 0.0), None);
        assert_eq!(carry_over_percent([1.0; 3], [1.0; 3]), None);
        assert_eq!(Straight::of(&[1.0, 1.0], &[1.0, 2.0]), None);
        assert_eq!(linear_range(&[1.0, 2.0], &[0.1, 0.2], 3), None);
        assert_eq!(linear_range(&[1.0, 2.0], &[0.1, 0.2], 0), None);
        assert_eq!(fifths(&[1.0], &[0.1]), None);
        assert_eq!(fifths(&[], &[]), None);
        assert_eq!(memory(1.0, &[0.0], &[0.1]), None);
    }
}
