//! Lack of fit: whether a calibration function misses its levels by more than replicates scatter.
//!
//! [`lack_of_fit`] holds the scatter of the level means about the function against the scatter within the levels. It needs
//! true replicates; a correlation coefficient near one shows nothing of the kind.

use darkline_metrology::distribution::fisher_f;
use darkline_metrology::kind::{Kind, Response};

use crate::level::levels;
use crate::point::{Point, count};

/// The test of lack of fit with the figures behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LackOfFit {
    /// Weighted sum of squares of the level means about the function.
    pub lack: f64,
    /// Weighted sum of squares within the levels.
    pub pure_error: f64,
    /// Degrees of freedom of the lack of fit, levels less parameters.
    pub dof_lack: f64,
    /// Degrees of freedom of the pure error, points less levels.
    pub dof_pure_error: f64,
    /// Mean square of lack over mean square of pure error.
    pub f: f64,
    /// The probability of an F at least as large if the function is right.
    pub p: f64,
}

/// Why a test could not be made.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotTested {
    /// No level has replicates.
    #[error("no standard was measured more than once; lack of fit cannot be told from scatter")]
    NoReplicates,
    /// As many parameters as levels.
    #[error("{levels} levels leave nothing over for {parameters} parameters")]
    TooFewLevels {
        /// Levels found.
        levels: usize,
        /// Parameters of the function.
        parameters: usize,
    },
    /// Replicates that do not scatter at all.
    #[error("the replicates do not scatter")]
    NoScatter,
    /// A figure left the range of numbers.
    #[error("the figures of the test are not finite")]
    NotFinite,
}

impl LackOfFit {
    /// The F that is exceeded with probability 1 − `level` if the function is right.
    pub fn critical(&self, level: f64) -> Option<f64> {
        fisher_f::quantile(level, self.dof_lack, self.dof_pure_error)
    }

    /// Standard deviation within the levels, of a reading of weight one.
    pub fn replicate_sd(&self) -> Response {
        Response::from_si((self.pure_error / self.dof_pure_error).sqrt())
    }
}

/// Tests a fitted function for lack of fit.
///
/// # Arguments
/// * `sum_of_squares`: the weighted sum of squared residuals of the function.
/// * `n_parameters`: its parameters.
/// * `points`: those it was fitted to, with the same weights.
///
/// # Errors
/// [`NotTested`].
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1.5; Analytical Methods Committee, Analyst 119 (1994) 2363. Checked
/// by `tests/published/nist_handbook.rs`, `tests/published/massart.rs` and `tests/published/kirkup.rs`.
pub fn lack_of_fit(sum_of_squares: f64, n_parameters: usize, points: &[Point]) -> Result<LackOfFit, NotTested> {
    let levels = levels(points);
    let k = levels.len();
    if points.len() <= k {
        return Err(NotTested::NoReplicates);
    }
    if k <= n_parameters {
        return Err(NotTested::TooFewLevels { levels: k, parameters: n_parameters });
    }
    let pure_error: f64 = levels.iter().map(crate::level::Level::weighted_squares).sum();
    if pure_error == 0.0 {
        return Err(NotTested::NoScatter);
    }
    let (dof_lack, dof_pure_error) = (count(k - n_parameters), count(points.len() - k));
    // Rounding may take a function that meets every mean a little below its pure error.
    let lack = (sum_of_squares - pure_error).max(0.0);
    let f = (lack / dof_lack) / (pure_error / dof_pure_error);
    let p = fisher_f::upper_tail(f, dof_lack, dof_pure_error).filter(|_| f.is_finite()).ok_or(NotTested::NotFinite)?;
    Ok(LackOfFit { lack, pure_error, dof_lack, dof_pure_error, f, p })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::Line;
    use darkline_metrology::kind::MassConcentration;

    fn point(amount: f64, response: f64) -> Point {
        Point { amount: MassConcentration::from_si(amount), response: Response::from_si(response), weight: 1.0 }
    }

    #[test]
    fn what_cannot_be_tested_is_told() {
        let singles = [point(1.0, 0.1), point(2.0, 0.21), point(3.0, 0.3)];
        assert_eq!(lack_of_fit(0.0, 2, &singles), Err(NotTested::NoReplicates));
        let two_levels = [point(1.0, 0.1), point(1.0, 0.11), point(2.0, 0.2)];
        assert_eq!(lack_of_fit(0.0, 2, &two_levels), Err(NotTested::TooFewLevels { levels: 2, parameters: 2 }));
        let alike = [point(1.0, 0.1), point(1.0, 0.1), point(2.0, 0.2), point(3.0, 0.3)];
        assert_eq!(lack_of_fit(0.0, 2, &alike), Err(NotTested::NoScatter));
    }

    #[test]
    fn a_bent_curve_is_no_line() {
        let points: Vec<Point> = [1.0, 2.0, 3.0, 4.0]
            .into_iter()
            .flat_map(|x: f64| [point(x, x.sqrt() + 0.001), point(x, x.sqrt() - 0.001)])
            .collect();
        let line = Line::fit(&points).unwrap();
        let test = lack_of_fit(line.chi_squared(), 2, &points).unwrap();
        assert!(test.p < 1e-4 && test.f > test.critical(0.99).unwrap());
        assert!((test.replicate_sd().si() - 0.001 * 2.0_f64.sqrt()).abs() < 1e-12);
    }
}
