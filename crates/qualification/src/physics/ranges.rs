//! `ranges.toml`: two ranges from one firing.

use darkline_signal::two_ranges::{self, Reading, ThreeFields};

use super::case::{Case, Computed, Figures};
use crate::stop::{Stop, no_value};

/// ranges.toml, case by case: two ranges of one firing are compared and joined.
///
/// Generalised least squares for two correlated values; the hand-over is our own rule; figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "sensitivity_and_rollover" => sensitivity_and_rollover(case)?,
        "overlap_consistency" => overlap_consistency(case),
        "hand_over_weight" => {
            let weights: Vec<f64> = case.numbers("q").into_iter().map(two_ranges::hand_over_weight).collect();
            vec![("weight_sensitive", weights.into())]
        }
        _ => return Err(Stop::Unknown),
    })
}

fn sensitivity_and_rollover(case: &Case<'_>) -> Computed {
    let fields = ThreeFields {
        stray_fraction: case.number("alpha"),
        left_at_middle: case.number("s_mid"),
        left_at_full: case.number("s_full"),
    };
    let (sensitive, reduced) = (fields.sensitive(), fields.reduced());
    let top = sensitive.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    let reduced_top = reduced.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    let a0 = case.numbers("A0");
    let in_sensitive: Vec<f64> = a0.iter().map(|&a0| sensitive.net(a0)).collect();
    let in_reduced: Vec<f64> = a0.iter().map(|&a0| fields.reduced_net(a0)).collect();
    Ok(vec![
        ("R_sensitive", sensitive.sensitivity_ratio.into()),
        ("R_reduced_prime", reduced.sensitivity_ratio.into()),
        ("slope_sensitive", sensitive.initial_slope().into()),
        ("slope_reduced", fields.reduced_slope().into()),
        ("sensitivity_ratio", fields.slope_ratio().into()),
        ("A0_rollover_sensitive", top.true_absorbance.into()),
        ("A_rollover_sensitive", top.net.into()),
        ("A0_rollover_reduced", (reduced_top.true_absorbance / fields.left_at_middle).into()),
        ("A_rollover_reduced", reduced_top.net.into()),
        ("A_sensitive", in_sensitive.into()),
        ("A_reduced", in_reduced.into()),
    ])
}

fn overlap_consistency(case: &Case<'_>) -> Figures {
    let one = Reading { value: case.number("m1_pg"), u: case.number("u1_pg") };
    let other = Reading { value: case.number("m2_pg"), u: case.number("u2_pg") };
    let r = case.number("r");
    let zeta = two_ranges::agreement(one, other, r);
    let both = two_ranges::combined(one, other, r);
    vec![
        ("zeta", zeta.into()),
        ("agree", (zeta.abs() <= 2.0).into()),
        ("w1", both.weight_of_one.into()),
        ("w2", (1.0 - both.weight_of_one).into()),
        ("combined_pg", both.reading.value.into()),
        ("u_combined_pg", both.reading.u.into()),
    ]
}
