//! What a method for the official control of metals in food must reach.
//!
//! [`fitness_for_purpose`] is the largest standard uncertainty, [`largest_quantification_limit`] and [`largest_detection_limit`] the detection
//! capability that a maximum level asks for.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The largest standard uncertainty a method may have at a mass fraction.
///
/// # Arguments
/// * `detection_limit`: detection limit of the method, in µg/kg, 0 or above.
/// * `c`: mass fraction of interest, in µg/kg, 0 or above.
///
/// # Source
/// Regulation (EC) No 333/2007, annex, C.3.3.2: U_f = √((L/2)² + (αC)²) with the detection limit L; the classes of α reach up to and
/// including their printed upper bound (the text leaves open what lies between 50 and 51). Checked by
/// `tests/statistics/food_control.rs`.
#[must_use]
pub fn fitness_for_purpose(detection_limit: f64, c: f64) -> Option<f64> {
    if !(detection_limit >= 0.0 && c >= 0.0) {
        return None;
    }
    Some(libm::hypot(0.5 * detection_limit, fitness_alpha(c)? * c)).filter(|u| u.is_finite())
}

/// The factor α of [`fitness_for_purpose`].
///
/// # Arguments
/// * `c`: mass fraction in µg/kg, 0 or above.
///
/// # Source
/// Regulation (EC) No 333/2007, annex, C.3.3.2, table (from memory).
#[must_use]
pub fn fitness_alpha(c: f64) -> Option<f64> {
    match c {
        c if c.is_nan() || c < 0.0 => None,
        c if c <= 50.0 => Some(0.2),
        c if c <= 500.0 => Some(0.18),
        c if c <= 1000.0 => Some(0.15),
        c if c <= 10_000.0 => Some(0.12),
        _ => Some(0.1),
    }
}

/// An analyte with criteria of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Analyte {
    /// Lead.
    Lead,
    /// Cadmium.
    Cadmium,
    /// Mercury.
    Mercury,
    /// Arsenic, total or inorganic.
    Arsenic,
    /// Inorganic tin.
    Tin,
}

impl FromStr for Analyte {
    type Err = UnknownAnalyte;
    fn from_str(symbol: &str) -> Result<Analyte, UnknownAnalyte> {
        match symbol {
            "Pb" => Ok(Analyte::Lead),
            "Cd" => Ok(Analyte::Cadmium),
            "Hg" => Ok(Analyte::Mercury),
            "As" => Ok(Analyte::Arsenic),
            "Sn" => Ok(Analyte::Tin),
            other => Err(UnknownAnalyte(other.to_owned())),
        }
    }
}

/// A symbol without criteria.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the regulation has no detection criteria for {0}; it has them for Pb, Cd, Hg, As and Sn")]
pub struct UnknownAnalyte(pub String);

/// The largest limit of quantification a method may have for a maximum level.
///
/// # Arguments
/// * `analyte`: the metal.
/// * `maximum_level`: in mg/kg, above 0.
///
/// # Source
/// Implementing Regulation (EU) 2022/2418, annex, table of performance criteria. Checked by
/// `tests/statistics/food_control.rs`.
#[must_use]
pub fn largest_quantification_limit(analyte: Analyte, maximum_level: f64) -> Option<f64> {
    let ml = maximum_level;
    if !(ml > 0.0 && ml < f64::INFINITY) {
        return None;
    }
    Some(match analyte {
        Analyte::Lead if ml <= 0.02 => ml,
        Analyte::Lead if ml < 0.1 => 2.0 * ml / 3.0,
        Analyte::Cadmium | Analyte::Mercury if ml < 0.1 => 2.0 * ml / 5.0,
        Analyte::Lead | Analyte::Cadmium | Analyte::Mercury => ml / 5.0,
        Analyte::Arsenic if ml <= 0.03 => ml,
        Analyte::Arsenic => 2.0 * ml / 3.0,
        Analyte::Tin => 10.0,
    })
}

/// The largest detection limit a method may have for a maximum level: three tenths of [`largest_quantification_limit`].
///
/// # Arguments
/// As [`largest_quantification_limit`].
///
/// # Source
/// As [`largest_quantification_limit`].
#[must_use]
pub fn largest_detection_limit(analyte: Analyte, maximum_level: f64) -> Option<f64> {
    largest_quantification_limit(analyte, maximum_level).map(|loq| 3.0 * loq / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_below_nought_have_no_criterion() {
        assert_eq!(fitness_for_purpose(-1.0, 10.0), None);
        assert_eq!(fitness_for_purpose(1.0, f64::NAN), None);
        assert_eq!(fitness_alpha(-0.1), None);
        assert_eq!(largest_quantification_limit(Analyte::Lead, 0.0), None);
        assert_eq!(largest_detection_limit(Analyte::Tin, f64::NAN), None);
    }

    #[test]
    fn the_classes_reach_up_to_their_printed_bound() {
        let alphas = [50.0, 50.5, 500.0, 1000.0, 10_000.0, 10_000.1].map(|c| fitness_alpha(c).unwrap());
        assert_eq!(alphas, [0.2, 0.18, 0.18, 0.15, 0.12, 0.1]);
    }

    #[test]
    fn a_metal_without_criteria_is_named() {
        let said = "Cu".parse::<Analyte>().unwrap_err().to_string();
        assert_eq!(said, "the regulation has no detection criteria for Cu; it has them for Pb, Cd, Hg, As and Sn");
        assert_eq!(largest_quantification_limit("Sn".parse().unwrap(), 200.0), Some(10.0));
        assert_eq!(largest_quantification_limit("As".parse().unwrap(), 0.03), Some(0.03));
    }
}
