//! Mandel's test: whether a parabola is better than the straight line.
//!
//! [`Mandel::of`] compares the residual scatter of both. With very small scatter it rejects a harmless bend, with large scatter
//! it accepts a real one; [`crate::point_to_point`] shows the size of the bend beside it.

use darkline_metrology::distribution::fisher_f;

use crate::point::count;

/// The test with the figures behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mandel {
    /// DS²: what the parabola takes off the sum of squares.
    pub difference: f64,
    /// Residual variance of the parabola.
    pub variance_of_quadratic: f64,
    /// PG = DS²/s².
    pub f: f64,
    /// Degrees of freedom of the parabola, n − 3.
    pub dof: f64,
    /// The probability of an F at least as large if the line is straight.
    pub p: f64,
}

impl Mandel {
    /// The test of a line against a parabola through the same points.
    ///
    /// # Arguments
    /// * `line`, `quadratic`: their weighted sums of squared residuals.
    /// * `n_points`: at least four.
    ///
    /// `None` for fewer, or for a parabola that meets every point.
    ///
    /// # Source
    /// ISO 8466-1:1990, clause 4; DIN 38402-51:2017. Checked by `tests/published/iso_8466.rs` and
    /// `tests/published/din_38402.rs`.
    pub fn of(line: f64, quadratic: f64, n_points: usize) -> Option<Mandel> {
        if n_points < 4 || !line.is_finite() || !quadratic.is_finite() {
            return None;
        }
        let dof = count(n_points - 3);
        let (difference, variance_of_quadratic) = ((line - quadratic).max(0.0), quadratic / dof);
        let f = difference / variance_of_quadratic;
        let p = fisher_f::upper_tail(f, 1.0, dof).filter(|_| f.is_finite())?;
        Some(Mandel { difference, variance_of_quadratic, f, dof, p })
    }

    /// The F that is exceeded with probability 1 − `level` if the line is straight; the standard takes 0.99.
    pub fn critical(&self, level: f64) -> Option<f64> {
        fisher_f::quantile(level, 1.0, self.dof)
    }

    /// Whether the straight line is refused at a level.
    pub fn refuses_line(&self, level: f64) -> Option<bool> {
        self.critical(level).map(|critical| self.f > critical)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_degrees_of_freedom_or_scatter_there_is_no_test() {
        assert_eq!(Mandel::of(1.0, 0.5, 3), None);
        assert_eq!(Mandel::of(1.0, 0.0, 10), None);
        assert_eq!(Mandel::of(f64::NAN, 1.0, 10), None);
        let test = Mandel::of(1.0, 1.0, 10).unwrap();
        assert_eq!((test.f, test.p, test.refuses_line(0.99)), (0.0, 1.0, Some(false)));
    }
}
