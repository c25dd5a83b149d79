//! Errors in both variables: standards whose amounts are as uncertain as their responses.
//!
//! [`LineInBoth::fit`] is the straight line of least distances for known uncertainties of every amount and response
//! (York's line, generalised distance regression); [`deming`] the same where only the ratio of the variances is known;
//! [`curve`] does it for any calibration curve. [`LineInBothFit`] puts the line on the tape.
//!
//! Needed where u(amount) is not small against s/b; otherwise [`crate::line`] does.
//!
//! Invariant: points are sorted before any sum.

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};

use crate::calibration_function::CalibrationModel;
use crate::fitted::{CalibrationCurve, Fitted, not_rising};
use crate::inverse::Unreadable;
use crate::least_squares::curve::{Curve, Readings, Solution};
use crate::least_squares::marquardt::{self, NoMinimum};
use crate::least_squares::number::Number;
use crate::least_squares::polynomial::Polynomial;
use crate::least_squares::sensitivity;
use crate::node::CurveFit;
use crate::point::{Columns, Dispersion, FitError, count};

/// A reading of a standard, both figures uncertain and independent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointInBoth {
    /// Mass concentration of the standard.
    pub amount: MassConcentration,
    /// Its standard uncertainty; zero where it counts as exact.
    pub u_amount: MassConcentration,
    /// The response.
    pub response: Response,
    /// Its standard uncertainty, above zero.
    pub u_response: Response,
}

/// A line of least distances.
#[derive(Clone, Debug, PartialEq)]
pub struct LineInBoth {
    /// Intercept.
    pub intercept: Response,
    /// Slope.
    pub slope: Sensitivity,
    /// Standard uncertainty of the intercept, from the uncertainties of the points, not scaled by the residuals.
    pub u_intercept: Response,
    /// Standard uncertainty of the slope, likewise.
    pub u_slope: Sensitivity,
    /// Covariance of intercept and slope, in SI.
    pub covariance: f64,
    /// The weighted sum of squared distances, to be compared with χ² of [`LineInBoth::dof`].
    pub chi_squared: f64,
    /// Number of points.
    pub n_points: usize,
    /// The same uncertainties propagated through the estimator.
    pub propagated: Propagated,
}

/// Uncertainties of a line by the law of propagation through its estimator, rather than by York's formulas.
///
/// Both agree where the points lie close to the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Propagated {
    /// Standard uncertainty of the intercept.
    pub u_intercept: Response,
    /// Standard uncertainty of the slope.
    pub u_slope: Sensitivity,
    /// Covariance of intercept and slope, in SI.
    pub covariance: f64,
}

/// The straight line as a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Straight;

/// The fit of a line of least distances as a node; made by [`CurveFit::in_both`].
pub type LineInBothFit = CurveFit<Straight, 2>;

impl Curve<2> for Straight {
    fn response<N: Number>(&self, amount: N, [intercept, slope]: &[N; 2]) -> N {
        *intercept + *slope * amount
    }
}

impl CalibrationCurve<2> for Straight {
    const MODEL: CalibrationModel = CalibrationModel::Line;
    const PARAMETERS: [&'static str; 2] = ["intercept", "slope"];
    const THROUGH_ORIGIN: bool = false;

    fn start(&self, readings: &Readings<'_>) -> Option<[f64; 2]> {
        self.solve(readings, None).ok().map(|solution| solution.parameters)
    }

    /// # Source
    /// As [`crate::line::Line::fit`], on Householder triangles.
    fn solve(&self, readings: &Readings<'_>, _: Option<[f64; 2]>) -> Result<Solution<2>, NoMinimum> {
        Polynomial::WithConstant.fit(readings)
    }

    fn amount(&self, response: f64, [intercept, slope]: &[f64; 2]) -> Result<f64, Unreadable> {
        Ok((response - intercept) / slope)
    }

    fn branch(&self, [_, slope]: &[f64; 2]) -> (f64, f64) {
        if *slope > 0.0 { (f64::NEG_INFINITY, f64::INFINITY) } else { (0.0, 0.0) }
    }
}

/// Points in both variables as sorted columns.
struct BothColumns {
    columns: Columns,
    variances: Vec<f64>,
}

impl BothColumns {
    fn of(points: &[PointInBoth], needed: usize, model: &'static str) -> Result<Self, FitError> {
        for (place, point) in points.iter().enumerate() {
            let (u_amount, u_response) = (point.u_amount.si(), point.u_response.si());
            if !point.amount.si().is_finite() || !point.response.si().is_finite() {
                return Err(FitError::NotFinite { point: place + 1 });
            }
            let is_fit = u_amount >= 0.0 && u_amount.is_finite() && u_response > 0.0 && u_response.is_finite();
            if !is_fit || !(1.0 / (u_response * u_response)).is_finite() {
                return Err(FitError::NotUncertain { point: place + 1, u_amount, u_response });
            }
        }
        if points.len() < needed {
            return Err(FitError::TooFewPoints { found: points.len(), needed, model });
        }
        let amounts: Vec<f64> = points.iter().map(|point| point.amount.si()).collect();
        let responses: Vec<f64> = points.iter().map(|point| point.response.si()).collect();
        let weights: Vec<f64> =
            points.iter().map(|point| 1.0 / (point.u_response.si() * point.u_response.si())).collect();
        let u_amounts: Vec<f64> = points.iter().map(|point| point.u_amount.si()).collect();
        let columns = Columns::sorted_with(&amounts, &responses, &weights, &u_amounts);
        let variances = columns.places.iter().map(|&place| u_amounts[place] * u_amounts[place]).collect();
        Ok(Self { columns, variances })
    }

    fn readings(&self) -> Readings<'_> {
        Readings { variances_of_amounts: Some(&self.variances), ..self.columns.readings() }
    }
}

impl LineInBoth {
    /// Fits the line of least weighted distances.
    ///
    /// # Arguments
    /// * `points`: n ≥ 2 points on at least two levels, in any order.
    ///
    /// # Errors
    /// [`FitError`].
    ///
    /// # Source
    /// D. York et al., Am. J. Phys. 72 (2004) 367, without correlation; ISO/TS 28037:2010, clause 7. Checked by
    /// `tests/published/york.rs` and `tests/published/iso_ts_28037.rs`.
    pub fn fit(points: &[PointInBoth]) -> Result<Self, FitError> {
        let model = "straight line of least distances";
        let both = BothColumns::of(points, 2, model)?;
        if both.columns.n_levels() < 2 {
            let unit = MassConcentration::usual_unit();
            return Err(FitError::OneLevel { amount: unit.read_si(both.columns.amounts[0]) });
        }
        let start = Polynomial::WithConstant.fit::<2>(&both.columns.readings());
        let start = start.map_err(|why| FitError::NoMinimum { model, why })?.parameters[1];
        let york = York::iterate(&both, start)
            .ok_or(FitError::NoMinimum { model, why: NoMinimum::NotReached { steps: 1000 } })?;
        let propagated = propagate(&both, [york.intercept, york.slope])
            .ok_or(FitError::NoMinimum { model, why: NoMinimum::NotReached { steps: 0 } })?;
        let line = LineInBoth {
            intercept: Response::from_si(york.intercept),
            slope: Sensitivity::from_si(york.slope),
            u_intercept: Response::from_si(york.u_intercept),
            u_slope: Sensitivity::from_si(york.u_slope),
            covariance: york.covariance,
            chi_squared: york.chi_squared,
            n_points: points.len(),
            propagated,
        };
        let figures = [york.intercept, york.slope, york.u_intercept, york.u_slope, york.covariance, york.chi_squared];
        if figures.iter().all(|figure| figure.is_finite()) { Ok(line) } else { Err(FitError::Beyond) }
    }

    /// Degrees of freedom of χ².
    pub fn dof(&self) -> usize {
        self.n_points - 2
    }

    /// The factor √(χ²/(n − 2)) that turns the standard uncertainties into scaled standard errors; `None` for two points.
    ///
    /// # Source
    /// D. York et al. (2004). Say which kind is printed.
    pub fn scale(&self) -> Option<f64> {
        (self.dof() > 0).then(|| (self.chi_squared / count(self.dof())).sqrt())
    }

    /// The amount that gives a response.
    ///
    /// # Errors
    /// [`Unreadable::NotRising`].
    pub fn amount(&self, response: Response) -> Result<MassConcentration, Unreadable> {
        let amount = (response.si() - self.intercept.si()) / self.slope.si();
        if !(self.slope.si() > 0.0 && amount.is_finite()) {
            return Err(not_rising(0.0, self.slope.si()));
        }
        Ok(MassConcentration::from_si(amount))
    }

    /// Standard uncertainty of an amount read back from a response with its own standard uncertainty.
    ///
    /// # Errors
    /// [`Unreadable::NotRising`]; [`Unreadable::OutOfRange`]: an uncertainty that is none.
    ///
    /// # Source
    /// ISO/TS 28037:2010, 6.5: u²(x) = (u²(y) + u²(a) + x²·u²(b) + 2·x·cov(a, b))/b².
    pub fn u_amount(&self, response: Response, u_response: Response) -> Result<MassConcentration, Unreadable> {
        if u_response.si().is_nan() || u_response.si() < 0.0 {
            return Err(Unreadable::OutOfRange { what: "the uncertainty of the response", value: u_response.si() });
        }
        let amount = self.amount(response)?.si();
        let (u_a, u_b) = (self.u_intercept.si(), self.u_slope.si());
        let variance = u_response.si() * u_response.si()
            + (u_a * u_a + 2.0 * amount * self.covariance + amount * amount * u_b * u_b).max(0.0);
        Ok(MassConcentration::from_si(variance.sqrt() / self.slope.si()))
    }

    /// The fit as a node of the measurement model; inputs are n responses, then n amounts.
    ///
    /// # Arguments
    /// * `points`: those it was fitted to, in the order of the inputs.
    pub fn node(&self, points: &[PointInBoth]) -> LineInBothFit {
        let u: Vec<(f64, f64)> = points.iter().map(|point| (point.u_response.si(), point.u_amount.si())).collect();
        CurveFit::in_both(Straight, [self.intercept.si(), self.slope.si()], &u)
    }
}

/// York's equations at their fixed point.
struct York {
    intercept: f64,
    slope: f64,
    u_intercept: f64,
    u_slope: f64,
    covariance: f64,
    chi_squared: f64,
}

impl York {
    fn iterate(both: &BothColumns, mut slope: f64) -> Option<York> {
        let (x, y) = (&both.columns.amounts, &both.columns.responses);
        let variances_y: Vec<f64> = both.columns.weights.iter().map(|weight| 1.0 / weight).collect();
        let mut last_change = f64::INFINITY;
        for _ in 0..1000 {
            let weights: Vec<f64> =
                variances_y.iter().zip(&both.variances).map(|(vy, vx)| 1.0 / (vy + slope * slope * vx)).collect();
            let (mean_x, mean_y) = (weighted_mean(&weights, x), weighted_mean(&weights, y));
            let betas: Vec<f64> = (0..x.len())
                .map(|i| weights[i] * ((x[i] - mean_x) * variances_y[i] + slope * (y[i] - mean_y) * both.variances[i]))
                .collect();
            let (mut over, mut under) = (0.0, 0.0);
            for i in 0..x.len() {
                over += weights[i] * betas[i] * (y[i] - mean_y);
                under += weights[i] * betas[i] * (x[i] - mean_x);
            }
            let next = over / under;
            let change = (next - slope).abs();
            if !next.is_finite() {
                return None;
            }
            // At the last digits the iteration may step to and fro; it rests when it does not get nearer.
            let at_rest = change <= 1e-9 * next.abs() && change >= 0.5 * last_change;
            if next == slope || change <= 1e-16 * next.abs() || at_rest {
                let mean_beta = weighted_mean(&weights, &betas);
                let (mut squares, mut sum, mut chi_squared) = (0.0, 0.0, 0.0);
                for i in 0..x.len() {
                    let distance = betas[i] - mean_beta;
                    let residual = (y[i] - mean_y) - next * (x[i] - mean_x);
                    squares += weights[i] * distance * distance;
                    chi_squared += weights[i] * residual * residual;
                    sum += weights[i];
                }
                let adjusted = mean_x + mean_beta;
                let of_slope = 1.0 / squares;
                return Some(York {
                    intercept: mean_y - next * mean_x,
                    slope: next,
                    u_intercept: (1.0 / sum + adjusted * adjusted * of_slope).sqrt(),
                    u_slope: of_slope.sqrt(),
                    covariance: -adjusted * of_slope,
                    chi_squared,
                });
            }
            last_change = change;
            slope = next;
        }
        None
    }
}

fn weighted_mean(weights: &[f64], values: &[f64]) -> f64 {
    let (mut sum, mut weighted) = (0.0, 0.0);
    for (weight, value) in weights.iter().zip(values) {
        sum += weight;
        weighted += weight * (value - values[0]);
    }
    values[0] + weighted / sum
}

/// The uncertainties of the points through the implicit derivatives of the estimator.
fn propagate(both: &BothColumns, parameters: [f64; 2]) -> Option<Propagated> {
    let readings = both.readings();
    let triangle = marquardt::triangle_at(&Straight, &readings, &parameters)?;
    let mut partials = Vec::new();
    if !sensitivity::partials(&Straight, &readings, &parameters, &triangle, &mut partials) {
        return None;
    }
    let (mut of_intercept, mut of_slope, mut covariance) = (0.0, 0.0, 0.0);
    for (place, (by_response, by_amount)) in partials.iter().enumerate() {
        let (vy, vx) = (1.0 / readings.weights[place], both.variances[place]);
        of_intercept += by_response[0] * by_response[0] * vy + by_amount[0] * by_amount[0] * vx;
        of_slope += by_response[1] * by_response[1] * vy + by_amount[1] * by_amount[1] * vx;
        covariance += by_response[0] * by_response[1] * vy + by_amount[0] * by_amount[1] * vx;
    }
    Some(Propagated {
        u_intercept: Response::from_si(of_intercept.sqrt()),
        u_slope: Sensitivity::from_si(of_slope.sqrt()),
        covariance,
    })
}

/// Fits a calibration curve by least weighted distances.
///
/// # Arguments
/// * `points`: as many as parameters or more, on as many levels.
///
/// # Errors
/// [`FitError`].
///
/// # Source
/// Orthogonal distance regression: P. T. Boggs, R. H. Byrd, R. B. Schnabel, SIAM J. Sci. Stat. Comput. 8 (1987) 1052.
/// Checked by `tests/published/odrpack.rs`.
pub fn curve<C: CalibrationCurve<P>, const P: usize>(
    curve: C,
    points: &[PointInBoth],
) -> Result<Fitted<C, P>, FitError> {
    let model = C::MODEL.name();
    let both = BothColumns::of(points, P, model)?;
    let has_zero = both.columns.amounts.contains(&0.0);
    let found = both.columns.n_levels() - usize::from(C::THROUGH_ORIGIN && has_zero);
    if found < P {
        return Err(FitError::TooFewLevels { found, needed: P, model });
    }
    let refuse = |why| FitError::NoMinimum { model, why };
    let start = curve.solve(&both.columns.readings(), None).map_err(refuse)?.parameters;
    let minimum = marquardt::least_squares(&curve, &both.readings(), start).map_err(refuse)?;
    Fitted::of(curve, minimum.solution(), Dispersion::Known, &both.columns)
}

/// Slope and intercept of least distances where only the ratio of the variances is known.
///
/// # Arguments
/// * `ratio`: λ = variance of the responses over variance of the amounts, in SI; above zero.
///
/// # Errors
/// [`FitError`]: fewer than three points, figures that are not finite, responses and amounts that do not go together.
///
/// # Source
/// K. Linnet, Stat. Med. 9 (1990) 1463; closed form of Deming. Checked by `tests/published/deming.rs`.
pub fn deming(points: &[(MassConcentration, Response)], ratio: f64) -> Result<(Response, Sensitivity), FitError> {
    if let Some(place) = points.iter().position(|(x, y)| !x.si().is_finite() || !y.si().is_finite()) {
        return Err(FitError::NotFinite { point: place + 1 });
    }
    if points.len() < 3 {
        return Err(FitError::TooFewPoints { found: points.len(), needed: 3, model: "Deming line" });
    }
    let x: Vec<f64> = points.iter().map(|(x, _)| x.si()).collect();
    let y: Vec<f64> = points.iter().map(|(_, y)| y.si()).collect();
    let ones = vec![1.0; points.len()];
    let columns = Columns::sorted(&x, &y, &ones);
    let (mean_x, mean_y) = (weighted_mean(&ones, &columns.amounts), weighted_mean(&ones, &columns.responses));
    let (mut s_xx, mut s_xy, mut s_yy) = (0.0, 0.0, 0.0);
    for (x, y) in columns.amounts.iter().zip(&columns.responses) {
        s_xx += (x - mean_x) * (x - mean_x);
        s_xy += (x - mean_x) * (y - mean_y);
        s_yy += (y - mean_y) * (y - mean_y);
    }
    let difference = s_yy - ratio * s_xx;
    let root = libm::hypot(difference, 2.0 * ratio.sqrt() * s_xy);
    // Of the two equal forms the one without cancellation.
    let slope =
        if difference >= 0.0 { (difference + root) / (2.0 * s_xy) } else { 2.0 * ratio * s_xy / (root - difference) };
    let intercept = mean_y - slope * mean_x;
    if !(ratio > 0.0 && slope.is_finite() && intercept.is_finite()) {
        return Err(FitError::Beyond);
    }
    Ok((Response::from_si(intercept), Sensitivity::from_si(slope)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hyperbola::Hyperbola;
    use crate::line::{Line, Point};
    use darkline_metrology::model::Fit;
    use proptest::prelude::*;

    #[test]
    fn an_uncertainty_that_is_none_gives_no_uncertainty() {
        let line =
            LineInBoth::fit(&points(&vec![(1.0, 0.1, 1.1, 0.1), (2.0, 0.1, 2.0, 0.1), (3.0, 0.1, 3.2, 0.1)])).unwrap();
        for none in [f64::NAN, -0.1] {
            let told = line.u_amount(Response::from_si(2.0), Response::from_si(none)).unwrap_err();
            assert!(matches!(told, Unreadable::OutOfRange { .. }), "{told}");
        }
    }

    type Figures = Vec<(f64, f64, f64, f64)>;

    fn points(figures: &Figures) -> Vec<PointInBoth> {
        let point = |&(amount, u_amount, response, u_response): &(f64, f64, f64, f64)| PointInBoth {
            amount: MassConcentration::from_si(amount),
            u_amount: MassConcentration::from_si(u_amount),
            response: Response::from_si(response),
            u_response: Response::from_si(u_response),
        };
        figures.iter().map(point).collect()
    }

    fn any_figures() -> impl Strategy<Value = Figures> {
        let row = (-1.0..1.0_f64, 0.0..0.3_f64, -1.0..1.0_f64, 0.02..0.2_f64);
        (proptest::collection::vec(row, 5..10), 0.2..2.0_f64).prop_map(|(rows, slope)| {
            let figure = |(place, (dx, u_x, dy, u_y)): (usize, (f64, f64, f64, f64))| {
                let x = count(place) + u_x * dx;
                (x, u_x, 0.1 + slope * count(place) + u_y * dy, u_y)
            };
            rows.into_iter().enumerate().map(figure).collect()
        })
    }

    #[test]
    fn uncertainties_that_are_none_are_told() {
        let figures = |u_x, u_y| vec![(0.0, 0.1, 0.1, 0.1), (1.0, u_x, 0.2, u_y), (2.0, 0.1, 0.3, 0.1)];
        for (u_x, u_y) in [(-0.1, 0.1), (0.1, 0.0), (f64::NAN, 0.1), (0.1, f64::INFINITY), (0.1, 1e-200)] {
            let refused = LineInBoth::fit(&points(&figures(u_x, u_y)));
            assert!(matches!(refused, Err(FitError::NotUncertain { point: 2, .. })), "{u_x} {u_y}");
        }
        let one_level = vec![(1.0, 0.1, 0.1, 0.1), (1.0, 0.1, 0.2, 0.1)];
        assert!(matches!(LineInBoth::fit(&points(&one_level)), Err(FitError::OneLevel { .. })));
        assert!(matches!(LineInBoth::fit(&[]), Err(FitError::TooFewPoints { found: 0, needed: 2, .. })));
    }

    #[test]
    fn a_deming_line_needs_figures_that_go_together() {
        let reading = |x, y| (MassConcentration::from_si(x), Response::from_si(y));
        let level = [reading(1.0, 1.0), reading(1.0, 1.0), reading(1.0, 1.0)];
        assert_eq!(deming(&level, 1.0), Err(FitError::Beyond));
        assert_eq!(deming(&[reading(0.0, 0.0), reading(1.0, 2.0), reading(2.0, 4.0)], -1.0), Err(FitError::Beyond));
        let (intercept, slope) = deming(&[reading(0.0, 0.0), reading(1.0, 2.0), reading(2.0, 4.0)], 9.0).unwrap();
        assert!(intercept.si().abs() < 1e-15 && (slope.si() - 2.0).abs() < 1e-14);
    }

    #[test]
    fn a_curve_meets_uncertain_standards_at_their_nearest_place() {
        let figures: Figures =
            (1..9).map(|i| (f64::from(i), 0.1, 0.2 * f64::from(i) / (1.0 + 0.05 * f64::from(i)), 0.005)).collect();
        let fitted = curve(Hyperbola, &points(&figures)).unwrap();
        let [slope, bend] = fitted.solution.parameters;
        assert!((slope - 0.2).abs() < 1e-12 && (bend - 0.05).abs() < 1e-12);
        assert!(fitted.solution.squares < 1e-20);
        // Uncertain amounts make uncertain parameters.
        let exact: Figures = figures.iter().map(|&(x, _, y, u)| (x, 0.0, y, u)).collect();
        let exact = curve(Hyperbola, &points(&exact)).unwrap();
        assert!(fitted.solution.covariance(0, 0) > 2.0 * exact.solution.covariance(0, 0));
    }

    proptest! {
        #[test]
        fn exact_amounts_make_it_the_ordinary_line(figures in any_figures()) {
            let exact: Figures = figures.iter().map(|&(x, _, y, u)| (x, 0.0, y, u)).collect();
            let line = LineInBoth::fit(&points(&exact)).unwrap();
            let point = |&(x, _, y, u): &(f64, f64, f64, f64)| Point {
                amount: MassConcentration::from_si(x),
                response: Response::from_si(y),
                weight: 1.0 / (u * u),
            };
            let ordinary = Line::fit_known(&exact.iter().map(point).collect::<Vec<_>>()).unwrap();
            prop_assert!((line.slope.si() - ordinary.slope.si()).abs() < 1e-11);
            prop_assert!((line.u_slope.si() / ordinary.u_slope.si() - 1.0).abs() < 1e-10);
            prop_assert!((line.u_intercept.si() / ordinary.u_intercept.si() - 1.0).abs() < 1e-10);
            prop_assert!((line.propagated.u_slope.si() / ordinary.u_slope.si() - 1.0).abs() < 1e-9);
        }

        #[test]
        fn the_order_of_points_moves_no_bit(figures in any_figures(), shift in 1..4_usize) {
            let mut turned = figures.clone();
            turned.rotate_left(shift);
            prop_assert_eq!(LineInBoth::fit(&points(&figures)), LineInBoth::fit(&points(&turned)));
        }

        #[test]
        fn exchanging_the_variables_turns_the_line_over(figures in any_figures()) {
            let figures: Figures = figures.iter().map(|&(x, u_x, y, u_y)| (x, u_x + 0.01, y, u_y)).collect();
            let over: Figures = figures.iter().map(|&(x, u_x, y, u_y)| (y, u_y, x, u_x)).collect();
            let (line, over) = (LineInBoth::fit(&points(&figures)).unwrap(), LineInBoth::fit(&points(&over)).unwrap());
            prop_assert!((line.slope.si() * over.slope.si() - 1.0).abs() < 1e-9);
            prop_assert!((line.chi_squared - over.chi_squared).abs() < 1e-9 * (1.0 + line.chi_squared));
        }

        #[test]
        fn the_node_is_the_line_and_its_partials_those_of_small_steps(figures in any_figures()) {
            let points = points(&figures);
            let line = LineInBoth::fit(&points).unwrap();
            let node = line.node(&points);
            let inputs: Vec<f64> = figures.iter().map(|f| f.2).chain(figures.iter().map(|f| f.0)).collect();
            let solve = |inputs: &[f64]| {
                let mut parameters = [0.0; 2];
                node.solve(inputs, &mut parameters).unwrap();
                parameters
            };
            let parameters = solve(&inputs);
            prop_assert!((parameters[1] - line.slope.si()).abs() < 1e-10);
            let mut partials = vec![0.0; 2 * inputs.len()];
            node.partials(&inputs, &parameters, &mut partials);
            for j in 0..inputs.len() {
                let moved = |by: f64| {
                    let mut inputs = inputs.clone();
                    inputs[j] += by;
                    solve(&inputs)
                };
                let (up, down) = (moved(1e-5), moved(-1e-5));
                for p in 0..2 {
                    let numeric = (up[p] - down[p]) / 2e-5;
                    prop_assert!((numeric - partials[p * inputs.len() + j]).abs() < 1e-5 * (1.0 + numeric.abs()));
                }
            }
        }

        #[test]
        fn no_figures_whatever_panic(
            figures in proptest::collection::vec((any::<f64>(), any::<f64>(), any::<f64>(), any::<f64>()), 0..6),
            positive in proptest::bool::ANY,
        ) {
            let figures: Figures = figures
                .iter()
                .map(|&(x, u, y, v)| if positive { (x, u.abs(), y, v.abs()) } else { (x, u, y, v) })
                .collect();
            let points = points(&figures);
            if let Ok(line) = LineInBoth::fit(&points) {
                prop_assert!(line.slope.si().is_finite() && line.u_slope.si() >= 0.0);
                let _ = line.u_amount(Response::from_si(0.5), Response::from_si(0.1));
            }
            let _ = curve(Hyperbola, &points);
            let readings: Vec<_> = points.iter().map(|point| (point.amount, point.response)).collect();
            let _ = deming(&readings, figures.first().map_or(1.0, |f| f.1));
        }
    }
}
