//! Conformity by every decision rule of an order, from readings to statement.

use darkline_evaluation::outcome::{Outcome, Replicates, Reported, StatementOutcome, ValueOutcome};
use darkline_metrology::conformity::Statement;
use darkline_metrology::distribution::{normal, student_t};
use serde_json::{Value, json};

use crate::package::{outcome, package};

fn judged(limit: &str, rule: &Value) -> Outcome {
    let standards = vec![
        (1.0, vec![1.02, 0.99]),
        (2.0, vec![2.01, 1.97]),
        (3.0, vec![3.02, 2.99]),
        (4.0, vec![3.98, 4.03]),
        (5.0, vec![5.02, 4.98]),
    ];
    let mut package = package(&standards, &[vec![3.01, 2.99, 3.0]], &json!({}));
    let mut whole = json!({"at_most": {"mass-concentration": limit}, "origin": "an invented regulation"});
    for (key, part) in rule.as_object().unwrap() {
        whole[key] = part.clone();
    }
    package.order.analytes[0].limit = Some(serde_json::from_value(whole).unwrap());
    outcome(&package)
}

fn value(outcome: &Outcome) -> &ValueOutcome {
    match &outcome.results[0].reported {
        Reported::Value { result } => result,
        other => panic!("{other:?} {:?}", outcome.flags),
    }
}

fn statement(outcome: &Outcome) -> &StatementOutcome {
    outcome.results[0].statement.as_ref().unwrap()
}

/// ILAC-G8:09/2019, 4.2: the same value, U about 0.03 mg/L, against limits above and below it by every rule.
#[test]
fn every_decision_rule_says_what_it_says() {
    use Statement::{Complies, DoesNotComply, Inconclusive};
    let near_above = |rule: &Value| statement(&judged("3.01 mg/L", rule)).statement;
    let near_below = |rule: &Value| statement(&judged("2.98 mg/L", rule)).statement;
    for (rule, above, below) in [
        ("simple-acceptance", Complies, DoesNotComply),
        ("guard-band-u", Inconclusive, Inconclusive),
        ("guarded-acceptance", DoesNotComply, DoesNotComply),
        ("guarded-rejection", Complies, Complies),
    ] {
        let rule = json!({"decision_rule": rule});
        assert_eq!((near_above(&rule), near_below(&rule)), (above, below), "{rule}");
        let far = statement(&judged("4 mg/L", &rule)).statement;
        assert_eq!(far, Complies, "{rule}");
        assert_eq!(statement(&judged("2 mg/L", &rule)).statement, DoesNotComply, "{rule}");
    }
}

/// JCGM 106:2012, 7.1: probability of conformity, with the t distribution of the effective degrees of freedom; guard bands as a
/// part of U, of the limit, and by the risk at the acceptance limit.
#[test]
fn probability_and_guard_bands_are_printed() {
    let found = judged("3.01 mg/L", &json!({"decision_rule": "guarded-acceptance", "guard": {"part-of-u": "83 %"}}));
    let (result, said) = (value(&found), statement(&found));
    let (u, dof) = (result.u, result.dof.unwrap());
    let expected = student_t::cdf((3.01 - result.value) / u, dof).unwrap();
    assert!((said.probability_of_conformity.unwrap() - expected).abs() < 1e-12);
    assert!((said.guard_band.unwrap() / (0.83 * result.expanded_u) - 1.0).abs() < 1e-12);
    assert!(said.decision_rule.contains("guard band 0.83 U"), "{}", said.decision_rule);

    let found =
        judged("3.01 mg/L", &json!({"decision_rule": "guarded-acceptance", "guard": {"part-of-limit": "10 %"}}));
    assert!((statement(&found).guard_band.unwrap() - 0.301).abs() < 1e-12);
    assert!(statement(&found).decision_rule.ends_with("(guard band: 10 % of the limit)"));

    let found = judged("3.01 mg/L", &json!({"decision_rule": "guarded-acceptance", "guard": {"risk": "5 %"}}));
    let t = student_t::upper_quantile(0.05, dof).unwrap();
    assert!((statement(&found).guard_band.unwrap() / (t * u) - 1.0).abs() < 1e-9);
    assert_eq!(statement(&judged("3.01 mg/L", &json!({"decision_rule": "simple-acceptance"}))).guard_band, None);
}

/// Rounding before or after comparison: 3.003 mg/L passes a limit of 3.00 mg/L with all digits and keeps to it as printed.
#[test]
fn rounding_before_comparison_is_the_rule_of_the_order() {
    let plain = judged("3.00 mg/L", &json!({"decision_rule": "simple-acceptance"}));
    let printed = judged("3.00 mg/L", &json!({"decision_rule": "simple-acceptance", "comparison": "as-printed"}));
    let found = value(&plain).value;
    assert!((found - 3.0).abs() < 0.005, "{found}");
    assert_eq!(statement(&plain).statement == Statement::Complies, found <= 3.0);
    assert!(statement(&printed).decision_rule.ends_with("rounded before they are compared"));
}

/// n = s²/((d/k)² − u_shared²): the readings of the sample against what no reading lessens.
#[test]
fn readings_that_would_decide_are_counted_or_there_are_none() {
    let found = judged("3.025 mg/L", &json!({"decision_rule": "guard-band-u"}));
    let result = value(&found);
    let readings: f64 = result
        .contributions
        .iter()
        .filter(|(source, _)| source.starts_with("calibration/readings/"))
        .map(|(_, u)| u * u)
        .sum();
    let shared = (result.u * result.u - readings).sqrt();
    let room = (3.025 - result.value) / 2.0;
    let said = statement(&found);
    if said.statement == Statement::Inconclusive {
        match said.replicates.unwrap() {
            Replicates::WouldDecide { readings: n } => {
                assert!(room > shared);
                let exact = 3.0 * readings / (room * room - shared * shared);
                assert!(f64::from(n) >= exact && f64::from(n) < exact + 1.0 + 1e-9, "{n} {exact}");
            }
            Replicates::NoneWould => assert!(room <= shared),
        }
    }
    let near = judged("3.005 mg/L", &json!({"decision_rule": "guard-band-u"}));
    assert_eq!(statement(&near).replicates, Some(Replicates::NoneWould));
}

/// JCGM 106:2012, 9.5: risks over all that is judged; without scatter of the measurement they would be zero.
#[test]
fn global_risks_follow_from_what_is_known_of_the_property() {
    let prior = json!({"mean": {"mass-concentration": "2.9 mg/L"}, "sd": {"mass-concentration": "0.1 mg/L"}});
    let found = judged("3.01 mg/L", &json!({"decision_rule": "guarded-acceptance", "prior": prior}));
    let risk = statement(&found).global_risk.as_ref().unwrap();
    let nonconforming = normal::upper_tail(1.1).unwrap();
    assert!((risk.nonconforming - nonconforming).abs() < 1e-9);
    assert!(risk.consumer > 0.0 && risk.consumer < 0.01 && risk.producer > risk.consumer, "{risk:?}");
    assert!((risk.acceptance_limit - (3.01 - value(&found).expanded_u)).abs() < 1e-12);
}
