//! How lines split in a magnetic field.

use serde::{Deserialize, Serialize};

use crate::provenance::Provenance;

/// The splitting of a line, in LS coupling, hyperfine structure left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Splitting {
    /// The element.
    pub symbol: String,
    /// The line, in nanometres.
    pub wavelength_nm: f64,
    /// Its lower term.
    pub lower_term: String,
    /// Its upper term.
    pub upper_term: String,
    /// `normal`, `triplet` or `anomalous`.
    pub splitting: String,
    /// Landé factor of the lower level.
    pub g_lower: f64,
    /// Landé factor of the upper level.
    pub g_upper: f64,
    /// Number of π components.
    pub pi_components: u8,
    /// Number of σ components.
    pub sigma_components: u8,
    /// Root mean square shift of the π components, in Lorentz units.
    pub pi_rms_shift_lorentz: f64,
    /// Mean shift of the σ components, in Lorentz units.
    pub sigma_mean_shift_lorentz: f64,
    /// The same in picometres at 0.8 T.
    pub sigma_mean_shift_pm_at_0_8_t: f64,
    /// Root mean square shift of the π components, in picometres at 0.8 T.
    pub pi_rms_shift_pm_at_0_8_t: f64,
    /// Doppler width of the line at 2500 K, in picometres.
    pub doppler_fwhm_pm_at_2500_k: f64,
    /// Shift of the σ components over the Doppler width: below about one the corrector loses signal.
    pub sigma_shift_over_doppler_fwhm: f64,
    /// How sure that is.
    pub provenance: Provenance,
}
