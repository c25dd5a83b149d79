//! A calibration curve as nodes of the measurement model: its fit, and the reading of an amount.
//!
//! [`CurveFit`] fits the curve again at each trial; [`CurveInverse`] reads an amount from a response and the parameters
//! of that trial. Their partial derivatives come from the implicit function theorem, second derivatives of the curve
//! included, so that first order says of a bent curve what small changes of its points would do.

use darkline_metrology::model::{Fit, NoSolution};

use crate::fitted::CalibrationCurve;
use crate::least_squares::curve::Readings;
use crate::least_squares::marquardt;
use crate::least_squares::sensitivity;
use crate::point::Columns;

/// The fit of a curve as a node.
///
/// Inputs: n responses, then n amounts. Parameters: those of the curve, in its order.
#[derive(Debug)]
pub struct CurveFit<C, const P: usize> {
    curve: C,
    start: [f64; P],
    weights: Vec<f64>,
    /// Standard uncertainties of the amounts; empty where they are exact.
    u_amounts: Vec<f64>,
    described: String,
}

impl<C: CalibrationCurve<P>, const P: usize> CurveFit<C, P> {
    /// A fit with these weights, one for each point.
    ///
    /// # Arguments
    /// * `start`: the parameters fitted to the points themselves, from which each trial starts.
    pub fn new(curve: C, start: [f64; P], weights: Vec<f64>, weighting: &str) -> Self {
        let (name, n) = (C::MODEL.name(), weights.len());
        let described = format!("weighted least squares: {name} through {n} points, weights: {weighting}");
        Self { curve, start, weights, u_amounts: Vec::new(), described }
    }

    /// A fit that meets each point at its nearest place on the curve.
    ///
    /// # Arguments
    /// * `start`: as for [`CurveFit::new`].
    /// * `u`: standard uncertainties of each point: of its response, above zero, and of its amount.
    pub fn in_both(curve: C, start: [f64; P], u: &[(f64, f64)]) -> Self {
        let (name, n) = (C::MODEL.name(), u.len());
        Self {
            curve,
            start,
            weights: u.iter().map(|(u_response, _)| 1.0 / (u_response * u_response)).collect(),
            u_amounts: u.iter().map(|(_, u_amount)| *u_amount).collect(),
            described: format!("least distances: {name} through {n} points, uncertain in amount and response"),
        }
    }

    /// The inputs as sorted columns, and the variances of the amounts in the same order.
    fn columns(&self, inputs: &[f64]) -> Option<(Columns, Option<Vec<f64>>)> {
        if inputs.len() != 2 * self.weights.len() || inputs.iter().any(|input| !input.is_finite()) {
            return None;
        }
        let (responses, amounts) = inputs.split_at(self.weights.len());
        let columns = Columns::sorted_with(amounts, responses, &self.weights, &self.u_amounts);
        let variances = (!self.u_amounts.is_empty())
            .then(|| columns.places.iter().map(|&place| self.u_amounts[place] * self.u_amounts[place]).collect());
        Some((columns, variances))
    }
}

impl<C: CalibrationCurve<P>, const P: usize> Fit for CurveFit<C, P> {
    fn n_parameters(&self) -> usize {
        P
    }

    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
        let Some((columns, variances)) = self.columns(inputs) else {
            return Err(NoSolution { reason: format!("{}: an input is not finite or is missing", self.described) });
        };
        let readings = Readings { variances_of_amounts: variances.as_deref(), ..columns.readings() };
        let solved = if variances.is_some() {
            marquardt::least_squares(&self.curve, &readings, self.start).map(|minimum| minimum.parameters)
        } else {
            self.curve.solve(&readings, Some(self.start)).map(|solution| solution.parameters)
        };
        match solved {
            Ok(solved) => {
                parameters.copy_from_slice(&solved);
                Ok(())
            }
            Err(why) => Err(NoSolution { reason: format!("{}: {why}", self.described) }),
        }
    }

    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]) {
        // A model that meets these figures turns the fit back by itself.
        partials.fill(f64::NAN);
        let Some((columns, variances)) = self.columns(inputs) else {
            return;
        };
        let readings = Readings { variances_of_amounts: variances.as_deref(), ..columns.readings() };
        let mut at = [0.0; P];
        at.copy_from_slice(parameters);
        let Some(triangle) = marquardt::triangle_at(&self.curve, &readings, &at) else {
            return;
        };
        let mut by_point = Vec::with_capacity(readings.n());
        if !sensitivity::partials(&self.curve, &readings, &at, &triangle, &mut by_point) {
            return;
        }
        let n = readings.n();
        for (sorted, (by_response, by_amount)) in by_point.iter().enumerate() {
            let place = columns.places[sorted];
            for parameter in 0..P {
                partials[parameter * 2 * n + place] = by_response[parameter];
                partials[parameter * 2 * n + n + place] = by_amount[parameter];
            }
        }
    }

    fn describe(&self) -> String {
        self.described.clone()
    }
}

/// The reading of an amount as a node.
///
/// Inputs: one response, then the parameters of the curve. Its one parameter is the amount.
#[derive(Debug)]
pub struct CurveInverse<C, const P: usize> {
    curve: C,
}

impl<C: CalibrationCurve<P>, const P: usize> CurveInverse<C, P> {
    /// The reading of amounts from a curve.
    pub fn new(curve: C) -> Self {
        Self { curve }
    }
}

impl<C: CalibrationCurve<P>, const P: usize> Fit for CurveInverse<C, P> {
    fn n_parameters(&self) -> usize {
        1
    }

    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
        let refuse = |reason: String| Err(NoSolution { reason: format!("{}: {reason}", self.describe()) });
        let Some((response, of_curve)) = split::<P>(inputs) else {
            return refuse("an input is not finite or is missing".into());
        };
        match self.curve.amount(response, &of_curve) {
            Ok(amount) if amount.is_finite() => {
                parameters[0] = amount;
                Ok(())
            }
            Ok(_) => refuse("the amount is not finite".into()),
            Err(why) => refuse(why.to_string()),
        }
    }

    /// # Source
    /// Implicit function theorem on f(x, p) = y: ∂x/∂y = 1/f′, ∂x/∂p = −∇f/f′.
    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]) {
        partials.fill(f64::NAN);
        let Some((_, of_curve)) = split::<P>(inputs) else {
            return;
        };
        let slopes = self.curve.slopes(parameters[0], &of_curve);
        partials[0] = 1.0 / slopes.by_amount;
        for (partial, slope) in partials[1..].iter_mut().zip(slopes.by_parameter) {
            *partial = -slope / slopes.by_amount;
        }
    }

    fn describe(&self) -> String {
        format!("amount at which the {} has the response", C::MODEL.name())
    }
}

fn split<const P: usize>(inputs: &[f64]) -> Option<(f64, [f64; P])> {
    let (&response, of_curve) = inputs.split_first()?;
    let of_curve: [f64; P] = of_curve.try_into().ok()?;
    inputs.iter().all(|input| input.is_finite()).then_some((response, of_curve))
}
