//! Numbers that carry their derivatives along: Taylor arithmetic of first and second order.
//!
//! A curve is written once, over any [`Number`]. With `f64` it gives a response, with [`Slopes`] also its first
//! derivatives by the amount and the parameters, with [`Jet`] the second ones too. All are exact to rounding, and none
//! can drift apart from the curve.
//!
//! Source: rules of differentiation; forward accumulation as in A. Griewank, A. Walther, Evaluating Derivatives, 2nd ed.,
//! SIAM, 2008, chapter 13 (from memory).

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// What a curve may do with its numbers.
pub trait Number:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> + Neg<Output = Self>
{
    /// A number that depends on nothing.
    fn constant(value: f64) -> Self;
    /// Its value without derivatives.
    fn value(self) -> f64;
    /// Exponential.
    #[must_use]
    fn exp(self) -> Self;
    /// Natural logarithm.
    #[must_use]
    fn ln(self) -> Self;
    /// Square root.
    #[must_use]
    fn sqrt(self) -> Self;
}

impl Number for f64 {
    #[inline]
    fn constant(value: f64) -> Self {
        value
    }
    #[inline]
    fn value(self) -> f64 {
        self
    }
    #[inline]
    fn exp(self) -> Self {
        libm::exp(self)
    }
    #[inline]
    fn ln(self) -> Self {
        libm::log(self)
    }
    #[inline]
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
}

/// A value with its first derivatives by the amount and by each of `P` parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slopes<const P: usize> {
    /// The value.
    pub value: f64,
    /// Its derivative by the amount.
    pub by_amount: f64,
    /// Its derivatives by the parameters.
    pub by_parameter: [f64; P],
}

/// A value with its first and second derivatives by the amount and by each of `P` parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jet<const P: usize> {
    /// The value.
    pub value: f64,
    /// Its derivative by the amount.
    pub by_amount: f64,
    /// Its derivatives by the parameters.
    pub by_parameter: [f64; P],
    /// Its second derivative by the amount.
    pub by_amount_twice: f64,
    /// Its mixed derivatives by the amount and a parameter.
    pub by_amount_and_parameter: [f64; P],
    /// Its second derivatives by two parameters.
    pub by_parameters: [[f64; P]; P],
}

impl<const P: usize> Slopes<P> {
    /// The amount itself.
    pub fn amount(value: f64) -> Self {
        Self { value, by_amount: 1.0, by_parameter: [0.0; P] }
    }
    /// The parameters themselves.
    pub fn parameters(values: &[f64; P]) -> [Self; P] {
        let mut parameters = values.map(Self::constant);
        for (place, parameter) in parameters.iter_mut().enumerate() {
            parameter.by_parameter[place] = 1.0;
        }
        parameters
    }
    /// A function of this number, from its value and derivative.
    #[inline]
    fn through(self, value: f64, first: f64) -> Self {
        Self { value, by_amount: first * self.by_amount, by_parameter: self.by_parameter.map(|d| first * d) }
    }
}

impl<const P: usize> Jet<P> {
    /// The amount itself.
    pub fn amount(value: f64) -> Self {
        Self { by_amount: 1.0, ..Self::constant(value) }
    }
    /// The parameters themselves.
    pub fn parameters(values: &[f64; P]) -> [Self; P] {
        let mut parameters = values.map(Self::constant);
        for (place, parameter) in parameters.iter_mut().enumerate() {
            parameter.by_parameter[place] = 1.0;
        }
        parameters
    }
    /// A function of this number, from its value and derivatives (chain rule).
    #[inline]
    fn through(self, value: f64, first: f64, second: f64) -> Self {
        let mut result = Self {
            value,
            by_amount: first * self.by_amount,
            by_parameter: self.by_parameter.map(|d| first * d),
            by_amount_twice: first * self.by_amount_twice + second * self.by_amount * self.by_amount,
            by_amount_and_parameter: [0.0; P],
            by_parameters: [[0.0; P]; P],
        };
        for i in 0..P {
            result.by_amount_and_parameter[i] =
                first * self.by_amount_and_parameter[i] + second * self.by_amount * self.by_parameter[i];
            for j in 0..P {
                result.by_parameters[i][j] =
                    first * self.by_parameters[i][j] + second * self.by_parameter[i] * self.by_parameter[j];
            }
        }
        result
    }
    /// Adds a multiple of another number, derivative by derivative.
    #[inline]
    fn plus(mut self, factor: f64, other: Self) -> Self {
        self.value += factor * other.value;
        self.by_amount += factor * other.by_amount;
        self.by_amount_twice += factor * other.by_amount_twice;
        for i in 0..P {
            self.by_parameter[i] += factor * other.by_parameter[i];
            self.by_amount_and_parameter[i] += factor * other.by_amount_and_parameter[i];
            for j in 0..P {
                self.by_parameters[i][j] += factor * other.by_parameters[i][j];
            }
        }
        self
    }
}

impl<const P: usize> Number for Slopes<P> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self { value, by_amount: 0.0, by_parameter: [0.0; P] }
    }
    #[inline]
    fn value(self) -> f64 {
        self.value
    }
    #[inline]
    fn exp(self) -> Self {
        let value = libm::exp(self.value);
        self.through(value, value)
    }
    #[inline]
    fn ln(self) -> Self {
        self.through(libm::log(self.value), 1.0 / self.value)
    }
    #[inline]
    fn sqrt(self) -> Self {
        let value = self.value.sqrt();
        self.through(value, 0.5 / value)
    }
}

impl<const P: usize> Number for Jet<P> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self {
            value,
            by_amount: 0.0,
            by_parameter: [0.0; P],
            by_amount_twice: 0.0,
            by_amount_and_parameter: [0.0; P],
            by_parameters: [[0.0; P]; P],
        }
    }
    #[inline]
    fn value(self) -> f64 {
        self.value
    }
    #[inline]
    fn exp(self) -> Self {
        let value = libm::exp(self.value);
        self.through(value, value, value)
    }
    #[inline]
    fn ln(self) -> Self {
        let first = 1.0 / self.value;
        self.through(libm::log(self.value), first, -first * first)
    }
    #[inline]
    fn sqrt(self) -> Self {
        let value = self.value.sqrt();
        let first = 0.5 / value;
        self.through(value, first, -0.5 * first / self.value)
    }
}

impl<const P: usize> Add for Slopes<P> {
    type Output = Self;
    #[inline]
    fn add(mut self, other: Self) -> Self {
        self.value += other.value;
        self.by_amount += other.by_amount;
        for (mine, theirs) in self.by_parameter.iter_mut().zip(other.by_parameter) {
            *mine += theirs;
        }
        self
    }
}

impl<const P: usize> Neg for Slopes<P> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        self.through(-self.value, -1.0)
    }
}

impl<const P: usize> Sub for Slopes<P> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl<const P: usize> Mul for Slopes<P> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        let mut product = self.through(self.value * other.value, other.value);
        product.by_amount += self.value * other.by_amount;
        for (d, theirs) in product.by_parameter.iter_mut().zip(other.by_parameter) {
            *d += self.value * theirs;
        }
        product
    }
}

impl<const P: usize> Div for Slopes<P> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        // The quotient q obeys dq = (da − q·db)/b; its value is one division, as in plain arithmetic.
        let value = self.value / other.value;
        let mut quotient = self.through(value, 1.0 / other.value);
        quotient.by_amount -= value * other.by_amount / other.value;
        for (d, theirs) in quotient.by_parameter.iter_mut().zip(other.by_parameter) {
            *d -= value * theirs / other.value;
        }
        quotient
    }
}

impl<const P: usize> Add for Jet<P> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        self.plus(1.0, other)
    }
}

impl<const P: usize> Neg for Jet<P> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        self.through(-self.value, -1.0, 0.0)
    }
}

impl<const P: usize> Sub for Jet<P> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self.plus(-1.0, other)
    }
}

impl<const P: usize> Mul for Jet<P> {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        let (a, b) = (self, other);
        let mut product = Self::constant(a.value * b.value);
        product.by_amount = a.by_amount * b.value + a.value * b.by_amount;
        product.by_amount_twice =
            a.by_amount_twice * b.value + 2.0 * a.by_amount * b.by_amount + a.value * b.by_amount_twice;
        for i in 0..P {
            product.by_parameter[i] = a.by_parameter[i] * b.value + a.value * b.by_parameter[i];
            product.by_amount_and_parameter[i] = a.by_amount_and_parameter[i] * b.value
                + a.by_amount * b.by_parameter[i]
                + a.by_parameter[i] * b.by_amount
                + a.value * b.by_amount_and_parameter[i];
            for j in 0..P {
                product.by_parameters[i][j] = a.by_parameters[i][j] * b.value
                    + a.by_parameter[i] * b.by_parameter[j]
                    + a.by_parameter[j] * b.by_parameter[i]
                    + a.value * b.by_parameters[i][j];
            }
        }
        product
    }
}

impl<const P: usize> Div for Jet<P> {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        // From a = q·b: each derivative of q is what is left of that of a, over b.
        let (a, b) = (self, other);
        let inverse = 1.0 / b.value;
        let mut q = Self::constant(a.value / b.value);
        q.by_amount = (a.by_amount - q.value * b.by_amount) * inverse;
        q.by_amount_twice =
            (a.by_amount_twice - 2.0 * q.by_amount * b.by_amount - q.value * b.by_amount_twice) * inverse;
        for i in 0..P {
            q.by_parameter[i] = (a.by_parameter[i] - q.value * b.by_parameter[i]) * inverse;
        }
        for i in 0..P {
            q.by_amount_and_parameter[i] = (a.by_amount_and_parameter[i]
                - q.by_amount * b.by_parameter[i]
                - q.by_parameter[i] * b.by_amount
                - q.value * b.by_amount_and_parameter[i])
                * inverse;
            for j in 0..P {
                q.by_parameters[i][j] = (a.by_parameters[i][j]
                    - q.by_parameter[i] * b.by_parameter[j]
                    - q.by_parameter[j] * b.by_parameter[i]
                    - q.value * b.by_parameters[i][j])
                    * inverse;
            }
        }
        q
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A curve that uses every operation.
    fn winding<N: Number>(amount: N, parameters: &[N; 2]) -> N {
        let [a, b] = *parameters;
        let two = N::constant(2.0);
        (a * amount / (N::constant(1.0) + b * amount)).exp() - (two + amount * amount * b).ln() * (a + two).sqrt() / two
            + -b
    }

    proptest! {
        #[test]
        fn derivatives_are_those_of_small_steps(x in 0.1..3.0_f64, a in 0.1..2.0_f64, b in 0.1..2.0_f64) {
            let jet = winding(Jet::<2>::amount(x), &Jet::parameters(&[a, b]));
            let slopes = winding(Slopes::<2>::amount(x), &Slopes::parameters(&[a, b]));
            prop_assert_eq!(jet.value, winding(x, &[a, b]));
            prop_assert_eq!(slopes.value, jet.value);
            let h = 1e-6;
            let at = |x: f64, a: f64, b: f64| winding(Slopes::<2>::amount(x), &Slopes::parameters(&[a, b]));
            let close = |step: f64, exact: f64| (step - exact).abs() < 1e-5 * (1.0 + exact.abs());
            prop_assert!(close((winding(x + h, &[a, b]) - winding(x - h, &[a, b])) / (2.0 * h), jet.by_amount));
            prop_assert!(close(slopes.by_amount, jet.by_amount));
            for i in 0..2 {
                let (ha, hb) = if i == 0 { (h, 0.0) } else { (0.0, h) };
                let (up, down) = (at(x, a + ha, b + hb), at(x, a - ha, b - hb));
                prop_assert!(close((up.value - down.value) / (2.0 * h), jet.by_parameter[i]));
                prop_assert!(close(slopes.by_parameter[i], jet.by_parameter[i]));
                prop_assert!(close((up.by_amount - down.by_amount) / (2.0 * h), jet.by_amount_and_parameter[i]));
                for j in 0..2 {
                    let second = (up.by_parameter[j] - down.by_parameter[j]) / (2.0 * h);
                    prop_assert!(close(second, jet.by_parameters[i][j]));
                }
            }
            let (up, down) = (at(x + h, a, b), at(x - h, a, b));
            prop_assert!(close((up.by_amount - down.by_amount) / (2.0 * h), jet.by_amount_twice));
        }
    }
}
