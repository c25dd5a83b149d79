//! Conformity with a limit: JCGM 106:2012, ILAC-G8:09/2019, Eurachem/CITAC (2021), Regulation (EC) No 333/2007.

use darkline_metrology::conformity::{
    AcceptanceSide, Bound, DecisionRule, Guard, Limit, MeasuredValue, Prior, Statement, acceptance_limit, decide,
    global_risk, probability_of_conformity, risk_at_acceptance_limit,
};
use darkline_metrology::distribution::normal;
use darkline_metrology::rounding::Decimal;

use crate::published::{case, check_expected, close, items, list, number, optional, table, text, truth};

fn figure(x: f64) -> Decimal {
    Decimal::from_f64(x).expect("a case holds finite figures")
}

fn measured(value: Decimal, expanded_u: Decimal, k: f64) -> MeasuredValue {
    MeasuredValue { value, expanded_u, coverage_factor: k, dof: f64::INFINITY }
}

fn check_conformance(path: &str) {
    for item in items(path) {
        let lower = optional(&item.table, "T_L").unwrap_or(f64::NEG_INFINITY);
        let upper = optional(&item.table, "T_U").unwrap_or(f64::INFINITY);
        let (y, u) = (number(&item.table, "y"), number(&item.table, "u"));
        item.close("p_c", probability_of_conformity(y, u, f64::INFINITY, lower, upper));
    }
}

/// JCGM 106:2012, 7.3, from memory: a diode with an upper limit, a container with a lower one.
#[test]
fn jcgm_106_7_3_one_sided_limits() {
    check_conformance("uncertainty/jcgm106-one-sided.toml");
}

/// JCGM 106:2012, 7.2 and 7.3: values on the limit and two-sided limits (constructed).
#[test]
fn jcgm_106_7_3_edges() {
    check_conformance("uncertainty/jcgm106-truncated-and-edge.toml");
}

/// JCGM 106:2012, 9.5.4, figures 14 and 15: ball bearings, gamma prior.
#[test]
fn jcgm_106_9_5_4_global_risk_with_a_skewed_prior() {
    let case = case("uncertainty/jcgm106-global-risk-gamma.toml");
    let given = table(&case, "given");
    assert_eq!(text(given, "prior"), "gamma");
    let prior = Prior::Gamma { shape: number(given, "shape"), rate: number(given, "rate") };
    let (tolerance, acceptance) = (number(given, "T_U"), number(given, "acceptance_limit"));
    let found =
        global_risk(prior, number(given, "u_m"), (f64::NEG_INFINITY, tolerance), (f64::NEG_INFINITY, acceptance))
            .expect("a prior and limits in order");
    check_expected(&case, |key| match key {
        "p_nonconforming" => Some(found.nonconforming),
        "R_C" => Some(found.consumer),
        "R_P" => Some(found.producer),
        _ => None,
    });
}

/// JCGM 106:2012, clause 9, from memory: precision resistors, normal prior, two-sided.
#[test]
fn jcgm_106_9_global_risk_of_resistors() {
    let case = case("uncertainty/jcgm106-global-risk-normal.toml");
    let given = table(&case, "given");
    assert_eq!(text(given, "prior"), "normal");
    let prior = Prior::Normal { mean: number(given, "mean"), sd: number(given, "sd") };
    let found = global_risk(
        prior,
        number(given, "u_m"),
        (number(given, "T_L"), number(given, "T_U")),
        (number(given, "acceptance_lower"), number(given, "acceptance_upper")),
    )
    .expect("a prior and limits in order");
    check_expected(&case, |key| match key {
        "p_nonconforming" => Some(found.nonconforming),
        "R_C" => Some(found.consumer),
        "R_P" => Some(found.producer),
        _ => None,
    });
}

/// ILAC-G8:09/2019, 4.2.1 to 4.2.3: seven values about an upper limit of 0.1 mg/kg, U = 0.02 mg/kg.
#[test]
fn ilac_g8_binary_and_non_binary_statements() {
    let path = "uncertainty/ilac-g8-decisions.toml";
    let case = case(path);
    let given = table(&case, "given");
    let limit = Limit::AtMost(figure(number(given, "T_U")));
    let expanded_u = figure(number(given, "U"));
    for item in items(path) {
        let value: Decimal = item.written("y").parse().expect("a figure");
        let measured = measured(value, expanded_u.clone(), number(given, "k"));
        let judge = |rule: DecisionRule| decide(&measured, &limit, &rule).expect("U is a guard band");
        let binary = |rule| match judge(rule).statement {
            Statement::Complies => "pass",
            Statement::DoesNotComply => "fail",
            Statement::Inconclusive => "inconclusive",
        };
        assert_eq!(binary(DecisionRule::SimpleAcceptance), text(&item.table, "simple"));
        assert_eq!(binary(DecisionRule::GuardedAcceptance(Guard::ExpandedUncertainty)), text(&item.table, "guarded"));
        let both_ways = judge(DecisionRule::GuardedBothWays(Guard::ExpandedUncertainty));
        let said = match (both_ways.statement, both_ways.value_keeps_to_limit) {
            (Statement::Complies, _) => "pass",
            (Statement::Inconclusive, true) => "conditional pass",
            (Statement::Inconclusive, false) => "conditional fail",
            (Statement::DoesNotComply, _) => "fail",
        };
        assert_eq!(said, text(&item.table, "non_binary"), "{}", measured.value);
    }
}

/// ILAC-G8:09/2019, Table 1: guard bands w = rU and the risk at the acceptance limit, k = 2.
#[test]
fn ilac_g8_table_1_guard_bands_and_risks() {
    for item in items("uncertainty/ilac-g8-guard-bands.toml") {
        let r = number(&item.table, "r");
        let risk = risk_at_acceptance_limit(r, 2.0);
        item.close("risk", risk);
        assert!(risk.expect("k is above 0") <= number(&item.table, "stated_limit"));
        assert_eq!(text(&item.table, "risk_kind"), if r < 0.0 { "PFR" } else { "PFA" });
    }
}

/// Eurachem/CITAC, Use of uncertainty information in compliance assessment (2021), clause 5 and annex A.
#[test]
fn eurachem_compliance_acceptance_limits() {
    for item in items("uncertainty/eurachem-muc-acceptance-limits.toml") {
        let limit = number(&item.table, "limit");
        let bound = match text(&item.table, "side") {
            "upper" => Bound::AtMost(limit),
            "lower" => Bound::AtLeast(limit),
            other => panic!("{other} is not covered"),
        };
        let side = match text(&item.table, "mode") {
            "stringent" => AcceptanceSide::Stringent,
            "relaxed" => AcceptanceSide::Relaxed,
            other => panic!("{other} is not covered"),
        };
        let alpha = number(&item.table, "alpha");
        item.close("A", acceptance_limit(bound, side, number(&item.table, "u"), f64::INFINITY, alpha));
        item.close("z", normal::upper_quantile(alpha));
    }
}

/// Regulation (EC) No 333/2007, annex, D.1.2 to D.2: rejected only beyond reasonable doubt.
#[test]
fn eu_333_2007_lots_beyond_reasonable_doubt() {
    for item in items("uncertainty/eu-333-lot-decision.toml") {
        let get = |key: &str| -> Decimal { item.written(key).parse().expect("a figure") };
        if let Some(uncorrected) = optional(&item.table, "x_uncorrected") {
            item.close("x", Some(uncorrected / number(&item.table, "recovery")));
        }
        assert_eq!(&get("x") - &get("U"), get("lower"));
        let rule = DecisionRule::GuardedRejection(Guard::ExpandedUncertainty);
        let judged =
            decide(&measured(get("x"), get("U"), 2.0), &Limit::AtMost(get("ML")), &rule).expect("U is a guard band");
        let expected = if truth(&item.table, "compliant") { Statement::Complies } else { Statement::DoesNotComply };
        assert_eq!(judged.statement, expected, "{:?}", get("x"));
    }
}

/// Regulations (EC) No 333/2007 and (EU) 2023/915: one result judged by three rules (figures as texts).
#[test]
fn eu_915_2023_results_by_three_rules() {
    let food = case("limits/food.toml");
    let mut n = 0;
    for judged in list(&food, "case").iter().filter_map(|c| c.as_table()) {
        if text(judged, "kind") != "decision" {
            continue;
        }
        n += 1;
        let get = |key: &str| -> Decimal { text(judged, key).parse().expect("a figure") };
        let (x, u) = (get("result"), get("expanded_uncertainty"));
        assert_eq!(text(judged, "coverage"), "k = 2");
        assert_eq!((&x - &u).to_string(), text(judged, "result_minus_U"));
        let limit = Limit::AtMost(get("maximum_level"));
        let by =
            |rule| decide(&measured(x.clone(), u.clone(), 2.0), &limit, &rule).expect("U is a guard band").statement;
        let says = |statement, other: &str| {
            if statement == Statement::Complies { "accept".to_owned() } else { other.to_owned() }
        };
        let guard = Guard::ExpandedUncertainty;
        assert_eq!(says(by(DecisionRule::SimpleAcceptance), "reject"), text(judged, "outcome_simple"));
        assert_eq!(
            says(by(DecisionRule::GuardedRejection(guard.clone())), "reject"),
            text(judged, "outcome_beyond_doubt")
        );
        assert_eq!(
            says(by(DecisionRule::GuardedAcceptance(guard)), "not accepted"),
            text(judged, "outcome_guarded_acceptance")
        );
    }
    assert_eq!(n, 6);
}

/// With few degrees of freedom the guard band for a risk is that of the t law (Eurachem/CITAC 2021, annex A).
#[test]
fn a_guard_band_for_a_risk_widens_with_few_degrees_of_freedom() {
    let limit = Limit::AtMost(figure(10.0));
    let rule = DecisionRule::GuardedAcceptance(Guard::Risk(0.05));
    let mut value = measured(figure(9.1), figure(1.0), 2.0);
    let many = decide(&value, &limit, &rule).expect("a risk between 0 and 1");
    value.dof = 3.0;
    let few = decide(&value, &limit, &rule).expect("a risk between 0 and 1");
    close("z·u", Some(many.guard_band.to_f64()), 0.8224, 5.0e-5);
    assert_eq!((many.statement, few.statement), (Statement::Complies, Statement::DoesNotComply));
}
