//! Two ranges from one firing: full sensitivity and a reduced one, and how the two are joined.
//!
//! Three fields of a magnet give two net pulses: zero less full field, and middle less full field.
//! [`ThreeFields`] has their curves, [`agreement`] and [`combined`] compare and join what both say, and
//! [`hand_over_weight`] leads from one to the other without a step.

use crate::roll_over::NetCurve;

/// An instrument that reads at zero, middle and full field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThreeFields {
    /// Light no analyte absorbs over the absorbable light at absorbance 0.
    pub stray_fraction: f64,
    /// Part of the absorbance left at the middle field strength.
    pub left_at_middle: f64,
    /// Part of the absorbance left at full field strength.
    pub left_at_full: f64,
}

impl ThreeFields {
    /// Curve of the sensitive range, zero less full field, against the true absorbance.
    pub fn sensitive(&self) -> NetCurve {
        NetCurve { stray_fraction: self.stray_fraction, sensitivity_ratio: 1.0 - self.left_at_full }
    }

    /// Curve of the reduced range, middle less full field, against the absorbance left at the middle field.
    ///
    /// # Source
    /// The net curve with A0' = s_mid A0 and R' = 1 - s_full/s_mid; derived here. Checked by
    /// `tests/published/main.rs`.
    pub fn reduced(&self) -> NetCurve {
        let sensitivity_ratio = 1.0 - self.left_at_full / self.left_at_middle;
        NetCurve { stray_fraction: self.stray_fraction, sensitivity_ratio }
    }

    /// Net absorbance of the reduced range at a true absorbance.
    pub fn reduced_net(&self, true_absorbance: f64) -> f64 {
        self.reduced().net(self.left_at_middle * true_absorbance)
    }

    /// Slope of the reduced range at zero, against the true absorbance.
    pub fn reduced_slope(&self) -> f64 {
        self.left_at_middle * self.reduced().initial_slope()
    }

    /// Slope of the reduced range over that of the sensitive one.
    pub fn slope_ratio(&self) -> f64 {
        self.reduced_slope() / self.sensitive().initial_slope()
    }
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The value, in any unit.
    pub value: f64,
    /// Its standard uncertainty, in the same unit.
    pub u: f64,
}

/// Difference of the two ranges over its standard uncertainty: agree within -2 to 2.
///
/// # Arguments
/// * `one`, `other`: of one unit.
/// * `correlation`: of the two, for one pipetting and one firing are in both.
///
/// # Source
/// zeta = (m2 - m1)/sqrt(u1² + u2² - 2 r u1 u2); JCGM 100:2008, equation (16). Checked by
/// `tests/published/main.rs`.
pub fn agreement(one: Reading, other: Reading, correlation: f64) -> f64 {
    let difference = other.value - one.value;
    // Equal readings agree, however sure they are of it.
    if difference == 0.0 { 0.0 } else { difference / variance_of_difference(one, other, correlation).max(0.0).sqrt() }
}

/// Both ranges in one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Weight of the first; the second has the rest.
    pub weight_of_one: f64,
    /// The weighted mean and its standard uncertainty.
    pub reading: Reading,
}

/// The mean of least uncertainty of two correlated readings.
///
/// # Arguments
/// * `one`, `other`: of one unit.
/// * `correlation`: above -1 and below 1.
///
/// # Source
/// Generalised least squares: w1 = (u2² - r u1 u2)/(u1² + u2² - 2 r u1 u2), u² = u1² u2² (1 - r²) over the same.
/// Checked by `tests/published/main.rs`.
pub fn combined(one: Reading, other: Reading, correlation: f64) -> Combined {
    let variance = variance_of_difference(one, other, correlation);
    // Two readings without any uncertainty share equally.
    if variance <= 0.0 {
        let value = 0.5 * (one.value + other.value);
        return Combined { weight_of_one: 0.5, reading: Reading { value, u: one.u } };
    }
    let weight_of_one = (other.u * other.u - correlation * one.u * other.u) / variance;
    let value = weight_of_one * one.value + (1.0 - weight_of_one) * other.value;
    let product = one.u * other.u;
    let u = product * ((1.0 - correlation * correlation) / variance).sqrt();
    Combined { weight_of_one, reading: Reading { value, u } }
}

fn variance_of_difference(one: Reading, other: Reading, correlation: f64) -> f64 {
    one.u * one.u + other.u * other.u - 2.0 * correlation * one.u * other.u
}

/// Up to this part of the roll-over absorbance the sensitive range stands alone (our choice) ...
pub const HAND_OVER_FROM: f64 = 0.75;
/// ... and from this part on the reduced one does (our choice).
pub const HAND_OVER_TO: f64 = 0.90;

/// Weight of the sensitive range: 1 where its pulse stays low, 0 near the roll-over, smooth between, so that no
/// reading jumps by the side of a threshold it falls on.
///
/// # Arguments
/// * `highest_over_roll_over`: highest net absorbance over the roll-over absorbance.
///
/// # Source
/// 1 - x² (3 - 2x), our own rule. Checked by `tests/published/main.rs`.
///
/// # Example
/// ```
/// use darkline_signal::two_ranges::hand_over_weight;
/// assert_eq!((hand_over_weight(0.5), hand_over_weight(0.95)), (1.0, 0.0));
/// ```
pub fn hand_over_weight(highest_over_roll_over: f64) -> f64 {
    let x = (highest_over_roll_over - HAND_OVER_FROM) / (HAND_OVER_TO - HAND_OVER_FROM);
    let x = x.clamp(0.0, 1.0);
    1.0 - x * x * (3.0 - 2.0 * x)
}

/// Both ranges of one firing as one reading on the scale of the sensitive range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Joined {
    /// The reading and its standard uncertainty.
    pub reading: Reading,
    /// Part that the sensitive range has in it.
    pub weight_sensitive: f64,
    /// Difference of the two over its standard uncertainty ([`agreement`]); `None` where the sensitive range is near its
    /// roll-over and says nothing.
    pub zeta: Option<f64>,
}

/// Joins the linearised responses of both ranges of one firing.
///
/// Far below the roll-over it is the mean of least uncertainty ([`combined`]), near it the reduced range alone, and between
/// the two it goes over smoothly ([`hand_over_weight`]), so that one calibration runs through both ranges.
///
/// # Arguments
/// * `sensitive`, `reduced`: responses of one unit, each linearised by its own curve and with its uncertainty above zero.
/// * `slope_ratio`: slope of the reduced range over that of the sensitive one ([`ThreeFields::slope_ratio`], or as found from
///   standards in both) with its standard uncertainty, above zero.
/// * `highest_over_roll_over`: highest net absorbance of the sensitive range over its roll-over absorbance; 1 for a pulse that
///   dips.
/// * `correlation`: of the two responses, above -1 and below 1.
///
/// # Source
/// Generalised least squares of two readings of one quantity; the hand-over is our own rule. Uncertainty: JCGM 100:2008,
/// equation (16). Checked by `tests/replicates/ranges.rs`.
pub fn joined(
    sensitive: Reading,
    reduced: Reading,
    slope_ratio: Reading,
    highest_over_roll_over: f64,
    correlation: f64,
) -> Joined {
    let value = reduced.value / slope_ratio.value;
    let of_ratio = value * slope_ratio.u / slope_ratio.value;
    let u_alone = reduced.u / slope_ratio.value;
    let on_scale = Reading { value, u: (u_alone * u_alone + of_ratio * of_ratio).sqrt() };
    // The uncertainty of the ratio is not shared with the sensitive range.
    let correlation = if on_scale.u > 0.0 { correlation * u_alone / on_scale.u } else { 0.0 };
    let hand_over = hand_over_weight(highest_over_roll_over);
    let both = combined(sensitive, on_scale, correlation);
    let weight_sensitive = hand_over * both.weight_of_one;
    let weight_reduced = 1.0 - weight_sensitive;
    let (a, b) = (weight_sensitive * sensitive.u, weight_reduced * on_scale.u);
    let reading = Reading {
        value: weight_sensitive * sensitive.value + weight_reduced * on_scale.value,
        u: (a * a + b * b + 2.0 * correlation * a * b).max(0.0).sqrt(),
    };
    let zeta = (hand_over > 0.0).then(|| agreement(sensitive, on_scale, correlation));
    Joined { reading, weight_sensitive, zeta }
}

/// What two techniques say of one solution, for instance flame and furnace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredTwice {
    /// Difference over its standard uncertainty ([`agreement`]).
    pub zeta: f64,
    /// The mean of least uncertainty where they agree, `None` where they do not: one of the two is wrong, and no mean mends
    /// it.
    pub combined: Option<Combined>,
}

/// Joins what two techniques found in the same solution.
///
/// # Arguments
/// * `one`, `other`: amounts of one unit, each with all of its uncertainty above zero.
/// * `correlation`: through what they share, such as the stock of the standards or one dilution; above -1 and below 1.
///
/// # Source
/// [`agreement`] within -2 to 2, then [`combined`]. Checked by `tests/replicates/ranges.rs`.
///
/// # Example
/// ```
/// use darkline_signal::two_ranges::{Reading, measured_twice};
/// let (flame, furnace) = (Reading { value: 52.0, u: 1.5 }, Reading { value: 50.0, u: 1.0 });
/// let both = measured_twice(flame, furnace, 0.0);
/// assert!(both.combined.is_some_and(|both| both.reading.u < 1.0));
/// assert_eq!(measured_twice(Reading { value: 60.0, u: 1.5 }, furnace, 0.0).combined, None);
/// ```
pub fn measured_twice(one: Reading, other: Reading, correlation: f64) -> MeasuredTwice {
    let zeta = agreement(one, other, correlation);
    MeasuredTwice { zeta, combined: (zeta.abs() <= 2.0).then(|| combined(one, other, correlation)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_readings_of_equal_uncertainty_share_equally() {
        let one = Reading { value: 1.0, u: 0.1 };
        let other = Reading { value: 2.0, u: 0.1 };
        let both = combined(one, other, 0.0);
        assert!((both.weight_of_one - 0.5).abs() < 1e-12 && (both.reading.value - 1.5).abs() < 1e-12);
        assert!((both.reading.u - 0.1 / 2.0_f64.sqrt()).abs() < 1e-12);
        assert!((agreement(one, other, 0.0) - 1.0 / 0.02_f64.sqrt()).abs() < 1e-12);
    }
}
