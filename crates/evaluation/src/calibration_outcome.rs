//! What an evaluation says of a calibration beyond its points: coefficients, and what the evidence said of each function tried.

use serde::{Deserialize, Serialize};

/// The coefficients of a straight line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineOutcome {
    /// Intercept.
    pub intercept: f64,
    /// Its standard error.
    pub u_intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Its standard error.
    pub u_slope: f64,
    /// Correlation coefficient of the two.
    pub correlation: f64,
    /// Correlation coefficient of amounts and responses.
    pub r: f64,
}

impl LineOutcome {
    /// Standard uncertainty of the response that the line gives for an amount.
    ///
    /// # Arguments
    /// * `amount`: in the unit of the amounts of the run.
    ///
    /// # Source
    /// JCGM 100:2008, 5.2.2, of `response = a + b·amount` with correlated a and b.
    pub fn u_of_response(&self, amount: f64) -> f64 {
        let (u_a, u_b) = (self.u_intercept, self.u_slope * amount);
        (u_a * u_a + u_b * u_b + 2.0 * self.correlation * u_a * u_b).max(0.0).sqrt()
    }
}

/// A parameter of a calibration function.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ParameterOutcome {
    /// What it is called.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Its standard error; absent without degrees of freedom.
    pub u: Option<f64>,
    /// The unit of both.
    pub unit: String,
}

/// What the evidence of the standards said of the functions a method allows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChoiceOutcome {
    /// The candidates, from few parameters to many.
    pub candidates: Vec<CandidateOutcome>,
    /// The one the evidence chooses; absent where it chooses none.
    pub by_evidence: Option<String>,
    /// What decided: `only-one`, `least-information` or `simpler-and-as-good`.
    pub because: Option<String>,
    /// Whether candidates were passed over because replicates speak against them.
    pub passed_over_for_lack_of_fit: bool,
    /// How far a standard read back may lie from its amount, relative.
    pub tolerance: Option<f64>,
    /// Mandel's test of the straight line against the quadratic, where both are allowed.
    pub mandel: Option<TestOutcome>,
    /// The choice of a person that stands above the evidence.
    pub overruled: Option<OverruledOutcome>,
}

/// One function that was tried.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CandidateOutcome {
    /// Its words.
    pub model: String,
    /// Number of its parameters.
    pub n_parameters: usize,
    /// Why it is no calibration, in words; not digested.
    pub why_not: Option<String>,
    /// Corrected information (AICc), up to what all candidates share.
    pub corrected_information: Option<f64>,
    /// Lack of fit, where standards have replicates.
    pub lack_of_fit: Option<TestOutcome>,
    /// The pattern of the residuals.
    pub residual_runs: Option<RunsOutcome>,
    /// The standard read back farthest from its amount.
    pub worst_read_back: Option<ReadBackOutcome>,
    /// Whether it keeps within the tolerance of the method.
    pub within_tolerance: Option<bool>,
}

/// A test by F.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TestOutcome {
    /// The ratio of variances.
    pub f: f64,
    /// Degrees of freedom of its numerator.
    pub dof_1: f64,
    /// Degrees of freedom of its denominator.
    pub dof_2: f64,
    /// Probability of an F at least as large if the function is right.
    pub p: f64,
}

/// Runs of residuals of equal sign over the levels.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunsOutcome {
    /// Runs.
    pub runs: usize,
    /// Levels above the function.
    pub n_above: usize,
    /// Levels below it.
    pub n_below: usize,
    /// Probability of as few runs or fewer in random order.
    pub p: f64,
}

/// A standard read back from the calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadBackOutcome {
    /// Its amount.
    pub amount: f64,
    /// How far it was found from it, relative.
    pub error: f64,
}

/// A choice of a person that stands above the evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OverruledOutcome {
    /// The function chosen.
    pub model: String,
    /// Why.
    pub reason: String,
}
