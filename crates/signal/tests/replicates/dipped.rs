//! Dipped pulses: the true area within 6 % at three times the roll-over, and an honest uncertainty.

use darkline_signal::pulse_shape::SupplyLoss;
use darkline_signal::restored_area::{MeasuredCurve, RestoredArea, restored_area};
use darkline_signal::roll_over::NetCurve;
use darkline_signal::{Times, Trace, Window};

use crate::Draws;

const WINDOW: Window = Window { baseline_from_s: -1.0, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };
const TRUTH: NetCurve = NetCurve { stray_fraction: 0.01, sensitivity_ratio: 0.85 };
const RATE_HZ: f64 = 100.0;

/// Linearised true area, and the pulse restored with the parameters supposed.
fn fired(height: f64, supposed: &MeasuredCurve, draws: &mut Draws) -> (f64, RestoredArea) {
    let shape = SupplyLoss { area: 1.0, k_supply_per_s: 5.0, k_loss_per_s: 3.0, start_s: 0.4 };
    let scale = height / shape.peak().height;
    let at = |i: usize| i as f64 / RATE_HZ - 1.0;
    // Channels at the absorbance they really see: stray light included, noise of the light that is left.
    let total: Vec<f32> =
        (0..501).map(|i| draws.absorbance(TRUTH.total(scale * shape.absorbance(at(i))), 0.002)).collect();
    let background: Vec<f32> =
        (0..501).map(|i| draws.absorbance(TRUTH.background(scale * shape.absorbance(at(i))), 0.0)).collect();
    let trace =
        Trace::new(Times::Even { start_s: -1.0, rate_hz: RATE_HZ }, &total, &background).expect("a sound pulse");
    let restored = restored_area(&trace, &WINDOW, supposed).expect("a window").expect("a roll-over");
    (TRUTH.initial_slope() * scale * shape.area_until(4.0), restored)
}

fn supposed(net_at_roll_over: f64, sensitivity_ratio: f64) -> MeasuredCurve {
    MeasuredCurve { net_at_roll_over, u_net_at_roll_over: 0.01 * 1.3, sensitivity_ratio, u_sensitivity_ratio: 0.005 }
}

#[test]
fn three_times_the_roll_over_absorbance_is_restored_within_6_percent() {
    let top = TRUTH.roll_over().expect("a roll-over");
    let known = supposed(top.net, TRUTH.sensitivity_ratio);
    // Three times the highest net absorbance there is, and three times the true absorbance it is reached at.
    for height in [3.0 * top.net, 3.0 * top.true_absorbance] {
        let mut draws = Draws(3);
        for draw in 0..60 {
            let (exact, restored) = fired(height, &known, &mut draws);
            assert!(restored.dip_s.is_some(), "height {height}, draw {draw}");
            let off = restored.area / exact - 1.0;
            assert!(off.abs() < 0.06, "height {height}, draw {draw}: {off}");
        }
    }
}

#[test]
fn noise_of_a_restored_area_is_the_scatter_of_replicates() {
    let top = TRUTH.roll_over().expect("a roll-over");
    let known = supposed(top.net, TRUTH.sensitivity_ratio);
    for height in [0.3, 3.0 * top.net] {
        let mut draws = Draws(29);
        let n = 100;
        let found: Vec<RestoredArea> = (0..n).map(|_| fired(height, &known, &mut draws).1).collect();
        let mean = found.iter().map(|restored| restored.area).sum::<f64>() / f64::from(n);
        let variance = found.iter().map(|restored| (restored.area - mean) * (restored.area - mean)).sum::<f64>()
            / f64::from(n - 1);
        let told = found.iter().map(|restored| restored.u_noise * restored.u_noise).sum::<f64>() / f64::from(n);
        let ratio = (variance / told).sqrt();
        assert!((0.85..=1.15).contains(&ratio), "height {height}: scatter over u is {ratio}");
    }
}

#[test]
fn parameters_known_with_an_error_leave_the_truth_within_the_uncertainty() {
    let top = TRUTH.roll_over().expect("a roll-over");
    let mut draws = Draws(41);
    let (mut within, n) = (0, 120);
    for _ in 0..n {
        let (a, r) = (top.net + 0.013 * draws.normal(), TRUTH.sensitivity_ratio + 0.005 * draws.normal());
        let (exact, restored) = fired(3.0 * top.net, &supposed(a, r), &mut draws);
        within += u32::from((restored.area - exact).abs() <= 2.0 * restored.u);
    }
    // 95.4 % of normal values; 120 of them know that to 1.9 %.
    let part = f64::from(within) / f64::from(n);
    assert!((0.91..=0.995).contains(&part), "{part} within two standard uncertainties");
}
