//! The table of a regression: what a fitted function explains of the responses, and what it leaves.
//!
//! [`Regression::of`] takes a function's fitted values; one factor without a function is [`darkline_metrology::anova`].

use crate::point::count;

/// From where the responses of a regression are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// Their weighted mean: a function with a constant.
    TheMean,
    /// Zero: a function through the origin.
    Zero,
}

/// A fitted function: what it explains and what it leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Regression {
    /// Degrees of freedom of the function.
    pub dof_regression: f64,
    /// Degrees of freedom of the residuals.
    pub dof_residual: f64,
    /// Weighted sum of squares of the function.
    pub regression: f64,
    /// Weighted sum of squares of the residuals.
    pub residual: f64,
    /// Mean square of the function over that of the residuals; infinite without residuals.
    pub f: f64,
    /// Coefficient of determination.
    pub r_squared: f64,
}

impl Regression {
    /// The table of a fitted function.
    ///
    /// # Arguments
    /// * `fitted`, `weights`: one for each point.
    /// * `residual`: the weighted sum of squared residuals.
    /// * `n_parameters`: parameters of the function, below the number of points.
    ///
    /// # Source
    /// N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 1.3 (from memory); about zero without a
    /// constant. Checked by `tests/published/nist_linear.rs`.
    pub fn of(fitted: &[f64], weights: &[f64], residual: f64, n_parameters: usize, about: About) -> Option<Regression> {
        let n = fitted.len();
        let constant = usize::from(about == About::TheMean);
        if n <= n_parameters || n_parameters <= constant || weights.len() != n {
            return None;
        }
        let (mut sum, mut weighted) = (0.0, 0.0);
        for (value, weight) in fitted.iter().zip(weights) {
            sum += weight;
            weighted += weight * value;
        }
        // With a constant the fitted values have the weighted mean of the responses.
        let centre = if about == About::TheMean { weighted / sum } else { 0.0 };
        let mut regression = 0.0;
        for (value, weight) in fitted.iter().zip(weights) {
            regression += weight * (value - centre) * (value - centre);
        }
        let (dof_regression, dof_residual) = (count(n_parameters - constant), count(n - n_parameters));
        Some(Regression {
            dof_regression,
            dof_residual,
            regression,
            residual,
            f: (regression / dof_regression) / (residual / dof_residual),
            r_squared: regression / (regression + residual),
        })
        .filter(|table| table.r_squared.is_finite() && !table.f.is_nan())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_function_without_degrees_of_freedom_has_no_table() {
        assert_eq!(Regression::of(&[1.0], &[1.0], 0.0, 2, About::TheMean), None);
        assert_eq!(Regression::of(&[1.0, 2.0], &[1.0, 1.0], 0.0, 1, About::TheMean), None);
        assert_eq!(Regression::of(&[1.0, 1.0], &[1.0], 0.0, 1, About::Zero), None);
        assert_eq!(Regression::of(&[f64::NAN, 1.0], &[1.0, 1.0], 1.0, 1, About::Zero), None);
    }

    #[test]
    fn weights_count_readings() {
        let weighted = Regression::of(&[1.0, 2.0, 3.0], &[2.0, 1.0, 1.0], 0.5, 2, About::TheMean).unwrap();
        let repeated = Regression::of(&[1.0, 1.0, 2.0, 3.0], &[1.0; 4], 0.5, 2, About::TheMean).unwrap();
        assert!((weighted.regression - repeated.regression).abs() < 1e-15);
    }
}
