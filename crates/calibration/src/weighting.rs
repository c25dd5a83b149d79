//! Weighting: how much each reading of a calibration counts, and how much a reading of the unknown.
//!
//! [`Weighting::weights`] gives the weights of the points, [`Weighting::weight_at`] that of an unknown from the same
//! function of its amount and response; [`compare`] holds weightings against each other by the back-calculated standards.
//!
//! Slope and intercept change little with the weights; limits and uncertainties change a lot, above all near zero.

use darkline_metrology::kind::{Kind, MassConcentration, Response};

use crate::level::levels;
use crate::line::Line;
use crate::point::{FitError, Point};
use crate::shown::Shown;
use crate::two_component::TwoComponent;

/// How much each reading counts.
#[derive(Clone, Debug, PartialEq)]
pub enum Weighting {
    /// All alike: the scatter is the same over the range.
    Equal,
    /// `1/amount^power`.
    InverseAmount {
        /// The power, for example 1 or 2.
        power: f64,
    },
    /// `1/response^power`, the response as measured.
    InverseResponse {
        /// The power, for example 1 or 2.
        power: f64,
    },
    /// Inverse variance of replicates, interpolated between the levels.
    Replicates(ReplicateScatter),
    /// Inverse variance by the two-component error model.
    TwoComponent(TwoComponent),
    /// Inverse variance by a stated repeatability, `√(sd_at_zero² + (rsd·response)²)`.
    Repeatability {
        /// Standard deviation at no response.
        sd_at_zero: f64,
        /// Relative standard deviation at high responses.
        rsd: f64,
    },
    /// Inverse square of standard uncertainties given at amounts, straight between them and level outside.
    Given(GivenU),
}

/// Standard uncertainties of a response, given at amounts.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenU {
    /// Amount and standard uncertainty there, by ascending amount, in SI.
    knots: Vec<(f64, f64)>,
}

impl GivenU {
    /// Standard uncertainties at amounts, in any order; `None` without any, or with one that is not above zero.
    pub fn new(levels: &[(MassConcentration, Response)]) -> Option<Self> {
        let mut knots: Vec<(f64, f64)> = levels.iter().map(|(amount, u)| (amount.si(), u.si())).collect();
        let is_fit = |(amount, u): &(f64, f64)| amount.is_finite() && *u > 0.0 && u.is_finite();
        if knots.is_empty() || !knots.iter().all(is_fit) {
            return None;
        }
        knots.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Some(Self { knots })
    }

    /// The standard uncertainty at an amount.
    ///
    /// # Source
    /// Common practice, no source.
    pub fn at(&self, amount: MassConcentration) -> Response {
        let (x, last) = (amount.si(), self.knots[self.knots.len() - 1]);
        if x <= self.knots[0].0 {
            return Response::from_si(self.knots[0].1);
        }
        for pair in self.knots.windows(2) {
            let ((low, u_low), (high, u_high)) = (pair[0], pair[1]);
            if x <= high && high > low {
                return Response::from_si(u_low + (u_high - u_low) * (x - low) / (high - low));
            }
        }
        Response::from_si(last.1)
    }
}

/// A weight that is no number above zero.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum WeightingError {
    /// The weight is infinite or not defined there.
    #[error("the weight {weighting} has no value at the amount {} µg/L with the response {}", Shown(*amount), Shown(*response))]
    Undefined {
        /// What is divided by.
        weighting: &'static str,
        /// The amount, in µg/L.
        amount: f64,
        /// The response.
        response: f64,
    },
    /// Replicates without scatter give no weight.
    #[error("the replicates at {} µg/L do not scatter; their weight would be infinite", Shown(*amount))]
    NoScatter {
        /// The amount, in µg/L.
        amount: f64,
    },
    /// Too few levels have replicates.
    #[error("{found} levels have replicates; weights by replicates need two")]
    TooFewLevels {
        /// Levels with replicates.
        found: usize,
    },
}

impl Weighting {
    /// The weight of a reading at an amount with a response.
    ///
    /// # Errors
    /// [`WeightingError::Undefined`], for example for `1/amount²` without amount.
    ///
    /// # Source
    /// D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A, 1997, 8.2.3 on weights of the unknown. Checked by
    /// `tests/published/almeida.rs`.
    pub fn weight_at(&self, amount: MassConcentration, response: Response) -> Result<f64, WeightingError> {
        let (weight, weighting) = match self {
            Weighting::Equal => (1.0, "1"),
            Weighting::InverseAmount { power } => (1.0 / libm::pow(amount.si(), *power), "1/amount"),
            Weighting::InverseResponse { power } => (1.0 / libm::pow(response.si(), *power), "1/response"),
            Weighting::Replicates(scatter) => {
                let sd = scatter.sd_at(response).si();
                (1.0 / (sd * sd), "1/sd²")
            }
            Weighting::TwoComponent(model) => {
                let sd = model.sd_of_response(amount).si();
                (1.0 / (sd * sd), "1/sd²")
            }
            Weighting::Repeatability { sd_at_zero, rsd } => {
                let relative = rsd * response.si();
                (1.0 / (sd_at_zero * sd_at_zero + relative * relative), "1/sd²")
            }
            Weighting::Given(given) => {
                let u = given.at(amount).si();
                (1.0 / (u * u), "1/u²")
            }
        };
        if weight > 0.0 && weight.is_finite() {
            return Ok(weight);
        }
        let amount = MassConcentration::usual_unit().read(amount);
        Err(WeightingError::Undefined { weighting, amount, response: response.si() })
    }

    /// The weights of points, in their order.
    ///
    /// # Errors
    /// As [`Weighting::weight_at`].
    pub fn weights(&self, points: &[(MassConcentration, Response)]) -> Result<Vec<f64>, WeightingError> {
        points.iter().map(|&(amount, response)| self.weight_at(amount, response)).collect()
    }

    /// The weighting in words, for a derivation: "1/amount^2".
    pub fn describe(&self) -> String {
        let power = |of: &str, power: f64| if power == 1.0 { format!("1/{of}") } else { format!("1/{of}^{power}") };
        match self {
            Weighting::Equal => "all equal".into(),
            Weighting::InverseAmount { power: exponent } => power("amount", *exponent),
            Weighting::InverseResponse { power: exponent } => power("response", *exponent),
            Weighting::Replicates(_) => "1/sd² of replicates".into(),
            Weighting::TwoComponent(_) => "1/sd² of the two-component model".into(),
            Weighting::Repeatability { .. } => "1/sd² of the repeatability".into(),
            Weighting::Given(_) => "1/u² as given".into(),
        }
    }
}

/// The same weights with a mean of one.
///
/// # Source
/// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, 5.10.
pub fn normalised(weights: &[f64]) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    let mean = weights.iter().sum::<f64>() / weights.len() as f64;
    weights.iter().map(|weight| weight / mean).collect()
}

/// Standard deviations of replicates over their mean responses.
#[derive(Clone, Debug, PartialEq)]
pub struct ReplicateScatter {
    /// Mean response and standard deviation of each level, by ascending response.
    knots: Vec<(f64, f64)>,
}

impl ReplicateScatter {
    /// The scatter of the replicates among points.
    ///
    /// # Errors
    /// [`WeightingError`]: fewer than two levels with replicates, or a level that does not scatter.
    pub fn of(points: &[Point]) -> Result<Self, WeightingError> {
        let mut knots = Vec::new();
        for level in levels(points) {
            if let (Some(mean), Some(sd)) = (level.mean(), level.sd()) {
                if sd.si() <= 0.0 {
                    return Err(WeightingError::NoScatter {
                        amount: MassConcentration::usual_unit().read(level.amount),
                    });
                }
                knots.push((mean.si(), sd.si()));
            }
        }
        Self::from_knots(knots)
    }

    /// The scatter given as standard deviations at responses.
    ///
    /// # Errors
    /// As [`ReplicateScatter::of`].
    pub fn given(responses: &[Response], sds: &[Response]) -> Result<Self, WeightingError> {
        let knots: Vec<(f64, f64)> = responses.iter().zip(sds).map(|(response, sd)| (response.si(), sd.si())).collect();
        match knots.iter().find(|(response, sd)| !(*sd > 0.0 && sd.is_finite() && response.is_finite())) {
            Some(&(response, _)) => Err(WeightingError::Undefined { weighting: "1/sd²", amount: f64::NAN, response }),
            None => Self::from_knots(knots),
        }
    }

    fn from_knots(mut knots: Vec<(f64, f64)>) -> Result<Self, WeightingError> {
        if knots.len() < 2 {
            return Err(WeightingError::TooFewLevels { found: knots.len() });
        }
        knots.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        Ok(Self { knots })
    }

    /// The standard deviation at a response: straight between the levels, that of the end level outside.
    ///
    /// # Source
    /// Common practice, no source; the rule the recomputed values of `weighted-miller-absorbance` state.
    pub fn sd_at(&self, response: Response) -> Response {
        let y = response.si();
        let last = self.knots[self.knots.len() - 1];
        if y <= self.knots[0].0 {
            return Response::from_si(self.knots[0].1);
        }
        for pair in self.knots.windows(2) {
            let ((low, sd_low), (high, sd_high)) = (pair[0], pair[1]);
            if y <= high && high > low {
                return Response::from_si(sd_low + (sd_high - sd_low) * (y - low) / (high - low));
            }
        }
        Response::from_si(last.1)
    }
}

/// A weighting with its line and what it makes of the standards.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// The weighting.
    pub weighting: Weighting,
    /// The line it gives.
    pub line: Line,
    /// Relative error of each standard read back from its own response, in the order of the points; `None` for a standard
    /// without analyte.
    pub relative_errors: Vec<Option<f64>>,
    /// The sum of their magnitudes.
    pub sum_of_magnitudes: f64,
}

/// A weighting that could not be compared.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotCompared {
    /// A weight has no value.
    #[error(transparent)]
    Weighting(#[from] WeightingError),
    /// No line goes through the points.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// Holds weightings against each other by the standards read back; the smallest sum of magnitudes speaks for one.
///
/// # Source
/// A. M. Almeida, M. M. Castel-Branco, A. C. Falcão, J. Chromatogr. B 774 (2002) 215. Checked by
/// `tests/published/almeida.rs`.
pub fn compare(weighting: &Weighting, points: &[(MassConcentration, Response)]) -> Result<Compared, NotCompared> {
    let weights = weighting.weights(points)?;
    let weighted: Vec<Point> =
        points.iter().zip(weights).map(|(&(amount, response), weight)| Point { amount, response, weight }).collect();
    let line = Line::fit(&weighted)?;
    let relative_errors: Vec<Option<f64>> = points
        .iter()
        .map(|&(amount, response)| {
            let found = (response.si() - line.intercept.si()) / line.slope.si();
            (amount.si() != 0.0).then(|| (found - amount.si()) / amount.si())
        })
        .collect();
    let sum_of_magnitudes = relative_errors.iter().flatten().map(|error| error.abs()).sum();
    Ok(Compared { weighting: weighting.clone(), line, relative_errors, sum_of_magnitudes })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_given_u_is_straight_between_its_amounts_and_level_outside() {
        let level = |amount, u| (MassConcentration::from_si(amount), Response::from_si(u));
        let given = GivenU::new(&[level(4.0, 1.0), level(1.0, 0.5), level(3.0, 0.5)]).unwrap();
        for (at, u) in [(0.0, 0.5), (2.0, 0.5), (3.5, 0.75), (4.0, 1.0), (9.0, 1.0)] {
            assert!((given.at(MassConcentration::from_si(at)).si() - u).abs() < 1e-15, "{at}");
        }
        assert_eq!(GivenU::new(&[]), None);
        assert_eq!(GivenU::new(&[level(1.0, 0.0)]), None);
    }

    #[test]
    fn a_standard_without_analyte_has_no_weight_by_its_amount() {
        let weighting = Weighting::InverseAmount { power: 2.0 };
        let fault = weighting.weight_at(MassConcentration::from_si(0.0), Response::from_si(0.1));
        assert!(matches!(fault, Err(WeightingError::Undefined { .. })));
        assert_eq!(weighting.describe(), "1/amount^2");
        assert_eq!(Weighting::InverseResponse { power: 1.0 }.describe(), "1/response");
    }

    #[test]
    fn scatter_is_straight_between_levels_and_constant_outside() {
        let responses = [0.1, 0.5, 0.3].map(Response::from_si);
        let scatter = ReplicateScatter::given(&responses, &[0.01, 0.05, 0.03].map(Response::from_si)).unwrap();
        let sd = |y: f64| scatter.sd_at(Response::from_si(y)).si();
        assert!((sd(0.2) - 0.02).abs() < 1e-15);
        assert_eq!((sd(0.0), sd(0.9)), (0.01, 0.05));
        assert_eq!(
            ReplicateScatter::given(&responses[..1], &responses[..1]),
            Err(WeightingError::TooFewLevels { found: 1 })
        );
    }

    #[test]
    fn replicates_without_scatter_are_told_with_their_amount() {
        let point = |amount: f64, response: f64| Point {
            amount: MassConcentration::usual_unit().of(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        let points = [point(1.0, 0.1), point(1.0, 0.1), point(2.0, 0.2), point(2.0, 0.3)];
        assert_eq!(ReplicateScatter::of(&points), Err(WeightingError::NoScatter { amount: 1.0 }));
    }
}
