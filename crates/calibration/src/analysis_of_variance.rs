//! Sums of squares told apart: between and within groups, of a regression and its residuals.
//!
//! [`one_way`] is the analysis of variance of one factor; [`Regression::of`] the same table of a fitted function.

use darkline_metrology::distribution::fisher_f;
use darkline_metrology::summary;

use crate::point::count;

/// One factor: between the groups and within them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWay {
    /// Degrees of freedom between the groups.
    pub dof_between: f64,
    /// Degrees of freedom within the groups.
    pub dof_within: f64,
    /// Sum of squares between the groups.
    pub between: f64,
    /// Sum of squares within the groups.
    pub within: f64,
    /// Mean square between over mean square within.
    pub f: f64,
    /// The probability of an F at least as large if the groups have one mean.
    pub p: f64,
    /// Part of the variation that lies between the groups.
    pub r_squared: f64,
    /// Standard deviation within the groups.
    pub sd_within: f64,
}

/// The analysis of variance of one factor.
///
/// # Arguments
/// * `groups`: at least two that are not empty; more values than groups.
///
/// `None` for fewer, for values that are not finite, and where nothing scatters within the groups.
///
/// # Source
/// JCGM 100:2008 (GUM), H.5. Checked by `tests/published/nist_anova.rs`.
pub fn one_way(groups: &[&[f64]]) -> Option<OneWay> {
    let groups: Vec<&[f64]> = groups.iter().copied().filter(|group| !group.is_empty()).collect();
    let all: Vec<f64> = groups.concat();
    let (n, k) = (all.len(), groups.len());
    if k < 2 || n <= k {
        return None;
    }
    // Everything is taken relative to one value: equal leading digits then cost nothing further on.
    let origin = all[0];
    let relative: Vec<Vec<f64>> = groups.iter().map(|group| group.iter().map(|x| x - origin).collect()).collect();
    let grand = summary::mean(&relative.concat())?;
    let (mut between, mut within) = (0.0, 0.0);
    for group in &relative {
        let distance = summary::mean(group)? - grand;
        between += count(group.len()) * distance * distance;
        within += summary::sum_of_squares(group)?;
    }
    let (dof_between, dof_within) = (count(k - 1), count(n - k));
    let f = (between / dof_between) / (within / dof_within);
    if !f.is_finite() {
        return None;
    }
    Some(OneWay {
        dof_between,
        dof_within,
        between,
        within,
        f,
        p: fisher_f::upper_tail(f, dof_between, dof_within)?,
        r_squared: between / (between + within),
        sd_within: (within / dof_within).sqrt(),
    })
}

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
    fn groups_that_cannot_be_compared_have_no_table() {
        assert_eq!(one_way(&[]), None);
        assert_eq!(one_way(&[&[1.0, 2.0]]), None);
        assert_eq!(one_way(&[&[1.0], &[2.0]]), None);
        assert_eq!(one_way(&[&[1.0, 1.0], &[2.0, 2.0]]), None);
        assert_eq!(one_way(&[&[1.0, f64::NAN], &[2.0, 2.0]]), None);
        assert_eq!(Regression::of(&[1.0], &[1.0], 0.0, 2, About::TheMean), None);
    }

    #[test]
    fn two_groups_give_the_square_of_students_t() {
        let table = one_way(&[&[1.0, 2.0, 3.0], &[2.0, 4.0, 6.0], &[]]).unwrap();
        // t = (4 − 2)/√(2.5·(1/3 + 1/3)), pooled variance (2 + 8)/4.
        assert!((table.f - 4.0 / (2.5 * 2.0 / 3.0)).abs() < 1e-14);
        assert_eq!((table.dof_between, table.dof_within), (1.0, 4.0));
    }
}
