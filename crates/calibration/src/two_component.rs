//! The two-component error model: scatter that is constant near zero and proportional far above.
//!
//! [`TwoComponent::fit`] estimates both parts from replicates over the range by maximum likelihood;
//! [`TwoComponent::sd_of_response`] is the smooth standard deviation from which weights follow.
//!
//! Invariant: readings are sorted before any sum.

use darkline_metrology::kind::{Kind, MassConcentration, Response, Sensitivity};

use crate::calibration_function::CalibrationFunction;
use crate::least_squares::number::{Jet, Number};
use crate::least_squares::triangle::{cholesky, solve_cholesky};
use crate::least_squares::twofold::power_of_two_above;
use crate::line::{FitError, Line, Point};
use crate::point::{Columns, check, count};

use std::f64::consts::PI;

/// `response = intercept + slope · amount · exp(η) + ε`, η and ε normal with mean zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoComponent {
    /// Intercept, α.
    pub intercept: Response,
    /// Slope, β.
    pub slope: Sensitivity,
    /// Standard deviation of ε: the constant part.
    pub constant_sd: Response,
    /// Standard deviation of η: the proportional part, as a fraction; zero where the readings show none.
    pub proportional_sd: f64,
    /// Natural logarithm of the likelihood at its maximum, readings in SI.
    pub log_likelihood: f64,
    /// Variances and covariance of the logarithms of the two standard deviations: how well the readings tell them.
    logs: Logs,
}

/// Variance of ln(constant part), variance of ln(proportional part), their covariance.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Logs {
    constant: f64,
    proportional: f64,
    both: f64,
}

/// Readings that do not tell the two parts apart.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotEstimable {
    /// No line goes through the readings to start from.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// Fewer readings than the four parameters and one more.
    #[error("{found} readings were given; the two-component model needs 5")]
    TooFew {
        /// Readings found.
        found: usize,
    },
    /// The likelihood grows without end as the constant part vanishes.
    #[error("the readings show no constant scatter: replicates near zero are missing or alike")]
    NoConstantPart,
    /// The search came to no rest.
    #[error("the likelihood has no maximum within {steps} steps")]
    NotReached {
        /// Steps taken.
        steps: usize,
    },
}

impl TwoComponent {
    /// Estimates the model by maximum likelihood.
    ///
    /// # Arguments
    /// * `points`: replicates at levels from near zero to far above; their weights are not looked at.
    ///
    /// # Errors
    /// [`NotEstimable`].
    ///
    /// # Source
    /// D. M. Rocke, S. Lorenzato, Technometrics 37 (1995) 176. The integral over η is a trapezoidal sum about its mode,
    /// exponentially close for integrands that fall off like a normal law; derivatives of the likelihood are exact, the
    /// search is Newton's. Checked by `tests/published/rocke_lorenzato.rs`.
    pub fn fit(points: &[Point]) -> Result<Self, NotEstimable> {
        check(points)?;
        if points.len() < 5 {
            return Err(NotEstimable::TooFew { found: points.len() });
        }
        let equal: Vec<Point> = points.iter().map(|point| Point { weight: 1.0, ..*point }).collect();
        let line = Line::fit(&equal)?;
        let columns = Columns::of(&equal);
        let largest = |values: &[f64]| values.iter().fold(0.0_f64, |largest, value| largest.max(value.abs()));
        let (unit_x, unit_y) =
            (power_of_two_above(largest(&columns.amounts)), power_of_two_above(largest(&columns.responses)));
        let readings = Scaled {
            x: columns.amounts.iter().map(|x| x / unit_x).collect(),
            y: columns.responses.iter().map(|y| y / unit_y).collect(),
        };
        let at = readings.start(&line, unit_x, unit_y)?;
        let found = readings.maximise(at)?;
        let ([intercept, slope, ln_constant, ln_proportional], likelihood) = found;
        let constant_sd = libm::exp(ln_constant) * unit_y;
        let log_likelihood = likelihood.value - count(points.len()) * libm::log(unit_y);
        if ln_proportional <= LEAST_LOG {
            // The likelihood is highest without a proportional part: an ordinary line.
            let variance = line.chi_squared() / count(points.len());
            let log_likelihood = -0.5 * count(points.len()) * (libm::log(2.0 * PI * variance) + 1.0);
            return Ok(Self {
                intercept: line.intercept,
                slope: line.slope,
                constant_sd: Response::from_si(variance.sqrt()),
                proportional_sd: 0.0,
                log_likelihood,
                // One standard deviation from n − 2 degrees of freedom: 1/(2ν).
                logs: Logs { constant: 0.5 / count(points.len() - 2), proportional: 0.0, both: 0.0 },
            });
        }
        if ln_constant <= LEAST_LOG {
            return Err(NotEstimable::NoConstantPart);
        }
        Ok(Self {
            intercept: Response::from_si(intercept * unit_y),
            slope: Sensitivity::from_si(slope * unit_y / unit_x),
            constant_sd: Response::from_si(constant_sd),
            proportional_sd: libm::exp(ln_proportional),
            log_likelihood,
            logs: logs_of(&likelihood).ok_or(NotEstimable::NotReached { steps: MOST_STEPS })?,
        })
    }

    /// Estimates the model along a calibration that bends: the true response follows a function, not a straight line.
    ///
    /// A straight line through a bent calibration leaves distances that are no scatter and would be taken for it.
    /// The scatter follows from a response then: [`TwoComponent::sd_at`].
    ///
    /// # Arguments
    /// * `points`: as for [`TwoComponent::fit`].
    /// * `function`: fitted to them, with whatever weights.
    ///
    /// # Errors
    /// [`NotEstimable`].
    ///
    /// # Source
    /// As [`TwoComponent::fit`], with the response above that without analyte in place of the amount. Checked by the study
    /// of coverage in `docs/reference/accuracy.md`.
    pub fn fit_along(points: &[Point], function: &dyn CalibrationFunction) -> Result<Self, NotEstimable> {
        let nothing = function.response(MassConcentration::from_si(0.0)).si();
        let net = |amount: MassConcentration| function.response(amount).si() - nothing;
        let straightened: Vec<Point> = points
            .iter()
            .map(|point| Point { amount: MassConcentration::from_si(net(point.amount)), ..*point })
            .collect();
        let found = Self::fit(&straightened)?;
        // The slope now is one of responses over responses; that of the calibration is its mean up to the highest standard.
        let highest = function.range().high;
        let slope = found.slope.si() * net(highest) / highest.si();
        if !slope.is_finite() {
            return Err(FitError::Beyond.into());
        }
        Ok(Self { slope: Sensitivity::from_si(slope), ..found })
    }

    /// Standard deviation of a reading whose mean response is this, whatever the form of the calibration.
    ///
    /// # Source
    /// As [`TwoComponent::sd_of_response`], slope times amount being the response above the intercept.
    pub fn sd_at(&self, response: Response) -> Response {
        let proportional = (response.si() - self.intercept.si()) * lognormal_rsd(self.proportional_sd);
        Response::from_si(libm::hypot(proportional, self.constant_sd.si()))
    }

    /// Degrees of freedom of [`TwoComponent::sd_at`]: how well the readings tell it.
    ///
    /// # Source
    /// GUM G.4.2, equation (G.3): ν = ½·(u(s)/s)⁻², u(s)/s from the curvature of the likelihood at its maximum.
    pub fn dof_at(&self, response: Response) -> f64 {
        let sd = self.sd_at(response).si();
        let constant = self.constant_sd.si() / sd;
        // Parts of the variance; what ln s gains with the logarithm of each part.
        let (of_constant, of_proportional) = (constant * constant, 1.0 - constant * constant);
        let variance = of_constant * of_constant * self.logs.constant
            + of_proportional * of_proportional * self.logs.proportional
            + 2.0 * of_constant * of_proportional * self.logs.both;
        let dof = 0.5 / variance;
        // Readings that tell nothing about one part leave the variance without bound.
        if dof > 0.0 { dof } else { f64::MIN_POSITIVE }
    }

    /// Standard deviation of a reading at an amount.
    ///
    /// # Source
    /// Variance of a lognormal factor plus that of ε: β²·x²·exp(σ²)·(exp(σ²) − 1) + σ_ε²; Rocke and Lorenzato (1995).
    pub fn sd_of_response(&self, amount: MassConcentration) -> Response {
        let proportional = self.slope.si() * amount.si() * lognormal_rsd(self.proportional_sd);
        Response::from_si(libm::hypot(proportional, self.constant_sd.si()))
    }

    /// Standard deviation of an amount read back from one reading.
    ///
    /// # Source
    /// As [`TwoComponent::sd_of_response`], over the slope.
    pub fn sd_of_amount(&self, amount: MassConcentration) -> MassConcentration {
        MassConcentration::from_si(self.sd_of_response(amount).si() / self.slope.si())
    }
}

/// Relative standard deviation of exp(η).
fn lognormal_rsd(sd: f64) -> f64 {
    let square = sd * sd;
    (libm::exp(square) * libm::expm1(square)).sqrt()
}

/// The inverse of the curvature, as far as it belongs to the two logarithms.
fn logs_of(likelihood: &Jet<4>) -> Option<Logs> {
    let factor = cholesky(&likelihood.by_parameters.map(|row| row.map(|entry| -entry)))?;
    let constant = solve_cholesky(&factor, [0.0, 0.0, 1.0, 0.0]);
    let proportional = solve_cholesky(&factor, [0.0, 0.0, 0.0, 1.0]);
    Some(Logs { constant: constant[2], proportional: proportional[3], both: constant[3] })
}

/// Steps after which a search is given up.
const MOST_STEPS: usize = 500;

/// Logarithm of a standard deviation that counts as none, in units of the largest reading.
const LEAST_LOG: f64 = -16.0;

/// Readings in units near one.
struct Scaled {
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Scaled {
    /// Parameters to start from: the line, and scatter split into its lower and its upper half.
    fn start(&self, line: &Line, unit_x: f64, unit_y: f64) -> Result<[f64; 4], NotEstimable> {
        let (intercept, slope) = (line.intercept.si() / unit_y, line.slope.si() * unit_x / unit_y);
        let half = self.x.len() / 2;
        let scatter = |places: std::ops::Range<usize>, relative: bool| {
            let n = count(places.len().max(1));
            let mut squares = 0.0;
            for place in places {
                let residual = self.y[place] - intercept - slope * self.x[place];
                let by = if relative { slope * self.x[place] } else { 1.0 };
                squares += (residual / by) * (residual / by);
            }
            (squares / n).sqrt()
        };
        let constant = scatter(0..half, false);
        let proportional = scatter(half..self.x.len(), true);
        if constant == 0.0 && proportional == 0.0 {
            return Err(NotEstimable::NoConstantPart);
        }
        let log = |sd: f64, other: f64| libm::log(if sd.is_finite() && sd > 0.0 { sd } else { 0.1 * other.max(1e-6) });
        let start = [intercept, slope, log(0.5 * constant, proportional), log(0.5 * proportional, constant)];
        if start.iter().all(|figure| figure.is_finite()) { Ok(start) } else { Err(FitError::Beyond.into()) }
    }

    /// Newton's steps up the likelihood, damped where it does not curve downwards.
    fn maximise(&self, mut at: [f64; 4]) -> Result<([f64; 4], Jet<4>), NotEstimable> {
        let mut here = self.log_likelihood(&at);
        let mut damping = 1e-3;
        let mut steps = 0;
        while steps < MOST_STEPS {
            steps += 1;
            if at[2] <= LEAST_LOG || at[3] <= LEAST_LOG {
                return Ok((at, here));
            }
            let gradient = here.by_parameter;
            let mut downwards = here.by_parameters;
            for (i, row) in downwards.iter_mut().enumerate() {
                for entry in row.iter_mut() {
                    *entry = -*entry;
                }
                row[i] += damping * row[i].abs().max(1e-10);
            }
            let Some(factor) = cholesky(&downwards) else {
                damping = (10.0 * damping).max(1e-3);
                if damping > 1e20 {
                    break;
                }
                continue;
            };
            let step = solve_cholesky(&factor, gradient);
            let mut trial = at;
            for (k, (parameter, step)) in trial.iter_mut().zip(step).enumerate() {
                // Logarithms of standard deviations move by at most a factor of e² at once.
                *parameter += if k < 2 { step } else { step.clamp(-2.0, 2.0) };
            }
            let there = self.log_likelihood(&trial);
            let size = step.iter().fold(0.0_f64, |size, step| size.max(step.abs()));
            if there.value >= here.value {
                let at_rest = size < 1e-13 || trial == at;
                (at, here) = (trial, there);
                damping = if damping < 1e-12 { 0.0 } else { damping * 0.1 };
                if at_rest {
                    return Ok((at, here));
                }
            } else if size < 1e-9 {
                return Ok((at, here));
            } else {
                damping = (10.0 * damping).max(1e-6);
            }
        }
        Err(NotEstimable::NotReached { steps })
    }

    fn log_likelihood(&self, parameters: &[f64; 4]) -> Jet<4> {
        let at = Jet::parameters(parameters);
        let mut sum = Jet::constant(0.0);
        for (&x, &y) in self.x.iter().zip(&self.y) {
            sum = sum + log_density(x, y, parameters, &at);
        }
        sum
    }
}

/// Logarithm of the density of one reading, the integral over η by trapezoids.
fn log_density(x: f64, y: f64, parameters: &[f64; 4], at: &[Jet<4>; 4]) -> Jet<4> {
    let [intercept, slope, ln_constant, ln_proportional] = *at;
    let half = Jet::constant(0.5);
    let log_root = Jet::constant(0.5 * libm::log(2.0 * PI));
    let precision = (-(ln_constant + ln_constant)).exp();
    if x == 0.0 {
        let residual = Jet::constant(y) - intercept;
        return -(half * residual * residual * precision) - ln_constant - log_root;
    }
    let (mode, width) = mode(x, y, parameters);
    let spread = (-(ln_proportional + ln_proportional)).exp();
    let step = 0.35 * width;
    let mut exponents = Vec::with_capacity(65);
    let mut highest = f64::NEG_INFINITY;
    for k in -32..=32 {
        let eta = mode + f64::from(k) * step;
        let residual = Jet::constant(y) - intercept - slope * Jet::constant(x * libm::exp(eta));
        let exponent = -(half * (Jet::constant(eta * eta) * spread + residual * residual * precision));
        highest = highest.max(exponent.value);
        exponents.push(exponent);
    }
    let mut sum = Jet::constant(0.0);
    for exponent in exponents {
        // What is below e⁻⁸⁰ of the highest term is below the rounding of the sum.
        if exponent.value - highest > -80.0 {
            sum = sum + (exponent - Jet::constant(highest)).exp();
        }
    }
    sum.ln() + Jet::constant(highest + libm::log(step)) - ln_constant - ln_proportional - log_root - log_root
}

/// The η at which the integrand is highest, and its width there.
fn mode(x: f64, y: f64, parameters: &[f64; 4]) -> (f64, f64) {
    let [intercept, slope, ln_constant, ln_proportional] = *parameters;
    let precision = libm::exp(-2.0 * ln_constant);
    let spread = libm::exp(-2.0 * ln_proportional);
    let mut eta = 0.0;
    let mut curvature = spread;
    let depth = |eta: f64| {
        let residual = y - intercept - slope * x * libm::exp(eta);
        eta * eta * spread + residual * residual * precision
    };
    let mut least = depth(eta);
    for _ in 0..100 {
        let signal = slope * x * libm::exp(eta);
        let residual = y - intercept - signal;
        let pull = residual * signal * precision - eta * spread;
        let safe = spread + signal * signal * precision;
        let newton = safe - residual * signal * precision;
        curvature = if newton > 0.1 * safe { newton } else { safe };
        let mut step = pull / curvature;
        for _ in 0..60 {
            if depth(eta + step) <= least {
                break;
            }
            step *= 0.5;
        }
        if !step.is_finite() || step.abs() < 1e-10 / curvature.sqrt() {
            break;
        }
        eta += step;
        least = depth(eta);
    }
    (eta, 1.0 / curvature.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(figures: &[(f64, f64)]) -> Vec<Point> {
        let point = |&(amount, response): &(f64, f64)| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight: 1.0,
        };
        figures.iter().map(point).collect()
    }

    /// Replicates at ±1 standard deviation of a model: the estimates come out near it.
    fn spread_out(constant: f64, proportional: f64) -> Vec<(f64, f64)> {
        let mut figures = Vec::new();
        for x in [0.0, 0.5, 1.0, 5.0, 20.0, 50.0] {
            for z in [-1.5, -0.5, 0.5, 1.5] {
                for sign in [1.0, -1.0] {
                    figures.push((x, 0.01 + 0.2 * x * libm::exp(proportional * z * sign * 0.9) + constant * z * 0.9));
                }
            }
        }
        figures
    }

    #[test]
    fn both_parts_are_found_again() {
        let found = TwoComponent::fit(&points(&spread_out(0.01, 0.03))).unwrap();
        assert!((found.constant_sd.si() - 0.01).abs() < 0.002, "{found:?}");
        assert!((found.proportional_sd - 0.03).abs() < 0.006, "{found:?}");
        let near = found.sd_of_response(MassConcentration::from_si(0.0)).si();
        let far = found.sd_of_response(MassConcentration::from_si(50.0)).si();
        assert!((near - 0.01).abs() < 0.002 && (far - 0.3).abs() < 0.06, "{near} {far}");
    }

    #[test]
    fn a_bend_is_not_taken_for_scatter() {
        use crate::calibration_function::CalibrationModel;
        use crate::point::Dispersion;
        let bent: Vec<(f64, f64)> =
            spread_out(0.01, 0.03).into_iter().map(|(x, y)| (x, y - 0.002 * x * x * (y / (0.2 * x + 0.01)))).collect();
        let points = points(&bent);
        let function = CalibrationModel::Quadratic.fit(&points, Dispersion::Estimated).unwrap();
        let found = TwoComponent::fit_along(&points, &*function).unwrap();
        assert!((found.constant_sd.si() - 0.01).abs() < 0.003, "{found:?}");
        assert!((found.proportional_sd - 0.03).abs() < 0.008, "{found:?}");
        let straight = TwoComponent::fit(&points);
        assert!(
            straight.is_err()
                || straight.is_ok_and(|model| model.proportional_sd > 0.06 || model.constant_sd.si() > 0.05)
        );
        let at_none = found.sd_at(found.intercept);
        assert_eq!(at_none, found.constant_sd);
        // Of 48 readings some 20 tell the scatter at either end.
        let dof = [found.intercept, Response::from_si(4.0)].map(|response| found.dof_at(response));
        assert!(dof.iter().all(|dof| *dof > 8.0 && *dof < 48.0), "{dof:?}");
    }

    #[test]
    fn readings_of_constant_scatter_show_no_proportional_part() {
        let found = TwoComponent::fit(&points(&spread_out(0.05, 0.0))).unwrap();
        assert!(found.proportional_sd < 1e-3, "{found:?}");
    }

    #[test]
    fn an_exact_line_has_no_scatter_to_estimate() {
        let figures: Vec<(f64, f64)> = (0..8).map(|i| (f64::from(i), 0.25 * f64::from(i))).collect();
        assert!(TwoComponent::fit(&points(&figures)).is_err());
        assert_eq!(TwoComponent::fit(&points(&figures[..3])), Err(NotEstimable::TooFew { found: 3 }));
    }

    #[test]
    fn units_change_the_estimates_by_their_factor_only() {
        let figures = spread_out(0.01, 0.03);
        let found = TwoComponent::fit(&points(&figures)).unwrap();
        let micro: Vec<(f64, f64)> = figures.iter().map(|&(x, y)| (x * 1e-6, y * 3.0)).collect();
        let again = TwoComponent::fit(&points(&micro)).unwrap();
        assert!((again.proportional_sd / found.proportional_sd - 1.0).abs() < 1e-8);
        assert!((again.constant_sd.si() / found.constant_sd.si() / 3.0 - 1.0).abs() < 1e-8);
    }
}
