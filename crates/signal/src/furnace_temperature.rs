//! Temperature of the furnace: what a pyrometer reading means, and what to set for a wanted temperature.
//!
//! [`Pyrometer`] turns a brightness temperature into a true one, [`SettingLine`] finds the setting that gives a wanted
//! temperature from a few settings and what was measured at them.

/// Kelvin at 0 degrees Celsius.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Second radiation constant h c/k, in metre kelvin.
///
/// # Source
/// The International System of Units (2019), exact constants; to ten digits.
pub const SECOND_RADIATION_CONSTANT_M_K: f64 = 0.014_387_768_77;

/// A narrow-band pyrometer that sees a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pyrometer {
    /// Its wavelength, in metres.
    pub wavelength_m: f64,
    /// Emissivity of the surface, above 0 and at most 1.
    pub emissivity: f64,
}

impl Pyrometer {
    /// True temperature of a reading, in kelvin, by Wien's law: `1/T = 1/T_lambda + (lambda/c2) ln(eps)`.
    ///
    /// # Source
    /// Wien's radiation law with an emissivity. Checked by `tests/published/main.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_signal::furnace_temperature::Pyrometer;
    /// let pyrometer = Pyrometer { wavelength_m: 650e-9, emissivity: 0.9 };
    /// assert_eq!(format!("{:.1}", pyrometer.by_wien_k(2300.0)), "2325.5");
    /// ```
    pub fn by_wien_k(&self, reading_k: f64) -> f64 {
        let shift = self.wavelength_m / SECOND_RADIATION_CONSTANT_M_K * libm::log(self.emissivity);
        1.0 / (1.0 / reading_k + shift)
    }

    /// True temperature of a reading, in kelvin, by Planck's law: radiance `eps/(exp(c2/(lambda T)) - 1)`.
    ///
    /// # Source
    /// Planck's radiation law with an emissivity. Checked by `tests/published/main.rs`.
    pub fn by_planck_k(&self, reading_k: f64) -> f64 {
        let scale = SECOND_RADIATION_CONSTANT_M_K / self.wavelength_m;
        scale / libm::log1p(self.emissivity * libm::expm1(scale / reading_k))
    }

    /// Change of the true temperature, in kelvin, for 1 % less emissivity, to the first order: `0.01 T_lambda² lambda/c2`.
    ///
    /// # Source
    /// The derivative of Wien's law at an emissivity of 1. Checked by `tests/published/main.rs`.
    pub fn kelvin_per_percent(&self, reading_k: f64) -> f64 {
        0.01 * reading_k * reading_k * self.wavelength_m / SECOND_RADIATION_CONSTANT_M_K
    }
}

/// The straight line `measured = a + b set` through settings and measured temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettingLine {
    /// Measured temperature at a setting of 0.
    pub intercept: f64,
    /// Change of the measured temperature for a change of 1 of the setting.
    pub slope: f64,
    /// Residual standard deviation.
    pub residual_sd: f64,
    n: f64,
    mean_set: f64,
    spread: f64,
}

/// A setting with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// What to set.
    pub set: f64,
    /// Its standard uncertainty: that of the line and the scatter of one reading.
    pub u: f64,
}

impl SettingLine {
    /// Lays the line through pairs of one temperature scale; `None` below three pairs, on one setting, or where nothing
    /// rises.
    ///
    /// # Source
    /// Ordinary least squares. Checked by `tests/published/main.rs`.
    pub fn fit(pairs: &[(f64, f64)]) -> Option<SettingLine> {
        if pairs.len() < 3 {
            return None;
        }
        let n = pairs.len() as f64;
        let sum =
            |of: &dyn Fn(f64, f64) -> f64| pairs.iter().fold(0.0, |sum, &(set, measured)| sum + of(set, measured));
        let (mean_set, mean) = (sum(&|set, _| set) / n, sum(&|_, measured| measured) / n);
        let spread = sum(&|set, _| (set - mean_set) * (set - mean_set));
        let slope = sum(&|set, measured| (set - mean_set) * (measured - mean)) / spread;
        let intercept = mean - slope * mean_set;
        let squares = sum(&|set, measured| {
            let residual = measured - intercept - slope * set;
            residual * residual
        });
        let residual_sd = (squares / (n - 2.0)).sqrt();
        let usable = spread > 0.0 && slope > 0.0 && residual_sd.is_finite();
        usable.then_some(SettingLine { intercept, slope, residual_sd, n, mean_set, spread })
    }

    /// The setting for a wanted temperature.
    ///
    /// # Source
    /// `x0 = (wanted - a)/b`, `u = (s/b) sqrt(1 + 1/n + (x0 - mean)²/Sxx)`, the line read backwards for one reading.
    /// Checked by `tests/published/main.rs`.
    pub fn setting_for(&self, wanted: f64) -> Setting {
        let set = (wanted - self.intercept) / self.slope;
        let off = set - self.mean_set;
        let u = self.residual_sd / self.slope * (1.0 + 1.0 / self.n + off * off / self.spread).sqrt();
        Setting { set, u }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_black_surface_is_as_hot_as_it_looks() {
        let black = Pyrometer { wavelength_m: 900e-9, emissivity: 1.0 };
        assert!((black.by_wien_k(2300.0) - 2300.0).abs() < 1e-9);
        assert!((black.by_planck_k(2300.0) - 2300.0).abs() < 1e-9);
    }

    #[test]
    fn one_setting_two_pairs_or_a_furnace_that_does_not_heat_give_no_line() {
        assert_eq!(SettingLine::fit(&[(600.0, 590.0), (1000.0, 980.0)]), None);
        assert_eq!(SettingLine::fit(&[(600.0, 590.0); 4]), None);
        assert_eq!(SettingLine::fit(&[(600.0, 590.0), (1000.0, 580.0), (1400.0, 570.0)]), None);
    }

    #[test]
    fn a_scale_that_is_right_is_set_as_wanted() {
        let line = SettingLine::fit(&[(600.0, 600.0), (1000.0, 1000.0), (2000.0, 2000.0)]).expect("a line");
        let found = line.setting_for(1500.0);
        assert!((found.set - 1500.0).abs() < 1e-9 && found.u < 1e-6);
    }
}
