//! Weighting: how much each reading of a calibration counts, and how much a reading of the unknown.
//!
//! [`Weighting::weights`] gives the weights of the points, [`Weighting::weight_at`] that of an unknown from the same
//! function of its amount and response, [`Weighting::limits`] the limits of its amount, in which weights estimated from few
//! replicates count as the guesses they are; [`compare`] holds weightings against each other by the back-calculated
//! standards.
//!
//! Slope and intercept change little with the weights; limits and uncertainties change a lot, above all near zero.

use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::model::Interval;

use crate::calibration_function::CalibrationFunction;
use crate::inverse::Unreadable;
use crate::level::levels;
use crate::line::Line;
use crate::point::{FitError, Point, count};
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
    /// Inverse variance by the two-component error model, from the amount.
    TwoComponent(TwoComponent),
    /// The same from the response, for a calibration that bends.
    TwoComponentOfResponse(TwoComponent),
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
            Weighting::TwoComponentOfResponse(model) => {
                let sd = model.sd_at(response).si();
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
            Weighting::TwoComponent(_) | Weighting::TwoComponentOfResponse(_) => {
                "1/sd² of the two-component model".into()
            }
            Weighting::Repeatability { .. } => "1/sd² of the repeatability".into(),
            Weighting::Given(_) => "1/u² as given".into(),
        }
    }

    /// Degrees of freedom of the standard deviation that the weight at a response comes from; infinite where that is a
    /// stated function.
    pub fn dof_at(&self, response: Response) -> f64 {
        match self {
            Weighting::Equal
            | Weighting::InverseAmount { .. }
            | Weighting::InverseResponse { .. }
            | Weighting::Repeatability { .. }
            | Weighting::Given(_) => f64::INFINITY,
            Weighting::Replicates(scatter) => scatter.dof_at(response),
            Weighting::TwoComponent(model) | Weighting::TwoComponentOfResponse(model) => model.dof_at(response),
        }
    }

    /// Inversion limits of an amount read back from the mean of readings, whose weight is that of this weighting.
    ///
    /// Where the weights come from the readings themselves, the limits are wider: the scatter of the unknown is then known
    /// from a few of them only, however many the calibration has.
    ///
    /// # Arguments
    /// * `n_readings`: readings behind the response, m ≥ 1.
    /// * `level`: level of confidence, between 0 and 1; two-sided.
    ///
    /// # Errors
    /// [`NotLimited`].
    ///
    /// # Source
    /// Welch–Satterthwaite (GUM G.4.1) over two parts: the reading, with the degrees of freedom of its weight, and the
    /// calibration, with its own. Checked by the study of coverage in `docs/reference/accuracy.md`.
    pub fn limits(
        &self,
        function: &dyn CalibrationFunction,
        response: Response,
        n_readings: u32,
        level: f64,
    ) -> Result<Interval<MassConcentration>, NotLimited> {
        let amount = function.amount(response)?;
        let weight = self.weight_at(amount, response)?;
        let of_reading = self.dof_at(response);
        if of_reading == f64::INFINITY {
            return Ok(function.limits(response, n_readings, weight, level)?);
        }
        // The variance of the whole, of which so many readings that none is left give the part of the calibration.
        let variance = |n_readings: u32| -> Result<f64, Unreadable> {
            let u = function.u_amount(response, n_readings, weight)?.si();
            Ok(u * u)
        };
        let (whole, without) = (variance(n_readings)?, variance(u32::MAX)?);
        let part = if whole > 0.0 { (without / whole).clamp(0.0, 1.0) } else { 1.0 };
        let squares = (1.0 - part) * (1.0 - part) / of_reading + part * part / count(function.dof().max(1));
        Ok(function.limits_at_dof(response, n_readings, weight, level, 1.0 / squares)?)
    }
}

/// An amount without limits.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotLimited {
    /// The unknown has no weight.
    #[error(transparent)]
    Weighting(#[from] WeightingError),
    /// The calibration gives none.
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
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
    /// Each level, by ascending response.
    knots: Vec<Knot>,
}

/// What the replicates of one level say.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    /// Their mean response.
    mean: f64,
    /// Their standard deviation.
    sd: f64,
    /// Its degrees of freedom.
    dof: f64,
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
                knots.push(Knot { mean: mean.si(), sd: sd.si(), dof: count(level.n() - 1) });
            }
        }
        Self::from_knots(knots)
    }

    /// The scatter given as standard deviations at responses; they count as known.
    ///
    /// # Errors
    /// As [`ReplicateScatter::of`].
    pub fn given(responses: &[Response], sds: &[Response]) -> Result<Self, WeightingError> {
        let knot = |(mean, sd): (&Response, &Response)| Knot { mean: mean.si(), sd: sd.si(), dof: f64::INFINITY };
        let knots: Vec<Knot> = responses.iter().zip(sds).map(knot).collect();
        match knots.iter().find(|knot| !(knot.sd > 0.0 && knot.sd.is_finite() && knot.mean.is_finite())) {
            Some(knot) => Err(WeightingError::Undefined { weighting: "1/sd²", amount: f64::NAN, response: knot.mean }),
            None => Self::from_knots(knots),
        }
    }

    fn from_knots(mut knots: Vec<Knot>) -> Result<Self, WeightingError> {
        if knots.len() < 2 {
            return Err(WeightingError::TooFewLevels { found: knots.len() });
        }
        knots.sort_by(|a, b| a.mean.total_cmp(&b.mean).then(a.sd.total_cmp(&b.sd)));
        Ok(Self { knots })
    }

    /// The standard deviation at a response: straight between the levels, that of the end level outside.
    ///
    /// # Source
    /// Common practice, no source; the rule the recomputed values of `weighted-miller-absorbance` state.
    pub fn sd_at(&self, response: Response) -> Response {
        let (low, high, share) = self.around(response);
        Response::from_si((1.0 - share) * low.sd + share * high.sd)
    }

    /// Degrees of freedom of [`ReplicateScatter::sd_at`].
    ///
    /// # Source
    /// GUM G.4.2, equation (G.3): ν = ½·(u(s)/s)⁻², with u(s) = s/√(2ν) at each level, combined as the standard
    /// deviation itself is.
    pub fn dof_at(&self, response: Response) -> f64 {
        let (low, high, share) = self.around(response);
        let sd = (1.0 - share) * low.sd + share * high.sd;
        let part = |knot: Knot, share: f64| (share * knot.sd / sd) * (share * knot.sd / sd) / knot.dof;
        1.0 / (part(low, 1.0 - share) + part(high, share))
    }

    /// The levels before and after a response, and how far it lies between them.
    fn around(&self, response: Response) -> (Knot, Knot, f64) {
        let y = response.si();
        let (first, last) = (self.knots[0], self.knots[self.knots.len() - 1]);
        if y <= first.mean {
            return (first, first, 0.0);
        }
        for pair in self.knots.windows(2) {
            let (low, high) = (pair[0], pair[1]);
            if y <= high.mean && high.mean > low.mean {
                return (low, high, (y - low.mean) / (high.mean - low.mean));
            }
        }
        (last, last, 0.0)
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
    fn a_standard_deviation_between_two_levels_has_the_degrees_of_both() {
        let point = |amount: f64, response: f64| Point {
            amount: MassConcentration::usual_unit().of(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        let points =
            [(1.0, 0.1), (1.0, 0.12), (1.0, 0.14), (2.0, 0.2), (2.0, 0.22), (2.0, 0.24)].map(|(x, y)| point(x, y));
        let scatter = ReplicateScatter::of(&points).unwrap();
        let dof = |y: f64| scatter.dof_at(Response::from_si(y));
        assert!((dof(0.12) - 2.0).abs() < 1e-9 && (dof(0.17) - 4.0).abs() < 1e-9, "{} {}", dof(0.12), dof(0.17));
        assert_eq!((dof(0.0), dof(0.9)), (dof(0.12), dof(0.22)));
        assert_eq!(Weighting::Equal.dof_at(Response::from_si(0.1)), f64::INFINITY);
    }

    #[test]
    fn limits_are_wider_where_the_weight_is_a_guess() {
        let unit = MassConcentration::usual_unit();
        let points: Vec<Point> = (0..24_u32)
            .map(|i| {
                let (amount, z) = (f64::from(1 + i / 4), [-1.2, 0.4, 1.0, -0.2][(i % 4) as usize]);
                let response = Response::from_si(0.05 * amount + 0.002 * z * (1.0 + 0.1 * f64::from(i % 3)));
                Point { amount: unit.of(amount), response, weight: 1.0 }
            })
            .collect();
        let weighting = Weighting::Replicates(ReplicateScatter::of(&points).unwrap());
        let weighted: Vec<Point> = points
            .iter()
            .map(|point| Point { weight: weighting.weight_at(point.amount, point.response).unwrap(), ..*point })
            .collect();
        let line = Line::fit(&weighted).unwrap();
        let response = Response::from_si(0.2);
        let weight = weighting.weight_at(line.amount(response).unwrap(), response).unwrap();
        let plain = CalibrationFunction::limits(&line, response, 2, weight, 0.95).unwrap();
        let wider = weighting.limits(&line, response, 2, 0.95).unwrap();
        let ratio = (wider.high.si() - wider.low.si()) / (plain.high.si() - plain.low.si());
        // Student's factor of about five degrees of freedom over that of 22.
        assert!(ratio > 1.1 && ratio < 1.4, "{ratio}");
        assert_eq!(Weighting::Equal.limits(&line, response, 2, 0.95), Ok(line.limits(response, 2, 1.0, 0.95).unwrap()));
        let nothing = weighting.limits(&line, Response::from_si(f64::NAN), 2, 0.95);
        assert!(matches!(nothing, Err(NotLimited::Unreadable(_))));
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
