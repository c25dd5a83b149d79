//! Bias and recovery: is a deviation from a reference significant, and what uncertainty does it leave?
//!
//! [`recovery_test`] and [`reference_material_test`] answer the first question, [`BiasStudy`] the second.

use crate::distribution::student_t;
use crate::summary;

/// Whether a mean recovery differs from 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecoveryTest {
    /// Standard uncertainty of the mean recovery.
    pub u: f64,
    /// |1 − R|/u(R).
    pub t: f64,
    /// The t that chance exceeds in 5 % of cases.
    pub critical_t: f64,
    /// Whether t exceeds it.
    pub significant: bool,
}

/// Tests a mean recovery against 1 at the 5 % level, two-sided.
///
/// # Arguments
/// * `recovery`: mean recovery as a fraction.
/// * `sd`: standard deviation of one recovery, above 0.
/// * `n`: number of recoveries, 2 or more.
///
/// # Source
/// Eurachem/CITAC Guide CG 4 (QUAM:2012), example A4.4. Checked by `tests/statistics/precision_and_bias.rs`.
#[must_use]
pub fn recovery_test(recovery: f64, sd: f64, n: usize) -> Option<RecoveryTest> {
    let enough = n >= 2 && sd > 0.0;
    if !enough {
        return None;
    }
    let u = sd / (n as f64).sqrt();
    let t = (1.0 - recovery).abs() / u;
    let critical_t = student_t::coverage_factor(0.95, (n - 1) as f64)?;
    t.is_finite().then_some(RecoveryTest { u, t, critical_t, significant: t > critical_t })
}

/// Whether a mean differs from a certified value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReferenceMaterialTest {
    /// |c_m − c_CRM|.
    pub difference: f64,
    /// 2·√(u_m² + u_CRM²).
    pub expanded_u: f64,
    /// Whether the difference exceeds it.
    pub different: bool,
}

/// Compares a mean with the certified value of a reference material.
///
/// # Arguments
/// * `found`, `u_found`: mean and its standard uncertainty, same unit as the certificate.
/// * `certified`, `expanded_u_certified`, `k`: certified value, its expanded uncertainty and coverage factor.
///
/// # Source
/// European Reference Materials, Application Note 1 (2005, rev. 2010) (from memory). Checked by
/// `tests/statistics/precision_and_bias.rs`.
#[must_use]
pub fn reference_material_test(
    found: f64,
    u_found: f64,
    certified: f64,
    expanded_u_certified: f64,
    k: f64,
) -> Option<ReferenceMaterialTest> {
    if !(u_found >= 0.0 && expanded_u_certified >= 0.0 && k > 0.0) {
        return None;
    }
    let difference = (found - certified).abs();
    let expanded_u = 2.0 * libm::hypot(u_found, expanded_u_certified / k);
    (difference + expanded_u).is_finite().then_some(ReferenceMaterialTest {
        difference,
        expanded_u,
        different: difference > expanded_u,
    })
}

/// Uncertainty from within-laboratory reproducibility and bias, all figures relative or all in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BiasStudy {
    /// Root of the mean square of the biases.
    pub rms_bias: f64,
    /// √(RMS² + u(C_ref)²).
    pub u_bias: f64,
    /// √(u(R_w)² + u(bias)²).
    pub u: f64,
}

impl BiasStudy {
    /// From biases found in several interlaboratory comparisons or reference materials.
    ///
    /// # Arguments
    /// * `u_rw`: within-laboratory reproducibility as standard uncertainty, 0 or above: half of 95 % control limits.
    /// * `biases`: one or more, signed.
    /// * `u_reference`: mean standard uncertainty of the reference values, 0 or above.
    ///
    /// # Source
    /// Nordtest Technical Report TR 537 (ed. 4, 2017), six-step summary (from memory). Checked by
    /// `tests/statistics/precision_and_bias.rs`.
    #[must_use]
    pub fn of_several(u_rw: f64, biases: &[f64], u_reference: f64) -> Option<BiasStudy> {
        let squares: Vec<f64> = biases.iter().map(|b| b * b).collect();
        let mean_square = summary::mean(&squares)?;
        BiasStudy::put_together(u_rw, mean_square.sqrt(), libm::hypot(mean_square.sqrt(), u_reference), u_reference)
    }

    /// From the bias found with one reference material.
    ///
    /// # Arguments
    /// * `u_rw`: as for [`BiasStudy::of_several`].
    /// * `bias`: mean bias, signed; `sd` its standard deviation over `n` ≥ 1 determinations.
    /// * `u_reference`: standard uncertainty of the certified value, 0 or above.
    ///
    /// # Source
    /// Nordtest Technical Report TR 537: u(bias) = √(bias² + s²/n + u(C_ref)²) (from memory).
    #[must_use]
    pub fn of_one_material(u_rw: f64, bias: f64, sd: f64, n: usize, u_reference: f64) -> Option<BiasStudy> {
        let enough = n > 0 && sd >= 0.0;
        if !enough {
            return None;
        }
        let scatter = sd / (n as f64).sqrt();
        let u_bias = libm::hypot(libm::hypot(bias, scatter), u_reference);
        BiasStudy::put_together(u_rw, bias.abs(), u_bias, u_reference)
    }

    fn put_together(u_rw: f64, rms_bias: f64, u_bias: f64, u_reference: f64) -> Option<BiasStudy> {
        let study = BiasStudy { rms_bias, u_bias, u: libm::hypot(u_rw, u_bias) };
        (u_rw >= 0.0 && u_reference >= 0.0 && study.u.is_finite()).then_some(study)
    }

    /// The expanded uncertainty, coverage factor 2.
    #[must_use]
    pub fn expanded_u(&self) -> f64 {
        2.0 * self.u
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_tested_is_not() {
        assert_eq!(recovery_test(0.9, 0.0, 10), None);
        assert_eq!(recovery_test(0.9, 0.1, 1), None);
        assert_eq!(recovery_test(f64::NAN, 0.1, 10), None);
        assert_eq!(reference_material_test(1.0, 0.1, 1.0, 0.1, 0.0), None);
        assert_eq!(reference_material_test(f64::NAN, 0.1, 1.0, 0.1, 2.0), None);
        assert_eq!(BiasStudy::of_several(1.0, &[], 1.0), None);
        assert_eq!(BiasStudy::of_several(-1.0, &[1.0], 1.0), None);
        assert_eq!(BiasStudy::of_one_material(1.0, 1.0, 1.0, 0, 1.0), None);
    }

    #[test]
    fn one_material_adds_the_scatter_of_its_mean() {
        let study = BiasStudy::of_one_material(3.0, -2.0, 2.0, 4, 2.0).unwrap();
        assert_eq!((study.rms_bias, study.u_bias), (2.0, 3.0));
        assert!((study.u - 18.0_f64.sqrt()).abs() < 1.0e-14);
    }
}
