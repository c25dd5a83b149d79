//! Point-to-point sensitivities: where along the range a calibration bends, and how much.
//!
//! [`slopes`] between neighbouring standards and [`response_factors`] of each standard; a [`Series`] knows its median and
//! which of its values lie outside a band about it.

use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::robust;

/// The part of the median that values may deviate.
///
/// # Source
/// DIN 38402-51:2017-05; ISO 8466-1:2021: 10 %.
pub const TOLERANCE: f64 = 0.1;

/// Sensitivities along the range.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The values, in SI.
    pub values: Vec<f64>,
    /// Their median.
    pub median: f64,
    /// Places of the values outside the band, from zero.
    pub outside: Vec<usize>,
}

impl Series {
    fn of(values: Vec<f64>, tolerance: f64) -> Option<Series> {
        let median = robust::median(&values)?;
        let is_outside = |value: &f64| (value - median).abs() > tolerance * median.abs();
        let outside =
            values.iter().enumerate().filter(|(_, value)| is_outside(value)).map(|(place, _)| place).collect();
        Some(Series { values, median, outside })
    }
}

/// Slopes between neighbouring standards: (y₂ − y₁)/(x₂ − x₁).
///
/// # Arguments
/// * `standards`: by ascending amount, one response (or mean response) each.
/// * `tolerance`: part of the median that values may deviate; the standard takes [`TOLERANCE`].
///
/// `None` for fewer than two standards, or where two neighbours have one amount.
///
/// # Source
/// DIN 38402-51:2017-05; ISO 8466-1:2021. Checked by `tests/published/din_38402.rs`.
pub fn slopes(standards: &[(MassConcentration, Response)], tolerance: f64) -> Option<Series> {
    let slope = |pair: &[(MassConcentration, Response)]| {
        let ((x1, y1), (x2, y2)) = (pair[0], pair[1]);
        (y2.si() - y1.si()) / (x2.si() - x1.si())
    };
    Series::of(standards.windows(2).map(slope).collect(), tolerance)
}

/// Response factors of the standards: y/x. Standards without analyte are left out; places count those that are left.
///
/// # Arguments
/// As [`slopes`].
///
/// # Source
/// As [`slopes`].
pub fn response_factors(standards: &[(MassConcentration, Response)], tolerance: f64) -> Option<Series> {
    let factors = standards.iter().filter(|(x, _)| x.si() != 0.0).map(|(x, y)| y.si() / x.si()).collect();
    Series::of(factors, tolerance)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_standard_that_falls_short_stands_out() {
        let standard = |&(x, y): &(f64, f64)| (MassConcentration::from_si(x), Response::from_si(y));
        let standards: Vec<_> = [(0.0, 0.0), (1.0, 0.1), (2.0, 0.2), (3.0, 0.25)].iter().map(standard).collect();
        let slopes = slopes(&standards, TOLERANCE).unwrap();
        assert_eq!(slopes.outside, vec![2]);
        let factors = response_factors(&standards, TOLERANCE).unwrap();
        assert_eq!((factors.values.len(), factors.outside), (3, vec![2]));
        assert_eq!(super::slopes(&standards[..1], TOLERANCE), None);
        assert_eq!(super::slopes(&[standards[0], standards[0]], TOLERANCE), None);
    }
}
