//! JCGM 101:2008 (Supplement 1 to the GUM): Monte Carlo against the standard's own examples, 10⁶ trials each.

use darkline_metrology::estimate::Expanded;
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Interval, Validation, numerical_tolerance};
use darkline_qualification::Comparison;

use crate::held::{asking, figure, hold, hold_text};

/// A case with everything that validation needs asked for too.
fn with_both_orders(path: &str) -> Vec<Comparison> {
    hold(path);
    let text = asking(path, &[]);
    let wanted = ["guf_y", "guf_u", "guf_low", "guf_high", "guf2_u", "guf2_low", "guf2_high"];
    let more: Vec<&str> = wanted.into_iter().filter(|key| !text.contains(&format!("\n{key} = "))).collect();
    hold_text(&asking(path, &more))
}

/// Whether an interval of an order is validated by the trials, to one digit of u.
fn validated(held: &[Comparison], order: &str) -> bool {
    let (low, high) = (figure(held, &format!("{order}_low")), figure(held, &format!("{order}_high")));
    let expanded = Expanded {
        value: Factor::from_si(0.5 * (low + high)),
        expanded_u: Factor::from_si(0.5 * (high - low)),
        coverage_factor: 1.0,
    };
    let interval = Interval { low: Factor::from_si(figure(held, "low")), high: Factor::from_si(figure(held, "high")) };
    let tolerance = numerical_tolerance(figure(held, "u"), 1).expect("u above zero");
    Validation::of(expanded, interval, tolerance).holds()
}

/// JCGM 101:2008, 9.2.2, Table 2: the sum of four standard normal quantities.
#[test]
fn jcgm_101_9_2_2_four_normal_quantities() {
    let held = with_both_orders("uncertainty/jcgm101-9-2-2-normal.toml");
    // A linear equation has nothing beyond first order.
    assert!((figure(&held, "guf2_u") - figure(&held, "guf_u")).abs() < 1e-15);
}

/// JCGM 101:2008, 9.2.3, Table 3: the sum of four rectangular quantities of one width.
#[test]
fn jcgm_101_9_2_3_four_rectangular_quantities() {
    hold("uncertainty/jcgm101-9-2-3-rectangular.toml");
}

/// JCGM 101:2008, 9.3, Tables 5 and 6: calibration of a weight in air. First order misses the largest contribution, second
/// order finds it, and only the latter is validated.
#[test]
fn jcgm_101_9_3_mass_calibration() {
    let held = with_both_orders("uncertainty/jcgm101-9-3-mass-calibration.toml");
    assert!(!validated(&held, "guf"));
    assert!(validated(&held, "guf2"));
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0: comparison loss. First order gives no uncertainty at all; second order gives the
/// exact one, 50·10⁻⁶.
#[test]
fn jcgm_101_9_4_comparison_loss_at_zero() {
    let held = with_both_orders("uncertainty/jcgm101-9-4-comparison-loss-x0.toml");
    assert!(figure(&held, "low") >= 0.0);
    assert!((figure(&held, "guf2_u") - 50.0).abs() < 1e-12);
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0.010: first order reaches below zero, where no loss can be.
#[test]
fn jcgm_101_9_4_comparison_loss_near_zero() {
    let held = hold("uncertainty/jcgm101-9-4-comparison-loss-x010.toml");
    assert!(figure(&held, "low") >= 0.0);
    assert!(figure(&held, "guf_low") < 0.0);
}

/// JCGM 101:2008, 9.4, Table 8, x₁ = 0.050: far from zero both agree within a few per cent.
#[test]
fn jcgm_101_9_4_comparison_loss_far_from_zero() {
    hold("uncertainty/jcgm101-9-4-comparison-loss-x050.toml");
}

/// JCGM 101:2008, 9.5, Tables 10 and 12, inputs from memory: a gauge block, 99 % coverage. Standard deviations and limits
/// that are estimates themselves: first order says 32 nm, Monte Carlo 36 nm, and the intervals agree to a digit.
#[test]
fn jcgm_101_9_5_gauge_block() {
    assert!(validated(&hold("uncertainty/jcgm101-9-5-gauge-block.toml"), "guf"));
}

/// JCGM 101:2008, 7.9.2, three examples, from memory; 8.1 with the figures of 9.3, Table 6: how large a difference counts,
/// and what is validated.
#[test]
fn jcgm_101_8_validation_within_a_numerical_tolerance() {
    let held = hold("uncertainty/jcgm101-8-2-validation.toml");
    assert_eq!(held.iter().filter(|comparison| comparison.key.ends_with("validated")).count(), 2);
}
