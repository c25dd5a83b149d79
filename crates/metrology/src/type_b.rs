//! Type B evaluation: from what a certificate or a maker states to a standard uncertainty.
//!
//! [`Stated`] says in which form the knowledge came; [`Stated::u`] gives the standard uncertainty.

use serde::{Deserialize, Serialize};

use crate::distribution::normal;

/// Knowledge about a quantity, as it was stated. Widths are half-widths, in the unit of the quantity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stated {
    /// An expanded uncertainty U with its coverage factor k.
    Expanded {
        /// Expanded uncertainty.
        expanded_u: f64,
        /// Coverage factor, above 0.
        k: f64,
    },
    /// Limits ±a that hold with this probability, normal law.
    NormalInterval {
        /// Half-width a.
        half_width: f64,
        /// Probability, above 0 and below 1; 0.5 for "even odds".
        level: f64,
    },
    /// Limits ±a, every value between equally likely.
    Rectangular {
        /// Half-width a.
        half_width: f64,
    },
    /// Limits, not about the value, every value between equally likely.
    RectangularLimits {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// Limits ±a, values near the middle more likely.
    Triangular {
        /// Half-width a.
        half_width: f64,
    },
    /// Limits ±a of something that swings, values near the limits more likely (U-shaped).
    Arcsine {
        /// Half-width a.
        half_width: f64,
    },
    /// Limits ±a with sloping ends.
    Trapezoidal {
        /// Half-width a of the base.
        half_width: f64,
        /// Width of the top over that of the base, 0 (triangular) to 1 (rectangular).
        top_over_base: f64,
    },
}

impl Stated {
    /// The standard uncertainty; `None` where a figure is not finite, negative or out of its range.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 4.3.3 to 4.3.9; H.1.3.4 for the arcsine law. Checked by `tests/statistics/gum.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_metrology::type_b::Stated;
    /// let flask = Stated::Triangular { half_width: 0.1 };
    /// assert_eq!(format!("{:.3}", flask.u().expect("a width above 0")), "0.041");
    /// ```
    #[must_use]
    pub fn u(&self) -> Option<f64> {
        let (half_width, divisor) = match *self {
            Stated::Expanded { expanded_u, k } => (expanded_u, k),
            Stated::NormalInterval { half_width, level } => {
                if !(level > 0.0 && level < 1.0) {
                    return None;
                }
                (half_width, normal::upper_quantile(0.5 * (1.0 - level))?)
            }
            Stated::Rectangular { half_width } => (half_width, 3.0_f64.sqrt()),
            Stated::RectangularLimits { lower, upper } => (0.5 * upper - 0.5 * lower, 3.0_f64.sqrt()),
            Stated::Triangular { half_width } => (half_width, 6.0_f64.sqrt()),
            Stated::Arcsine { half_width } => (half_width, 2.0_f64.sqrt()),
            Stated::Trapezoidal { half_width, top_over_base } => {
                if !(0.0..=1.0).contains(&top_over_base) {
                    return None;
                }
                (half_width, (6.0 / (1.0 + top_over_base * top_over_base)).sqrt())
            }
        };
        if !(half_width >= 0.0 && divisor > 0.0) {
            return None;
        }
        Some(half_width / divisor).filter(|u| u.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_out_of_their_range_give_no_uncertainty() {
        for stated in [
            Stated::Expanded { expanded_u: 1.0, k: 0.0 },
            Stated::Expanded { expanded_u: f64::NAN, k: 2.0 },
            Stated::Expanded { expanded_u: -1.0, k: 2.0 },
            Stated::NormalInterval { half_width: 1.0, level: 1.0 },
            Stated::NormalInterval { half_width: 1.0, level: 0.0 },
            Stated::Rectangular { half_width: f64::INFINITY },
            Stated::RectangularLimits { lower: 1.0, upper: 0.0 },
            Stated::Triangular { half_width: -0.1 },
            Stated::Trapezoidal { half_width: 1.0, top_over_base: 1.1 },
        ] {
            assert_eq!(stated.u(), None, "{stated:?}");
        }
    }

    #[test]
    fn the_trapezoid_lies_between_triangle_and_rectangle() {
        let u = |top_over_base| Stated::Trapezoidal { half_width: 1.0, top_over_base }.u().unwrap();
        assert!((u(0.0) - Stated::Triangular { half_width: 1.0 }.u().unwrap()).abs() < 1.0e-15);
        assert!((u(1.0) - Stated::Rectangular { half_width: 1.0 }.u().unwrap()).abs() < 1.0e-15);
        assert!(u(0.0) < u(0.5) && u(0.5) < u(1.0));
    }

    #[test]
    fn exact_knowledge_has_no_uncertainty() {
        assert_eq!(Stated::Rectangular { half_width: 0.0 }.u(), Some(0.0));
    }
}
