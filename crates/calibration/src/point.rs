//! Readings of standards: the points a calibration is fitted to.
//!
//! [`Point`] is one reading; [`Dispersion`] says what the weights mean; [`FitError`] says as facts why points carry no
//! calibration.
//!
//! Invariant: inside every fit the points stand in one order (amount, response, weight), so the order they were measured
//! in moves no bit.

use darkline_metrology::kind::{Kind, MassConcentration, Response};

use crate::least_squares::curve::Readings;
use crate::least_squares::marquardt::NoMinimum;
use crate::shown::Shown;

/// One reading of a standard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Mass concentration of the standard.
    pub amount: MassConcentration,
    /// Its response.
    pub response: Response,
    /// How much it counts, relative to the others; the inverse square of its standard deviation up to a common factor.
    pub weight: f64,
}

/// Where the size of the scatter comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dispersion {
    /// Weights are relative; the residual standard deviation is estimated from the points and scales every standard error.
    Estimated,
    /// Weights are the inverse squares of standard uncertainties that count as known; the residuals scale nothing, and χ²
    /// tells whether they agree.
    Known,
}

/// Points that no calibration can be fitted to.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Fewer points than the model needs.
    #[error("{found} calibration points were given; the {model} needs {needed}")]
    TooFewPoints {
        /// Points found.
        found: usize,
        /// Points needed.
        needed: usize,
        /// The model.
        model: &'static str,
    },
    /// All amounts are equal.
    #[error("every calibrator has {} µg/L; a line needs a second level", Shown(*amount))]
    OneLevel {
        /// The amount, in µg/L.
        amount: f64,
    },
    /// Fewer levels than the model needs.
    #[error("the calibrators stand on {found} levels; the {model} needs {needed}")]
    TooFewLevels {
        /// Distinct amounts found (for a model through the origin, of those that are not zero).
        found: usize,
        /// Distinct amounts needed.
        needed: usize,
        /// The model.
        model: &'static str,
    },
    /// A weight is zero, negative or not a number.
    #[error("calibration point {point} has the weight {}; a weight is above zero", Shown(*weight))]
    Weightless {
        /// Place of the point, from 1.
        point: usize,
        /// Its weight.
        weight: f64,
    },
    /// An amount or response is not a finite number.
    #[error("calibration point {point} is not a finite number")]
    NotFinite {
        /// Place of the point, from 1.
        point: usize,
    },
    /// A standard uncertainty is not what it must be.
    #[error(
        "calibration point {point} has u(response) = {} and u(amount) = {}; the first is above zero, the second not below",
        Shown(*u_response),
        Shown(*u_amount)
    )]
    NotUncertain {
        /// Place of the point, from 1.
        point: usize,
        /// Standard uncertainty of its amount, in SI.
        u_amount: f64,
        /// Standard uncertainty of its response.
        u_response: f64,
    },
    /// Sums leave the range of numbers.
    #[error("the calibration points spread too far to be computed with")]
    Beyond,
    /// The points do not bend as the model does: no parameters are best.
    #[error("no {model} lies closest to the calibration points: {why}")]
    NoMinimum {
        /// The model.
        model: &'static str,
        /// What ended the search.
        why: NoMinimum,
    },
}

/// The points as columns in the one order, with the place each came from.
#[derive(Clone, Debug)]
pub(crate) struct Columns {
    pub amounts: Vec<f64>,
    pub responses: Vec<f64>,
    pub weights: Vec<f64>,
    pub places: Vec<usize>,
}

impl Columns {
    pub fn of(points: &[Point]) -> Self {
        let mut places: Vec<usize> = (0..points.len()).collect();
        places.sort_unstable_by(|&a, &b| {
            let (a, b) = (&points[a], &points[b]);
            let by_amount = a.amount.si().total_cmp(&b.amount.si());
            by_amount.then(a.response.si().total_cmp(&b.response.si())).then(a.weight.total_cmp(&b.weight))
        });
        Self {
            amounts: places.iter().map(|&place| points[place].amount.si()).collect(),
            responses: places.iter().map(|&place| points[place].response.si()).collect(),
            weights: places.iter().map(|&place| points[place].weight).collect(),
            places,
        }
    }

    /// Columns of equal length, sorted by amount, then response, then weight.
    pub fn sorted(amounts: &[f64], responses: &[f64], weights: &[f64]) -> Self {
        Self::sorted_with(amounts, responses, weights, &[])
    }

    /// The same, rows that are still equal sorted by a further column; none where that is empty.
    pub fn sorted_with(amounts: &[f64], responses: &[f64], weights: &[f64], further: &[f64]) -> Self {
        let mut places: Vec<usize> = (0..amounts.len()).collect();
        places.sort_unstable_by(|&a, &b| {
            let by_amount = amounts[a].total_cmp(&amounts[b]);
            let by_weight =
                by_amount.then(responses[a].total_cmp(&responses[b])).then(weights[a].total_cmp(&weights[b]));
            if further.is_empty() { by_weight } else { by_weight.then(further[a].total_cmp(&further[b])) }
        });
        let take = |column: &[f64]| places.iter().map(|&place| column[place]).collect();
        Self { amounts: take(amounts), responses: take(responses), weights: take(weights), places }
    }

    pub fn readings(&self) -> Readings<'_> {
        Readings {
            amounts: &self.amounts,
            responses: &self.responses,
            weights: &self.weights,
            variances_of_amounts: None,
        }
    }

    pub fn n_levels(&self) -> usize {
        let starts = self.amounts.windows(2).filter(|pair| pair[0] != pair[1]).count();
        if self.amounts.is_empty() { 0 } else { starts + 1 }
    }
}

/// Turns back points that are no numbers or weigh nothing.
pub(crate) fn check(points: &[Point]) -> Result<(), FitError> {
    for (place, point) in points.iter().enumerate() {
        if !point.amount.si().is_finite() || !point.response.si().is_finite() {
            return Err(FitError::NotFinite { point: place + 1 });
        }
        if point.weight.is_nan() || point.weight <= 0.0 || !point.weight.is_finite() {
            return Err(FitError::Weightless { point: place + 1, weight: point.weight });
        }
    }
    Ok(())
}

/// The number of points as a figure.
#[expect(clippy::cast_precision_loss, reason = "points are few")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}
