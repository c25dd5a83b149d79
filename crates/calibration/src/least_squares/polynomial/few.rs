//! Polynomials through as few readings as a calibration has: no heap, no twofold digits.
//!
//! [`fit`] finds what [`Polynomial::fit`] finds, to eleven digits at least, or nothing: where columns lie close together, the
//! centre lies far off, readings scatter by less than rounding lets see, or a second look moves the solution, the caller turns
//! to the solver that keeps every digit.
//!
//! Invariant: plain arithmetic in the order of the readings, so the bits are the same everywhere.

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

use super::{Frame, Polynomial};
use crate::least_squares::curve::{Readings, Solution};

/// Most readings that find a place.
pub const MOST: usize = 16;
/// Least sine between a column and those before it: the solution then keeps twelve of sixteen digits before the second look.
const LEAST_SINE: f64 = 1e-4;
/// Most that the second look may move the solution, relatively.
const MOST_MOVED: f64 = 1e-11;
/// Least sum of squared residuals over that of the responses: below it residuals lose digits in plain numbers.
const LEAST_SQUARES: f64 = 1e-8;
/// Farthest centre, in half ranges of the amounts: two digits are lost on the way back from it.
const FARTHEST_CENTRE: f64 = 4.0;

/// Fits the coefficients to sixteen readings or fewer; `None` where that asks for more digits.
///
/// # Arguments
/// * `readings`: with exact amounts; variances of amounts are not looked at.
///
/// # Source
/// Householder's triangle with one step of refinement: G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed., 2013, 5.3.8
/// (from memory). Checked against [`Polynomial::fit`].
pub fn fit<const P: usize>(polynomial: Polynomial, readings: &Readings<'_>) -> Option<Solution<P>> {
    let n = readings.n();
    if n < P || n > MOST {
        return None;
    }
    let frame = Frame::of(polynomial, readings);
    if frame.centre.abs() > FARTHEST_CENTRE * frame.amount {
        return None;
    }
    // Powers of two, so that products with their inverses are quotients.
    let (of_weight, of_amount, of_response) = (1.0 / frame.weight, 1.0 / frame.amount, 1.0 / frame.response);
    let mut columns = [[0.0; MOST]; P];
    let mut responses = [0.0; MOST];
    for place in 0..n {
        let root = (readings.weights[place] * of_weight).sqrt();
        let amount = (readings.amounts[place] - frame.centre) * of_amount;
        let mut power = match polynomial {
            Polynomial::WithConstant => root,
            Polynomial::ThroughOrigin => root * amount,
        };
        for column in &mut columns {
            column[place] = power;
            power *= amount;
        }
        responses[place] = root * (readings.responses[place] * of_response);
    }
    let triangle = Reflected::of(&columns, n)?;
    let mut coefficients = triangle.nearest(responses);
    let mut residuals = responses;
    take_off(&mut residuals, &columns, &coefficients, n);
    let step = triangle.nearest(residuals);
    let (mut largest, mut moved) = (0.0_f64, 0.0_f64);
    for k in 0..P {
        coefficients[k] += step[k];
        largest = largest.max(coefficients[k].abs());
        moved = moved.max(step[k].abs());
    }
    take_off(&mut residuals, &columns, &step, n);
    let squares = product(&residuals, &residuals, n);
    if !(moved <= MOST_MOVED * largest && squares >= LEAST_SQUARES * product(&responses, &responses, n)) {
        return None;
    }
    let parameters = uncentred(&frame, polynomial, coefficients).map(|coefficient| coefficient * frame.response);
    let of_root = of_weight.sqrt();
    let mut factor = [[0.0; P]; P];
    for column in 0..P {
        let mut unit = [0.0; P];
        unit[column] = of_root;
        let of_column = uncentred(&frame, polynomial, triangle.solve(unit));
        for row in 0..P {
            factor[row][column] = of_column[row];
        }
    }
    let squares = squares * frame.weight * frame.response * frame.response;
    let are_finite =
        parameters.iter().chain(factor.iter().flatten()).all(|figure| figure.is_finite()) && squares.is_finite();
    are_finite.then_some(Solution { parameters, factor, squares })
}

/// Columns reflected to an upper triangle.
struct Reflected<const P: usize> {
    n: usize,
    /// The reflectors v, by column from the diagonal down, and 2/vᵀv.
    reflectors: [[f64; MOST]; P],
    betas: [f64; P],
    /// What is above the diagonal, and the inverses of what is on it.
    above: [[f64; P]; P],
    inverses: [f64; P],
}

impl<const P: usize> Reflected<P> {
    /// `None` where a column hardly stands out of those before it.
    fn of(columns: &[[f64; MOST]; P], n: usize) -> Option<Self> {
        let mut reflected = Self { n, reflectors: *columns, betas: [0.0; P], above: [[0.0; P]; P], inverses: [0.0; P] };
        for column in 0..P {
            let squares_before = product(&columns[column], &columns[column], n);
            let mut squares = 0.0;
            for value in &reflected.reflectors[column][column..n] {
                squares += value * value;
            }
            // What is not a number is not large enough.
            if !(squares >= LEAST_SINE * LEAST_SINE * squares_before && squares > 1e-200) {
                return None;
            }
            let length = squares.sqrt();
            let pivot = reflected.reflectors[column][column];
            let diagonal = if pivot > 0.0 { -length } else { length };
            reflected.reflectors[column][column] = pivot - diagonal;
            reflected.betas[column] = 1.0 / (squares + pivot.abs() * length);
            reflected.inverses[column] = 1.0 / diagonal;
            let reflector = reflected.reflectors[column];
            for other in column + 1..P {
                reflect(&reflector, reflected.betas[column], column, &mut reflected.reflectors[other], n);
                reflected.above[column][other] = reflected.reflectors[other][column];
            }
        }
        Some(reflected)
    }

    /// The coefficients whose columns come nearest to a right side.
    fn nearest(&self, mut right: [f64; MOST]) -> [f64; P] {
        for column in 0..P {
            reflect(&self.reflectors[column], self.betas[column], column, &mut right, self.n);
        }
        let mut upper = [0.0; P];
        upper.copy_from_slice(&right[..P]);
        self.solve(upper)
    }

    fn solve(&self, mut right: [f64; P]) -> [f64; P] {
        for i in (0..P).rev() {
            for j in i + 1..P {
                right[i] -= self.above[i][j] * right[j];
            }
            right[i] *= self.inverses[i];
        }
        right
    }
}

/// Reflects a column from a place down.
#[inline]
fn reflect(reflector: &[f64; MOST], beta: f64, from: usize, column: &mut [f64; MOST], n: usize) {
    let mut product = 0.0;
    for (one, other) in reflector[from..n].iter().zip(&column[from..n]) {
        product += one * other;
    }
    product *= beta;
    for (one, other) in reflector[from..n].iter().zip(&mut column[from..n]) {
        *other -= product * one;
    }
}

/// Takes the columns times coefficients off a right side.
#[inline]
fn take_off<const P: usize>(right: &mut [f64; MOST], columns: &[[f64; MOST]; P], coefficients: &[f64; P], n: usize) {
    for (column, coefficient) in columns.iter().zip(coefficients) {
        for (value, entry) in right[..n].iter_mut().zip(&column[..n]) {
            *value -= entry * coefficient;
        }
    }
}

#[inline]
fn product(one: &[f64; MOST], other: &[f64; MOST], n: usize) -> f64 {
    let mut product = 0.0;
    for (one, other) in one[..n].iter().zip(&other[..n]) {
        product += one * other;
    }
    product
}

/// As [`Frame::uncentred`], in plain numbers.
fn uncentred<const P: usize>(frame: &Frame, polynomial: Polynomial, mut coefficients: [f64; P]) -> [f64; P] {
    let of_one = 1.0 / frame.amount;
    let mut scale = match polynomial {
        Polynomial::WithConstant => 1.0,
        Polynomial::ThroughOrigin => of_one,
    };
    for coefficient in &mut coefficients {
        *coefficient *= scale;
        scale *= of_one;
    }
    if polynomial == Polynomial::WithConstant {
        for start in 0..P {
            for k in (start..P.saturating_sub(1)).rev() {
                coefficients[k] -= frame.centre * coefficients[k + 1];
            }
        }
    }
    coefficients
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn readings<'a>(amounts: &'a [f64], responses: &'a [f64], weights: &'a [f64]) -> Readings<'a> {
        Readings { amounts, responses, weights, variances_of_amounts: None }
    }

    fn any_calibration() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
        proptest::collection::vec((0.0..10.0_f64, -0.02..0.02_f64, 0.1..10.0_f64), 3..=MOST)
    }

    /// How far two solutions lie apart, in standard errors of the parameters and relatively for these and the squares.
    fn apart<const P: usize>(one: &Solution<P>, other: &Solution<P>) -> f64 {
        let mut apart = (one.squares / other.squares - 1.0).abs();
        let size: f64 = other.parameters.iter().map(|parameter| parameter.abs()).fold(0.0, f64::max);
        for k in 0..P {
            apart = apart.max((one.parameters[k] - other.parameters[k]).abs() / size);
            for l in 0..P {
                let norm = (other.covariance(k, k) * other.covariance(l, l)).sqrt();
                apart = apart.max((one.covariance(k, l) - other.covariance(k, l)).abs() / norm);
            }
        }
        apart
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn what_is_found_has_eleven_digits_of_the_solver_that_keeps_them_all(
            figures in any_calibration(), offset in 0.0..20.0_f64, scale in 1e-9..1e3_f64,
        ) {
            let amounts: Vec<f64> = figures.iter().map(|figure| scale * (offset + figure.0)).collect();
            let responses: Vec<f64> =
                figures.iter().map(|(x, noise, _)| 0.01 + 0.1 * x - 0.002 * x * x + noise).collect();
            let weights: Vec<f64> = figures.iter().map(|figure| figure.2).collect();
            let readings = readings(&amounts, &responses, &weights);
            if let Some(found) = fit::<3>(Polynomial::WithConstant, &readings) {
                let whole = Polynomial::WithConstant.fit::<3>(&readings).unwrap();
                prop_assert!(apart(&found, &whole) < 1e-11, "{found:?} {whole:?}");
            }
            if let Some(found) = fit::<2>(Polynomial::ThroughOrigin, &readings) {
                let whole = Polynomial::ThroughOrigin.fit::<2>(&readings).unwrap();
                prop_assert!(apart(&found, &whole) < 1e-11, "{found:?} {whole:?}");
            }
        }

        #[test]
        fn no_readings_whatever_panic_or_give_what_is_no_number(
            figures in proptest::collection::vec((any::<f64>(), any::<f64>(), any::<f64>()), 0..18),
        ) {
            let amounts: Vec<f64> = figures.iter().map(|figure| figure.0).collect();
            let responses: Vec<f64> = figures.iter().map(|figure| figure.1).collect();
            let weights: Vec<f64> = figures.iter().map(|figure| figure.2).collect();
            let readings = readings(&amounts, &responses, &weights);
            for found in [Polynomial::WithConstant, Polynomial::ThroughOrigin].map(|of| fit::<3>(of, &readings)).into_iter().flatten() {
                prop_assert!(found.parameters.iter().all(|figure| figure.is_finite()) && found.squares >= 0.0);
            }
        }
    }

    #[test]
    fn an_ordinary_calibration_is_fitted_here() {
        let amounts = [0.0, 2.5, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5];
        let responses = [0.0021, 0.0992, 0.1921, 0.2811, 0.3663, 0.4467, 0.5238, 0.5980];
        let weights = amounts.map(|amount| 1.0 / (1.0 + amount));
        assert!(fit::<3>(Polynomial::WithConstant, &readings(&amounts, &responses, &weights)).is_some());
    }

    #[test]
    fn what_asks_for_more_digits_is_left_to_the_other_solver() {
        let weights = [1.0; 4];
        let far = [1000.0, 1001.0, 1002.0, 1003.0];
        let near = [0.0, 1.0, 2.0, 3.0];
        let exact = near.map(|x| 0.1 * x + 0.01 * x * x);
        let level = [1.0, 1.0, 2.0, 2.0];
        let scattered = [0.1, 0.3, 0.4, 0.8];
        for (amounts, responses) in [(far, scattered), (near, exact), (level, scattered), ([0.0; 4], scattered)] {
            assert_eq!(
                fit::<3>(Polynomial::WithConstant, &readings(&amounts, &responses, &weights)),
                None,
                "{amounts:?}"
            );
        }
        assert_eq!(fit::<3>(Polynomial::WithConstant, &readings(&[0.0; 17], &[0.0; 17], &[1.0; 17])), None);
    }
}
