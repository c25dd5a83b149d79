//! Coverage factors by probability, first order held against Monte Carlo, control data beside the budget.

use darkline_evaluation::outcome::{Outcome, Reported, ValueOutcome};
use darkline_metrology::distribution::student_t;
use serde_json::{Value, json};

use crate::package::{case, numbers, outcome, package, singly};

fn result(coverage: &Value) -> Value {
    json!({"kind": "mass-concentration", "unit": "mg/L", "coverage_factor": coverage})
}

fn value(outcome: &Outcome) -> &ValueOutcome {
    match &outcome.results[0].reported {
        Reported::Value { result } => result,
        other => panic!("{other:?}"),
    }
}

/// Eurachem/CITAC QUAM:2012.P1, A5: the residual standard deviation of 15 readings has 13 degrees of freedom, and everything else
/// counts as known here, so that k is t(0.975, 13) = 2.160 (GUM, table G.2).
#[test]
fn a_probability_takes_the_factor_from_the_effective_degrees_of_freedom() {
    let standards = vec![
        (0.1, vec![0.028, 0.029, 0.029]),
        (0.3, vec![0.084, 0.083, 0.081]),
        (0.5, vec![0.135, 0.131, 0.133]),
        (0.7, vec![0.18, 0.181, 0.183]),
        (0.9, vec![0.215, 0.23, 0.216]),
    ];
    let method = json!({"result": result(&json!({"probability": "95 %"}))});
    let found = outcome(&package(&standards, &[vec![0.0712, 0.0716]], &method));
    let value = value(&found);
    assert_eq!(value.coverage_probability, Some(0.95));
    assert!((value.dof.unwrap() - 13.0).abs() < 1e-9);
    assert_eq!(value.coverage_factor, student_t::coverage_factor(0.95, 13.0).unwrap());
    assert!((value.coverage_factor - 2.160).abs() < 5e-4);
    assert_eq!(value.expanded_u, value.coverage_factor * value.u);
}

/// J. N. Miller, J. C. Miller: a line whose slope is well known (1 %): first order holds, and is what is reported.
#[test]
fn a_well_known_slope_keeps_first_order() {
    let case = case("calibration/line-miller-fluorescein.toml");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let plan =
        |above: &str| json!({"monte_carlo_above": above, "trials": 200_000, "digits": 1, "interval": "symmetric"});
    let method = |above: &str| json!({"result": result(&json!("2")), "uncertainty": plan(above)});
    let silent = outcome(&package(&singly(&x, &y), &[vec![13.5]], &method("20 %")));
    assert_eq!(value(&silent).monte_carlo, None);
    let found = outcome(&package(&singly(&x, &y), &[vec![13.5]], &method("0.1 %")));
    let validated = value(&found).monte_carlo.as_ref().unwrap();
    assert!(validated.holds, "{validated:?}");
    assert_eq!(validated.first_order, (value(&found).value, value(&found).u, value(&found).expanded_u));
    assert_eq!((value(&found).value, value(&found).u), (value(&silent).value, value(&silent).u));
    // Five degrees of freedom: the trials follow a t, whose standard deviation is larger by √(5/3).
    assert!((validated.u / (value(&found).u * (5.0_f64 / 3.0).sqrt()) - 1.0).abs() < 0.02);
    assert!(validated.shortest.1 - validated.shortest.0 <= validated.symmetric.1 - validated.symmetric.0);
}

/// A slope that is known to 15 % bends what is divided by it: the trials are reported, and it is said.
#[test]
fn a_poorly_known_slope_gives_way_to_the_trials() {
    let standards = singly(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], &[1.5, 1.2, 3.9, 3.0, 5.9, 5.2]);
    let plan = json!({"monte_carlo_above": "5 %", "trials": 100_000, "digits": 2, "interval": "shortest"});
    let method = json!({"result": result(&json!("2")), "uncertainty": plan});
    let found = outcome(&package(&standards, &[vec![4.0]], &method));
    let value = value(&found);
    let validated = value.monte_carlo.as_ref().unwrap();
    assert!(!validated.holds);
    assert!(validated.denominator.unwrap() > 0.1);
    let (low, high) = validated.shortest;
    assert!(value.value - value.expanded_u <= low && value.value + value.expanded_u >= high);
    assert_eq!((value.coverage_factor, value.value), (2.0, validated.first_order.0));
    assert!(value.u > validated.first_order.1);
}

/// Nordtest Technical Report TR 537: u(R_w), the root mean square of the biases and u(C_ref) together, relative.
#[test]
fn control_data_stand_beside_the_budget() {
    let standards = singly(&[1.0, 2.0, 3.0, 4.0, 5.0], &[1.01, 1.98, 3.02, 3.99, 5.01]);
    let top_down = json!({"u_rw": "3 %", "biases": ["2 %", "-2 %"], "u_reference": "1.5 %"});
    let plan = json!({"trials": 100_000, "digits": 2, "interval": "symmetric", "top_down": top_down});
    let method = json!({"result": result(&json!("2")), "uncertainty": plan});
    let found = outcome(&package(&standards, &[vec![3.0]], &method));
    let beside = value(&found).top_down.as_ref().unwrap();
    assert!((beside.rms_bias - 0.02).abs() < 1e-15);
    assert!((beside.u_bias - 0.025).abs() < 1e-15);
    assert!((beside.relative_u - (0.03_f64 * 0.03 + 0.025 * 0.025).sqrt()).abs() < 1e-15);
    assert!((beside.budget_over_top_down - value(&found).u / beside.u).abs() < 1e-15);
    assert_eq!(value(&found).monte_carlo, None);
}
