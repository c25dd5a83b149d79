//! Precision and bias: Nordtest TR 537, Eurachem/CITAC CG 4 (QUAM), ERM Application Note 1.

use darkline_metrology::bias::{BiasStudy, recovery_test, reference_material_test};
use darkline_metrology::rounding::{Decimal, Rounding};

use crate::published::{case, check_expected, items, number, numbers, table, truth};

/// Nordtest TR 537, six-step summary, from memory: ammonium in water.
#[test]
fn nordtest_tr_537_ammonium_in_water() {
    let case = case("uncertainty/nordtest-ammonium.toml");
    let data = table(&case, "data");
    let u_rw = 0.5 * number(data, "control_limit_95_percent");
    let study = BiasStudy::of_several(u_rw, &numbers(data, "bias_percent"), number(data, "u_Cref_percent"))
        .expect("six biases");
    check_expected(&case, |key| match key {
        "u_Rw" => Some(u_rw),
        "RMS_bias" => Some(study.rms_bias),
        "u_bias" => Some(study.u_bias),
        "uc" => Some(study.u),
        "U" => Some(study.expanded_u()),
        "U_rounded" => Some(Decimal::from_f64(study.expanded_u())?.rounded_to_digits(1, Rounding::HalfEven).to_f64()),
        _ => None,
    });
}

/// Eurachem/CITAC CG 4 (QUAM:2012), A4.4, from memory: a mean recovery of 0.90.
///
/// DIFFERENCE: the guide takes t = 2.021 for 40 degrees of freedom from its table; for 41 it is 2.0195.
#[test]
fn quam_a_4_4_recovery_differs_from_one() {
    for item in items("uncertainty/quam-a4-recovery-significance.toml") {
        let get = |key| number(&item.table, key);
        let found = recovery_test(get("recovery"), get("s"), get("n") as usize).expect("42 recoveries");
        item.close("u_recovery", Some(found.u));
        item.close("t", Some(found.t));
        item.close("t_crit", Some(found.critical_t));
        assert_eq!(found.significant, truth(&item.table, "significant"));
    }
}

/// European Reference Materials, Application Note 1, from memory (figures constructed).
#[test]
fn erm_application_note_1_mean_against_certificate() {
    for item in items("uncertainty/erm-crm-comparison.toml") {
        let get = |key| number(&item.table, key);
        let found =
            reference_material_test(get("c_m"), get("u_m"), get("c_CRM"), get("U_CRM"), get("k")).expect("figures");
        item.close("delta", Some(found.difference));
        item.close("U_delta", Some(found.expanded_u));
        assert_eq!(found.different, truth(&item.table, "different"));
    }
}
