//! The reproducibility that laboratories reach as a function of mass fraction alone.
//!
//! [`predicted_rsd`] is Horwitz's function, [`thompson_sd`] its form with the ends mended, [`horrat`] the ratio
//! of found to predicted.

/// The reproducibility standard deviation relative to the mass fraction, as predicted by Horwitz.
///
/// # Arguments
/// * `c`: mass fraction (kg/kg), above 0 and at most 1.
///
/// # Source
/// W. Horwitz, Anal. Chem. 54 (1982) 67A: 2^(1 − 0.5 lg c) per cent; AOAC International, Definitions and
/// Calculations of HorRat Values (2004), Table D1. Checked by `tests/statistics/horwitz.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::horwitz;
/// let at_one_milligram_per_kilogram = horwitz::predicted_rsd(1.0e-6).expect("a mass fraction");
/// assert_eq!(format!("{at_one_milligram_per_kilogram:.2}"), "0.16");
/// ```
#[must_use]
pub fn predicted_rsd(c: f64) -> Option<f64> {
    mass_fraction(c).map(|c| 0.01 * libm::exp2(1.0 - 0.5 * libm::log10(c)))
}

/// The reproducibility standard deviation as a mass fraction, after Thompson.
///
/// # Arguments
/// * `c`: mass fraction (kg/kg), above 0 and at most 1.
///
/// # Source
/// M. Thompson, Analyst 125 (2000) 385-386: 0.22 c below 1.2·10⁻⁷, 0.01 c^0.5 above 0.138, 0.02 c^0.8495 between.
/// Checked by `tests/statistics/horwitz.rs`.
#[must_use]
pub fn thompson_sd(c: f64) -> Option<f64> {
    mass_fraction(c).map(|c| {
        if c < 1.2e-7 {
            0.22 * c
        } else if c <= 0.138 {
            0.02 * libm::pow(c, 0.8495)
        } else {
            0.01 * c.sqrt()
        }
    })
}

/// HorRat: the relative standard deviation found over the one predicted by Horwitz.
///
/// # Arguments
/// * `rsd`: relative standard deviation found, 0 or above.
/// * `c`: mass fraction (kg/kg), above 0 and at most 1.
///
/// # Source
/// AOAC International, Definitions and Calculations of HorRat Values (2004).
#[must_use]
pub fn horrat(rsd: f64, c: f64) -> Option<f64> {
    if !(0.0..f64::INFINITY).contains(&rsd) {
        return None;
    }
    predicted_rsd(c).map(|predicted| rsd / predicted)
}

fn mass_fraction(c: f64) -> Option<f64> {
    (c > 0.0 && c <= 1.0).then_some(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_mass_fraction_has_no_prediction() {
        for c in [0.0, -1.0, 1.1, f64::NAN, f64::INFINITY] {
            assert_eq!((predicted_rsd(c), thompson_sd(c), horrat(0.1, c)), (None, None, None));
        }
        assert_eq!(horrat(f64::NAN, 0.1), None);
    }

    #[test]
    fn the_prediction_itself_has_a_horrat_of_one() {
        for c in [1.0e-12, 1.0e-7, 0.01, 1.0] {
            assert_eq!(horrat(predicted_rsd(c).unwrap(), c), Some(1.0));
        }
    }
}
