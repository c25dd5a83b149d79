//! Sums of powers, fitted to nearly the last digit of the data.
//!
//! [`Polynomial::fit`] centres and scales the amounts, reflects by Householder and then refines the solution with
//! residuals of twice the digits, so that polynomials of high order over uncentred amounts keep their digits. The few readings
//! of an ordinary calibration go through [`few`] in a tenth of the time.
//!
//! Invariant: sums run in the order of the readings.

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

use super::curve::{Curve, Readings, Solution};
use super::marquardt::NoMinimum;
use super::number::Number;
use super::triangle::{reflect, reflect_back, triangularise};
use super::twofold::{Twofold, power_of_two_above};

pub(crate) mod few;

/// Which powers a polynomial of `P` coefficients has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Polynomial {
    /// 1, x, x², …, x^(P−1).
    WithConstant,
    /// x, x², …, x^P: no response without amount.
    ThroughOrigin,
}

impl<const P: usize> Curve<P> for Polynomial {
    fn response<N: Number>(&self, amount: N, parameters: &[N; P]) -> N {
        let mut sum = N::constant(0.0);
        for parameter in parameters.iter().rev() {
            sum = sum * amount + *parameter;
        }
        match self {
            Polynomial::WithConstant => sum,
            Polynomial::ThroughOrigin => sum * amount,
        }
    }
}

impl Polynomial {
    /// Fits the coefficients.
    ///
    /// # Arguments
    /// * `readings`: n ≥ P with exact amounts; variances of amounts are not looked at.
    ///
    /// # Errors
    /// [`NoMinimum`]: too few readings, or too few distinct amounts among them.
    ///
    /// # Source
    /// Refinement of solution and residuals together: Å. Björck, BIT 7 (1967) 257; G. H. Golub, J. H. Wilkinson, Numer.
    /// Math. 9 (1966) 139 (from memory). Checked by `tests/published/nist_linear.rs`.
    pub fn fit<const P: usize>(self, readings: &Readings<'_>) -> Result<Solution<P>, NoMinimum> {
        let n = readings.n();
        if n < P {
            return Err(NoMinimum::TooFew { found: n, needed: P });
        }
        let frame = Frame::of(self, readings);
        let mut rows: Vec<[Twofold; P]> = Vec::with_capacity(n);
        let mut responses: Vec<Twofold> = Vec::with_capacity(n);
        for place in 0..n {
            let root = (readings.weights[place] / frame.weight).sqrt();
            let powers: [Twofold; P] = self.powers(frame.amount(readings.amounts[place]));
            rows.push(powers.map(|power| Twofold::from(root) * power));
            responses.push(Twofold::product(root, readings.responses[place] / frame.response));
        }
        let mut reflectors: Vec<[f64; P]> = rows.iter().map(|row| row.map(Twofold::value)).collect();
        let triangle = triangularise(&mut reflectors);
        if let Some(parameter) = triangle.undetermined() {
            return Err(NoMinimum::Undetermined { parameter: parameter + 1 });
        }
        let mut coefficients = [Twofold::ZERO; P];
        let mut residuals = vec![Twofold::ZERO; n];
        let mut lacking: Vec<f64> = responses.iter().map(|response| response.value()).collect();
        let mut balance = [Twofold::ZERO; P];
        // The first round is the plain solution; each further one brings it nearer by the factor of the first error.
        for _ in 0..5 {
            let upper = triangle.solve_transposed(balance.map(Twofold::value));
            reflect(&reflectors, &mut lacking);
            let mut right = [0.0; P];
            for k in 0..P {
                right[k] = lacking[k] - upper[k];
                lacking[k] = upper[k];
            }
            let step = triangle.solve(right);
            reflect_back(&reflectors, &mut lacking);
            for (residual, step) in residuals.iter_mut().zip(&lacking) {
                *residual = *residual + Twofold::from(*step);
            }
            let (mut largest, mut moved) = (0.0_f64, 0.0_f64);
            for (coefficient, step) in coefficients.iter_mut().zip(step) {
                *coefficient = *coefficient + Twofold::from(step);
                largest = largest.max(coefficient.high.abs());
                moved = moved.max(step.abs());
            }
            // The next round would move them by the square of this, relatively.
            if moved <= 1e-11 * largest {
                break;
            }
            balance = [Twofold::ZERO; P];
            for place in 0..n {
                let (row, residual) = (&rows[place], residuals[place]);
                let mut rest = responses[place] - residual;
                for k in 0..P {
                    rest = rest - row[k] * coefficients[k];
                    balance[k] = balance[k] - row[k] * residual;
                }
                lacking[place] = rest.value();
            }
        }
        let mut squares = 0.0;
        for residual in &residuals {
            squares += residual.value() * residual.value();
        }
        let found = frame.uncentred(self, coefficients).map(|coefficient| coefficient.scaled(frame.response).value());
        let inverse = triangle.inverse();
        let mut factor = [[0.0; P]; P];
        for column in 0..P {
            let mut of_column = [Twofold::ZERO; P];
            for row in 0..P {
                of_column[row] = Twofold::from(inverse[row][column]);
            }
            let of_column = frame.uncentred(self, of_column);
            for row in 0..P {
                factor[row][column] = of_column[row].value() / frame.weight.sqrt();
            }
        }
        let squares = squares * frame.weight * frame.response * frame.response;
        let finite =
            found.iter().chain(factor.iter().flatten()).all(|figure| figure.is_finite()) && squares.is_finite();
        if finite { Ok(Solution { parameters: found, factor, squares }) } else { Err(NoMinimum::Start) }
    }

    fn powers<const P: usize>(self, amount: Twofold) -> [Twofold; P] {
        let mut powers = [Twofold::from(1.0); P];
        if self == Polynomial::ThroughOrigin && P > 0 {
            powers[0] = amount;
        }
        for k in 1..P {
            powers[k] = powers[k - 1] * amount;
        }
        powers
    }
}

/// The centre and the powers of two that bring amounts, responses and weights near one.
struct Frame {
    centre: f64,
    amount: f64,
    response: f64,
    /// A power of four, so that its root is exact.
    weight: f64,
}

impl Frame {
    fn of(polynomial: Polynomial, readings: &Readings<'_>) -> Self {
        let largest = |values: &[f64]| values.iter().fold(0.0_f64, |largest, value| largest.max(value.abs()));
        let low = readings.amounts.iter().copied().fold(f64::INFINITY, f64::min);
        let high = readings.amounts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (centre, reach) = match polynomial {
            Polynomial::WithConstant => (0.5 * low + 0.5 * high, 0.5 * high - 0.5 * low),
            Polynomial::ThroughOrigin => (0.0, low.abs().max(high.abs())),
        };
        let root = power_of_two_above(largest(readings.weights).sqrt());
        Self {
            centre,
            amount: power_of_two_above(reach),
            response: power_of_two_above(largest(readings.responses)),
            weight: root * root,
        }
    }

    fn amount(&self, amount: f64) -> Twofold {
        Twofold::sum(amount, -self.centre).scaled(1.0 / self.amount)
    }

    /// Coefficients of powers of the amount from those of powers about the centre.
    fn uncentred<const P: usize>(&self, polynomial: Polynomial, mut coefficients: [Twofold; P]) -> [Twofold; P] {
        let mut scale = match polynomial {
            Polynomial::WithConstant => 1.0,
            Polynomial::ThroughOrigin => 1.0 / self.amount,
        };
        for coefficient in &mut coefficients {
            *coefficient = coefficient.scaled(scale);
            scale /= self.amount;
        }
        if polynomial == Polynomial::WithConstant {
            let centre = Twofold::from(-self.centre);
            for start in 0..P {
                for k in (start..P.saturating_sub(1)).rev() {
                    coefficients[k] = coefficients[k] + centre * coefficients[k + 1];
                }
            }
        }
        coefficients
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn readings<'a>(amounts: &'a [f64], responses: &'a [f64], weights: &'a [f64]) -> Readings<'a> {
        Readings { amounts, responses, weights, variances_of_amounts: None }
    }

    #[test]
    fn an_exact_cubic_far_from_its_origin_comes_back() {
        let amounts: Vec<f64> = (0..8).map(|i| 1000.0 + f64::from(i)).collect();
        let responses: Vec<f64> = amounts.iter().map(|x| 1.0 + x + x * x + x * x * x).collect();
        let weights = [1.0, 3.0, 1.0, 2.0, 1.0, 1.0, 7.0, 1.0];
        let found = Polynomial::WithConstant.fit::<4>(&readings(&amounts, &responses, &weights)).unwrap();
        for coefficient in found.parameters {
            assert!((coefficient - 1.0).abs() < 1e-12, "{found:?}");
        }
        assert!(found.squares < 1e-20, "{found:?}");
    }

    #[test]
    fn two_levels_do_not_determine_a_parabola() {
        let amounts = [1.0, 1.0, 2.0, 2.0];
        let fit = Polynomial::WithConstant.fit::<3>(&readings(&amounts, &[0.1, 0.2, 0.3, 0.4], &[1.0; 4]));
        assert_eq!(fit, Err(NoMinimum::Undetermined { parameter: 3 }));
        let fit = Polynomial::ThroughOrigin.fit::<1>(&readings(&[0.0; 4], &[0.1, 0.2, 0.3, 0.4], &[1.0; 4]));
        assert_eq!(fit, Err(NoMinimum::Undetermined { parameter: 1 }));
    }

    fn any_columns() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
        proptest::collection::vec((0.0..10.0_f64, -1.0..2.0_f64, 0.1..10.0_f64), 5..12)
    }

    proptest! {
        #[test]
        fn a_parabola_is_that_of_another_library(figures in any_columns()) {
            let amounts: Vec<f64> = figures.iter().map(|f| f.0).collect();
            let responses: Vec<f64> = figures.iter().map(|f| f.1).collect();
            let weights: Vec<f64> = figures.iter().map(|f| f.2).collect();
            let matrix = nalgebra::DMatrix::from_fn(figures.len(), 3, |i, j| {
                weights[i].sqrt() * [1.0, amounts[i], amounts[i] * amounts[i]][j]
            });
            let right = nalgebra::DVector::from_fn(figures.len(), |i, _| weights[i].sqrt() * responses[i]);
            prop_assume!(matrix.singular_values().min() > 0.05);
            let qr = matrix.clone().qr();
            let other = qr.r().solve_upper_triangular(&(qr.q().transpose() * right)).unwrap();
            let covariance = (matrix.transpose() * &matrix).try_inverse().unwrap();
            let found = Polynomial::WithConstant.fit::<3>(&readings(&amounts, &responses, &weights)).unwrap();
            for i in 0..3 {
                prop_assert!((found.parameters[i] - other[i]).abs() < 1e-9 * (1.0 + other[i].abs()));
                for j in 0..3 {
                    let mine: f64 = (0..3).map(|k| found.factor[i][k] * found.factor[j][k]).sum();
                    let size = (covariance[(i, i)] * covariance[(j, j)]).sqrt();
                    prop_assert!((mine - covariance[(i, j)]).abs() < 1e-8 * size);
                }
            }
        }

        #[test]
        fn no_readings_whatever_panic(figures in proptest::collection::vec((any::<f64>(), any::<f64>(), any::<f64>()), 0..8)) {
            let amounts: Vec<f64> = figures.iter().map(|f| f.0).collect();
            let responses: Vec<f64> = figures.iter().map(|f| f.1).collect();
            let weights: Vec<f64> = figures.iter().map(|f| f.2).collect();
            if let Ok(found) = Polynomial::WithConstant.fit::<3>(&readings(&amounts, &responses, &weights)) {
                prop_assert!(found.parameters.iter().all(|c| c.is_finite()));
            }
        }
    }
}
