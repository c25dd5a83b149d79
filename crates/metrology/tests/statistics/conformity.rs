//! Conformity with a limit: JCGM 106:2012, ILAC-G8:09/2019, Eurachem/CITAC (2021), Regulation (EC) No 333/2007.

use darkline_metrology::conformity::{DecisionRule, Guard, Limit, MeasuredValue, Statement, decide};
use darkline_metrology::rounding::Decimal;

use crate::held::hold;

/// JCGM 106:2012, 7.3, from memory: a diode with an upper limit, a container with a lower one.
#[test]
fn jcgm_106_7_3_one_sided_limits() {
    hold("uncertainty/jcgm106-one-sided.toml");
}

/// JCGM 106:2012, 7.2 and 7.3: values on the limit and two-sided limits (constructed).
#[test]
fn jcgm_106_7_3_edges() {
    hold("uncertainty/jcgm106-truncated-and-edge.toml");
}

/// JCGM 106:2012, 9.5.4, figures 14 and 15: ball bearings, gamma prior.
#[test]
fn jcgm_106_9_5_4_global_risk_with_a_skewed_prior() {
    hold("uncertainty/jcgm106-global-risk-gamma.toml");
}

/// JCGM 106:2012, clause 9, from memory: precision resistors, normal prior, two-sided.
#[test]
fn jcgm_106_9_global_risk_of_resistors() {
    hold("uncertainty/jcgm106-global-risk-normal.toml");
}

/// ILAC-G8:09/2019, 4.2.1 to 4.2.3: seven values about an upper limit of 0.1 mg/kg, U = 0.02 mg/kg.
#[test]
fn ilac_g8_binary_and_non_binary_statements() {
    hold("uncertainty/ilac-g8-decisions.toml");
}

/// ILAC-G8:09/2019, Table 1: guard bands w = rU and the risk at the acceptance limit, k = 2.
#[test]
fn ilac_g8_table_1_guard_bands_and_risks() {
    hold("uncertainty/ilac-g8-guard-bands.toml");
}

/// Eurachem/CITAC, Use of uncertainty information in compliance assessment (2021), clause 5 and annex A.
#[test]
fn eurachem_compliance_acceptance_limits() {
    hold("uncertainty/eurachem-muc-acceptance-limits.toml");
}

/// Regulation (EC) No 333/2007, annex, D.1.2 to D.2: rejected only beyond reasonable doubt.
#[test]
fn eu_333_2007_lots_beyond_reasonable_doubt() {
    hold("uncertainty/eu-333-lot-decision.toml");
}

/// Regulations (EC) No 333/2007 and (EU) 2023/915: one result judged by three rules (figures as texts).
#[test]
fn eu_915_2023_results_by_three_rules() {
    let held = hold("limits/food.toml");
    assert_eq!(held.iter().filter(|comparison| comparison.key == "outcome_simple").count(), 6);
}

/// With few degrees of freedom the guard band for a risk is that of the t law (Eurachem/CITAC 2021, annex A).
#[test]
fn a_guard_band_for_a_risk_widens_with_few_degrees_of_freedom() {
    let figure = |x: f64| Decimal::from_f64(x).expect("a finite figure");
    let limit = Limit::AtMost(figure(10.0));
    let rule = DecisionRule::GuardedAcceptance(Guard::Risk(0.05));
    let mut value =
        MeasuredValue { value: figure(9.1), expanded_u: figure(1.0), coverage_factor: 2.0, dof: f64::INFINITY };
    let many = decide(&value, &limit, &rule).expect("a risk between 0 and 1");
    value.dof = 3.0;
    let few = decide(&value, &limit, &rule).expect("a risk between 0 and 1");
    assert!((many.guard_band.to_f64() - 0.8224).abs() < 5e-5);
    assert_eq!((many.statement, few.statement), (Statement::Complies, Statement::DoesNotComply));
}
