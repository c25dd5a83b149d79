//! The straight calibration line, weighted by how much each reading counts.
//!
//! [`Line::fit`] turns points into a line with its standard errors; [`LineFit`] is the same fit as a node of the
//! measurement model, so that its parameters correlate by themselves and Monte Carlo fits it again.
//!
//! Weights are relative: the residual standard deviation is estimated from the points. Where standard uncertainties are
//! taken as known, [`Line::chi_squared`] tells whether the residuals agree with them.
//!
//! Invariant: sums run in the order of the points, so equal points give equal bits.

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::model::{Fit, NoSolution};

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

/// A fitted line `response = intercept + slope · amount`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Intercept.
    pub intercept: Response,
    /// Slope.
    pub slope: Sensitivity,
    /// Standard error of the intercept.
    pub u_intercept: Response,
    /// Standard error of the slope.
    pub u_slope: Sensitivity,
    /// Correlation coefficient of intercept and slope.
    pub correlation: f64,
    /// Residual standard deviation of a reading of weight one.
    pub residual_sd: Response,
    /// Number of points.
    pub n_points: usize,
    /// Weighted mean of the amounts.
    pub mean_amount: MassConcentration,
    /// Weighted mean of the responses.
    pub mean_response: Response,
    /// Weighted sum of squared distances of the amounts from their mean, in (kg/m³)².
    pub s_xx: f64,
    /// Sum of the weights.
    pub sum_of_weights: f64,
    /// Correlation coefficient of amounts and responses.
    pub r: f64,
}

/// Points that no line can be fitted to.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Fewer points than a line with a residual standard deviation needs.
    #[error("{found} calibration points were given; a line with a residual standard deviation needs 3")]
    TooFewPoints {
        /// Points found.
        found: usize,
    },
    /// All amounts are equal.
    #[error("every calibrator has {amount} µg/L; a line needs a second level")]
    OneLevel {
        /// The amount, in µg/L.
        amount: f64,
    },
    /// A weight is zero, negative or not a number.
    #[error("calibration point {point} has the weight {weight}; a weight is above zero")]
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
    /// Sums leave the range of numbers.
    #[error("the calibration points spread too far to be computed with")]
    Beyond,
}

/// A response that no amount can be read back from.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("the calibration does not rise: its slope is {slope}")]
pub struct NotRising {
    /// The slope, in m³/kg.
    pub slope: f64,
}

impl Line {
    /// Fits the line by weighted least squares.
    ///
    /// # Arguments
    /// * `points`: n ≥ 3 points on at least two levels, in the order measured; one response kind throughout.
    ///
    /// # Errors
    /// [`FitError`]: too few points, one level, a weight that is not above zero, a figure that is not finite.
    ///
    /// # Source
    /// QUAM:2012, A5.4 and E.4 for equal weights; ISO/TS 28037:2010, 6.2 for the weighted sums; the standard errors with
    /// an estimated residual standard deviation as in D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A,
    /// 1997, 8.2.5. Checked by `tests/published/`.
    ///
    /// # Example
    /// ```
    /// use darkline_calibration::line::{Line, Point};
    /// use darkline_metrology::kind::{Kind, MassConcentration, Response};
    ///
    /// let unit = MassConcentration::unit("mg/L").unwrap();
    /// let point = |amount, response| Point { amount: unit.of(amount), response: Response::from_si(response), weight: 1.0 };
    /// let line = Line::fit(&[point(0.0, 0.001), point(1.0, 0.102), point(2.0, 0.203)])?;
    /// let found = line.amount(Response::from_si(0.152)).unwrap();
    /// assert_eq!(format!("{:.3}", unit.read(found)), "1.495");
    /// # Ok::<(), darkline_calibration::line::FitError>(())
    /// ```
    pub fn fit(points: &[Point]) -> Result<Line, FitError> {
        check(points)?;
        let amounts: Vec<f64> = points.iter().map(|point| point.amount.si()).collect();
        let responses: Vec<f64> = points.iter().map(|point| point.response.si()).collect();
        let weights: Vec<f64> = points.iter().map(|point| point.weight).collect();
        let sums = Sums::of(&amounts, &responses, &weights);
        if amounts.iter().all(|amount| *amount == amounts[0]) {
            let unit = MassConcentration::usual_unit();
            return Err(FitError::OneLevel { amount: unit.read_si(amounts[0]) });
        }
        let (intercept, slope) = sums.line();
        // Two passes: residuals first, then their squares, since S_yy − b·S_xy cancels on a good line.
        let mut squares = 0.0;
        for ((amount, response), weight) in amounts.iter().zip(&responses).zip(&weights) {
            let residual = response - intercept - slope * amount;
            squares += weight * residual * residual;
        }
        #[expect(clippy::cast_precision_loss, reason = "points are few")]
        let dof = (points.len() - 2) as f64;
        let residual_sd = (squares / dof).sqrt();
        let u_slope = residual_sd / sums.s_xx.sqrt();
        let u_intercept = residual_sd * (1.0 / sums.weights + sums.mean_x * sums.mean_x / sums.s_xx).sqrt();
        let spread = (1.0 / sums.weights + sums.mean_x * sums.mean_x / sums.s_xx).sqrt();
        let correlation = -sums.mean_x / (sums.s_xx.sqrt() * spread);
        let r = if sums.s_yy > 0.0 { sums.s_xy / (sums.s_xx * sums.s_yy).sqrt() } else { 0.0 };
        let figures = [intercept, slope, residual_sd, u_slope, u_intercept, correlation, r];
        if figures.iter().any(|figure| !figure.is_finite()) {
            return Err(FitError::Beyond);
        }
        Ok(Line {
            intercept: Response::from_si(intercept),
            slope: Sensitivity::from_si(slope),
            u_intercept: Response::from_si(u_intercept),
            u_slope: Sensitivity::from_si(u_slope),
            correlation,
            residual_sd: Response::from_si(residual_sd),
            n_points: points.len(),
            mean_amount: MassConcentration::from_si(sums.mean_x),
            mean_response: Response::from_si(sums.mean_y),
            s_xx: sums.s_xx,
            sum_of_weights: sums.weights,
            r,
        })
    }

    /// Degrees of freedom of the residual standard deviation.
    pub fn dof(&self) -> usize {
        self.n_points - 2
    }

    /// The weighted sum of squared residuals, to be compared with a χ² of [`Line::dof`] where the weights are the inverse
    /// squares of known standard uncertainties.
    ///
    /// # Source
    /// ISO/TS 28037:2010, 6.3.
    pub fn chi_squared(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "points are few")]
        let dof = self.dof() as f64;
        self.residual_sd.si() * self.residual_sd.si() * dof
    }

    /// The amount that gives a response.
    ///
    /// # Errors
    /// [`NotRising`]: a line that is level or falls says nothing about an amount.
    pub fn amount(&self, response: Response) -> Result<MassConcentration, NotRising> {
        if self.slope.si() > 0.0 {
            Ok(MassConcentration::from_si((response.si() - self.intercept.si()) / self.slope.si()))
        } else {
            Err(NotRising { slope: self.slope.si() })
        }
    }

    /// The response expected of an amount.
    pub fn response(&self, amount: MassConcentration) -> Response {
        Response::from_si(self.intercept.si() + self.slope.si() * amount.si())
    }

    /// Standard uncertainty of an amount read back from the mean of readings.
    ///
    /// # Arguments
    /// * `n_readings`: readings behind the response, m ≥ 1.
    /// * `weight`: weight of one such reading.
    ///
    /// # Source
    /// QUAM:2012, E.4.2 equation (E4.4), with the weighted sums: `(s/b)·√(1/(w₀ m) + 1/Σw + (y₀ − ȳ)²/(b² S_xx))`.
    pub fn u_amount(&self, response: Response, n_readings: u32, weight: f64) -> MassConcentration {
        let slope = self.slope.si();
        let distance = (response.si() - self.mean_response.si()) / slope;
        let under_root =
            1.0 / (weight * f64::from(n_readings)) + 1.0 / self.sum_of_weights + distance * distance / self.s_xx;
        MassConcentration::from_si(self.residual_sd.si() / slope.abs() * under_root.sqrt())
    }
}

fn check(points: &[Point]) -> Result<(), FitError> {
    if points.len() < 3 {
        return Err(FitError::TooFewPoints { found: points.len() });
    }
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

/// The weighted sums of a line, about the means.
struct Sums {
    weights: f64,
    mean_x: f64,
    mean_y: f64,
    s_xx: f64,
    s_xy: f64,
    s_yy: f64,
}

impl Sums {
    fn of(x: &[f64], y: &[f64], weights: &[f64]) -> Self {
        let (mut sum, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
        for ((x, y), weight) in x.iter().zip(y).zip(weights) {
            sum += weight;
            sum_x += weight * x;
            sum_y += weight * y;
        }
        let (mean_x, mean_y) = (sum_x / sum, sum_y / sum);
        let (mut s_xx, mut s_xy, mut s_yy) = (0.0, 0.0, 0.0);
        for ((x, y), weight) in x.iter().zip(y).zip(weights) {
            s_xx += weight * (x - mean_x) * (x - mean_x);
            s_xy += weight * (x - mean_x) * (y - mean_y);
            s_yy += weight * (y - mean_y) * (y - mean_y);
        }
        Self { weights: sum, mean_x, mean_y, s_xx, s_xy, s_yy }
    }

    fn line(&self) -> (f64, f64) {
        let slope = self.s_xy / self.s_xx;
        (self.mean_y - slope * self.mean_x, slope)
    }
}

/// The fit of a line as a node of the measurement model.
///
/// Inputs: n responses, then n amounts. Parameters: intercept, slope.
#[derive(Debug)]
pub struct LineFit {
    weights: Vec<f64>,
    described: String,
}

impl LineFit {
    /// A fit with these weights, one for each point.
    pub fn new(weights: Vec<f64>, weighting: &str) -> Self {
        let described = format!("weighted least squares: straight line through {} points, weights {weighting}", weights.len());
        Self { weights, described }
    }
}

impl Fit for LineFit {
    fn n_parameters(&self) -> usize {
        2
    }

    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
        let (responses, amounts) = inputs.split_at(self.weights.len());
        let (intercept, slope) = Sums::of(amounts, responses, &self.weights).line();
        if !intercept.is_finite() || !slope.is_finite() {
            return Err(NoSolution { reason: "the amounts of the standards do not differ".into() });
        }
        parameters[0] = intercept;
        parameters[1] = slope;
        Ok(())
    }

    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]) {
        let n = self.weights.len();
        let (responses, amounts) = inputs.split_at(n);
        let sums = Sums::of(amounts, responses, &self.weights);
        let (intercept, slope) = (parameters[0], parameters[1]);
        for (i, weight) in self.weights.iter().enumerate() {
            let distance = amounts[i] - sums.mean_x;
            let residual = responses[i] - intercept - slope * amounts[i];
            let slope_by_response = weight * distance / sums.s_xx;
            let slope_by_amount = weight * (residual - slope * distance) / sums.s_xx;
            partials[i] = weight / sums.weights - sums.mean_x * slope_by_response;
            partials[n + i] = -slope * weight / sums.weights - sums.mean_x * slope_by_amount;
            partials[2 * n + i] = slope_by_response;
            partials[3 * n + i] = slope_by_amount;
        }
    }

    fn describe(&self) -> String {
        self.described.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn points(figures: &[(f64, f64, f64)]) -> Vec<Point> {
        let point = |&(amount, response, weight): &(f64, f64, f64)| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight,
        };
        figures.iter().map(point).collect()
    }

    #[test]
    fn points_without_a_line_are_told_as_facts() {
        assert_eq!(Line::fit(&[]), Err(FitError::TooFewPoints { found: 0 }));
        let one_level = points(&[(1.0, 0.1, 1.0), (1.0, 0.2, 1.0), (1.0, 0.3, 1.0)]);
        assert!(matches!(Line::fit(&one_level), Err(FitError::OneLevel { .. })));
        let weightless = points(&[(1.0, 0.1, 1.0), (2.0, 0.2, 0.0), (3.0, 0.3, 1.0)]);
        assert!(matches!(Line::fit(&weightless), Err(FitError::Weightless { point: 2, .. })));
        let not_a_number = points(&[(1.0, 0.1, 1.0), (2.0, f64::NAN, 1.0), (3.0, 0.3, 1.0)]);
        assert_eq!(Line::fit(&not_a_number), Err(FitError::NotFinite { point: 2 }));
        let level = points(&[(1.0, 0.1, 1.0), (2.0, 0.1, 1.0), (3.0, 0.1, 1.0)]);
        assert!(Line::fit(&level).unwrap().amount(Response::from_si(0.1)).is_err());
    }

    fn any_points() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
        proptest::collection::vec((0.0..10.0_f64, -1.0..2.0_f64, 0.1..10.0_f64), 4..12)
            .prop_filter("two levels apart", |points| points.iter().any(|p| (p.0 - points[0].0).abs() > 0.5))
    }

    proptest! {
        #[test]
        fn partials_are_those_of_the_solution(figures in any_points()) {
            let fit = LineFit::new(figures.iter().map(|p| p.2).collect(), "of the test");
            let n = figures.len();
            let inputs: Vec<f64> = figures.iter().map(|p| p.1).chain(figures.iter().map(|p| p.0)).collect();
            let mut parameters = [0.0; 2];
            fit.solve(&inputs, &mut parameters).unwrap();
            let mut partials = vec![0.0; 4 * n];
            fit.partials(&inputs, &parameters, &mut partials);
            for j in 0..2 * n {
                let step = 1e-5;
                let moved = |by: f64| {
                    let mut inputs = inputs.clone();
                    inputs[j] += by;
                    let mut parameters = [0.0; 2];
                    fit.solve(&inputs, &mut parameters).unwrap();
                    parameters
                };
                let (up, down) = (moved(step), moved(-step));
                for p in 0..2 {
                    let numeric = (up[p] - down[p]) / (2.0 * step);
                    prop_assert!((numeric - partials[p * 2 * n + j]).abs() < 1e-5 * (1.0 + numeric.abs()));
                }
            }
        }

        #[test]
        fn weights_count_only_relative_to_each_other(figures in any_points(), factor in 0.01..100.0_f64) {
            let line = Line::fit(&points(&figures)).unwrap();
            let scaled: Vec<_> = figures.iter().map(|&(x, y, w)| (x, y, w * factor)).collect();
            let other = Line::fit(&points(&scaled)).unwrap();
            prop_assert!((line.slope.si() - other.slope.si()).abs() <= 1e-10 * (1.0 + line.slope.si().abs()));
            prop_assert!((line.u_slope.si() - other.u_slope.si()).abs() <= 1e-10 * (1.0 + line.u_slope.si().abs()));
        }

        #[test]
        fn scaling_responses_leaves_amounts(figures in any_points(), factor in 0.1..10.0_f64) {
            let line = Line::fit(&points(&figures)).unwrap();
            prop_assume!(line.slope.si() > 0.01);
            let scaled: Vec<_> = figures.iter().map(|&(x, y, w)| (x, y * factor, w)).collect();
            let other = Line::fit(&points(&scaled)).unwrap();
            let found = line.amount(Response::from_si(0.5)).unwrap().si();
            let again = other.amount(Response::from_si(0.5 * factor)).unwrap().si();
            prop_assert!((found - again).abs() < 1e-8 * (1.0 + found.abs()));
        }

        #[test]
        fn no_figures_whatever_panic(figures in proptest::collection::vec((any::<f64>(), any::<f64>(), any::<f64>()), 0..8)) {
            if let Ok(line) = Line::fit(&points(&figures)) {
                prop_assert!(line.residual_sd.si() >= 0.0);
                let _ = line.amount(Response::from_si(1.0));
            }
        }
    }
}
