//! Numbers of twice the digits: a pair of `f64` whose sum is meant.
//!
//! Only what the refinement of a polynomial needs. No fused operations: the products are split by Dekker's constant, so
//! the bits are the same everywhere.
//!
//! Invariant: exact for magnitudes between about 1e-140 and 1e290; callers scale.
//!
//! Source: T. J. Dekker, Numer. Math. 18 (1971) 224; D. E. Knuth, The Art of Computer Programming, vol. 2, 4.2.2.

use std::ops::{Add, Mul, Neg, Sub};

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Twofold {
    pub high: f64,
    pub low: f64,
}

impl Twofold {
    pub const ZERO: Self = Self { high: 0.0, low: 0.0 };

    /// The exact sum of two numbers.
    #[inline]
    pub fn sum(a: f64, b: f64) -> Self {
        let high = a + b;
        let b_part = high - a;
        Self { high, low: (a - (high - b_part)) + (b - b_part) }
    }

    /// The exact product of two numbers.
    #[inline]
    pub fn product(a: f64, b: f64) -> Self {
        let high = a * b;
        let ((a1, a2), (b1, b2)) = (split(a), split(b));
        Self { high, low: ((a1 * b1 - high) + a1 * b2 + a2 * b1) + a2 * b2 }
    }

    /// Both parts times a power of two.
    #[inline]
    pub fn scaled(self, power_of_two: f64) -> Self {
        Self { high: self.high * power_of_two, low: self.low * power_of_two }
    }

    #[inline]
    pub fn value(self) -> f64 {
        self.high + self.low
    }
}

/// Two halves of 26 bits.
#[inline]
fn split(a: f64) -> (f64, f64) {
    let spread = 134_217_729.0 * a;
    let high = spread - (spread - a);
    (high, a - high)
}

impl From<f64> for Twofold {
    #[inline]
    fn from(high: f64) -> Self {
        Self { high, low: 0.0 }
    }
}

impl Add for Twofold {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        let high = Self::sum(self.high, other.high);
        let low = Self::sum(self.low, other.low);
        let first = fast_sum(high.high, high.low + low.high);
        fast_sum(first.high, first.low + low.low)
    }
}

impl Neg for Twofold {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self { high: -self.high, low: -self.low }
    }
}

impl Sub for Twofold {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Twofold {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        let high = Self::product(self.high, other.high);
        fast_sum(high.high, high.low + (self.high * other.low + self.low * other.high))
    }
}

/// The exact sum where |a| ≥ |b|.
#[inline]
fn fast_sum(a: f64, b: f64) -> Twofold {
    let high = a + b;
    Twofold { high, low: b - (high - a) }
}

/// The power of two next above a magnitude, or one where there is none in range.
pub(crate) fn power_of_two_above(magnitude: f64) -> f64 {
    if !(1e-290..=1e290).contains(&magnitude) {
        return 1.0;
    }
    let (_, exponent) = libm::frexp(magnitude);
    libm::ldexp(1.0, exponent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn products_and_sums_of_short_numbers_are_exact(a in -1_i64 << 52..1_i64 << 52, b in -1_i64 << 52..1_i64 << 52) {
            #[expect(clippy::cast_precision_loss, reason = "53 bits are exact")]
            let product = Twofold::product(a as f64, b as f64);
            #[expect(clippy::cast_possible_truncation, reason = "both parts are whole numbers in range")]
            let found = product.high as i128 + product.low as i128;
            prop_assert_eq!(found, i128::from(a) * i128::from(b));
        }
    }

    #[test]
    fn what_cancels_leaves_its_last_digits() {
        let third = Twofold::from(1.0) * Twofold { high: 1.0 / 3.0, low: 1.850371707708594e-17 };
        let rest = Twofold::from(1.0) - third - third - third;
        assert!(rest.value().abs() < 1e-31, "{rest:?}");
        assert_eq!((Twofold::sum(1.0, 1e-20) - Twofold::from(1.0)).value(), 1e-20);
    }

    #[test]
    fn powers_of_two_stand_above() {
        assert_eq!(power_of_two_above(3.0), 4.0);
        assert_eq!(power_of_two_above(4.0), 8.0);
        assert_eq!(power_of_two_above(0.0), 1.0);
        assert_eq!(power_of_two_above(f64::INFINITY), 1.0);
    }
}
