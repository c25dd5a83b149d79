//! Uncertainties against the scatter of simulated replicates: what a pulse says of its own noise is what firing again shows.
//!
//! Light is counted: each channel's electrons are drawn at the pulse's true absorbance with read noise and flicker, and
//! absorbance is what the electrons give. Nothing of the reduction's own model of noise is used.

mod dipped;
mod ranges;

use core::f64::consts::PI;

use darkline_signal::pulse_shape::SupplyLoss;
use darkline_signal::{PulseFigures, Window, examine};

/// Photoelectrons of one value at absorbance 0, read noise in electrons, flicker from value to value: a furnace with a usual
/// lamp (invented).
const ELECTRONS: f64 = 250_000.0;
const READ: f64 = 60.0;
const FLICKER: f64 = 4e-4;

const WINDOW: Window = Window { baseline_from_s: -1.0, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };

/// How the channels are read.
#[derive(Clone, Copy, Debug)]
enum Read {
    Together,
    InTurn,
}

/// Uniform values between 0 and 1, and normal ones made of them.
struct Draws(u64);

impl Draws {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    /// G. E. P. Box, M. E. Muller, Ann. Math. Stat. 29 (1958) 610.
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(2.0 * PI * self.uniform())
    }

    /// One value of one channel, as an instrument gives it.
    fn absorbance(&mut self, truth: f64, offset: f64) -> f32 {
        let light = ELECTRONS * libm::exp10(-truth);
        let seen = light * (1.0 + FLICKER * self.normal()) + light.sqrt() * self.normal() + READ * self.normal();
        (offset - libm::log10(seen.max(1.0) / ELECTRONS)) as f32
    }
}

/// Scatter of replicates over the uncertainty told, for area and height.
fn ratios(read: Read, rate_hz: f64, height: f64, background: f64) -> (f64, f64) {
    let shape = SupplyLoss { area: 1.0, k_supply_per_s: 6.0, k_loss_per_s: 2.5, start_s: 0.4 };
    let scale = height / shape.peak().height;
    let hump = |t: f64| background * libm::exp(-(t - 0.5) * (t - 0.5) / (2.0 * 0.15 * 0.15));
    let n = (5.0 * rate_hz) as usize + 1;
    let t_s: Vec<f64> = (0..n).map(|i| i as f64 / rate_hz - 1.0).collect();
    let mut draws = Draws(rate_hz as u64 + 17);
    let n_pulses = 600;
    let (mut areas, mut heights, mut of_areas, mut of_heights) = (vec![], vec![], 0.0, 0.0);
    for _ in 0..n_pulses {
        // The offset of the channels wanders from firing to firing and costs nothing but its noise.
        let offset = 0.01 * draws.normal();
        let (mut total, mut back) = (Vec::new(), Vec::new());
        for (i, &t) in t_s.iter().enumerate() {
            let (reads_total, reads_background) = match read {
                Read::Together => (true, true),
                Read::InTurn => (i % 2 == 0, i % 2 == 1),
            };
            let truth = hump(t) + scale * shape.absorbance(t);
            total.push(if reads_total { draws.absorbance(truth, offset) } else { f32::NAN });
            back.push(if reads_background { draws.absorbance(hump(t), 0.0) } else { f32::NAN });
        }
        let PulseFigures { reduced, .. } = examine(&t_s, &total, &back, &WINDOW).expect("a sound pulse");
        areas.push(reduced.integrated_absorbance);
        heights.push(reduced.peak_absorbance);
        // Variances: the mean of the standard deviations would be low, for each u has its own baseline's.
        of_areas += reduced.u_integrated * reduced.u_integrated / f64::from(n_pulses);
        of_heights += reduced.u_peak * reduced.u_peak / f64::from(n_pulses);
    }
    let sd = |values: &[f64]| {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)).sqrt()
    };
    (sd(&areas) / of_areas.sqrt(), sd(&heights) / of_heights.sqrt())
}

fn check(read: Read, rate_hz: f64, height: f64, background: f64) {
    let (area, peak) = ratios(read, rate_hz, height, background);
    let case = format!("{read:?} at {rate_hz} Hz, height {height}, background {background}");
    assert!((0.9..=1.1).contains(&area), "{case}: area scatters {area} times its u");
    // The highest of a blank's noise is no height.
    assert!(height == 0.0 || (0.9..=1.1).contains(&peak), "{case}: height scatters {peak} times its u");
}

#[test]
fn replicates_of_channels_read_together_scatter_as_their_u_says() {
    for (rate_hz, height, background) in
        [(50.0, 0.0, 0.0), (50.0, 0.1, 0.0), (50.0, 0.5, 0.6), (50.0, 1.0, 0.3), (100.0, 1.3, 0.0), (20.0, 0.7, 0.2)]
    {
        check(Read::Together, rate_hz, height, background);
    }
}

#[test]
fn replicates_of_channels_read_in_turn_scatter_as_their_u_says() {
    for (rate_hz, height, background) in
        [(100.0, 0.0, 0.0), (100.0, 0.1, 0.5), (100.0, 0.6, 0.3), (200.0, 1.2, 0.2), (60.0, 0.4, 0.0)]
    {
        check(Read::InTurn, rate_hz, height, background);
    }
}
