//! Scores of a result in a proficiency test.
//!
//! [`z`], [`z_prime`], [`zeta`] and [`e_n`] give the score; [`judge`] and [`judge_e_n`] the verdict.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The z score: the deviation in standard deviations for proficiency assessment.
///
/// # Arguments
/// * `x`, `x_pt`: result and assigned value, same unit.
/// * `sigma_pt`: standard deviation for proficiency assessment, above 0.
///
/// # Source
/// ISO 13528:2015, 9.4. Checked by `tests/statistics/iso_13528.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::proficiency;
/// let z = proficiency::z(48.2, 52.0, 2.6).expect("a standard deviation above 0");
/// assert_eq!(format!("{z:.2}"), "-1.46");
/// ```
#[must_use]
pub fn z(x: f64, x_pt: f64, sigma_pt: f64) -> Option<f64> {
    score(x, x_pt, sigma_pt, 0.0)
}

/// The z′ score, which allows for the uncertainty of the assigned value.
///
/// # Arguments
/// * `x`, `x_pt`, `sigma_pt`: as for [`z`].
/// * `u_pt`: standard uncertainty of the assigned value, 0 or above.
///
/// # Source
/// ISO 13528:2015, 9.5. Checked by `tests/statistics/iso_13528.rs`.
#[must_use]
pub fn z_prime(x: f64, x_pt: f64, sigma_pt: f64, u_pt: f64) -> Option<f64> {
    score(x, x_pt, sigma_pt, u_pt)
}

/// The ζ score: the deviation in standard uncertainties of both.
///
/// # Arguments
/// * `x`, `x_pt`: as for [`z`].
/// * `u_x`, `u_pt`: standard uncertainties of result and assigned value, not both 0.
///
/// # Source
/// ISO 13528:2015, 9.6. Checked by `tests/statistics/iso_13528.rs`.
#[must_use]
pub fn zeta(x: f64, x_pt: f64, u_x: f64, u_pt: f64) -> Option<f64> {
    score(x, x_pt, u_x, u_pt)
}

/// The E_n score: the deviation in expanded uncertainties of both.
///
/// # Arguments
/// * `x`, `x_pt`: as for [`z`].
/// * `expanded_u_x`, `expanded_u_pt`: expanded uncertainties of result and assigned value, not both 0.
///
/// # Source
/// ISO 13528:2015, 9.7; ISO/IEC 17043:2010, B.3.1.3. Checked by `tests/statistics/iso_13528.rs`.
#[must_use]
pub fn e_n(x: f64, x_pt: f64, expanded_u_x: f64, expanded_u_pt: f64) -> Option<f64> {
    score(x, x_pt, expanded_u_x, expanded_u_pt)
}

/// Whether the uncertainty of the assigned value is small enough to be left out of the score.
///
/// # Arguments
/// * `u_pt`, `sigma_pt`: 0 or above.
///
/// # Source
/// ISO 13528:2015, 9.2.1: u(x_pt) < 0.3 σ_pt.
#[must_use]
pub fn assigned_value_is_certain_enough(u_pt: f64, sigma_pt: f64) -> bool {
    u_pt < 0.3 * sigma_pt
}

/// What a score means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Nothing to do.
    Acceptable,
    /// Warning signal.
    Warning,
    /// Action signal; for E_n: the uncertainties do not explain the deviation.
    Unacceptable,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Verdict::Acceptable => "acceptable",
            Verdict::Warning => "warning",
            Verdict::Unacceptable => "unacceptable",
        })
    }
}

/// The verdict on a z, z′ or ζ score: acceptable to 2, a warning to below 3, unacceptable from 3 on.
///
/// # Source
/// ISO 13528:2015, 9.4.2.
#[must_use]
pub fn judge(score: f64) -> Verdict {
    match score.abs() {
        s if s <= 2.0 => Verdict::Acceptable,
        s if s < 3.0 => Verdict::Warning,
        _ => Verdict::Unacceptable,
    }
}

/// The verdict on an E_n score: acceptable below 1.
///
/// # Source
/// ISO 13528:2015, 9.7.
#[must_use]
pub fn judge_e_n(score: f64) -> Verdict {
    if score.abs() < 1.0 { Verdict::Acceptable } else { Verdict::Unacceptable }
}

fn score(x: f64, x_pt: f64, one: f64, other: f64) -> Option<f64> {
    if !(one >= 0.0 && other >= 0.0) {
        return None;
    }
    let scale = if other == 0.0 { one } else { libm::hypot(one, other) };
    Some((x - x_pt) / scale).filter(|s| s.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_scale_there_is_no_score() {
        assert_eq!(z(1.0, 2.0, 0.0), None);
        assert_eq!(z(1.0, 1.0, 0.0), None);
        assert_eq!(z(1.0, 2.0, -1.0), None);
        assert_eq!(zeta(1.0, 2.0, 0.0, 0.0), None);
        assert_eq!(e_n(f64::NAN, 2.0, 1.0, 1.0), None);
        assert_eq!(z_prime(1.0, f64::INFINITY, 1.0, 1.0), None);
    }

    #[test]
    fn the_limits_belong_to_the_side_that_the_standard_says() {
        assert_eq!(judge(-2.0), Verdict::Acceptable);
        assert_eq!(judge(2.000_1), Verdict::Warning);
        assert_eq!(judge(2.999_9), Verdict::Warning);
        assert_eq!(judge(3.0), Verdict::Unacceptable);
        assert_eq!(judge_e_n(-0.999), Verdict::Acceptable);
        assert_eq!(judge_e_n(1.0), Verdict::Unacceptable);
    }
}
