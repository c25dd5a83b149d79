//! A decimal figure with the digits that were written.
//!
//! [`Decimal::from_f64`] takes a computed number; `+`, `−`, `×` and comparison are exact;
//! [`Decimal::rounded_to_place`] and [`Decimal::rounded_to_digits`] round. Reading and printing texts is left to
//! `figure_text`.
//!
//! Invariant: equality and order are those of the numbers (0.050 equals 0.05); the written digits only
//! show in print.

use std::cmp::Ordering;
use std::fmt;
use std::ops::{Add, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

use super::figure_text::MAX_DIGITS;

/// How a figure loses digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rounding {
    /// To the nearest; what lies in the middle goes to the even digit.
    HalfEven,
    /// To the nearest; what lies in the middle goes away from nought.
    HalfUp,
    /// Away from nought, whatever is left out.
    Up,
    /// Towards nought, whatever is left out.
    Down,
}

impl Rounding {
    /// The rule in words for a report.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Rounding::HalfEven => "rounded to the nearest, halves to the even digit",
            Rounding::HalfUp => "rounded to the nearest, halves away from nought",
            Rounding::Up => "rounded up",
            Rounding::Down => "cut off",
        }
    }
}

/// An exact decimal number with its written digits.
///
/// # Example
/// ```
/// use darkline_metrology::rounding::Decimal;
/// let limit: Decimal = "0,050".parse()?;
/// assert_eq!(limit.to_string(), "0.050");
/// assert_eq!(limit, "0.05".parse()?);
/// assert!("1,234".parse::<Decimal>().is_err());
/// # Ok::<(), darkline_metrology::rounding::DecimalError>(())
/// ```
#[derive(Clone, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Decimal {
    pub(super) negative: bool,
    /// Values 0 to 9, the first one not 0; empty for nought.
    pub(super) digits: Vec<u8>,
    /// The power of ten of the last digit.
    pub(super) place: i32,
}

impl Decimal {
    /// Nought, written "0".
    pub const ZERO: Decimal = Decimal { negative: false, digits: Vec::new(), place: 0 };

    /// The shortest decimal text that reads back as `x`; `None` for NaN and the infinities.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::rounding::{Decimal, Rounding};
    /// let x = Decimal::from_f64(1.005).expect("finite");
    /// assert_eq!(x.rounded_to_place(-2, Rounding::HalfUp).to_string(), "1.01");
    /// ```
    #[must_use]
    pub fn from_f64(x: f64) -> Option<Decimal> {
        if !x.is_finite() {
            return None;
        }
        let text = format!("{x:e}");
        let (mantissa, exponent) = text.split_once('e').expect("the exponent form has an e");
        let exponent: i32 = exponent.parse().expect("an f64 has an exponent of three digits at most");
        let fraction = mantissa.split_once('.').map_or(0, |(_, f)| f.len());
        let digits: Vec<u8> = mantissa.bytes().filter(u8::is_ascii_digit).map(|d| d - b'0').collect();
        let mut decimal = Decimal::build(x < 0.0, digits, exponent - fraction as i32);
        if decimal.place > 0 {
            decimal.write_out_to(0);
        }
        Some(decimal)
    }

    /// The nearest `f64`.
    #[must_use]
    pub fn to_f64(&self) -> f64 {
        let digits: String = self.digits.iter().map(|d| char::from(b'0' + d)).collect();
        let sign = if self.negative { "-" } else { "" };
        format!("{sign}0{digits}e{}", self.place).parse().expect("digits and an exponent read as f64")
    }

    /// The power of ten of the last written digit: −3 for "0.050", 0 for "12".
    #[must_use]
    pub fn place(&self) -> i32 {
        self.place
    }

    /// The power of ten of the first digit that is not 0: −2 for "0.050"; `None` for nought.
    #[must_use]
    pub fn leading_place(&self) -> Option<i32> {
        (!self.digits.is_empty()).then(|| self.place + self.digits.len() as i32 - 1)
    }

    /// Whether the number is nought.
    #[must_use]
    pub fn is_zero(&self) -> bool {
        self.digits.is_empty()
    }

    /// Whether the number is below nought.
    #[must_use]
    pub fn is_negative(&self) -> bool {
        self.negative
    }

    /// The number without its sign.
    #[must_use]
    pub fn abs(&self) -> Decimal {
        Decimal { negative: false, ..self.clone() }
    }

    /// The number with its last digit at `place`: rounded if it has more digits, filled with noughts if
    /// it has fewer.
    ///
    /// # Arguments
    /// * `place`: power of ten of the last digit to be kept, −2 for two decimals.
    ///
    /// # Source
    /// ISO 80000-1:2009, annex B (both ways of rounding halves).
    #[must_use]
    pub fn rounded_to_place(&self, place: i32, rounding: Rounding) -> Decimal {
        let mut out = self.clone();
        if place <= self.place {
            // A place beyond all figures is a slip of the caller; it costs no memory.
            out.write_out_to(place.max(self.place.saturating_sub(MAX_DIGITS as i32)));
            return out;
        }
        let cut = place.saturating_sub(self.place) as usize;
        let kept = self.digits.len().saturating_sub(cut);
        let dropped = &self.digits[kept..];
        let some_left = !self.digits.is_empty();
        // The first dropped digit stands right below the place; before the leading digit stand noughts.
        let first = if cut <= self.digits.len() { dropped.first().copied().unwrap_or(0) } else { 0 };
        let rest = if cut <= self.digits.len() { dropped.iter().skip(1).any(|d| *d != 0) } else { some_left };
        let odd = kept > 0 && self.digits[kept - 1] % 2 == 1;
        let up = match rounding {
            Rounding::Down => false,
            Rounding::Up => first > 0 || rest,
            Rounding::HalfUp => first >= 5,
            Rounding::HalfEven => first > 5 || first == 5 && (rest || odd),
        };
        out.digits.truncate(kept);
        out.place = place;
        if up {
            out.add_one_unit();
        }
        Decimal::build(out.negative, out.digits, place)
    }

    /// The number with `n` significant digits; nought stays as it is.
    ///
    /// A carry keeps the count: 0.0996 to two digits is 0.10.
    ///
    /// # Arguments
    /// * `n`: how many digits, at least 1 (0 counts as 1).
    #[must_use]
    pub fn rounded_to_digits(&self, n: u8, rounding: Rounding) -> Decimal {
        let Some(leading) = self.leading_place() else {
            return self.clone();
        };
        let place = leading - i32::from(n.max(1)) + 1;
        let once = self.rounded_to_place(place, rounding);
        match once.leading_place() {
            // The carry made 9.96 to 10.0; its last nought is one digit too many and drops exactly.
            Some(now) if now > leading => once.rounded_to_place(place + 1, rounding),
            _ => once,
        }
    }

    /// The number without an exponent: 1230 where [`Display`](fmt::Display) writes 1.23e3 because the last
    /// nought is not significant.
    #[must_use]
    pub fn plain(&self) -> String {
        let mut written_out = self.clone();
        if written_out.place > 0 {
            written_out.write_out_to(0);
        }
        written_out.to_string()
    }

    pub(super) fn build(negative: bool, mut digits: Vec<u8>, place: i32) -> Decimal {
        let noughts = digits.iter().take_while(|d| **d == 0).count();
        digits.drain(..noughts);
        Decimal { negative: negative && !digits.is_empty(), digits, place }
    }

    /// Fills with noughts down to a lower place.
    fn write_out_to(&mut self, place: i32) {
        debug_assert!(place <= self.place);
        if !self.digits.is_empty() {
            self.digits.resize(self.digits.len() + (self.place - place) as usize, 0);
        }
        self.place = place;
    }

    fn add_one_unit(&mut self) {
        for digit in self.digits.iter_mut().rev() {
            if *digit < 9 {
                *digit += 1;
                return;
            }
            *digit = 0;
        }
        self.digits.insert(0, 1);
    }

    /// Compares without sign.
    fn compare_magnitude(&self, other: &Decimal) -> Ordering {
        match (self.leading_place(), other.leading_place()) {
            (None, None) => Ordering::Equal,
            (None, Some(_)) => Ordering::Less,
            (Some(_), None) => Ordering::Greater,
            (Some(a), Some(b)) => a.cmp(&b).then_with(|| {
                let n = self.digits.len().max(other.digits.len());
                let at = |d: &[u8], i: usize| d.get(i).copied().unwrap_or(0);
                (0..n)
                    .map(|i| at(&self.digits, i).cmp(&at(&other.digits, i)))
                    .find(|o| o.is_ne())
                    .unwrap_or(Ordering::Equal)
            }),
        }
    }

    /// Digits from the last upwards, both at the same place.
    fn aligned(&self, other: &Decimal) -> (Vec<u8>, Vec<u8>, i32) {
        let place = self.place.min(other.place);
        let up = |x: &Decimal| {
            let mut x = x.clone();
            x.write_out_to(place);
            x.digits.reverse();
            x.digits
        };
        (up(self), up(other), place)
    }
}

impl Add for &Decimal {
    type Output = Decimal;
    fn add(self, other: &Decimal) -> Decimal {
        if self.negative == other.negative {
            let (a, b, place) = self.aligned(other);
            let n = a.len().max(b.len()) + 1;
            let mut sum = Vec::with_capacity(n);
            let mut carry = 0;
            for i in 0..n {
                let digit = a.get(i).unwrap_or(&0) + b.get(i).unwrap_or(&0) + carry;
                sum.push(digit % 10);
                carry = digit / 10;
            }
            sum.reverse();
            return Decimal::build(self.negative, sum, place);
        }
        let (large, small) = if self.compare_magnitude(other).is_ge() { (self, other) } else { (other, self) };
        let (a, b, place) = large.aligned(small);
        let mut difference = Vec::with_capacity(a.len());
        let mut borrow = 0;
        for (i, digit) in a.iter().enumerate() {
            let take = b.get(i).unwrap_or(&0) + borrow;
            borrow = u8::from(*digit < take);
            difference.push(digit + 10 * borrow - take);
        }
        difference.reverse();
        Decimal::build(large.negative, difference, place)
    }
}

impl Neg for &Decimal {
    type Output = Decimal;
    fn neg(self) -> Decimal {
        Decimal { negative: !self.negative && !self.is_zero(), ..self.clone() }
    }
}

impl Sub for &Decimal {
    type Output = Decimal;
    fn sub(self, other: &Decimal) -> Decimal {
        self + &-other
    }
}

impl Mul for &Decimal {
    type Output = Decimal;
    fn mul(self, other: &Decimal) -> Decimal {
        let mut product = vec![0_u32; self.digits.len() + other.digits.len()];
        for (i, a) in self.digits.iter().enumerate() {
            for (j, b) in other.digits.iter().enumerate() {
                product[i + j + 1] += u32::from(*a) * u32::from(*b);
            }
        }
        let mut carry = 0;
        for digit in product.iter_mut().rev() {
            let all = *digit + carry;
            *digit = all % 10;
            carry = all / 10;
        }
        let digits = product.into_iter().map(|d| d as u8).collect();
        Decimal::build(self.negative != other.negative, digits, self.place.saturating_add(other.place))
    }
}

impl PartialEq for Decimal {
    fn eq(&self, other: &Decimal) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Decimal {}

impl PartialOrd for Decimal {
    fn partial_cmp(&self, other: &Decimal) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Decimal {
    fn cmp(&self, other: &Decimal) -> Ordering {
        match (self.negative, other.negative) {
            (false, true) => Ordering::Greater,
            (true, false) => Ordering::Less,
            (false, false) => self.compare_magnitude(other),
            (true, true) => other.compare_magnitude(self),
        }
    }
}

impl std::hash::Hash for Decimal {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        // Equal numbers hash alike, however many noughts were written.
        let end = self.digits.iter().rposition(|d| *d != 0).map_or(0, |i| i + 1);
        (self.negative, self.leading_place(), &self.digits[..end]).hash(state);
    }
}

impl fmt::Debug for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Decimal({self})")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn the_sum_of_a_tenth_and_two_tenths_is_three_tenths() {
        assert_eq!(&d("0.1") + &d("0.2"), d("0.3"));
        assert_eq!(&d("0.10") - &d("0.02"), d("0.08"));
        assert_eq!((&d("0.10") - &d("0.10")).to_string(), "0.00");
        assert_eq!((&d("0.05") - &d("1")).to_string(), "-0.95");
        assert_eq!((&d("-0.83") * &d("0.020")).to_string(), "-0.01660");
        assert_eq!(&d("0") * &d("-7"), d("0"));
    }

    #[test]
    fn halves_go_where_the_rule_says_and_not_where_binary_puts_them() {
        let round = |x: f64, place, rule| Decimal::from_f64(x).unwrap().rounded_to_place(place, rule).to_string();
        assert_eq!(round(1.005, -2, Rounding::HalfUp), "1.01");
        assert_eq!(round(1.005, -2, Rounding::HalfEven), "1.00");
        assert_eq!(round(1.015, -2, Rounding::HalfEven), "1.02");
        assert_eq!(round(2.675, -2, Rounding::HalfUp), "2.68");
        assert_eq!(round(-0.5, 0, Rounding::HalfUp), "-1");
        assert_eq!(round(-0.5, 0, Rounding::HalfEven), "0");
        assert_eq!(round(28.05, 0, Rounding::HalfEven), "28");
        assert_eq!(round(0.4, 0, Rounding::Up), "1");
        assert_eq!(round(0.9, 0, Rounding::Down), "0");
        assert_eq!(round(0.04, 0, Rounding::HalfUp), "0");
        assert_eq!(round(0.6, 0, Rounding::HalfUp), "1");
        assert_eq!(round(0.06, 0, Rounding::HalfEven), "0");
        assert_eq!(round(0.06, 0, Rounding::Up), "1");
        assert_eq!(round(0.0, 0, Rounding::Up), "0");
        assert_eq!(round(0.6, 3, Rounding::Up), "1e3");
    }

    #[test]
    fn a_carry_keeps_the_count_of_digits() {
        assert_eq!(d("0.0996").rounded_to_digits(2, Rounding::HalfEven).to_string(), "0.10");
        assert_eq!(d("9.96").rounded_to_digits(2, Rounding::HalfUp).to_string(), "10");
        assert_eq!(d("99.6").rounded_to_digits(1, Rounding::HalfUp).to_string(), "1e2");
        assert_eq!(d("0.027").rounded_to_digits(3, Rounding::HalfUp).to_string(), "0.0270");
        assert_eq!(d("0").rounded_to_digits(2, Rounding::Up).to_string(), "0");
    }

    #[test]
    fn extreme_numbers_come_and_go() {
        for x in [f64::MAX, f64::MIN_POSITIVE, 5.0e-324, -1.0e300, 0.0] {
            let decimal = Decimal::from_f64(x).unwrap();
            assert_eq!(decimal.to_f64(), x);
            assert_eq!(decimal.to_string().parse::<Decimal>().unwrap(), decimal);
        }
        assert_eq!(Decimal::from_f64(f64::NAN), None);
        assert_eq!(Decimal::from_f64(f64::INFINITY), None);
        assert_eq!(d("5").rounded_to_place(i32::MAX, Rounding::Down), d("0"));
        assert_eq!(d("5").rounded_to_place(i32::MIN, Rounding::Down), d("5"));
    }

    proptest! {
        #[test]
        fn order_is_that_of_the_numbers(a in -1.0e9_f64..1.0e9, b in -1.0e9_f64..1.0e9) {
            let (x, y) = (Decimal::from_f64(a).unwrap(), Decimal::from_f64(b).unwrap());
            prop_assert_eq!(x.cmp(&y), a.total_cmp(&b));
        }

        #[test]
        fn whole_numbers_add_and_multiply_as_they_do(a in -100_000_i64..100_000, b in -100_000_i64..100_000, p in -3_i32..3) {
            let whole = |x: i64| format!("{x}e{p}").parse::<Decimal>().unwrap();
            prop_assert_eq!(&whole(a) + &whole(b), whole(a + b));
            prop_assert_eq!(&whole(a) - &whole(b), whole(a - b));
            prop_assert_eq!(&whole(a) * &d(&b.to_string()), whole(a * b));
        }

        #[test]
        fn rounding_moves_by_at_most_half_a_unit(digits in -1_000_000_i64..1_000_000, place in -6_i32..1) {
            let x: Decimal = format!("{digits}e-6").parse().unwrap();
            let unit: Decimal = format!("1e{place}").parse().unwrap();
            for rule in [Rounding::HalfEven, Rounding::HalfUp] {
                let moved = (&x.rounded_to_place(place, rule) - &x).abs();
                prop_assert!(&moved + &moved <= unit.clone());
            }
            prop_assert!((&x.rounded_to_place(place, Rounding::Up) - &x).abs() < unit);
            prop_assert!(x.rounded_to_place(place, Rounding::Up).abs() >= x.abs());
            prop_assert!(x.rounded_to_place(place, Rounding::Down).abs() <= x.abs());
        }
    }
}
