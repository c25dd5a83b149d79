//! JCGM 102:2011 (Supplement 2 to the GUM): more than one output quantity.

use darkline_metrology::kind::Kind;
use darkline_metrology::model::Model;

use crate::budget;
use crate::published::{case, check_expected};

/// JCGM 102:2011, 9.3, Table 6, x₁ = 0.001: magnitude and phase from real and imaginary part, uncorrelated, 10⁶ trials.
/// First order gives the phase an uncertainty of three half turns.
#[test]
fn jcgm_102_9_3_magnitude_and_phase() {
    let case = case("uncertainty/jcgm102-magnitude-phase-uncorrelated.toml");
    let model = Model::new();
    let symbols = budget::inputs(&model, &case);
    let (real, imaginary) = (symbols["X1"], symbols["X2"]);
    let magnitude = (real * real + imaginary * imaginary).sqrt();
    let phase = imaginary.atan2(real);
    let (of_magnitude, of_phase) = (model.first_order(magnitude), model.first_order(phase));
    let samples = model.monte_carlo(&[magnitude, phase], 1_000_000);
    check_expected(&case, |key| match key {
        "mag_guf" => Some(of_magnitude.value.si()),
        "u_mag_guf" => Some(of_magnitude.u()),
        "phase_guf" => Some(of_phase.value.si()),
        "u_phase_guf" => Some(of_phase.u()),
        "mag" => samples[0].mean().map(Kind::si),
        "u_mag" => samples[0].u().map(Kind::si),
        "phase" => samples[1].mean().map(Kind::si),
        "u_phase" => samples[1].u().map(Kind::si),
        _ => None,
    });
    // Magnitude and phase of one trial belong together: the squares of both parts come back.
    let back: f64 = samples[0].values().iter().zip(samples[1].values()).map(|(m, p)| m * m * libm::cos(2.0 * p)).sum();
    assert!((back / 1e6 - 1e-6).abs() < 1e-6, "{back}");
}
