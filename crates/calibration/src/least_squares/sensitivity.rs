//! How the parameters at a minimum move with each response and each amount.
//!
//! [`partials`] solves the equations of the minimum for small changes (implicit function theorem), second derivatives
//! included, for exact amounts and for amounts with variances alike. [`nearest`] is the point of a curve that a reading
//! with an uncertain amount belongs to.
//!
//! Write e = y − f(ξ) for the residual at the nearest point ξ, w and v for the weight of the response and the variance
//! of the amount, g for the derivatives of f by the parameters. The minimum is where Σ w·e·g = 0, and ξ is where
//! v·w·e·f′ + (x − ξ) = 0. With h = w·(e·g′ − f′·g) and q = 1 + v·w·(f′² − e·f″) the changes obey
//! B·dp = Σ (w·g + v·w·f′·h/q)·dy + (h/q)·dx, B = Σ w·(g·gᵀ − e·∂g) − v·h·hᵀ/q.

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

use super::curve::{Curve, Readings};
use super::triangle::{Triangle, cholesky, solve_cholesky};

/// The partial derivatives of the parameters at a minimum.
///
/// # Arguments
/// * `minimum`: parameters and triangle as [`super::marquardt::least_squares`] found them.
/// * `partials`: for each reading, in the order of the readings, the derivatives of the parameters by its response and
///   by its amount.
///
/// Returns `false`, and leaves `partials` as they are, where the parameters are no minimum.
///
/// # Source
/// Implicit function theorem; JCGM 102:2011, 6.3 on implicit models. Checked by `tests/published/york.rs` and
/// `tests/published/iso_ts_28037.rs` through the propagated uncertainties printed there.
pub fn partials<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    parameters: &[f64; P],
    triangle: &Triangle<P>,
    partials: &mut Vec<([f64; P], [f64; P])>,
) -> bool {
    let motions = (0..readings.n()).map(|place| Motion::of(curve, readings, place, parameters));
    let Some(motions) = motions.collect::<Option<Vec<_>>>() else { return false };
    let mut rest = [[0.0; P]; P];
    for motion in &motions {
        motion.add_to(&mut rest);
    }
    let Some(curvature) = Curvature::of(&rest, triangle) else { return false };
    let solve = |right: [f64; P]| triangle.solve(curvature.straighten(triangle.solve_transposed(right)));
    partials.clear();
    partials.extend(motions.iter().map(|motion| {
        let mut by_response = [0.0; P];
        let mut by_amount = [0.0; P];
        for k in 0..P {
            by_response[k] =
                motion.weight * (motion.slopes[k] + motion.variance * motion.slope * motion.bend[k] / motion.stiffness);
            by_amount[k] = motion.bend[k] / motion.stiffness;
        }
        (solve(by_response), solve(by_amount))
    }));
    true
}

/// The amount at which a curve comes closest to a reading; the reading's own where that is exact.
///
/// `None` where the curve is not finite there, or where no closest point is found.
pub fn nearest<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    place: usize,
    parameters: &[f64; P],
) -> Option<f64> {
    let (amount, response) = (readings.amounts[place], readings.responses[place]);
    let (weight, variance) = (readings.weights[place], readings.variance_of_amount(place));
    if variance == 0.0 || weight == 0.0 {
        return Some(amount);
    }
    // The squared distance times the variance of the amount.
    let distance = |at: f64| {
        let residual = response - curve.response(at, parameters);
        (amount - at) * (amount - at) + variance * weight * residual * residual
    };
    let mut at = amount;
    let mut least = distance(at);
    for _ in 0..100 {
        let jet = curve.jet(at, parameters);
        let residual = response - jet.value;
        let pull = (amount - at) + variance * weight * residual * jet.by_amount;
        let safe = 1.0 + variance * weight * jet.by_amount * jet.by_amount;
        let newton = safe - variance * weight * residual * jet.by_amount_twice;
        // Away from a valley Newton's step climbs; the step without second derivatives always descends.
        let mut step = pull / if newton > 0.1 * safe { newton } else { safe };
        if !step.is_finite() {
            return None;
        }
        let mut halvings = 0;
        while at + step != at && halvings < 60 {
            let there = distance(at + step);
            if there <= least {
                break;
            }
            step *= 0.5;
            halvings += 1;
        }
        let next = at + step;
        let there = distance(next);
        if next == at || there.is_nan() || there > least || step.abs() <= 1e-16 * at.abs() {
            return least.is_finite().then_some(at);
        }
        (at, least) = (next, there);
    }
    least.is_finite().then_some(at)
}

/// What one reading adds to the equations of the minimum.
struct Motion<const P: usize> {
    weight: f64,
    variance: f64,
    residual: f64,
    slope: f64,
    slopes: [f64; P],
    second: [[f64; P]; P],
    /// h.
    bend: [f64; P],
    /// q.
    stiffness: f64,
}

impl<const P: usize> Motion<P> {
    fn of(curve: &impl Curve<P>, readings: &Readings<'_>, place: usize, parameters: &[f64; P]) -> Option<Self> {
        let (weight, variance) = (readings.weights[place], readings.variance_of_amount(place));
        let jet = curve.jet(nearest(curve, readings, place, parameters)?, parameters);
        let residual = readings.responses[place] - jet.value;
        let mut bend = [0.0; P];
        for (k, bend) in bend.iter_mut().enumerate() {
            *bend = weight * (residual * jet.by_amount_and_parameter[k] - jet.by_amount * jet.by_parameter[k]);
        }
        let stiffness = 1.0 + variance * weight * (jet.by_amount * jet.by_amount - residual * jet.by_amount_twice);
        Some(Self {
            weight,
            variance,
            residual,
            slope: jet.by_amount,
            slopes: jet.by_parameter,
            second: jet.by_parameters,
            bend,
            stiffness,
        })
    }

    /// Adds what the triangle of first derivatives lacks of B, with its sign turned.
    fn add_to(&self, rest: &mut [[f64; P]; P]) {
        let stretched = self.variance * self.weight * self.slope * self.slope;
        // w − w/(1 + s) = w·s/(1 + s) is what the triangle lacks of w·g·gᵀ.
        let lacking = self.weight * stretched / (1.0 + stretched);
        for i in 0..P {
            for j in 0..P {
                rest[i][j] += self.weight * self.residual * self.second[i][j]
                    + self.variance * self.bend[i] * self.bend[j] / self.stiffness
                    - lacking * self.slopes[i] * self.slopes[j];
            }
        }
    }
}

/// Residuals and first derivatives as weighted rows, and what the second derivatives add.
pub(crate) struct Curved<const P: usize> {
    pub residuals: Vec<f64>,
    pub rows: Vec<[f64; P]>,
    pub squares: f64,
    pub rest: [[f64; P]; P],
}

impl<const P: usize> Curved<P> {
    /// `None` where the curve is not finite.
    pub(crate) fn at(curve: &impl Curve<P>, readings: &Readings<'_>, parameters: &[f64; P]) -> Option<Self> {
        let n = readings.n();
        let mut here =
            Self { residuals: Vec::with_capacity(n), rows: Vec::with_capacity(n), squares: 0.0, rest: [[0.0; P]; P] };
        for place in 0..n {
            let motion = Motion::of(curve, readings, place, parameters)?;
            let stretch = 1.0 + motion.weight * motion.variance * motion.slope * motion.slope;
            let residual = (motion.weight * stretch).sqrt() * motion.residual;
            let root = (motion.weight / stretch).sqrt();
            here.squares += residual * residual;
            here.residuals.push(residual);
            here.rows.push(motion.slopes.map(|slope| root * slope));
            motion.add_to(&mut here.rest);
        }
        let finite = here.squares.is_finite() && here.rows.iter().flatten().all(|slope| slope.is_finite());
        finite.then_some(here)
    }
}

/// What second derivatives add to the triangle of the first ones: B = Rᵀ·(I − M)·R, kept as the factor of I − M.
///
/// Written so, nothing of the triangle's accuracy is lost: I − M is close to the unit matrix wherever the residuals are
/// small against the curvature.
pub(crate) struct Curvature<const P: usize> {
    factor: [[f64; P]; P],
}

impl<const P: usize> Curvature<P> {
    /// `None` where the sum of squares does not curve upwards in every direction.
    ///
    /// # Arguments
    /// * `rest`: RᵀR − B.
    pub(crate) fn of(rest: &[[f64; P]; P], triangle: &Triangle<P>) -> Option<Self> {
        // M = R⁻ᵀ·rest·R⁻¹, from both sides.
        let mut half = [[0.0; P]; P];
        for j in 0..P {
            let mut column = [0.0; P];
            for i in 0..P {
                column[i] = rest[i][j];
            }
            let column = triangle.solve_transposed(column);
            for i in 0..P {
                half[i][j] = column[i];
            }
        }
        let mut matrix = [[0.0; P]; P];
        for i in 0..P {
            let row = triangle.solve_transposed(half[i]);
            for j in 0..P {
                matrix[i][j] = -row[j];
            }
        }
        for i in 0..P {
            for j in 0..i {
                let mean = 0.5 * (matrix[i][j] + matrix[j][i]);
                matrix[i][j] = mean;
                matrix[j][i] = mean;
            }
            matrix[i][i] += 1.0;
        }
        cholesky(&matrix).map(|factor| Self { factor })
    }

    /// (I − M)⁻¹·z.
    pub(crate) fn straighten(&self, z: [f64; P]) -> [f64; P] {
        solve_cholesky(&self.factor, z)
    }
}
