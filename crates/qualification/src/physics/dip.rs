//! `dip.toml`: pulses beyond the roll-over, restored.

use core::f64::consts::PI;

use darkline_signal::dipped_pulse::{is_dip, restore};
use darkline_signal::humps;
use darkline_signal::roll_over::NetCurve;

use super::case::{Case, Computed};
use crate::stop::{Stop, no_value};

/// dip.toml, case by case: dipped pulses are restored from two parameters.
///
/// B. V. L'vov, L. K. Polzik, P. V. Fedorov, W. Slavin, Spectrochim. Acta 47B (1992) 1411 (abstract seen) for the method;
/// figures recomputed from the model.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "gaussian_pulses" => gaussian_pulses(case)?,
        "restoration_sampled" => restoration_sampled(case)?,
        "sensitivity_to_the_two_parameters" => sensitivity(case)?,
        "dip_or_double_peak" => dip_or_double_peak(case)?,
        _ => return Err(Stop::Unknown),
    })
}

/// alpha and R of the pack; a case that states none refers to the others for them.
const CURVE: NetCurve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };

fn curve(case: &Case<'_>) -> NetCurve {
    NetCurve {
        stray_fraction: case.number_or("alpha", CURVE.stray_fraction),
        sensitivity_ratio: case.number_or("R", CURVE.sensitivity_ratio),
    }
}

/// Noisy pulses restored for each height.
const DRAWS: u32 = 300;

fn gaussian(t: f64, height: f64, centre_s: f64, width_s: f64) -> f64 {
    let u = (t - centre_s) / width_s;
    height * libm::exp(-0.5 * u * u)
}

fn linearised(curve: &NetCurve, height: f64, width_s: f64) -> f64 {
    curve.initial_slope() * height * width_s * (2.0 * PI).sqrt()
}

fn gaussian_pulses(case: &Case<'_>) -> Computed {
    let curve = curve(case);
    let top = curve.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    let (centre, width) = (case.number("tc_s"), case.number("s_s"));
    let (from, to) = (case.number("t_from_s"), case.number("t_to_s"));
    let heights = case.numbers("P");
    let each = |of: &dyn Fn(f64) -> f64| -> Vec<f64> { heights.iter().map(|&p| of(p)).collect() };
    let raw_area = |p: f64| {
        let n = 60_000;
        let dt = (to - from) / f64::from(n);
        (0..=n).map(|i| curve.net(gaussian(from + f64::from(i) * dt, p, centre, width))).sum::<f64>() * dt
    };
    let half_distance = |p: f64| {
        if p > top.true_absorbance { width * (2.0 * libm::log(p / top.true_absorbance)).sqrt() } else { 0.0 }
    };
    Ok(vec![
        ("A0_rollover", top.true_absorbance.into()),
        ("A_rollover", top.net.into()),
        ("half_distance_of_humps_s", each(&half_distance).into()),
        ("A_net_at_centre", each(&|p| curve.net(p)).into()),
        ("total_at_centre", each(&|p| curve.total(p)).into()),
        ("background_channel_at_centre", each(&|p| curve.background(p)).into()),
        ("raw_area_As", each(&raw_area).into()),
        ("linearised_area_As", each(&|p| linearised(&curve, p, width)).into()),
    ])
}

fn restoration_sampled(case: &Case<'_>) -> Computed {
    let curve = curve(case);
    let (centre, width) = (case.number("tc_s"), case.number("s_s"));
    let rate = case.number("rate_Hz");
    let n = case.steps(case.number("t_to_s") * rate).min(20_000);
    let noise_sd = case.number("noise_sd");
    let mut exact_areas = Vec::new();
    for height in case.numbers("P") {
        let exact = linearised(&curve, height, width);
        let net: Vec<f64> = (0..=n).map(|i| curve.net(gaussian(i as f64 / rate, height, centre, width))).collect();
        let restored = restore(&net, &curve, 0.0).ok_or_else(|| no_value("the roll-over"))?;
        case.agree(restored.humps.is_some(), "the pulse dips");
        let area = restored.linearised_area(&curve, 1.0 / rate);
        let off = (area / exact - 1.0).abs();
        case.agree(off <= case.tolerance("without_noise_rel"), "the area restored without noise");
        let mut next = uniform();
        for _ in 0..DRAWS {
            let noisy: Vec<f64> = net.iter().map(|net| net + noise_sd * (0..12).map(|_| next()).sum::<f64>()).collect();
            let restored = restore(&noisy, &curve, noise_sd).ok_or_else(|| no_value("the roll-over"))?;
            let off = (restored.linearised_area(&curve, 1.0 / rate) / exact - 1.0).abs();
            let within = case.tolerance("with_noise_rel");
            case.agree(off <= within, "the area restored with noise");
        }
        exact_areas.push(exact);
    }
    Ok(vec![("linearised_area_As", exact_areas.into())])
}

/// Uniform values from -1/2 to 1/2; twelve of them added have the standard deviation 1.
fn uniform() -> impl FnMut() -> f64 {
    let mut state = 17_u64;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / 9_007_199_254_740_992.0 - 0.5
    }
}

fn sensitivity(case: &Case<'_>) -> Computed {
    let curve = curve(case);
    let (centre, width) = (case.number("tc_s"), case.number("s_s"));
    let roll_over = case.number("A_rollover_true");
    let heights = case.numbers("P");
    let n = 60_000;
    let dt = 6.0 / f64::from(n);
    let change = |net_at_roll_over: f64, r: f64| -> Vec<f64> {
        let supposed = NetCurve::from_roll_over(net_at_roll_over, r);
        heights
            .iter()
            .map(|&height| {
                let net: Vec<f64> =
                    (0..=n).map(|i| curve.net(gaussian(f64::from(i) * dt - 2.0, height, centre, width))).collect();
                let restored = restore(&net, &supposed, 0.0).map(|restored| restored.linearised_area(&supposed, dt));
                case.or_none(restored, "the roll-over") / linearised(&curve, height, width) - 1.0
            })
            .collect()
    };
    let r = curve.sensitivity_ratio;
    Ok(vec![
        ("rel_change_A_rollover_minus_1_percent", change(0.99 * roll_over, r).into()),
        ("rel_change_A_rollover_plus_1_percent", change(1.01 * roll_over, r).into()),
        ("rel_change_R_minus_0_01", change(roll_over, r - 0.01).into()),
        ("rel_change_R_plus_0_01", change(roll_over, r + 0.01).into()),
    ])
}

fn dip_or_double_peak(case: &Case<'_>) -> Computed {
    let curve = curve(case);
    let top = curve.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    let height = case.number("dip_P");
    case.agree(is_dip((top.total, top.total), curve.total(height)), "a dip is told from a double peak");

    let heights = case.numbers("double_A0_heights");
    let centres = case.numbers("double_centres_s");
    let width = case.number("double_s_s");
    let truth = |t: f64| -> f64 {
        heights.iter().zip(&centres).map(|(&height, &centre)| gaussian(t, height, centre, width)).sum()
    };
    let step = 5e-5;
    let net: Vec<f64> = (0..40_000).map(|i| curve.net(truth(f64::from(i) * step))).collect();
    let found = humps::humps(&net, 0.01);
    let [first, second, ..] = found[..] else { return Err(no_value("a second hump")) };
    let valley = humps::valley(&net, first, second).ok_or_else(|| no_value("the valley"))?;
    let times = [first.place * step, valley.place * step, second.place * step];
    let totals = times.map(|t| curve.total(truth(t)));
    case.agree(!is_dip((totals[0], totals[2]), totals[1]), "a double peak is told from a dip");
    Ok(vec![
        ("dip_net_hump_1_valley_hump_2", vec![top.net, curve.net(height), top.net].into()),
        ("dip_total_hump_1_valley_hump_2", vec![top.total, curve.total(height), top.total].into()),
        ("double_peak_times_s", vec![times[0], times[2]].into()),
        ("double_valley_s", times[1].into()),
        ("double_net_hump_1_valley_hump_2", vec![first.height, valley.height, second.height].into()),
        ("double_total_hump_1_valley_hump_2", totals.to_vec().into()),
    ])
}
