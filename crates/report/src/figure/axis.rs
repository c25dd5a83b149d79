//! An axis: a range with round ticks.
//!
//! [`Axis::over`] takes the numbers to be shown and chooses the ticks; [`Axis::place`] puts a number on the drawing.
//!
//! Invariant: ticks are whole multiples of 1, 2 or 5 times a power of ten, and their labels are exact.

use super::drawable;

/// A range of numbers laid along a stretch of the drawing.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    pub(crate) ticks: Vec<Tick>,
    /// Labels are counted in this power of ten of the unit; zero for numbers of ordinary size.
    pub(crate) power: i32,
}

/// One tick: its place in the drawing and what is written at it.
#[derive(Debug, Clone)]
pub(crate) struct Tick {
    pub(crate) at: f64,
    pub(crate) text: String,
}

/// How far the axis reaches beyond its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reach {
    /// A little beyond on both sides, so that no mark is cut by the frame.
    Beyond,
    /// A little beyond on both sides, but never beyond zero: a line may run along the frame.
    BeyondButZero,
    /// Exactly the numbers given, for a time axis that shows the whole reading and nothing else.
    Exact,
}

impl Axis {
    /// An axis over `numbers`, drawn between `from` and `to`, with about `wanted` steps.
    pub(crate) fn over(numbers: impl Iterator<Item = f64>, from: f64, to: f64, wanted: u32, reach: Reach) -> Self {
        let (low, high) = range(numbers);
        let room = (high - low) * 0.05;
        let (low, high) = match reach {
            Reach::Beyond => (low - room, high + room),
            Reach::BeyondButZero => {
                (if low == 0.0 { low } else { low - room }, if high == 0.0 { high } else { high + room })
            }
            Reach::Exact => (low, high),
        };
        let rough = (high - low) / f64::from(wanted.max(1));
        let mut exponent = libm::floor(libm::log10(rough)) as i32;
        // The round number nearest in ratio: squared, the bounds are the products of neighbours, 1·2, 2·5 and 5·10.
        let digit = match rough / ten_to(exponent) {
            ratio if ratio * ratio < 2.0 => 1,
            ratio if ratio * ratio < 10.0 => 2,
            ratio if ratio * ratio < 50.0 => 5,
            _ => {
                exponent += 1;
                1
            }
        };
        let step = f64::from(digit) * ten_to(exponent);
        let (first, last) = (libm::ceil(low / step - 1e-9), libm::floor(high / step + 1e-9));
        let largest = low.abs().max(high.abs());
        let power = if largest >= 1e5 || (largest < 1e-3 && exponent < -4) { power_of(largest) } else { 0 };
        let mut axis = Self { low, high, from, to, ticks: Vec::new(), power };
        let decimals = (power - exponent).max(0);
        // Whole multiples: a running sum would write 0.30000000000000004.
        // A range between two round numbers has no tick, hence the count of one more than their distance.
        let count = (last - first + 1.0).clamp(0.0, 60.0) as i64;
        for index in 0..count {
            let multiple = (first + index as f64) * f64::from(digit);
            let shown = if exponent >= power {
                multiple * ten_to(exponent - power)
            } else {
                multiple / ten_to(power - exponent)
            };
            let value = if exponent >= 0 { multiple * ten_to(exponent) } else { multiple / ten_to(-exponent) };
            axis.ticks.push(Tick { at: axis.place(value), text: number(shown, decimals.min(12) as usize) });
        }
        axis
    }

    /// Where a number stands in the drawing.
    pub(crate) fn place(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// The lowest number of the axis.
    pub(crate) fn low(&self) -> f64 {
        self.low
    }
}

/// Lowest and highest of the drawable numbers, never equal; zero to one where there is none.
fn range(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for number in numbers.filter(|&number| drawable(number)) {
        low = low.min(number);
        high = high.max(number);
    }
    if low > high {
        return (0.0, 1.0);
    }
    let size = low.abs().max(high.abs());
    if high - low > size * 1e-9 && high - low > 1e-90 {
        return (low, high);
    }
    // All equal: a range around them, so that the one level lies in the middle.
    let room = if size > 1e-80 { size * 0.5 } else { 0.5 };
    (low - room, high + room)
}

fn ten_to(exponent: i32) -> f64 {
    libm::pow(10.0, f64::from(exponent))
}

/// The power of ten, a multiple of three, that brings a number between 1 and 1000.
fn power_of(size: f64) -> i32 {
    libm::floor(libm::log10(size) / 3.0) as i32 * 3
}

/// A number with a fixed count of decimals and the true minus sign.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().any(|byte| (b'1'..=b'9').contains(&byte)) => {
            format!("−{digits}")
        }
        Some(digits) => digits.to_owned(),
        None => text,
    }
}

/// A number for a sentence: three digits that count, trailing zeros left out.
pub(crate) fn spoken(value: f64) -> String {
    if !drawable(value) {
        return "no number".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let exponent = libm::floor(libm::log10(value.abs())) as i32;
    if !(-5..6).contains(&exponent) {
        return format!("{}×10{}", number(value / ten_to(exponent), 2), superscript(exponent));
    }
    let text = number(value, (2 - exponent).max(0) as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A number for a sentence beside one of a given size: less than a thousandth of it is said as zero.
pub(crate) fn spoken_beside(value: f64, size: f64) -> String {
    if value.abs() < size.abs() / 1000.0 { "0".to_owned() } else { spoken(value) }
}

/// A whole number in raised digits.
pub(crate) fn superscript(number: i32) -> String {
    let raised = |character| match character {
        '-' => '⁻',
        '0' => '⁰',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        _ => '⁹',
    };
    number.to_string().chars().map(raised).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn texts(numbers: &[f64], wanted: u32, reach: Reach) -> Vec<String> {
        let axis = Axis::over(numbers.iter().copied(), 0.0, 100.0, wanted, reach);
        axis.ticks.into_iter().map(|tick| tick.text).collect()
    }

    #[test]
    fn ticks_are_round_and_their_labels_exact() {
        assert_eq!(texts(&[0.0, 0.41], 5, Reach::BeyondButZero), ["0.0", "0.1", "0.2", "0.3", "0.4"]);
        assert_eq!(texts(&[0.0, 5.0], 6, Reach::Beyond), ["0", "1", "2", "3", "4", "5"]);
        assert_eq!(texts(&[-0.004, 0.003], 4, Reach::Beyond), ["−0.004", "−0.002", "0.000", "0.002"]);
        assert_eq!(texts(&[0.1, 4.9], 5, Reach::Exact), ["1", "2", "3", "4"]);
    }

    #[test]
    fn numbers_of_unusual_size_are_counted_in_a_power_of_ten() {
        let small = Axis::over([0.0, 4e-6].into_iter(), 0.0, 1.0, 4, Reach::Beyond);
        assert_eq!((small.power, small.ticks[3].text.as_str()), (-6, "3"));
        let large = Axis::over([0.0, 2e6].into_iter(), 0.0, 1.0, 4, Reach::Beyond);
        assert_eq!((large.power, large.ticks[1].text.as_str()), (6, "0.5"));
    }

    #[test]
    fn no_number_one_number_and_no_finite_number_still_give_an_axis() {
        for numbers in [&[][..], &[0.0], &[7.5], &[f64::NAN, f64::INFINITY], &[1e300, -1e300]] {
            let axis = Axis::over(numbers.iter().copied(), 0.0, 1.0, 5, Reach::Beyond);
            assert!(axis.ticks.len() >= 2 && axis.low() < axis.high, "{numbers:?} gave {axis:?}");
        }
    }

    #[test]
    fn a_number_in_a_sentence_has_three_digits_that_count() {
        let said = [0.0, 0.41234, -0.05, 12.0, 1234.5, 3.2e-9].map(spoken);
        assert_eq!(said, ["0", "0.412", "−0.05", "12", "1234", "3.20×10⁻⁹"]);
    }

    #[test]
    fn a_range_between_two_round_numbers_has_no_tick_outside_itself() {
        assert!(texts(&[-997e6, -581e6], 1, Reach::Exact).is_empty());
    }

    proptest! {
        #[test]
        fn ticks_stay_few_ascend_and_lie_on_the_axis(low in -1e9..1e9_f64, span in 1e-6..1e9_f64, wanted in 1..12_u32) {
            for reach in [Reach::Beyond, Reach::BeyondButZero, Reach::Exact] {
                let axis = Axis::over([low, low + span].into_iter(), 0.0, 100.0, wanted, reach);
                prop_assert!(axis.ticks.len() <= wanted as usize * 2 + 1);
                prop_assert!(axis.ticks.windows(2).all(|pair| pair[0].at < pair[1].at));
                prop_assert!(axis.ticks.iter().all(|tick| tick.at > -1e-3 && tick.at < 100.001));
                prop_assert!(axis.place(low) > -1e-3 && axis.place(low + span) < 100.001);
            }
        }
    }
}
