//! How much absorbance a magnetic field leaves: the residual fraction s(B) of a line.
//!
//! In the field the components that still absorb are shifted off the source line; what is left is the overlap of the two. A
//! line that is split widely keeps little, a narrow splitting keeps much. [`Splitting::left_at`] gives s(B), and 1 - s at
//! full field is the sensitivity ratio that [`crate::roll_over`] and [`crate::two_ranges`] take.

use core::f64::consts::LN_2;

use crate::two_ranges::ThreeFields;

/// Splitting of an analytical line, as a handbook has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Splitting {
    /// Mean shift of the components that absorb in the field, in picometres, at [`Splitting::field_t`].
    pub shift_pm: f64,
    /// The field at which the shift is given, in tesla, above 0.
    pub field_t: f64,
    /// Width of the absorption line at half height, in picometres, above 0.
    pub absorption_fwhm_pm: f64,
    /// Width of the source line at half height, in picometres.
    pub source_fwhm_pm: f64,
}

impl Splitting {
    /// Part of the absorbance left at a field, for low absorbance: `exp(-4 ln 2 d²/(w_a² + w_s²))`, d the shift there.
    ///
    /// Both lines count as Gaussian. Collisions give wings that leave more; a hyperfine structure spreads the shifts. Where the
    /// ratio has been measured on the instrument, take that.
    ///
    /// # Source
    /// Overlap of two Gaussians of widths w_a and w_s at a distance, over that at distance 0; derived here. The shift grows in
    /// proportion to the field. Checked by `tests/published/handbook.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_signal::residual_fraction::Splitting;
    /// let cadmium = Splitting { shift_pm: 1.96, field_t: 0.8, absorption_fwhm_pm: 0.77, source_fwhm_pm: 0.5 };
    /// assert!(cadmium.left_at(0.0) == 1.0 && cadmium.left_at(0.8) < 0.01);
    /// ```
    pub fn left_at(&self, field_t: f64) -> f64 {
        let shift = self.shift_pm * field_t / self.field_t;
        let width = self.absorption_fwhm_pm * self.absorption_fwhm_pm + self.source_fwhm_pm * self.source_fwhm_pm;
        libm::exp(-4.0 * LN_2 * shift * shift / width)
    }

    /// The three fields of a measurement with a reduced range.
    ///
    /// # Arguments
    /// * `middle_t`, `full_t`: fields in tesla, the first the lower one.
    pub fn three_fields(&self, stray_fraction: f64, middle_t: f64, full_t: f64) -> ThreeFields {
        ThreeFields { stray_fraction, left_at_middle: self.left_at(middle_t), left_at_full: self.left_at(full_t) }
    }

    /// Field, in tesla, at which a part is left.
    ///
    /// # Arguments
    /// * `part`: above 0 and below 1.
    ///
    /// # Source
    /// [`Splitting::left_at`] solved for the field.
    pub fn field_leaving_t(&self, part: f64) -> f64 {
        let width = self.absorption_fwhm_pm * self.absorption_fwhm_pm + self.source_fwhm_pm * self.source_fwhm_pm;
        self.field_t / self.shift_pm.abs() * (-libm::log(part) * width / (4.0 * LN_2)).sqrt()
    }
}

/// Sensitivity ratio found on the instrument: response with field correction over response without, of one solution low enough
/// to be straight, and its standard uncertainty.
///
/// # Arguments
/// * `with`, `without`: mean response and its standard uncertainty.
///
/// # Source
/// Quotient of two means; JCGM 100:2008, equation (12).
pub fn measured_ratio(with: (f64, f64), without: (f64, f64)) -> (f64, f64) {
    let ratio = with.0 / without.0;
    let relative = (with.1 / with.0, without.1 / without.0);
    (ratio, ratio.abs() * (relative.0 * relative.0 + relative.1 * relative.1).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: Splitting = Splitting { shift_pm: 2.0, field_t: 0.8, absorption_fwhm_pm: 1.0, source_fwhm_pm: 0.6 };

    #[test]
    fn no_field_leaves_everything_and_more_field_leaves_less() {
        let left: Vec<f64> = (0..10).map(|i| LINE.left_at(0.1 * f64::from(i))).collect();
        assert_eq!(left[0], 1.0);
        assert!(left.windows(2).all(|pair| pair[1] < pair[0]));
    }

    #[test]
    fn the_field_that_leaves_a_part_leaves_it() {
        assert!((LINE.left_at(LINE.field_leaving_t(0.3)) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn a_middle_field_has_a_less_sensitive_range() {
        let fields = LINE.three_fields(0.01, LINE.field_leaving_t(0.3), 0.8);
        assert!((fields.slope_ratio() - 0.3).abs() < 0.01, "{}", fields.slope_ratio());
    }

    #[test]
    fn a_ratio_has_the_relative_uncertainties_of_both() {
        let (ratio, u) = measured_ratio((0.085, 0.000_85), (0.1, 0.001));
        assert!((ratio - 0.85).abs() < 1e-12 && (u / ratio - 0.01 * 2.0_f64.sqrt()).abs() < 1e-12);
    }
}
