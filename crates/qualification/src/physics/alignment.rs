//! `alignment.toml`: two channels sampled in turn, brought to the same moments.

use darkline_signal::alignment::{self, FirstRead, Interpolation, background_at_total};

use super::case::{Case, Computed, Figures};
use crate::stop::Stop;

/// alignment.toml, case by case: channels sampled in turn are aligned with the errors the theory gives.
///
/// J. M. Harnly, J. A. Holcombe, Anal. Chem. 57 (1985) 1983 and 58 (1986) 2606 (from memory) for the problem;
/// figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "weights" => weights(case),
        "residual_term" => residual_term(case),
        "gaussian_background" => gaussian_background(case),
        "area_error_when_window_cuts_the_background" => window_cuts_background(case),
        "finite_sampling_time" => finite_sampling_time(case),
        "area_noise_is_not_point_noise" => area_noise(case),
        _ => return Err(Stop::Unknown),
    })
}

fn weights(case: &Case<'_>) -> Figures {
    case.agree(case.numbers("nodes_in_h") == [-3.0, -1.0, 1.0, 3.0], "the nodes of the interpolation");
    let of = |rule: Interpolation| rule.weights().to_vec().into();
    vec![
        ("hold_previous", of(Interpolation::HoldPrevious)),
        ("linear", of(Interpolation::Linear)),
        ("quadratic_from_left", of(Interpolation::QuadraticFromLeft)),
        ("quadratic_from_right", of(Interpolation::QuadraticFromRight)),
        ("cubic", of(Interpolation::Cubic)),
        ("noise_gain_variance_hold", Interpolation::HoldPrevious.noise_gain().into()),
        ("noise_gain_variance_linear", Interpolation::Linear.noise_gain().into()),
        ("noise_gain_variance_quadratic", Interpolation::QuadraticFromLeft.noise_gain().into()),
        ("noise_gain_variance_cubic", Interpolation::Cubic.noise_gain().into()),
    ]
}

fn residual_term(case: &Case<'_>) -> Figures {
    let powers = case.numbers("p");
    let of = |rule: Interpolation| {
        let term = rule.error_term();
        case.agree(powers.contains(&f64::from(term.power)), "the power of an error term");
        term.coefficient.into()
    };
    vec![
        ("hold_previous", of(Interpolation::HoldPrevious)),
        ("linear", of(Interpolation::Linear)),
        ("quadratic_from_left", of(Interpolation::QuadraticFromLeft)),
        ("quadratic_from_right", of(Interpolation::QuadraticFromRight)),
        ("cubic", of(Interpolation::Cubic)),
    ]
}

/// Estimate less truth at each of `n` total values from `from_s` on, two steps `h_s` apart.
fn errors(truth: impl Fn(f64) -> f64, from_s: f64, h_s: f64, n: usize, rule: Interpolation) -> Vec<f64> {
    let background: Vec<f64> = (0..=n).map(|j| truth(from_s + (2.0 * j as f64 - 1.0) * h_s)).collect();
    background_at_total(&background, n, FirstRead::Background, rule)
        .iter()
        .enumerate()
        .map(|(i, estimate)| estimate - truth(from_s + 2.0 * i as f64 * h_s))
        .collect()
}

fn gaussian_background(case: &Case<'_>) -> Figures {
    let (b0, tc, s) = (case.number("B0"), case.number("tc_s"), case.number("s_s"));
    let h = 1.0 / case.number("rate_Hz");
    let n = case.steps(case.number("t_end_s") / (2.0 * h)) + 1;
    let truth = |t: f64| b0 * libm::exp(-(t - tc) * (t - tc) / (2.0 * s * s));
    let slope = b0 / s * libm::exp(-0.5);
    let stated = case.number_or("max_slope_per_s", slope);
    case.agree((slope / stated - 1.0).abs() < 1e-9, "the largest slope");
    let false_net = |rule| {
        let errors = errors(truth, 0.0, h, n, rule);
        let largest = errors.iter().fold(0.0, |high: f64, error| high.max(error.abs()));
        let area = -errors.iter().sum::<f64>() * 2.0 * h;
        (largest, area)
    };
    let [hold, linear, quadratic, cubic] =
        [Interpolation::HoldPrevious, Interpolation::Linear, Interpolation::QuadraticFromLeft, Interpolation::Cubic]
            .map(false_net);
    vec![
        ("max_abs_error_hold", hold.0.into()),
        ("max_abs_error_linear", linear.0.into()),
        ("max_abs_error_quadratic", quadratic.0.into()),
        ("max_abs_error_cubic", cubic.0.into()),
        ("area_error_hold_As", hold.1.into()),
        ("area_error_linear_As", linear.1.into()),
        ("area_error_quadratic_As", quadratic.1.into()),
        ("area_error_cubic_As", cubic.1.into()),
    ]
}

fn window_cuts_background(case: &Case<'_>) -> Figures {
    let (h, tau) = (case.number("h_s"), case.number("tau_s"));
    let (from, to) = (case.number("t_a_s"), case.number("t_b_s"));
    case.agree((h * case.number_or("rate_Hz", 1.0 / h) - 1.0).abs() < 1e-12, "the rate and half the sampling interval");
    let truth = |t: f64| libm::exp(-t / tau);
    let n = case.steps((to - from) / (2.0 * h));
    let area = |rule| errors(truth, from, h, n, rule).iter().sum::<f64>() * 2.0 * h;
    let slope = |t: f64| -truth(t) / tau;
    vec![
        ("area_error_hold_As", area(Interpolation::HoldPrevious).into()),
        ("area_error_linear_As", area(Interpolation::Linear).into()),
        ("first_order_hold_As", alignment::area_error_holding(h, truth(to) - truth(from)).into()),
        ("first_order_linear_As", alignment::area_error_linear(h, slope(to) - slope(from)).into()),
    ]
}

fn finite_sampling_time(case: &Case<'_>) -> Figures {
    let aperture = case.number("aperture_s");
    let slopes = case.numbers("slope_per_s");
    let bias: Vec<f64> = slopes.iter().map(|&s| alignment::aperture_bias(s, aperture)).collect();
    let second: Vec<f64> = slopes.iter().map(|&s| alignment::aperture_bias_second_order(s, aperture)).collect();
    vec![("bias_A", bias.into()), ("second_order_A", second.into())]
}

fn area_noise(case: &Case<'_>) -> Figures {
    let (total, background) = (case.number("sigma_total"), case.number("sigma_background"));
    let (n, dt) = (case.number("n_points"), case.number("dt_s"));
    let point = |rule| alignment::net_sd(total, background, rule);
    let factor = |rule| alignment::area_over_point_noise(total, background, rule);
    let naive = darkline_signal::baseline::u_area(point(Interpolation::Linear), dt, n, None);
    vec![
        ("sd_point_linear", point(Interpolation::Linear).into()),
        ("sd_point_cubic", point(Interpolation::Cubic).into()),
        ("sd_area_As", alignment::u_area(total, background, dt, n).into()),
        ("naive_sd_area_linear_As", naive.into()),
        ("understatement_factor_linear", factor(Interpolation::Linear).into()),
        ("understatement_factor_cubic", factor(Interpolation::Cubic).into()),
    ]
}
