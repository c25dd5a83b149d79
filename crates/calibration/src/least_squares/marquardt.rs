//! The search for the parameters with the least sum of squares, for any curve.
//!
//! [`least_squares`] starts from given parameters, descends by Levenberg and Marquardt's damped steps on Householder
//! triangles, and ends with Newton's steps, whose second derivatives are exact: the minimum is then as good as the
//! arithmetic. Where amounts have variances of their own, each reading is met at its nearest point of the curve
//! (orthogonal distance regression).
//!
//! Invariant: sums run in the order of the readings, so equal readings give equal bits. Changing the unit of a parameter
//! changes no step but for rounding.

use super::curve::{Curve, Readings, Solution};
use super::sensitivity::{Curvature, Curved, nearest};
use super::triangle::{Triangle, reflect, triangularise};

/// Steps after which a search that has not come to rest is given up.
const MOST_STEPS: usize = 300;

/// Parameters with the least sum of squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Minimum<const P: usize> {
    /// The parameters.
    pub parameters: [f64; P],
    /// The weighted sum of squared residuals there.
    pub squares: f64,
    /// The triangle R of the weighted first derivatives: (RᵀR)⁻¹ is the covariance at unit dispersion.
    pub triangle: Triangle<P>,
    /// Steps taken.
    pub n_steps: usize,
}

impl<const P: usize> Minimum<P> {
    /// The minimum with the asymptotic covariance of its parameters, from the first derivatives.
    ///
    /// # Source
    /// The covariance certified by the NIST Statistical Reference Datasets: s²·(JᵀJ)⁻¹.
    pub fn solution(&self) -> Solution<P> {
        Solution { parameters: self.parameters, factor: self.triangle.inverse(), squares: self.squares }
    }
}

/// A search without a minimum at its end.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoMinimum {
    /// Fewer readings than parameters.
    #[error("{found} readings were given for {needed} parameters")]
    TooFew {
        /// Readings found.
        found: usize,
        /// Parameters to be found.
        needed: usize,
    },
    /// The curve has no finite responses or derivatives at the start.
    #[error("the curve is not finite at the start of the search")]
    Start,
    /// The readings do not determine a parameter.
    #[error("parameter {parameter} is not determined by the readings")]
    Undetermined {
        /// Place of the parameter, from 1.
        parameter: usize,
    },
    /// The sum of squares still falls when the steps are used up, or along a valley without end.
    #[error("the sum of squares has no minimum within {steps} steps")]
    NotReached {
        /// Steps taken.
        steps: usize,
    },
}

/// Residuals and their derivatives at given parameters.
struct Linearised<const P: usize> {
    residuals: Vec<f64>,
    rows: Vec<[f64; P]>,
    squares: f64,
}

/// Finds the parameters with the least weighted sum of squared residuals, or of squared distances where amounts have
/// variances.
///
/// # Arguments
/// * `readings`: n ≥ P.
/// * `start`: parameters to start from; the curve must be finite there.
///
/// # Errors
/// [`NoMinimum`].
///
/// # Source
/// D. W. Marquardt, J. Soc. Ind. Appl. Math. 11 (1963) 431; damping scaled by the columns as in J. J. Moré, Lecture Notes
/// in Mathematics 630, Springer, 1978; its update as in H. B. Nielsen, report IMM-REP-1999-05, Technical University of
/// Denmark, 1999 (from memory). Distances: P. T. Boggs, R. H. Byrd, R. B. Schnabel, SIAM J. Sci. Stat. Comput. 8 (1987)
/// 1052. Checked by `tests/published/nist_nonlinear.rs` and `tests/published/odrpack.rs`.
pub fn least_squares<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    start: [f64; P],
) -> Result<Minimum<P>, NoMinimum> {
    if readings.n() < P {
        return Err(NoMinimum::TooFew { found: readings.n(), needed: P });
    }
    // A start close by, as each trial of a Monte Carlo run has it, needs no descent.
    if let Ok(minimum) = settle(curve, readings, start, 0, From::Start) {
        return Ok(minimum);
    }
    let mut parameters = start;
    let mut here = linearise(curve, readings, &parameters).ok_or(NoMinimum::Start)?;
    let mut scale = [0.0_f64; P];
    let (mut damping, mut raise) = (1e-3_f64, 2.0_f64);
    let mut n_steps = 0;
    'descent: while n_steps < MOST_STEPS {
        let (triangle, side, lengths) = reduce(&mut here.rows, &mut here.residuals);
        for (scale, length) in scale.iter_mut().zip(lengths) {
            *scale = scale.max(length);
        }
        // A column of zeros cannot be scaled by its length; any scale keeps the damped triangle solvable.
        let scale = scale.map(|scale| if scale > 0.0 { scale } else { 1.0 });
        loop {
            n_steps += 1;
            let (damped, damped_side) = triangle.over_diagonal(&side, &scale.map(|scale| damping.sqrt() * scale));
            let step = damped.solve(damped_side);
            let mut trial = parameters;
            for (parameter, step) in trial.iter_mut().zip(step) {
                *parameter += step;
            }
            let length = scaled_length(&step, &scale);
            let small = length <= 1e-9 * scaled_length(&parameters, &scale);
            let predicted = {
                let along: f64 = triangle.times(&step).iter().map(|part| part * part).sum();
                along + 2.0 * damping * length * length
            };
            let there = linearise(curve, readings, &trial);
            let gain = there.as_ref().map_or(f64::NAN, |there| (here.squares - there.squares) / predicted);
            if let Some(there) = there.filter(|_| gain > 1e-4) {
                (parameters, here) = (trial, there);
                let easier = 1.0 - (2.0 * gain - 1.0) * (2.0 * gain - 1.0) * (2.0 * gain - 1.0);
                damping = (damping * easier.max(1.0 / 3.0)).max(1e-30);
                raise = 2.0;
                if small || predicted <= 1e-13 * here.squares {
                    break 'descent;
                }
                break;
            }
            if small || predicted <= 1e-13 * here.squares || n_steps >= MOST_STEPS || !damping.is_finite() {
                break 'descent;
            }
            damping *= raise;
            raise *= 2.0;
        }
    }
    settle(curve, readings, parameters, n_steps, From::Descent)
}

/// Where Newton's steps begin.
#[derive(Clone, Copy, PartialEq)]
enum From {
    /// At the start of the search: they must be short, and must not climb.
    Start,
    /// At the end of a descent.
    Descent,
}

/// Newton's steps from close by, until they are as short as rounding allows.
fn settle<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    mut parameters: [f64; P],
    mut n_steps: usize,
    from: From,
) -> Result<Minimum<P>, NoMinimum> {
    let mut shortest = f64::INFINITY;
    let mut rest = 0;
    let mut squares = f64::INFINITY;
    let mut is_last = false;
    loop {
        let not_reached = NoMinimum::NotReached { steps: n_steps };
        let mut here = Curved::at(curve, readings, &parameters).ok_or(not_reached)?;
        let (triangle, side, lengths) = reduce(&mut here.rows, &mut here.residuals);
        if let Some(parameter) = triangle.undetermined() {
            return Err(NoMinimum::Undetermined { parameter: parameter + 1 });
        }
        let found = Minimum { parameters, squares: here.squares, triangle, n_steps };
        if is_last {
            return Ok(found);
        }
        let curvature = Curvature::of(&here.rest, &triangle).ok_or(not_reached)?;
        let step = triangle.solve(curvature.straighten(side));
        let size = scaled_length(&step, &lengths) / scaled_length(&parameters, &lengths).max(f64::MIN_POSITIVE);
        let is_far = from == From::Start && (size > 0.1 || here.squares > squares * (1.0 + 1e-9));
        if size.is_nan() || is_far || n_steps > MOST_STEPS + 50 {
            return Err(not_reached);
        }
        squares = here.squares;
        // Two steps that do not get shorter are the rounding of the residuals; what is left is below them.
        rest = if size < 0.5 * shortest { 0 } else { rest + 1 };
        shortest = shortest.min(size);
        let mut trial = parameters;
        for (parameter, step) in trial.iter_mut().zip(step) {
            *parameter += step;
        }
        if trial == parameters || rest >= 2 {
            return if size < 1e-6 { Ok(found) } else { Err(not_reached) };
        }
        // A further step would have the square of this length.
        is_last = size < 1e-9;
        n_steps += 1;
        parameters = trial;
    }
}

/// The triangle of the derivatives, the reflected residuals beside it, the lengths of its columns; both are used up.
fn reduce<const P: usize>(rows: &mut [[f64; P]], residuals: &mut [f64]) -> (Triangle<P>, [f64; P], [f64; P]) {
    let triangle = triangularise(rows);
    reflect(rows, residuals);
    let mut side = [0.0; P];
    side.copy_from_slice(&residuals[..P]);
    (triangle, side, triangle.column_lengths())
}

fn scaled_length<const P: usize>(vector: &[f64; P], scale: &[f64; P]) -> f64 {
    vector.iter().zip(scale).map(|(part, scale)| (part * scale) * (part * scale)).sum::<f64>().sqrt()
}

/// The triangle of the weighted first derivatives at given parameters; `None` where the curve is not finite.
pub fn triangle_at<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    parameters: &[f64; P],
) -> Option<Triangle<P>> {
    linearise(curve, readings, parameters).map(|mut here| triangularise(&mut here.rows))
}

fn linearise<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    parameters: &[f64; P],
) -> Option<Linearised<P>> {
    let n = readings.n();
    let mut here = Linearised { residuals: Vec::with_capacity(n), rows: Vec::with_capacity(n), squares: 0.0 };
    for place in 0..n {
        let (weight, variance) = (readings.weights[place], readings.variance_of_amount(place));
        let amount = nearest(curve, readings, place, parameters)?;
        let there = curve.slopes(amount, parameters);
        // At the nearest point the squared distance is w·e²·(1 + w·v·f′²) and its derivatives have the weight
        // w/(1 + w·v·f′²), v the variance of the amount.
        let stretch = 1.0 + weight * variance * there.by_amount * there.by_amount;
        let residual = (weight * stretch).sqrt() * (readings.responses[place] - there.value);
        let root = (weight / stretch).sqrt();
        here.squares += residual * residual;
        here.residuals.push(residual);
        here.rows.push(there.by_parameter.map(|slope| root * slope));
    }
    let finite = here.squares.is_finite() && here.rows.iter().flatten().all(|slope| slope.is_finite());
    finite.then_some(here)
}
