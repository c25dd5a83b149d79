//! The calibration function: whatever model it has, what can be asked of it once it is fitted.
//!
//! [`CalibrationModel::fit`] turns points into a [`CalibrationFunction`], which gives responses, reads amounts back with
//! their uncertainty and limits, and hands out the two nodes that put it on the tape of a measurement model.
//!
//! What one model has beyond that stands with the model: [`crate::line`], [`crate::quadratic`] and so on. Which model
//! the points speak for is asked in [`crate::choice`].

use std::fmt;
use std::sync::Arc;

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::model::{Fit, Interval};

use crate::errors_in_both::{self, PointInBoth, Straight};
use crate::fitted::{CalibrationCurve, Fitted};
use crate::hyperbola::{Hyperbola, HyperbolaWithOffset};
use crate::inverse::Unreadable;
use crate::line::Line;
use crate::node::CurveFit;
use crate::point::{Dispersion, FitError, Point};
use crate::proportional::Proportional;
use crate::quadratic::{Quadratic, QuadraticThroughOrigin};
use crate::rational::Rational;
use crate::unabsorbed_light::UnabsorbedLight;

/// The model of a calibration: the form of its function.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CalibrationModel {
    /// Slope only.
    Proportional,
    /// Intercept and slope.
    Line,
    /// Slope and curvature.
    QuadraticThroughOrigin,
    /// Initial slope and bend.
    Hyperbola,
    /// Slope and unabsorbed fraction.
    UnabsorbedLight,
    /// Intercept, slope and curvature.
    Quadratic,
    /// Offset, initial slope and bend.
    HyperbolaWithOffset,
    /// The three-coefficient rational equation.
    Rational,
}

/// A parameter with its standard uncertainty, in the coherent SI unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameter {
    /// What it is called.
    pub name: &'static str,
    /// Its value.
    pub value: f64,
    /// Its standard uncertainty; `None` where the points leave no degree of freedom for it.
    pub u: Option<f64>,
}

/// A calibration function with its parameters.
pub trait CalibrationFunction: fmt::Debug + Send + Sync {
    /// Its model.
    fn model(&self) -> CalibrationModel;
    /// Its parameters.
    fn parameters(&self) -> Vec<Parameter>;
    /// The covariance matrix of the parameters, row by row, in SI; `None` without degrees of freedom.
    fn covariance(&self) -> Option<Vec<f64>>;
    /// Number of points.
    fn n_points(&self) -> usize;
    /// Degrees of freedom of the residual standard deviation.
    fn dof(&self) -> usize;
    /// Residual standard deviation of a reading of weight one; `None` without degrees of freedom.
    fn residual_sd(&self) -> Option<Response>;
    /// The weighted sum of squared residuals.
    fn sum_of_squares(&self) -> f64;
    /// The amounts of the lowest and the highest standard.
    fn range(&self) -> Interval<MassConcentration>;
    /// The response expected of an amount.
    fn response(&self, amount: MassConcentration) -> Response;
    /// The sensitivity at an amount: how steeply the response rises there (VIM 4.12).
    fn sensitivity(&self, amount: MassConcentration) -> Sensitivity;

    /// Whether the function rises from the lowest to the highest standard.
    ///
    /// # Errors
    /// [`Unreadable::NotRising`] at the first amount found where it does not.
    fn rises(&self) -> Result<(), Unreadable>;

    /// The amount that gives a response.
    ///
    /// # Errors
    /// [`Unreadable`]: the function does not rise throughout, or the response lies beyond its turning point or asymptote.
    fn amount(&self, response: Response) -> Result<MassConcentration, Unreadable>;

    /// Standard uncertainty of an amount read back from the mean of readings, by scatter alone.
    ///
    /// # Arguments
    /// * `n_readings`: readings behind the response, m ≥ 1.
    /// * `weight`: weight of one such reading.
    ///
    /// # Errors
    /// As [`CalibrationFunction::amount`], and [`Unreadable::NoScatter`].
    fn u_amount(&self, response: Response, n_readings: u32, weight: f64) -> Result<MassConcentration, Unreadable>;

    /// Inversion limits of an amount read back from the mean of readings.
    ///
    /// # Arguments
    /// * `level`: level of confidence, between 0 and 1; two-sided.
    ///
    /// # Errors
    /// As [`CalibrationFunction::u_amount`], and [`Unreadable::NoFiniteInterval`].
    fn limits(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable>;

    /// The same limits with other degrees of freedom than those of the residual standard deviation, for example where the
    /// weight of the reading is known less well.
    ///
    /// # Arguments
    /// * `dof`: above zero; infinite for the normal law. Fewer than one count as one.
    ///
    /// # Errors
    /// As [`CalibrationFunction::limits`].
    fn limits_at_dof(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
        dof: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable>;

    /// The fit as a node of the measurement model. Inputs: n responses, then n amounts; parameters as in
    /// [`CalibrationFunction::parameters`].
    ///
    /// # Arguments
    /// * `weights`: one for each point, held at each trial.
    /// * `weighting`: what they are, in words for the derivation.
    fn fit_node(&self, weights: Vec<f64>, weighting: &str) -> Arc<dyn Fit>;

    /// The reading of an amount as a node of the measurement model. Inputs: one response, then the parameters; its one
    /// parameter is the amount.
    fn inverse_node(&self) -> Arc<dyn Fit>;
}

impl CalibrationModel {
    /// All models, from the fewest parameters to the most.
    pub const ALL: [CalibrationModel; 8] = [
        CalibrationModel::Proportional,
        CalibrationModel::Line,
        CalibrationModel::QuadraticThroughOrigin,
        CalibrationModel::Hyperbola,
        CalibrationModel::UnabsorbedLight,
        CalibrationModel::Quadratic,
        CalibrationModel::HyperbolaWithOffset,
        CalibrationModel::Rational,
    ];

    /// Its name in words.
    pub fn name(self) -> &'static str {
        match self {
            CalibrationModel::Proportional => "straight line through the origin",
            CalibrationModel::Line => "straight line",
            CalibrationModel::QuadraticThroughOrigin => "quadratic through the origin",
            CalibrationModel::Hyperbola => "hyperbola",
            CalibrationModel::UnabsorbedLight => "unabsorbed-light curve",
            CalibrationModel::Quadratic => "quadratic",
            CalibrationModel::HyperbolaWithOffset => "hyperbola with offset",
            CalibrationModel::Rational => "three-coefficient rational",
        }
    }

    /// How many parameters it has.
    pub fn n_parameters(self) -> usize {
        match self {
            CalibrationModel::Proportional => 1,
            CalibrationModel::Line
            | CalibrationModel::QuadraticThroughOrigin
            | CalibrationModel::Hyperbola
            | CalibrationModel::UnabsorbedLight => 2,
            CalibrationModel::Quadratic | CalibrationModel::HyperbolaWithOffset | CalibrationModel::Rational => 3,
        }
    }

    /// Fits it to points.
    ///
    /// # Errors
    /// [`FitError`].
    pub fn fit(self, points: &[Point], dispersion: Dispersion) -> Result<Box<dyn CalibrationFunction>, FitError> {
        Ok(match self {
            CalibrationModel::Proportional => Box::new(Fitted::fit(Proportional, points, dispersion)?),
            CalibrationModel::Line => match dispersion {
                Dispersion::Estimated => Box::new(Line::fit(points)?),
                Dispersion::Known => Box::new(Line::fit_known(points)?),
            },
            CalibrationModel::QuadraticThroughOrigin => {
                Box::new(Fitted::fit(QuadraticThroughOrigin, points, dispersion)?)
            }
            CalibrationModel::Hyperbola => Box::new(Fitted::fit(Hyperbola, points, dispersion)?),
            CalibrationModel::UnabsorbedLight => Box::new(Fitted::fit(UnabsorbedLight, points, dispersion)?),
            CalibrationModel::Quadratic => Box::new(Fitted::fit(Quadratic, points, dispersion)?),
            CalibrationModel::HyperbolaWithOffset => Box::new(Fitted::fit(HyperbolaWithOffset, points, dispersion)?),
            CalibrationModel::Rational => Box::new(Fitted::fit(Rational, points, dispersion)?),
        })
    }

    /// Fits it to points that are uncertain in amount and response, and gives the fit as a node beside it.
    ///
    /// # Errors
    /// [`FitError`].
    pub fn fit_in_both(self, points: &[PointInBoth]) -> Result<InBoth, FitError> {
        match self {
            CalibrationModel::Proportional => in_both(Proportional, points),
            CalibrationModel::Line => in_both(Straight, points),
            CalibrationModel::QuadraticThroughOrigin => in_both(QuadraticThroughOrigin, points),
            CalibrationModel::Hyperbola => in_both(Hyperbola, points),
            CalibrationModel::UnabsorbedLight => in_both(UnabsorbedLight, points),
            CalibrationModel::Quadratic => in_both(Quadratic, points),
            CalibrationModel::HyperbolaWithOffset => in_both(HyperbolaWithOffset, points),
            CalibrationModel::Rational => in_both(Rational, points),
        }
    }
}

/// A function of least distances with its fit as a node.
pub type InBoth = (Box<dyn CalibrationFunction>, Arc<dyn Fit>);

fn in_both<C: CalibrationCurve<P>, const P: usize>(curve: C, points: &[PointInBoth]) -> Result<InBoth, FitError> {
    let fitted = errors_in_both::curve(curve, points)?;
    let u: Vec<(f64, f64)> = points.iter().map(|point| (point.u_response.si(), point.u_amount.si())).collect();
    let node = CurveFit::in_both(curve, fitted.solution.parameters, &u);
    Ok((Box::new(fitted), Arc::new(node)))
}

impl fmt::Display for CalibrationModel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod laws;
