//! `dip.toml`: pulses beyond the roll-over, restored.

use core::f64::consts::PI;

use darkline_signal::dipped_pulse::{is_dip, restore};
use darkline_signal::humps;
use darkline_signal::roll_over::NetCurve;

use super::case::{Case, Figures};

/// dip.toml, case by case: dipped pulses are restored from two parameters.
///
/// B. V. L'vov, L. K. Polzik, P. V. Fedorov, W. Slavin, Spectrochim. Acta 47B (1992) 1411 (abstract seen) for the method;
/// figures recomputed from the model.
pub fn compute(case: &Case) -> Option<Figures> {
    Some(match case.family(&[]) {
        "gaussian_pulses" => gaussian_pulses(case),
        "restoration_sampled" => restoration_sampled(case),
        "sensitivity_to_the_two_parameters" => sensitivity(case),
        "dip_or_double_peak" => dip_or_double_peak(case),
        _ => return None,
    })
}

/// alpha and R of every case of the file; the last one refers to the others for them.
const CURVE: NetCurve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };

fn curve(case: &Case) -> NetCurve {
    let curve = NetCurve { stray_fraction: case.number("alpha"), sensitivity_ratio: case.number("R") };
    assert_eq!(curve, CURVE);
    curve
}

fn gaussian(t: f64, height: f64, centre_s: f64, width_s: f64) -> f64 {
    let u = (t - centre_s) / width_s;
    height * libm::exp(-0.5 * u * u)
}

fn linearised(curve: &NetCurve, height: f64, width_s: f64) -> f64 {
    curve.initial_slope() * height * width_s * (2.0 * PI).sqrt()
}

fn gaussian_pulses(case: &Case) -> Figures {
    let curve = curve(case);
    let top = curve.roll_over().expect("a roll-over");
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
    vec![
        ("A0_rollover", top.true_absorbance.into()),
        ("A_rollover", top.net.into()),
        ("half_distance_of_humps_s", each(&half_distance).into()),
        ("A_net_at_centre", each(&|p| curve.net(p)).into()),
        ("total_at_centre", each(&|p| curve.total(p)).into()),
        ("background_channel_at_centre", each(&|p| curve.background(p)).into()),
        ("raw_area_As", each(&raw_area).into()),
        ("linearised_area_As", each(&|p| linearised(&curve, p, width)).into()),
    ]
}

fn restoration_sampled(case: &Case) -> Figures {
    let curve = curve(case);
    let (centre, width) = (case.number("tc_s"), case.number("s_s"));
    let rate = case.number("rate_Hz");
    let n = (case.number("t_to_s") * rate).round() as usize;
    let noise_sd = case.number("noise_sd");
    let mut exact_areas = Vec::new();
    for height in case.numbers("P") {
        let exact = linearised(&curve, height, width);
        let net: Vec<f64> = (0..=n).map(|i| curve.net(gaussian(i as f64 / rate, height, centre, width))).collect();
        let restored = restore(&net, &curve, 0.0).expect("a roll-over");
        assert!(restored.humps.is_some(), "height {height} dips");
        let area = restored.linearised_area(&curve, 1.0 / rate);
        let off = (area / exact - 1.0).abs();
        assert!(off <= case.tolerance("without_noise_rel"), "height {height}: {off} without noise");
        let mut next = uniform();
        for draw in 0..300 {
            let noisy: Vec<f64> = net.iter().map(|net| net + noise_sd * (0..12).map(|_| next()).sum::<f64>()).collect();
            let restored = restore(&noisy, &curve, noise_sd).expect("a roll-over");
            let off = (restored.linearised_area(&curve, 1.0 / rate) / exact - 1.0).abs();
            let within = case.tolerance("with_noise_rel");
            assert!(off <= within, "height {height}, draw {draw}: {off} with noise");
        }
        exact_areas.push(exact);
    }
    vec![("linearised_area_As", exact_areas.into())]
}

/// Uniform values from -1/2 to 1/2; twelve of them added have the standard deviation 1.
fn uniform() -> impl FnMut() -> f64 {
    let mut state = 17_u64;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / 9_007_199_254_740_992.0 - 0.5
    }
}

fn sensitivity(case: &Case) -> Figures {
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
                let restored = restore(&net, &supposed, 0.0).expect("a roll-over");
                restored.linearised_area(&supposed, dt) / linearised(&curve, height, width) - 1.0
            })
            .collect()
    };
    let r = curve.sensitivity_ratio;
    vec![
        ("rel_change_A_rollover_minus_1_percent", change(0.99 * roll_over, r).into()),
        ("rel_change_A_rollover_plus_1_percent", change(1.01 * roll_over, r).into()),
        ("rel_change_R_minus_0_01", change(roll_over, r - 0.01).into()),
        ("rel_change_R_plus_0_01", change(roll_over, r + 0.01).into()),
    ]
}

fn dip_or_double_peak(case: &Case) -> Figures {
    let top = CURVE.roll_over().expect("a roll-over");
    let height = case.number("dip_P");
    assert!(is_dip((top.total, top.total), CURVE.total(height)));

    let heights = case.numbers("double_A0_heights");
    let centres = case.numbers("double_centres_s");
    let width = case.number("double_s_s");
    let truth = |t: f64| -> f64 {
        heights.iter().zip(&centres).map(|(&height, &centre)| gaussian(t, height, centre, width)).sum()
    };
    let step = 5e-5;
    let net: Vec<f64> = (0..40_000).map(|i| CURVE.net(truth(f64::from(i) * step))).collect();
    let found = humps::humps(&net, 0.01);
    let valley = humps::valley(&net, found[0], found[1]).expect("between two humps");
    let times = [found[0].place * step, valley.place * step, found[1].place * step];
    let totals = times.map(|t| CURVE.total(truth(t)));
    assert!(!is_dip((totals[0], totals[2]), totals[1]));
    vec![
        ("dip_net_hump_1_valley_hump_2", vec![top.net, CURVE.net(height), top.net].into()),
        ("dip_total_hump_1_valley_hump_2", vec![top.total, CURVE.total(height), top.total].into()),
        ("double_peak_times_s", vec![times[0], times[2]].into()),
        ("double_valley_s", times[1].into()),
        ("double_net_hump_1_valley_hump_2", vec![found[0].height, valley.height, found[1].height].into()),
        ("double_total_hump_1_valley_hump_2", totals.to_vec().into()),
    ]
}
