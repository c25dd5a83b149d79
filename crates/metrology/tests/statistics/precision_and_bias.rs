//! Precision and bias: Nordtest TR 537, Eurachem/CITAC CG 4 (QUAM), ERM Application Note 1.

use crate::held::hold;

/// Nordtest TR 537, six-step summary, from memory: ammonium in water.
#[test]
fn nordtest_tr_537_ammonium_in_water() {
    hold("uncertainty/nordtest-ammonium.toml");
}

/// Eurachem/CITAC CG 4 (QUAM:2012), A4.4, from memory: a mean recovery of 0.90.
///
/// DIFFERENCE: the guide takes t = 2.021 for 40 degrees of freedom from its table; for 41 it is 2.0195.
#[test]
fn quam_a_4_4_recovery_differs_from_one() {
    hold("uncertainty/quam-a4-recovery-significance.toml");
}

/// European Reference Materials, Application Note 1, from memory (figures constructed).
#[test]
fn erm_application_note_1_mean_against_certificate() {
    hold("uncertainty/erm-crm-comparison.toml");
}
