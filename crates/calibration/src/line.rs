//! The straight calibration line, weighted by how much each reading counts.
//!
//! [`Line::fit`] turns points into a line with its standard errors; [`LineFit`] is the same fit as a node of the
//! measurement model, so that its parameters correlate by themselves and Monte Carlo fits it again.
//!
//! Weights are relative: the residual standard deviation is estimated from the points. Where standard uncertainties are
//! taken as known, [`Line::fit_known`] does not scale by the residuals, and [`Line::chi_squared`] tells whether they agree.
//!
//! Amounts count as exact here. Where the standards' own uncertainty matters take [`crate::errors_in_both`]; where the
//! curve bends, [`crate::quadratic`] or [`crate::hyperbola`].
//!
//! Invariant: the points are sorted before any sum, so their order moves no bit.

use std::sync::Arc;

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::model::{Fit, Interval, NoSolution};

use crate::calibration_function::{CalibrationFunction, CalibrationModel, Parameter};
use crate::fieller;
use crate::fitted::{not_rising, root_of_readings};
use crate::inverse::Unreadable;
use crate::point::{Columns, Dispersion, check, count};

pub use crate::point::{FitError, Point};

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
    /// Residual standard deviation of a reading of weight one; zero without degrees of freedom.
    pub residual_sd: Response,
    /// Where the size of the scatter comes from.
    pub dispersion: Dispersion,
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
    /// Amount of the lowest standard.
    pub lowest: MassConcentration,
    /// Amount of the highest standard.
    pub highest: MassConcentration,
}

impl Line {
    /// Fits the line by weighted least squares.
    ///
    /// # Arguments
    /// * `points`: n ≥ 3 points on at least two levels, in any order; one response kind throughout.
    ///
    /// # Errors
    /// [`FitError`]: too few points, one level, a weight that is not above zero, a figure that is not finite.
    ///
    /// # Source
    /// QUAM:2012, A5.4 and E.4 for equal weights; ISO/TS 28037:2010, 6.2 for the weighted sums; the standard errors with
    /// an estimated residual standard deviation as in D. L. Massart et al., Handbook of Chemometrics and Qualimetrics A,
    /// 1997, 8.2.5. Checked by `tests/published/`: `eurachem_quam.rs`, `massart.rs`, `miller.rs`, `nist_linear.rs`.
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
        Self::fit_as(points, Dispersion::Estimated, 3)
    }

    /// Fits the line where each weight is the inverse square of a standard uncertainty that counts as known.
    ///
    /// # Arguments
    /// * `points`: n ≥ 2 points on at least two levels, weights `u(response)⁻²`.
    ///
    /// # Errors
    /// As [`Line::fit`].
    ///
    /// # Source
    /// ISO/TS 28037:2010, clause 6. Checked by `tests/published/iso_ts_28037.rs`.
    pub fn fit_known(points: &[Point]) -> Result<Line, FitError> {
        Self::fit_as(points, Dispersion::Known, 2)
    }

    fn fit_as(points: &[Point], dispersion: Dispersion, needed: usize) -> Result<Line, FitError> {
        check(points)?;
        if points.len() < needed {
            let model = CalibrationModel::Line.name();
            return Err(FitError::TooFewPoints { found: points.len(), needed, model });
        }
        let columns = Columns::of(points);
        if columns.n_levels() < 2 {
            let unit = MassConcentration::usual_unit();
            return Err(FitError::OneLevel { amount: unit.read_si(columns.amounts[0]) });
        }
        let sums = Sums::of(&columns);
        let (intercept, slope) = sums.line();
        // Residuals first, then their squares, since S_yy − b·S_xy cancels on a good line.
        let mut squares = 0.0;
        for place in 0..points.len() {
            let residual = sums.residual(&columns, place, slope);
            squares += columns.weights[place] * residual * residual;
        }
        let dof = points.len() - 2;
        let residual_sd = if dof > 0 { (squares / count(dof)).sqrt() } else { 0.0 };
        let sd = if dispersion == Dispersion::Known { 1.0 } else { residual_sd };
        let spread = (1.0 / sums.weights + sums.mean_x * sums.mean_x / sums.s_xx).sqrt();
        let (u_slope, u_intercept) = (sd / sums.s_xx.sqrt(), sd * spread);
        let correlation = -sums.mean_x / (sums.s_xx.sqrt() * spread);
        let r = if sums.s_yy > 0.0 { sums.s_xy / (sums.s_xx.sqrt() * sums.s_yy.sqrt()) } else { 0.0 };
        let figures = [intercept, slope, residual_sd, u_slope, u_intercept, correlation, r, sums.weights, sums.s_xx];
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
            dispersion,
            n_points: points.len(),
            mean_amount: MassConcentration::from_si(sums.mean_x),
            mean_response: Response::from_si(sums.mean_y),
            s_xx: sums.s_xx,
            sum_of_weights: sums.weights,
            r,
            lowest: MassConcentration::from_si(columns.amounts[0]),
            highest: MassConcentration::from_si(columns.amounts[columns.amounts.len() - 1]),
        })
    }

    /// Degrees of freedom of the residual standard deviation.
    pub fn dof(&self) -> usize {
        self.n_points - 2
    }

    /// Standard deviation of a reading of weight one, estimated or known.
    pub fn sd_of_unit_weight(&self) -> f64 {
        match self.dispersion {
            Dispersion::Estimated => self.residual_sd.si(),
            Dispersion::Known => 1.0,
        }
    }

    /// The covariance of intercept and slope.
    pub fn covariance_of_parameters(&self) -> f64 {
        self.correlation * self.u_intercept.si() * self.u_slope.si()
    }

    /// The weighted sum of squared residuals, to be compared with a χ² of [`Line::dof`] where the weights are the inverse
    /// squares of known standard uncertainties.
    ///
    /// # Source
    /// ISO/TS 28037:2010, 6.3.
    pub fn chi_squared(&self) -> f64 {
        self.residual_sd.si() * self.residual_sd.si() * count(self.dof())
    }

    /// The process standard deviation s_x0: the residual standard deviation over the slope, in units of the amount.
    ///
    /// # Source
    /// ISO 8466-1:1990, clause 5; DIN 32645:2008.
    pub fn process_sd(&self) -> MassConcentration {
        MassConcentration::from_si(self.sd_of_unit_weight() / self.slope.si())
    }

    /// The coefficient of determination, adjusted for the two parameters.
    ///
    /// # Source
    /// 1 − (1 − r²)·(n − 1)/(n − 2); N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 5.1 (from memory).
    pub fn adjusted_r_squared(&self) -> Option<f64> {
        (self.dof() > 0).then(|| 1.0 - (1.0 - self.r * self.r) * count(self.n_points - 1) / count(self.dof()))
    }

    /// The amount that gives a response.
    ///
    /// # Errors
    /// [`Unreadable::NotRising`]: a line that is level or falls says nothing about an amount.
    pub fn amount(&self, response: Response) -> Result<MassConcentration, Unreadable> {
        self.check_rising()?;
        let amount = (response.si() - self.intercept.si()) / self.slope.si();
        if amount.is_finite() {
            Ok(MassConcentration::from_si(amount))
        } else {
            Err(Unreadable::OutOfRange { what: "the amount", value: amount })
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
    /// # Errors
    /// [`Unreadable`]: a line that does not rise, no readings, a weight that is not above zero.
    ///
    /// # Source
    /// QUAM:2012, E.4.2 equation (E4.4), with the weighted sums: `(s/b)·√(1/(w₀ m) + 1/Σw + (y₀ − ȳ)²/(b² S_xx))`.
    pub fn u_amount(&self, response: Response, n_readings: u32, weight: f64) -> Result<MassConcentration, Unreadable> {
        self.check_rising()?;
        let root = root_of_readings(n_readings, weight)?;
        let slope = self.slope.si();
        let distance = (response.si() - self.mean_response.si()) / slope;
        let under_root = 1.0 / (root * root) + 1.0 / self.sum_of_weights + distance * distance / self.s_xx;
        let u = self.sd_of_unit_weight() / slope * under_root.sqrt();
        if !u.is_finite() {
            return Err(Unreadable::OutOfRange { what: "the standard uncertainty of the amount", value: u });
        }
        Ok(MassConcentration::from_si(u))
    }

    fn check_rising(&self) -> Result<(), Unreadable> {
        let slope = self.slope.si();
        if slope > 0.0 { Ok(()) } else { Err(not_rising(self.lowest.si(), slope)) }
    }
}

impl CalibrationFunction for Line {
    fn model(&self) -> CalibrationModel {
        CalibrationModel::Line
    }
    fn parameters(&self) -> Vec<Parameter> {
        let known = self.dof() > 0 || self.dispersion == Dispersion::Known;
        let parameter = |name, value, u| Parameter { name, value, u: known.then_some(u) };
        vec![
            parameter("intercept", self.intercept.si(), self.u_intercept.si()),
            parameter("slope", self.slope.si(), self.u_slope.si()),
        ]
    }
    fn covariance(&self) -> Option<Vec<f64>> {
        let (u_a, u_b, both) = (self.u_intercept.si(), self.u_slope.si(), self.covariance_of_parameters());
        Some(vec![u_a * u_a, both, both, u_b * u_b])
    }
    fn n_points(&self) -> usize {
        self.n_points
    }
    fn dof(&self) -> usize {
        Line::dof(self)
    }
    fn residual_sd(&self) -> Option<Response> {
        (Line::dof(self) > 0).then_some(self.residual_sd)
    }
    fn sum_of_squares(&self) -> f64 {
        self.chi_squared()
    }
    fn range(&self) -> Interval<MassConcentration> {
        Interval { low: self.lowest, high: self.highest }
    }
    fn response(&self, amount: MassConcentration) -> Response {
        Line::response(self, amount)
    }
    fn sensitivity(&self, _: MassConcentration) -> Sensitivity {
        self.slope
    }
    fn rises(&self) -> Result<(), Unreadable> {
        self.check_rising()
    }
    fn amount(&self, response: Response) -> Result<MassConcentration, Unreadable> {
        Line::amount(self, response)
    }
    fn u_amount(&self, response: Response, n_readings: u32, weight: f64) -> Result<MassConcentration, Unreadable> {
        Line::u_amount(self, response, n_readings, weight)
    }
    fn limits(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable> {
        fieller::limits(self, response, n_readings, weight, level).map(|limits| limits.interval)
    }

    fn limits_at_dof(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
        dof: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable> {
        fieller::limits_at_dof(self, response, n_readings, weight, level, dof.max(1.0)).map(|limits| limits.interval)
    }
    fn fit_node(&self, weights: Vec<f64>, weighting: &str) -> Arc<dyn Fit> {
        Arc::new(LineFit::new(weights, weighting))
    }
    fn inverse_node(&self) -> Arc<dyn Fit> {
        Arc::new(LineInverse)
    }
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
    fn of(columns: &Columns) -> Self {
        let Columns { amounts, responses, weights, .. } = columns;
        let rows = || amounts.iter().zip(responses).zip(weights).map(|((x, y), weight)| (x, y, weight));
        let (mut sum, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
        for (x, y, weight) in rows() {
            sum += weight;
            sum_x += weight * x;
            sum_y += weight * y;
        }
        let (rough_x, rough_y) = (sum_x / sum, sum_y / sum);
        // What rounding left of the means: far from zero the distances from them have fewer digits than the data.
        let (mut rest_x, mut rest_y) = (0.0, 0.0);
        for (x, y, weight) in rows() {
            rest_x += weight * (x - rough_x);
            rest_y += weight * (y - rough_y);
        }
        let (mean_x, mean_y) = (rough_x + rest_x / sum, rough_y + rest_y / sum);
        let (mut s_xx, mut s_xy, mut s_yy) = (0.0, 0.0, 0.0);
        for (x, y, weight) in rows() {
            let (dx, dy) = (x - mean_x, y - mean_y);
            s_xx += weight * dx * dx;
            s_xy += weight * dx * dy;
            s_yy += weight * dy * dy;
        }
        Self { weights: sum, mean_x, mean_y, s_xx, s_xy, s_yy }
    }

    fn line(&self) -> (f64, f64) {
        let slope = self.s_xy / self.s_xx;
        (self.mean_y - slope * self.mean_x, slope)
    }

    fn residual(&self, columns: &Columns, place: usize, slope: f64) -> f64 {
        (columns.responses[place] - self.mean_y) - slope * (columns.amounts[place] - self.mean_x)
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
        let described =
            format!("weighted least squares: straight line through {} points, weights: {weighting}", weights.len());
        Self { weights, described }
    }

    fn columns(&self, inputs: &[f64]) -> Option<Columns> {
        let n = self.weights.len();
        let (responses, amounts) = inputs.split_at_checked(n)?;
        (amounts.len() == n).then(|| Columns::sorted(amounts, responses, &self.weights))
    }
}

impl Fit for LineFit {
    fn n_parameters(&self) -> usize {
        2
    }

    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
        let Some(columns) = self.columns(inputs) else {
            let (n, found) = (self.weights.len(), inputs.len());
            return Err(NoSolution {
                reason: format!("{found} inputs stand where {n} responses and {n} amounts belong"),
            });
        };
        let (intercept, slope) = Sums::of(&columns).line();
        if !intercept.is_finite() || !slope.is_finite() {
            return Err(NoSolution { reason: "the amounts of the standards do not differ".into() });
        }
        parameters[0] = intercept;
        parameters[1] = slope;
        Ok(())
    }

    /// # Source
    /// Implicit function theorem on the two normal equations. Checked by `tests/published/iso_ts_28037.rs`.
    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]) {
        let n = self.weights.len();
        // A model that meets these figures turns the fit back by itself.
        partials.fill(f64::NAN);
        let Some(columns) = self.columns(inputs) else {
            return;
        };
        let sums = Sums::of(&columns);
        let slope = parameters[1];
        for (sorted, &place) in columns.places.iter().enumerate() {
            let weight = columns.weights[sorted];
            let distance = columns.amounts[sorted] - sums.mean_x;
            let residual = sums.residual(&columns, sorted, slope);
            let slope_by_response = weight * distance / sums.s_xx;
            let slope_by_amount = weight * (residual - slope * distance) / sums.s_xx;
            partials[place] = weight / sums.weights - sums.mean_x * slope_by_response;
            partials[n + place] = -slope * weight / sums.weights - sums.mean_x * slope_by_amount;
            partials[2 * n + place] = slope_by_response;
            partials[3 * n + place] = slope_by_amount;
        }
    }

    fn describe(&self) -> String {
        self.described.clone()
    }
}

/// The reading of an amount from a line as a node of the measurement model.
///
/// Inputs: response, intercept, slope. Its one parameter is the amount.
#[derive(Debug)]
pub struct LineInverse;

impl Fit for LineInverse {
    fn n_parameters(&self) -> usize {
        1
    }

    fn solve(&self, inputs: &[f64], parameters: &mut [f64]) -> Result<(), NoSolution> {
        let &[response, intercept, slope] = inputs else {
            return Err(NoSolution { reason: format!("{} inputs stand where three belong", inputs.len()) });
        };
        let amount = (response - intercept) / slope;
        if !(slope > 0.0 && amount.is_finite()) {
            return Err(NoSolution { reason: format!("a straight line of slope {slope} gives no amount") });
        }
        parameters[0] = amount;
        Ok(())
    }

    fn partials(&self, inputs: &[f64], parameters: &[f64], partials: &mut [f64]) {
        partials.fill(f64::NAN);
        let &[_, _, slope] = inputs else { return };
        partials[0] = 1.0 / slope;
        partials[1] = -1.0 / slope;
        partials[2] = -parameters[0] / slope;
    }

    fn describe(&self) -> String {
        "amount at which the straight line has the response".into()
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
        assert_eq!(Line::fit(&[]), Err(FitError::TooFewPoints { found: 0, needed: 3, model: "straight line" }));
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
            if line.slope.si() < 0.01 {
                return Ok(());
            }
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
