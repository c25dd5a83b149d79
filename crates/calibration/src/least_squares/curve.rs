//! A curve with parameters, and the readings it is held against.
//!
//! A [`Curve`] is one line of arithmetic over any [`Number`]; its derivatives follow by themselves. [`Readings`] are
//! responses with weights at amounts that are exact or have a variance of their own; a [`Solution`] is where they agree best.

use super::number::{Jet, Number, Slopes};
use std::fmt;

/// A response as a function of an amount and of `P` parameters.
///
/// # Example
/// ```
/// use darkline_calibration::least_squares::curve::Curve;
/// use darkline_calibration::least_squares::number::Number;
///
/// #[derive(Clone, Copy, Debug)]
/// struct Saturation;
/// impl Curve<2> for Saturation {
///     fn response<N: Number>(&self, amount: N, [top, rate]: &[N; 2]) -> N {
///         *top * (N::constant(1.0) - (-*rate * amount).exp())
///     }
/// }
/// let slope = Saturation.slopes(0.0, &[2.0, 0.5]).by_amount;
/// assert_eq!(slope, 1.0);
/// ```
pub trait Curve<const P: usize>: Clone + fmt::Debug + Send + Sync {
    /// The response expected of an amount.
    fn response<N: Number>(&self, amount: N, parameters: &[N; P]) -> N;

    /// The response with its first derivatives.
    fn slopes(&self, amount: f64, parameters: &[f64; P]) -> Slopes<P> {
        self.response(Slopes::amount(amount), &Slopes::parameters(parameters))
    }

    /// The response with its first and second derivatives.
    fn jet(&self, amount: f64, parameters: &[f64; P]) -> Jet<P> {
        self.response(Jet::amount(amount), &Jet::parameters(parameters))
    }
}

/// Readings as columns of equal length.
#[derive(Clone, Copy, Debug)]
pub struct Readings<'a> {
    /// Amounts as given.
    pub amounts: &'a [f64],
    /// Responses.
    pub responses: &'a [f64],
    /// Weights of the responses: inverse variances, up to a common factor. One for each response.
    pub weights: &'a [f64],
    /// Variances of the amounts, in the same scale as the inverse weights; zero where an amount counts as exact.
    /// `None` where all do.
    pub variances_of_amounts: Option<&'a [f64]>,
}

impl Readings<'_> {
    /// How many there are.
    pub fn n(&self) -> usize {
        self.responses.len()
    }

    /// The variance of one amount.
    pub(crate) fn variance_of_amount(&self, place: usize) -> f64 {
        self.variances_of_amounts.map_or(0.0, |variances| variances[place])
    }
}

/// Parameters with the least weighted sum of squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Solution<const P: usize> {
    /// The parameters; of a polynomial its coefficients, lowest power first.
    pub parameters: [f64; P],
    /// A factor L of their covariance at unit dispersion, L·Lᵀ = (JᵀWJ)⁻¹.
    pub factor: [[f64; P]; P],
    /// The weighted sum of squared residuals.
    pub squares: f64,
}

impl<const P: usize> Solution<P> {
    /// The covariance of two parameters at unit dispersion.
    pub fn covariance(&self, one: usize, other: usize) -> f64 {
        let mut sum = 0.0;
        for k in 0..P {
            sum += self.factor[one][k] * self.factor[other][k];
        }
        sum
    }
}
