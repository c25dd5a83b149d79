//! JCGM 101:2008 (Supplement 1 to the GUM): Monte Carlo against the standard's own examples, 10⁶ trials each.

use darkline_metrology::estimate::{Estimate, Expanded};
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Interval, Model, Sample, Validation, numerical_tolerance};

use crate::budget;
use crate::expression;
use crate::published::{case, check_expected, items, number, optional, table, text, truth};

const TRIALS: u32 = 1_000_000;

/// What both ways of propagation find.
struct Found {
    estimate: Estimate<Factor>,
    /// Estimate and half-width by first order.
    first_order: Expanded<Factor>,
    second_order: Option<Factor>,
    sample: Sample<Factor>,
    interval: Interval<Factor>,
}

/// Works a case out and holds every key against it.
#[track_caller]
fn check(path: &str) -> Found {
    let case = case(path);
    assert_eq!(text(&case, "kind"), "mcm");
    let equation = table(&case, "model");
    let p = number(equation, "p");
    let model = Model::new();
    let symbols = budget::inputs(&model, &case);
    let y = expression::build(&model, text(equation, "expression"), &symbols);
    let sample = model.monte_carlo(&[y], TRIALS).remove(0);
    assert_eq!(sample.n_without_solution, 0);
    let interval = match text(equation, "interval") {
        "symmetric" => sample.symmetric_interval(p),
        "shortest" => sample.shortest_interval(p),
        other => panic!("what is a {other} interval?"),
    };
    let interval = interval.expect("enough trials");
    let estimate = model.first_order(y);
    let k = estimate.coverage_factor(p).expect("a probability");
    let first_order = estimate.expand(k);
    let second_order = model.second_order(y);
    let value = estimate.value.si();
    let u_2 = second_order.map(Kind::si);
    check_expected(&case, |key| match key {
        "y" => sample.mean().map(Kind::si),
        "u" => sample.u().map(Kind::si),
        "low" => Some(interval.low.si()),
        "high" => Some(interval.high.si()),
        "length" => Some(interval.high.si() - interval.low.si()),
        "guf_y" => Some(value),
        "guf_u" => Some(estimate.u()),
        "guf_low" => Some(value - first_order.expanded_u.si()),
        "guf_high" => Some(value + first_order.expanded_u.si()),
        "guf2_u" => u_2,
        "guf2_low" => u_2.map(|u| value - k * u),
        "guf2_high" => u_2.map(|u| value + k * u),
        "nu_eff" => Some(estimate.effective_dof()),
        _ => None,
    });
    Found { estimate, first_order, second_order, sample, interval }
}

/// JCGM 101:2008, 9.2.2, Table 2: the sum of four standard normal quantities.
#[test]
fn jcgm_101_9_2_2_four_normal_quantities() {
    let found = check("uncertainty/jcgm101-9-2-2-normal.toml");
    // A linear equation has nothing beyond first order.
    let u_2 = found.second_order.expect("no fit").si();
    assert!((u_2 - found.estimate.u()).abs() < 1e-15, "{u_2}");
}

/// JCGM 101:2008, 9.2.3, Table 3: the sum of four rectangular quantities of one width.
#[test]
fn jcgm_101_9_2_3_four_rectangular_quantities() {
    check("uncertainty/jcgm101-9-2-3-rectangular.toml");
}

/// JCGM 101:2008, 9.3, Tables 5 and 6: calibration of a weight in air. First order misses the largest contribution, second
/// order finds it, and only the latter is validated.
#[test]
fn jcgm_101_9_3_mass_calibration() {
    let found = check("uncertainty/jcgm101-9-3-mass-calibration.toml");
    let tolerance = numerical_tolerance(found.sample.u().expect("trials").si(), 1).expect("u above zero");
    assert!(!Validation::of(found.first_order, found.interval, tolerance).holds());
    let second_order = Expanded {
        expanded_u: Factor::from_si(found.first_order.coverage_factor * found.second_order.expect("no fit").si()),
        ..found.first_order
    };
    assert!(Validation::of(second_order, found.interval, tolerance).holds());
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0: comparison loss. First order gives no uncertainty at all; second order gives the
/// exact one, 50·10⁻⁶.
#[test]
fn jcgm_101_9_4_comparison_loss_at_zero() {
    let found = check("uncertainty/jcgm101-9-4-comparison-loss-x0.toml");
    assert!(found.interval.low.si() >= 0.0);
    assert!((found.second_order.expect("no fit").si() - 50.0).abs() < 1e-12);
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0.010: first order reaches below zero, where no loss can be.
#[test]
fn jcgm_101_9_4_comparison_loss_near_zero() {
    let found = check("uncertainty/jcgm101-9-4-comparison-loss-x010.toml");
    assert!(found.interval.low.si() >= 0.0);
    assert!(found.first_order.value.si() - found.first_order.expanded_u.si() < 0.0);
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0.050: far from zero both agree within a few per cent.
#[test]
fn jcgm_101_9_4_comparison_loss_far_from_zero() {
    check("uncertainty/jcgm101-9-4-comparison-loss-x050.toml");
}

/// JCGM 101:2008, 9.5, Tables 10 and 12, inputs from memory: a gauge block, 99 % coverage. Standard deviations and limits
/// that are estimates themselves: first order says 32 nm, Monte Carlo 36 nm, and the intervals agree to a digit.
#[test]
fn jcgm_101_9_5_gauge_block() {
    let found = check("uncertainty/jcgm101-9-5-gauge-block.toml");
    let tolerance = numerical_tolerance(found.sample.u().expect("trials").si(), 1).expect("u above zero");
    assert!(Validation::of(found.first_order, found.interval, tolerance).holds());
}

/// JCGM 101:2008, 7.9.2, three examples, from memory; 8.1 with the figures of 9.3, Table 6: how large a difference counts,
/// and what is validated.
#[test]
fn jcgm_101_8_validation_within_a_numerical_tolerance() {
    let mut verdicts = 0;
    for item in items("uncertainty/jcgm101-8-2-validation.toml") {
        let get = |key| number(&item.table, key);
        let delta = numerical_tolerance(get("u"), get("n_dig") as u8).expect("u above zero");
        item.close("delta", Some(delta));
        if optional(&item.table, "d_low").is_none() {
            continue;
        }
        let (low, high) = (get("guf_low"), get("guf_high"));
        let first_order = Expanded {
            value: Factor::from_si(0.5 * (low + high)),
            expanded_u: Factor::from_si(0.5 * (high - low)),
            coverage_factor: 1.96,
        };
        let interval = Interval { low: Factor::from_si(get("mcm_low")), high: Factor::from_si(get("mcm_high")) };
        let verdict = Validation::of(first_order, interval, delta);
        item.close("d_low", Some(verdict.d_low));
        item.close("d_high", Some(verdict.d_high));
        assert_eq!(verdict.holds(), truth(&item.table, "validated"));
        verdicts += 1;
    }
    assert_eq!(verdicts, 2);
}
