//! Two ranges of one firing, joined: straight over three decades, without a step, with an honest uncertainty.

use darkline_signal::pulse_shape::SupplyLoss;
use darkline_signal::restored_area::{MeasuredCurve, restored_area};
use darkline_signal::roll_over::NetCurve;
use darkline_signal::two_ranges::{Joined, Reading, ThreeFields, joined, measured_twice};
use darkline_signal::{Times, Trace, Window, reduce};

use crate::Draws;

const WINDOW: Window = Window { baseline_from_s: -1.0, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };
const FIELDS: ThreeFields = ThreeFields { stray_fraction: 0.01, left_at_middle: 0.3, left_at_full: 0.06 };
const SHAPE: SupplyLoss = SupplyLoss { area: 1.0, k_supply_per_s: 5.0, k_loss_per_s: 3.0, start_s: 0.4 };

/// One firing at a height of the true absorbance: three phases, two net pulses.
fn fired(height: f64, mut read: impl FnMut(f64) -> f32) -> Joined {
    let scale = height / SHAPE.peak().height;
    let sensitive = FIELDS.sensitive();
    let mut phase = |left: f64| -> Vec<f32> {
        (0..501).map(|i| read(sensitive.total(left * scale * SHAPE.absorbance(f64::from(i) / 100.0 - 1.0)))).collect()
    };
    let (zero, middle, full) = (phase(1.0), phase(FIELDS.left_at_middle), phase(FIELDS.left_at_full));
    let times = Times::Even { start_s: -1.0, rate_hz: 100.0 };
    let of = |total: &[f32], curve: &NetCurve| {
        let trace = Trace::new(times, total, &full).expect("a sound pulse");
        let top = curve.roll_over().expect("a roll-over").net;
        let exact = MeasuredCurve {
            net_at_roll_over: top,
            u_net_at_roll_over: 0.0,
            sensitivity_ratio: curve.sensitivity_ratio,
            u_sensitivity_ratio: 0.0,
        };
        let restored = restored_area(&trace, &WINDOW, &exact).expect("a window").expect("a roll-over");
        let highest = reduce(&trace, &WINDOW).expect("a window").peak_absorbance / top;
        let q = if restored.dip_s.is_some() { 1.0 } else { highest };
        (Reading { value: restored.area, u: restored.u }, q)
    };
    let (one, q) = of(&zero, &sensitive);
    let (other, _) = of(&middle, &FIELDS.reduced());
    // The reduced response is per absorbance left at the middle field.
    let ratio = Reading { value: FIELDS.slope_ratio(), u: 0.0 };
    joined(one, other, ratio, q, 0.3)
}

/// The response per height that a straight calibration has.
fn straight() -> f64 {
    FIELDS.sensitive().initial_slope() * SHAPE.area_until(4.0) / SHAPE.peak().height
}

#[test]
fn one_calibration_runs_straight_over_three_decades() {
    let mut draws = Draws(7);
    for height in [0.006, 0.02, 0.06, 0.2, 0.6, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0] {
        let found = fired(height, |truth| draws.absorbance(truth, 0.0));
        let off = found.reading.value - straight() * height;
        // Four standard uncertainties, and half a per cent for what the noise does to a bent curve.
        assert!(
            off.abs() < 4.0 * found.reading.u + 0.005 * straight() * height,
            "height {height}: off by {off}, u {}",
            found.reading.u
        );
    }
}

#[test]
fn the_hand_over_makes_no_step() {
    let heights: Vec<f64> = (0..60).map(|i| 0.8 + 0.04 * f64::from(i)).collect();
    let found: Vec<Joined> = heights.iter().map(|&height| fired(height, quiet())).collect();
    let weights: Vec<f64> = found.iter().map(|joined| joined.weight_sensitive).collect();
    assert!(weights[0] > 0.5 && weights[59] == 0.0, "{weights:?}");
    for (pair, heights) in found.windows(2).zip(heights.windows(2)) {
        let step = pair[1].reading.value - pair[0].reading.value;
        let expected = straight() * (heights[1] - heights[0]);
        assert!((step / expected - 1.0).abs() < 0.1, "from height {}: {step} for {expected}", heights[0]);
    }
}

/// An instrument with a ripple of its last digit for noise.
fn quiet() -> impl FnMut(f64) -> f32 {
    let mut n = 0_u32;
    move |truth| {
        n += 1;
        (truth + if n.is_multiple_of(7) { 3e-4 } else { -0.5e-4 }) as f32
    }
}

#[test]
fn both_ranges_of_a_firing_agree_as_their_uncertainties_say() {
    let mut draws = Draws(13);
    let n = 150;
    let zetas: Vec<f64> = (0..n).filter_map(|_| fired(0.5, |truth| draws.absorbance(truth, 0.0)).zeta).collect();
    assert_eq!(zetas.len(), 150);
    let within = zetas.iter().filter(|zeta| zeta.abs() <= 2.0).count();
    assert!((135..=150).contains(&within), "{within} of 150 within 2");
}

#[test]
fn flame_and_furnace_of_one_solution_are_joined_where_they_agree() {
    let (flame, furnace) = (Reading { value: 101.0, u: 2.0 }, Reading { value: 98.0, u: 1.5 });
    let both = measured_twice(flame, furnace, 0.2);
    let combined = both.combined.expect("they agree");
    assert!(combined.reading.u < 1.5 && combined.reading.value > 98.0 && combined.reading.value < 101.0);
    let apart = measured_twice(Reading { value: 110.0, u: 2.0 }, furnace, 0.2);
    assert!(apart.zeta < -2.0 && apart.combined.is_none());
}
