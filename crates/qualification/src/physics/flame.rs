//! `flame.toml`: steady readings, delays, noise averaging, injected volumes.

use darkline_signal::flame_reading::{DriftBetweenChecks, ReadingNoise, StepResponse, area_of_injection};

use super::case::{Case, Computed, Figures};
use crate::stop::{Stop, no_value};

/// flame.toml, case by case.
///
/// N. W. Bower, J. D. Ingle, Anal. Chem. (abstract seen) for the noise of flames; figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "read_delay" => read_delay(case),
        "white_and_slow_noise" => white_and_slow_noise(case)?,
        "injected_volume" => {
            let of = |key: &str| case.number(key);
            let area = area_of_injection(of("A_steady"), of("volume_uL"), of("uptake_mL_per_min"));
            vec![("area_As", area.into())]
        }
        "drift_correction" => drift_correction(case),
        _ => return Err(Stop::Unknown),
    })
}

fn read_delay(case: &Case<'_>) -> Figures {
    let step = StepResponse { arrives_s: case.number("t_transit_s"), time_constant_s: case.number("tau_s") };
    let (read_s, eps) = (case.number("read_s"), case.number("eps"));
    let mean: Vec<f64> = case.numbers("read_from_s").into_iter().map(|from_s| step.mean(from_s, read_s)).collect();
    vec![
        ("mean", mean.into()),
        ("delay_needed_for_instant_s", step.delay_for_value(eps).into()),
        ("delay_needed_for_3s_mean_s", step.delay_for_mean(eps, 3.0).into()),
    ]
}

fn white_and_slow_noise(case: &Case<'_>) -> Computed {
    let rsd = case.number("rsd_1s");
    let noise = ReadingNoise::from_two((1.0, rsd), (10.0, rsd / case.number("factor_10s")))
        .ok_or_else(|| no_value("the noise"))?;
    Ok(vec![
        ("a_per_sqrt_s", noise.white_over_1_s.into()),
        ("b", noise.slow.into()),
        ("rsd_3s", noise.rsd(3.0).into()),
        ("rsd_30s", noise.rsd(30.0).into()),
    ])
}

fn drift_correction(case: &Case<'_>) -> Figures {
    let of = |key: &str| case.number(key);
    let drift = DriftBetweenChecks { first: (of("t1_s"), of("R1")), second: (of("t2_s"), of("R2")) };
    let responses = case.numbers("t_s").into_iter().zip(case.numbers("response"));
    let corrected: Vec<f64> = responses.map(|(t, response)| drift.taken_off(t, response)).collect();
    vec![("corrected", corrected.into())]
}
