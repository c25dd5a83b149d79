//! `diagnostics.toml`: what the shape of a pulse tells.

use core::f64::consts::{PI, SQRT_2};

use darkline_signal::photon_noise::PhotonNoise;
use darkline_signal::pulse_shape::ExponentiallyModifiedGaussian;
use darkline_signal::roll_over::NetCurve;
use darkline_signal::unfinished::Tail;
use darkline_signal::{appearance, carry_over, humps, over_correction};

use super::case::{Case, Computed, Figures};
use crate::stop::{Stop, no_value};

/// diagnostics.toml, case by case: shapes of pulses are read as their formulas have them.
///
/// IUPAC Gold Book A00423 for the appearance; J. D. Ingle, S. R. Crouch, Spectrochemical Analysis, 1988 (from memory)
/// for photon noise; figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "appearance" => appears(case),
        "double_peak" => double_peak(case)?,
        "unfinished_pulse" => unfinished_pulse(case)?,
        "over_correction" => over_corrected(case)?,
        "background_limit" => background_limit(case)?,
        "carry_over" => carried_over(case)?,
        _ => return Err(Stop::Unknown),
    })
}

/// Step of the samples the shape is read from: places between samples are then exact to the tolerances.
const STEP_S: f64 = 5e-5;

fn emg(area: f64, centre_s: f64, width_s: f64, decay_s: f64) -> ExponentiallyModifiedGaussian {
    ExponentiallyModifiedGaussian { area, centre_s, width_s, decay_s }
}

fn given(case: &Case<'_>) -> ExponentiallyModifiedGaussian {
    let of = |key: &str| case.number(key);
    emg(of("Q_As"), of("mu_s"), of("sigma_s"), of("tau_s"))
}

/// Longer pulses are cut here.
const LONGEST_S: f64 = 100.0;

fn sampled(absorbance: impl Fn(f64) -> f64, until_s: f64) -> Vec<f64> {
    let n = (until_s.clamp(0.0, LONGEST_S) / STEP_S).round() as usize;
    (0..=n).map(|i| absorbance(i as f64 * STEP_S)).collect()
}

fn trapezoid(values: &[f64]) -> f64 {
    let ends = values[0] + values[values.len() - 1];
    (values.iter().sum::<f64>() - 0.5 * ends) * STEP_S
}

fn appears(case: &Case<'_>) -> Figures {
    let pulse = given(case);
    let values = sampled(|t| pulse.absorbance(t), 2.0);
    let place = case.or_none(appearance::place(&values, case.number("noise_sd")), "the appearance of the pulse");
    let time_s = place * STEP_S;
    // The ramp stands in the name of the figure.
    let temperature_k = appearance::temperature_k(900.0, 1500.0, time_s);
    vec![("t_appearance_s", time_s.into()), ("temperature_K_at_appearance_ramp_1500_from_900", temperature_k.into())]
}

fn double_peak(case: &Case<'_>) -> Computed {
    let of = |key: &str| case.numbers(key);
    let (q, mu, sigma, tau) = (of("Q_As"), of("mu_s"), of("sigma_s"), of("tau_s"));
    let rest = mu.iter().zip(sigma.iter().zip(&tau));
    let pulses: Vec<_> = q.iter().zip(rest).map(|(q, (mu, (sigma, tau)))| emg(*q, *mu, *sigma, *tau)).collect();
    let values = sampled(|t| pulses.iter().map(|pulse| pulse.absorbance(t)).sum(), 5.0);
    let found = humps::humps(&values, 0.01);
    let [first, second, ..] = found[..] else { return Err(no_value("a second peak")) };
    let valley = humps::valley(&values, first, second).ok_or_else(|| no_value("the valley"))?;
    let lower = found.iter().fold(f64::INFINITY, |low, hump| low.min(hump.prominence));
    Ok(vec![
        ("n_peaks", found.len().into()),
        ("t_peaks_s", found.iter().map(|hump| hump.place * STEP_S).collect::<Vec<_>>().into()),
        ("heights_A", found.iter().map(|hump| hump.height).collect::<Vec<_>>().into()),
        ("t_valley_s", (valley.place * STEP_S).into()),
        ("valley_A", valley.height.into()),
        ("prominence_lower_A", lower.into()),
        ("area_As", trapezoid(&values).into()),
    ])
}

fn unfinished_pulse(case: &Case<'_>) -> Computed {
    let pulse = given(case);
    let window_s = case.number("window_s");
    let values = sampled(|t| pulse.absorbance(t), window_s);
    // The last second: long after the Gaussian, pure decay.
    let last = values.len().saturating_sub((1.0 / STEP_S) as usize);
    let tail = Tail::of(&values[last..], STEP_S).ok_or_else(|| no_value("a falling tail"))?;
    case.agree((tail.decay_s / pulse.decay_s - 1.0).abs() < 1e-6, "the decay of the tail");
    let seen = trapezoid(&values);
    let missed = pulse.area - seen;
    Ok(vec![
        ("A_end", tail.end.into()),
        ("area_seen_As", seen.into()),
        ("missed_As", missed.into()),
        // The case gives no tolerance here; the closed form meets its 2e-9.
        ("missed_rel", (1.0 - pulse.area_until(window_s) / pulse.area).into()),
        ("extrapolated_tail_As", tail.missed_area().into()),
    ])
}

fn over_corrected(case: &Case<'_>) -> Computed {
    let pulse = given(case);
    let (b0, tb, sb) = (case.number("B0"), case.number("tb_s"), case.number("sb_s"));
    let eps = case.number("eps");
    let background = |t: f64| b0 * libm::exp(-(t - tb) * (t - tb) / (2.0 * sb * sb));
    let total = |t: f64| pulse.absorbance(t) + background(t);
    let values = sampled(|t| total(t) - (1.0 + eps) * background(t), 5.0);
    let lobe = over_correction::deepest_lobe(&values).ok_or_else(|| no_value("a net value below zero"))?;
    // From -1 s to 5 s, so that the background is whole.
    let whole = sampled(|t| background(t - 1.0), 6.0);
    let background_area = trapezoid(&whole);
    let closed = b0 * sb * (2.0 * PI).sqrt();
    case.agree((background_area - closed).abs() < 1e-9 * closed.abs(), "the area of the background");
    let area_error = over_correction::area_error(eps, background_area);
    let net = sampled(|t| total(t - 1.0) - (1.0 + eps) * background(t - 1.0), 7.0);
    let found = trapezoid(&net) - pulse.area_until(6.0);
    case.agree((found - area_error).abs() < 1e-8, "the error of the area");
    Ok(vec![
        ("net_min_A", lobe.lowest.into()),
        ("t_min_s", (lobe.lowest_place * STEP_S).into()),
        ("t_zero_crossing_s", (case.or_none(lobe.ends_at, "the zero crossing") * STEP_S).into()),
        ("area_error_As", area_error.into()),
        ("relative_error", (area_error / pulse.area).into()),
        ("background_area_As", background_area.into()),
        ("background_max", whole.iter().copied().fold(0.0, f64::max).into()),
    ])
}

fn background_limit(case: &Case<'_>) -> Computed {
    let (alpha, r) = (case.number("alpha"), case.number("R"));
    let channel =
        PhotonNoise { electrons_at_zero: case.number("N0"), stray_fraction: alpha, read_electrons: 0.0, flicker: 0.0 };
    let curve = NetCurve { stray_fraction: alpha, sensitivity_ratio: r };
    let backgrounds = case.numbers("B");
    let sd: Vec<f64> = backgrounds.iter().map(|&b| SQRT_2 * channel.sd(b)).collect();
    let slope: Vec<f64> = backgrounds.iter().map(|&b| curve.slope_with_background(b)).collect();
    let (Some(first_sd), Some(first_slope)) = (sd.first(), slope.first()) else { return Err(no_value("the noise")) };
    let at_zero = first_sd / first_slope;
    let relative: Vec<f64> = sd.iter().zip(&slope).map(|(sd_b, slope_b)| sd_b / slope_b / at_zero).collect();
    Ok(vec![("sd_net", sd.into()), ("slope", slope.into()), ("noise_relative", relative.into())])
}

fn carried_over(case: &Case<'_>) -> Computed {
    let (r, m) = (case.number("r"), case.number("m_pg"));
    let next: Vec<f64> = carry_over::next_firings(r, m).take(2).collect();
    let firings = carry_over::cleaning_firings(r, m, case.number("threshold_pg"))
        .ok_or_else(|| no_value("a number of firings"))?;
    Ok(vec![("next_pg", next.into()), ("cleaning_firings", (firings as usize).into())])
}
