//! A calibration curve with the parameters that its points gave it.
//!
//! [`Fitted::fit`] does for every curve of this crate what [`crate::line::Line`] does for the straight line; a curve says
//! through [`CalibrationCurve`] how it is started, read back, and how far it rises.
//!
//! Invariant: the points are sorted before any sum, so their order moves no bit.

use std::sync::Arc;

use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};
use darkline_metrology::model::{Fit, Interval};

use crate::calibration_function::{CalibrationFunction, CalibrationModel, Parameter};
use crate::inverse::{Band, Unreadable};
use crate::least_squares::curve::{Curve, Readings, Solution};
use crate::least_squares::marquardt::{self, NoMinimum};
use crate::node::{CurveFit, CurveInverse};
use crate::point::{Columns, Dispersion, FitError, Point, check, count};

/// A curve that may serve as a calibration: it rises over a stretch of amounts and can be read back there.
pub trait CalibrationCurve<const P: usize>: Curve<P> + Copy + PartialEq + 'static {
    /// Its model.
    const MODEL: CalibrationModel;
    /// What its parameters are called.
    const PARAMETERS: [&'static str; P];
    /// Whether a standard without analyte says nothing about its parameters.
    const THROUGH_ORIGIN: bool;

    /// Parameters near the minimum to start from.
    fn start(&self, readings: &Readings<'_>) -> Option<[f64; P]>;

    /// The parameters that fit best.
    ///
    /// # Errors
    /// [`NoMinimum`].
    fn solve(&self, readings: &Readings<'_>, start: Option<[f64; P]>) -> Result<Solution<P>, NoMinimum> {
        let start = match start {
            Some(start) => start,
            None => self.start(readings).ok_or(NoMinimum::Start)?,
        };
        marquardt::least_squares(self, readings, start).map(|minimum| minimum.solution())
    }

    /// The amount that gives a response, on the rising branch that starts at no amount.
    ///
    /// # Errors
    /// [`Unreadable`] where the response lies beyond the branch.
    fn amount(&self, response: f64, parameters: &[f64; P]) -> Result<f64, Unreadable>;

    /// The open interval of amounts that [`CalibrationCurve::amount`] can give; empty where the curve does not rise.
    fn branch(&self, parameters: &[f64; P]) -> (f64, f64);
}

/// A curve with its parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted<C, const P: usize> {
    /// The curve.
    pub curve: C,
    /// Its parameters with their covariance at unit dispersion, and the weighted sum of squared residuals.
    pub solution: Solution<P>,
    /// Where the size of the scatter comes from.
    pub dispersion: Dispersion,
    /// Number of points.
    pub n_points: usize,
    /// Amount of the lowest standard.
    pub lowest: MassConcentration,
    /// Amount of the highest standard.
    pub highest: MassConcentration,
}

impl<C: CalibrationCurve<P>, const P: usize> Fitted<C, P> {
    /// Fits a curve by weighted least squares.
    ///
    /// # Arguments
    /// * `points`: at least as many as the curve has parameters, on as many levels; in any order.
    ///
    /// # Errors
    /// [`FitError`]: too few points or levels, a weight that is not above zero, a figure that is not finite, no minimum.
    ///
    /// # Source
    /// ISO 8466-2:2001 for the second order; M. Marquardt's least squares for the others. The figures of each model name
    /// their published check in its file.
    pub fn fit(curve: C, points: &[Point], dispersion: Dispersion) -> Result<Self, FitError> {
        check(points)?;
        let model = C::MODEL.name();
        if points.len() < P {
            return Err(FitError::TooFewPoints { found: points.len(), needed: P, model });
        }
        let columns = Columns::of(points);
        let has_zero = columns.amounts.contains(&0.0);
        let found = columns.n_levels() - usize::from(C::THROUGH_ORIGIN && has_zero);
        if found < P {
            return Err(FitError::TooFewLevels { found, needed: P, model });
        }
        let solution = curve.solve(&columns.readings(), None).map_err(|why| FitError::NoMinimum { model, why })?;
        Self::of(curve, solution, dispersion, &columns)
    }

    /// A curve with parameters found elsewhere, over the points in `columns`.
    pub(crate) fn of(
        curve: C,
        solution: Solution<P>,
        dispersion: Dispersion,
        columns: &Columns,
    ) -> Result<Self, FitError> {
        let fitted = Self {
            curve,
            solution,
            dispersion,
            n_points: columns.amounts.len(),
            lowest: MassConcentration::from_si(columns.amounts.first().copied().unwrap_or(0.0)),
            highest: MassConcentration::from_si(columns.amounts.last().copied().unwrap_or(0.0)),
        };
        let are_finite = solution.parameters.iter().all(|figure| figure.is_finite())
            && solution.squares.is_finite()
            && (0..P).all(|k| solution.covariance(k, k).is_finite())
            && (0..P).all(|k| fitted.covariance_of(k, k).is_none_or(f64::is_finite));
        if are_finite { Ok(fitted) } else { Err(FitError::Beyond) }
    }

    /// Standard deviation of a reading of weight one, estimated or known.
    ///
    /// # Errors
    /// [`Unreadable::NoScatter`] where it would have to be estimated from no degree of freedom.
    pub fn sd_of_unit_weight(&self) -> Result<f64, Unreadable> {
        match self.dispersion {
            Dispersion::Known => Ok(1.0),
            Dispersion::Estimated => self.residual_sd().map(Kind::si).ok_or(Unreadable::NoScatter),
        }
    }

    /// The covariance of two parameters, counted from zero; `None` without degrees of freedom.
    pub fn covariance_of(&self, one: usize, other: usize) -> Option<f64> {
        let sd = self.sd_of_unit_weight().ok()?;
        (one < P && other < P).then(|| sd * sd * self.solution.covariance(one, other))
    }

    /// The curve with its band.
    ///
    /// # Errors
    /// [`Unreadable::NoScatter`].
    pub fn band(&self) -> Result<Band<'_, C, P>, Unreadable> {
        let sd = self.sd_of_unit_weight()?;
        Ok(Band { curve: &self.curve, parameters: &self.solution.parameters, factor: &self.solution.factor, sd })
    }

    fn u_reading(&self, n_readings: u32, weight: f64) -> Result<f64, Unreadable> {
        Ok(self.sd_of_unit_weight()? / root_of_readings(n_readings, weight)?)
    }
}

/// √(w₀·m), by which the standard deviation of unit weight is divided for the mean of m readings.
pub(crate) fn root_of_readings(n_readings: u32, weight: f64) -> Result<f64, Unreadable> {
    if n_readings == 0 {
        return Err(Unreadable::OutOfRange { what: "the number of readings", value: 0.0 });
    }
    if !(weight > 0.0 && weight.is_finite()) {
        return Err(Unreadable::OutOfRange { what: "the weight of the reading", value: weight });
    }
    Ok((weight * f64::from(n_readings)).sqrt())
}

/// The degrees of freedom that a level of confidence is taken at; infinite where the dispersion is known.
pub(crate) fn dof_of(dof: usize, dispersion: Dispersion) -> f64 {
    match dispersion {
        Dispersion::Known => f64::INFINITY,
        Dispersion::Estimated => count(dof),
    }
}

/// The two-sided t factor of a level of confidence.
fn two_sided_t(level: f64, dof: f64) -> Result<f64, Unreadable> {
    let in_range = level > 0.0 && level < 1.0;
    let factor = if in_range { student_t::coverage_factor(level, dof) } else { None };
    factor.ok_or(Unreadable::OutOfRange { what: "the level of confidence", value: level })
}

impl<C: CalibrationCurve<P>, const P: usize> CalibrationFunction for Fitted<C, P> {
    fn model(&self) -> CalibrationModel {
        C::MODEL
    }

    fn parameters(&self) -> Vec<Parameter> {
        (0..P)
            .map(|place| Parameter {
                name: C::PARAMETERS[place],
                value: self.solution.parameters[place],
                u: self.covariance_of(place, place).map(f64::sqrt),
            })
            .collect()
    }

    fn covariance(&self) -> Option<Vec<f64>> {
        (0..P * P).map(|entry| self.covariance_of(entry / P, entry % P)).collect()
    }

    fn n_points(&self) -> usize {
        self.n_points
    }

    fn dof(&self) -> usize {
        self.n_points - P
    }

    fn residual_sd(&self) -> Option<Response> {
        let dof = self.dof();
        (dof > 0).then(|| Response::from_si((self.solution.squares / count(dof)).sqrt()))
    }

    fn sum_of_squares(&self) -> f64 {
        self.solution.squares
    }

    fn range(&self) -> Interval<MassConcentration> {
        Interval { low: self.lowest, high: self.highest }
    }

    fn response(&self, amount: MassConcentration) -> Response {
        Response::from_si(self.curve.response(amount.si(), &self.solution.parameters))
    }

    fn sensitivity(&self, amount: MassConcentration) -> Sensitivity {
        Sensitivity::from_si(self.curve.slopes(amount.si(), &self.solution.parameters).by_amount)
    }

    fn rises(&self) -> Result<(), Unreadable> {
        let (low, high) = self.curve.branch(&self.solution.parameters);
        let outside = |amount: f64| !(amount > low && amount < high);
        match [self.lowest.si(), self.highest.si()].into_iter().find(|&amount| outside(amount)) {
            None => Ok(()),
            Some(amount) => Err(not_rising(amount, self.curve.slopes(amount, &self.solution.parameters).by_amount)),
        }
    }

    fn amount(&self, response: Response) -> Result<MassConcentration, Unreadable> {
        self.rises()?;
        if !response.si().is_finite() {
            return Err(Unreadable::OutOfRange { what: "the response", value: response.si() });
        }
        let amount = self.curve.amount(response.si(), &self.solution.parameters)?;
        if !amount.is_finite() {
            return Err(Unreadable::OutOfRange { what: "the amount", value: amount });
        }
        Ok(MassConcentration::from_si(amount))
    }

    fn u_amount(&self, response: Response, n_readings: u32, weight: f64) -> Result<MassConcentration, Unreadable> {
        let amount = self.amount(response)?;
        let u = self.band()?.u_amount(amount.si(), self.u_reading(n_readings, weight)?);
        if !u.is_finite() {
            return Err(Unreadable::OutOfRange { what: "the standard uncertainty of the amount", value: u });
        }
        Ok(MassConcentration::from_si(u))
    }

    fn limits(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable> {
        // Without degrees of freedom there is no scatter, and that is told first.
        self.sd_of_unit_weight()?;
        self.limits_at_dof(response, n_readings, weight, level, dof_of(self.dof(), self.dispersion))
    }

    fn limits_at_dof(
        &self,
        response: Response,
        n_readings: u32,
        weight: f64,
        level: f64,
        dof: f64,
    ) -> Result<Interval<MassConcentration>, Unreadable> {
        let amount = self.amount(response)?;
        let t = two_sided_t(level, dof.max(1.0))?;
        let (from, to) = self.curve.branch(&self.solution.parameters);
        let u_reading = self.u_reading(n_readings, weight)?;
        match self.band()?.limits(response.si(), amount.si(), u_reading, t, from, to) {
            (Some(low), Some(high)) => {
                Ok(Interval { low: MassConcentration::from_si(low), high: MassConcentration::from_si(high) })
            }
            _ => Err(Unreadable::NoFiniteInterval { level }),
        }
    }

    fn fit_node(&self, weights: Vec<f64>, weighting: &str) -> Arc<dyn Fit> {
        Arc::new(CurveFit::new(self.curve, self.solution.parameters, weights, weighting))
    }

    fn inverse_node(&self) -> Arc<dyn Fit> {
        Arc::new(CurveInverse::new(self.curve))
    }
}

/// The refusal of a calibration that does not rise at an amount, figures in SI.
pub(crate) fn not_rising(amount: f64, slope: f64) -> Unreadable {
    let amount = MassConcentration::usual_unit().read_si(amount);
    let per_microgram = Sensitivity::unit("L/µg").expect("L/µg is a unit of sensitivity");
    Unreadable::NotRising { amount, slope: per_microgram.read_si(slope) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hyperbola::{Hyperbola, HyperbolaWithOffset};
    use crate::proportional::Proportional;
    use crate::quadratic::{Quadratic, QuadraticThroughOrigin};
    use crate::rational::Rational;
    use crate::unabsorbed_light::UnabsorbedLight;
    use proptest::prelude::*;

    fn calibration() -> impl Strategy<Value = Vec<Point>> {
        let reading = (0.5..1.5_f64, -1.0..1.0_f64, 0.1..10.0_f64);
        (proptest::collection::vec(reading, 6..12), 0.0..0.08_f64).prop_map(|(readings, bend)| {
            let mut amount = 0.0;
            let point = |(step, noise, weight): (f64, f64, f64)| {
                amount += step;
                Point {
                    amount: MassConcentration::usual_unit().of(amount),
                    response: Response::from_si(0.05 * amount / (1.0 + bend * amount) + 0.002 * noise),
                    weight,
                }
            };
            readings.into_iter().map(point).collect()
        })
    }

    /// At a minimum the residuals stand at right angles to every derivative, and every way leads up.
    fn is_minimum<C: CalibrationCurve<P>, const P: usize>(curve: C, points: &[Point]) -> Result<(), TestCaseError> {
        let fitted = Fitted::fit(curve, points, Dispersion::Estimated).unwrap();
        let squares = |parameters: &[f64; P]| -> f64 {
            let squared = |point: &Point| {
                let residual = point.response.si() - curve.response(point.amount.si(), parameters);
                point.weight * residual * residual
            };
            points.iter().map(squared).sum()
        };
        prop_assert!((squares(&fitted.solution.parameters) / fitted.solution.squares - 1.0).abs() < 1e-8);
        for k in 0..P {
            let (mut along, mut length) = (0.0, 0.0);
            for point in points {
                let slopes = curve.slopes(point.amount.si(), &fitted.solution.parameters);
                along += point.weight * (point.response.si() - slopes.value) * slopes.by_parameter[k];
                length += point.weight * slopes.by_parameter[k] * slopes.by_parameter[k];
            }
            let cosine = along / (length * fitted.solution.squares).sqrt();
            prop_assert!(cosine.abs() < 1e-7, "{} {k}: {cosine}", C::MODEL);
            let u = fitted.covariance_of(k, k).unwrap().sqrt();
            for by in [-0.1, 0.1] {
                let mut moved = fitted.solution.parameters;
                moved[k] += by * u;
                // Beyond the parameters for which the curve has responses there is no lower place either.
                let there = squares(&moved);
                prop_assert!(there.is_nan() || there > fitted.solution.squares, "{} {k}", C::MODEL);
            }
        }
        Ok(())
    }

    proptest! {
        #[test]
        fn every_fit_is_a_minimum(points in calibration()) {
            is_minimum(Proportional, &points)?;
            is_minimum(QuadraticThroughOrigin, &points)?;
            is_minimum(Quadratic, &points)?;
            is_minimum(Hyperbola, &points)?;
            is_minimum(HyperbolaWithOffset, &points)?;
            is_minimum(UnabsorbedLight, &points)?;
            // Points that scatter as much as they bend may lie closest where the rational equation ends, at no minimum.
            match Fitted::fit(Rational, &points, Dispersion::Estimated) {
                Err(FitError::NoMinimum { why: NoMinimum::NotReached { .. }, .. }) => {}
                _ => is_minimum(Rational, &points)?,
            }
        }
    }

    #[test]
    fn figures_asked_for_out_of_range_are_told() {
        let point = |amount: f64, response: f64| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        let points = [point(1.0, 0.1), point(2.0, 0.21), point(3.0, 0.3)];
        let fitted = Fitted::fit(Proportional, &points, Dispersion::Estimated).unwrap();
        let response = Response::from_si(0.2);
        assert!(matches!(fitted.u_amount(response, 0, 1.0), Err(Unreadable::OutOfRange { .. })));
        assert!(matches!(fitted.u_amount(response, 1, -1.0), Err(Unreadable::OutOfRange { .. })));
        assert!(matches!(fitted.limits(response, 1, 1.0, 1.0), Err(Unreadable::OutOfRange { .. })));
        assert!(matches!(fitted.amount(Response::from_si(f64::NAN)), Err(Unreadable::OutOfRange { .. })));
        assert_eq!(fitted.covariance_of(0, 1), None);
    }

    #[test]
    fn points_that_carry_no_curve_are_told_as_facts() {
        let point = |amount: f64, response: f64, weight: f64| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight,
        };
        let fit = |points: &[Point]| Fitted::fit(Quadratic, points, Dispersion::Estimated).unwrap_err();
        let good = point(1.0, 0.1, 1.0);
        assert_eq!(fit(&[good, good]), FitError::TooFewPoints { found: 2, needed: 3, model: "quadratic" });
        assert_eq!(fit(&[good; 4]), FitError::TooFewLevels { found: 1, needed: 3, model: "quadratic" });
        assert_eq!(fit(&[good, point(f64::NAN, 0.1, 1.0)]), FitError::NotFinite { point: 2 });
        assert_eq!(fit(&[good, point(2.0, 0.1, 0.0)]), FitError::Weightless { point: 2, weight: 0.0 });
    }
}
