//! Reading an amount back from a response: what refuses, and between which limits it lies.
//!
//! [`Unreadable`] is why a response has no amount; [`Band`] is a fitted curve with the band its parameters leave open,
//! from which follow the standard uncertainty of an amount and its inversion limits.

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

use crate::least_squares::curve::Curve;
use crate::root;
use crate::shown::Shown;

/// A response that no amount can be read back from, or not with limits.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Unreadable {
    /// Somewhere between the lowest and the highest standard the calibration does not rise.
    #[error("the calibration does not rise at {} µg/L: its slope there is {} L/µg", Shown(*amount), Shown(*slope))]
    NotRising {
        /// The amount, in µg/L.
        amount: f64,
        /// The slope there, in L/µg.
        slope: f64,
    },
    /// The response lies beyond the turning point of the curve.
    #[error("the response {} lies beyond the turning point of the calibration, {}", Shown(*response), Shown(*turning_point))]
    BeyondTurningPoint {
        /// The response.
        response: f64,
        /// The response at the turning point.
        turning_point: f64,
    },
    /// The response lies beyond what the curve approaches.
    #[error("the response {} lies beyond {}, which the calibration approaches and never reaches", Shown(*response), Shown(*asymptote))]
    BeyondAsymptote {
        /// The response.
        response: f64,
        /// The response that the curve approaches.
        asymptote: f64,
    },
    /// No finite interval holds the amount with the level of confidence wanted.
    #[error("no finite interval holds the amount with {} confidence: the calibration is too uncertain there", Shown(*level))]
    NoFiniteInterval {
        /// The level of confidence.
        level: f64,
    },
    /// The curve goes through its points exactly, so their scatter cannot be estimated.
    #[error("the calibration has as many parameters as points; its scatter is not known")]
    NoScatter,
    /// A figure asked for is not finite, or a level or weight is outside its range.
    #[error("{what} is {}", Shown(*value))]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

/// A fitted curve with the band that the uncertainty of its parameters leaves open.
#[derive(Clone, Copy, Debug)]
pub struct Band<'a, C, const P: usize> {
    /// The curve.
    pub curve: &'a C,
    /// Its parameters.
    pub parameters: &'a [f64; P],
    /// A factor L of their covariance at unit dispersion.
    pub factor: &'a [[f64; P]; P],
    /// Standard deviation of a reading of weight one.
    pub sd: f64,
}

impl<C: Curve<P>, const P: usize> Band<'_, C, P> {
    /// Standard uncertainty of the mean response at an amount.
    ///
    /// # Source
    /// First order: √(∇f·C·∇fᵀ) (GUM 5.2.2), as the length of Lᵀ·∇f, which is never negative.
    pub fn u_response(&self, amount: f64) -> f64 {
        let slopes = self.curve.slopes(amount, self.parameters);
        self.sd * length_along(self.factor, &slopes.by_parameter)
    }

    /// Standard uncertainty of an amount read back.
    ///
    /// # Arguments
    /// * `u_reading`: standard uncertainty of the response read.
    ///
    /// # Source
    /// Delta method: √(u_reading² + u_response²)/|f′|; NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1. Checked by
    /// `tests/published/nist_handbook.rs` and `tests/published/greenwell_schubert_kabban.rs`.
    pub fn u_amount(&self, amount: f64, u_reading: f64) -> f64 {
        let slopes = self.curve.slopes(amount, self.parameters);
        let u_response = self.sd * length_along(self.factor, &slopes.by_parameter);
        libm::hypot(u_reading, u_response) / slopes.by_amount.abs()
    }

    /// The amount between two bounds at which the curve has a response, where it rises or falls all the way between them.
    pub fn amount_between(&self, response: f64, low: f64, high: f64) -> Option<f64> {
        root::between(|amount| self.curve.response(amount, self.parameters) - response, low, high)
    }

    /// The inversion limits of an amount: where the prediction band of the curve meets the response.
    ///
    /// # Arguments
    /// * `amount`: the amount read back.
    /// * `u_reading`: standard uncertainty of the response read.
    /// * `t`: how many standard deviations wide the band is.
    /// * `low`, `high`: bounds of the search; they may be infinite, or poles of the curve.
    ///
    /// Either end is `None` where the band does not meet the response before the bound.
    ///
    /// # Source
    /// |f(x) − y₀| = t·√(u_reading² + u_response²(x)); B. M. Greenwell, C. M. Schubert Kabban, The R Journal 6/1 (2014)
    /// 90, equation for the inversion interval. Checked by `tests/published/greenwell_schubert_kabban.rs`.
    pub fn limits(
        &self,
        response: f64,
        amount: f64,
        u_reading: f64,
        t: f64,
        low: f64,
        high: f64,
    ) -> (Option<f64>, Option<f64>) {
        let outside = |at: f64| {
            let slopes = self.curve.slopes(at, self.parameters);
            let u_response = self.sd * length_along(self.factor, &slopes.by_parameter);
            (slopes.value - response).abs() - t * libm::hypot(u_reading, u_response)
        };
        let half = t * self.u_amount(amount, u_reading);
        if half == 0.0 {
            return (Some(amount), Some(amount));
        }
        if !half.is_finite() {
            return (None, None);
        }
        (root::towards(outside, amount, 0.25 * half, low), root::towards(outside, amount, 0.25 * half, high))
    }
}

/// The length of Lᵀ·g.
fn length_along<const P: usize>(factor: &[[f64; P]; P], gradient: &[f64; P]) -> f64 {
    let mut squares = 0.0;
    for column in 0..P {
        let mut along = 0.0;
        for (row, slope) in gradient.iter().enumerate() {
            along += factor[row][column] * slope;
        }
        squares += along * along;
    }
    squares.sqrt()
}
