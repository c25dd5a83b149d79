//! Weighing: the density of water and of air, buoyancy, and the smallest weight a balance can do.
//!
//! [`z_factor`] turns the mass of water into its volume at 20 °C; [`true_mass`] corrects a weighing for buoyancy;
//! [`smallest_weight`] tells what a balance is good for.

/// Density of the weights that balances are adjusted with, in kg/m³.
///
/// # Source
/// OIML D 28 (from memory): conventional density of weights.
pub const DENSITY_OF_WEIGHTS: f64 = 8000.0;

/// Density of air-free water at 101 325 Pa, in kg/m³.
///
/// # Arguments
/// * `t`: temperature in °C, 0 to 40.
///
/// # Source
/// M. Tanaka and others, Metrologia 38 (2001) 301, equation (1), coefficients from memory. Checked by
/// `tests/published/ware.rs`.
pub fn density_of_water(t: f64) -> f64 {
    let from_maximum = t - 3.983_035;
    999.974_95 * (1.0 - from_maximum * from_maximum * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

/// Density of air at half its humidity, in kg/m³.
///
/// # Arguments
/// * `t`: temperature in °C. `pressure`: in Pa.
///
/// # Source
/// ISO 8655-6:2002, annex A (relative humidity 50 %). Checked by `tests/published/ware.rs`.
pub fn density_of_air(t: f64, pressure: f64) -> f64 {
    let hectopascal = pressure / 100.0;
    (0.348_48 * hectopascal - 0.009 * 50.0 * libm::exp(0.061 * t)) / (273.15 + t)
}

/// The factor from a mass of water read off a balance to its volume, in m³/kg.
///
/// # Arguments
/// * `t`: temperature of the water in °C. `pressure`: of the air, in Pa.
///
/// # Source
/// ISO 8655-6:2002, annex A: Z = (1 − ρa/ρb)/(ρw − ρa). Checked by `tests/published/ware.rs`.
pub fn z_factor(t: f64, pressure: f64) -> f64 {
    let air = density_of_air(t, pressure);
    (1.0 - air / DENSITY_OF_WEIGHTS) / (density_of_water(t) - air)
}

/// The mass of something from what the balance shows, in the unit of `shown`.
///
/// # Arguments
/// * `density`: of what is weighed, in kg/m³. `air`: density of the air, in kg/m³.
///
/// # Source
/// OIML D 28 (from memory): m = W·(1 − ρa/ρb)/(1 − ρa/ρs). Checked by `tests/published/ware.rs`.
pub fn true_mass(shown: f64, density: f64, air: f64) -> f64 {
    shown * (1.0 - air / DENSITY_OF_WEIGHTS) / (1.0 - air / density)
}

/// The smallest mass that a balance weighs to a wanted relative deviation, in the unit of `sd`.
///
/// # Arguments
/// * `sd`: standard deviation of ten or more weighings of one small weight. `division`: the last digit shown.
/// * `wanted`: relative expanded uncertainty (k = 2) wanted, such as 0.001.
///
/// # Source
/// USP 41 (from memory): k·s/tolerance with k = 2; s is not taken below 0.41 of the division.
pub fn smallest_weight(sd: f64, division: f64, wanted: f64) -> f64 {
    2.0 * sd.max(0.41 * division) / wanted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_balance_without_scatter_is_limited_by_its_last_digit() {
        // 0.1 mg division: 0.041 mg, twice that over 0.1 % is 82 mg.
        assert!((smallest_weight(0.0, 0.1, 0.001) - 82.0).abs() < 1e-9);
        assert!((smallest_weight(0.08, 0.1, 0.001) - 160.0).abs() < 1e-9);
    }
}
