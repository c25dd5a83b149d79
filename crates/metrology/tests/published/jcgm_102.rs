//! JCGM 102:2011 (Supplement 2 to the GUM): more than one output quantity.

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Source, SourceId};

use crate::held::hold;

/// JCGM 102:2011, 9.3, Table 6, x₁ = 0.001: magnitude and phase from real and imaginary part, uncorrelated, 10⁶ trials.
/// First order gives the phase an uncertainty of three half turns.
#[test]
fn jcgm_102_9_3_magnitude_and_phase() {
    hold("uncertainty/jcgm102-magnitude-phase-uncorrelated.toml");
}

/// The same equation: magnitude and phase of one trial belong together, so that the squares of both parts come back.
#[test]
fn jcgm_102_9_3_outputs_of_one_trial_belong_together() {
    let model = Model::new();
    let part =
        |name: &str, value: f64| model.input(Factor::from_si(value), &[Source::normal(SourceId::new(name), 0.01)]);
    let (real, imaginary) = (part("X1", 0.001), part("X2", 0.0));
    let (magnitude, phase) = ((real * real + imaginary * imaginary).sqrt(), imaginary.atan2(real));
    let samples = model.monte_carlo(&[magnitude, phase], 200_000);
    let back: f64 = samples[0].values().iter().zip(samples[1].values()).map(|(m, p)| m * m * libm::cos(2.0 * p)).sum();
    assert!((back / 2e5 - 1e-6).abs() < 2e-6, "{back}");
}
