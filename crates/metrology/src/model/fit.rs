//! A fit as a node of the measurement model: parameters that are the solution of equations in the terms before it.

use std::fmt;

/// A system of equations whose solution is one or more parameters: a calibration line, a root of a curve.
///
/// The partial derivatives of the solution come from the implicit function theorem; where `f(inputs, parameters) = 0`,
/// ∂parameters/∂inputs = −(∂f/∂parameters)⁻¹ ∂f/∂inputs. Monte Carlo solves again at each trial.
///
/// # Source
/// GUM 5.1 for the use of the partial derivatives; JCGM 102:2011, 6.3 for implicit models.
pub trait Fit: Send + Sync + fmt::Debug {
    /// How many parameters there are.
    fn n_parameters(&self) -> usize;

    /// Solves for the parameters.
    ///
    /// # Errors
    /// [`NoSolution`] where these inputs have none.
    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution>;

    /// Partial derivatives at a solution, parameter by parameter: `partials[p * inputs.len() + j] = ∂parameter p/∂input j`.
    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]);

    /// What it does, in words for the derivation: "straight line, 15 points, equal weights".
    fn describe(&self) -> String;
}

/// The equations of a fit have no solution for these inputs.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{reason}")]
pub struct NoSolution {
    /// Why, as a fact.
    pub reason: String,
}
