//! `pulses.toml`: formulas of pulses, and the areas the reduction finds in them.

use darkline_signal::pulse_shape::{ExponentiallyModifiedGaussian, HeatedSupply, Peak, SupplyLoss};
use darkline_signal::{Times, Trace, Window, reduce};

use super::case::{Case, Computed, Figures};
use crate::stop::Stop;

/// pulses.toml, case by case: pulses have the values areas and shapes of their formulas.
///
/// E. Grushka, Anal. Chem. 44 (1972) 1733 (from memory); W. M. G. T. van den Broek, L. de Galan, Anal. Chem.
/// 49 (1977) 2176 (from memory); figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "emg_values" => values(case, |t| emg(case).absorbance(t)),
        "emg_shape" => emg_shape(case),
        "emg_area_in_window" => emg_area_in_window(case),
        "emg_area_sampled" => emg_area_sampled(case),
        "supply_loss_values" => values(case, |t| supply_loss(case).absorbance(t)),
        "supply_loss_shape" => supply_loss_shape(case),
        "supply_loss_equal_rates" => supply_loss_equal_rates(case),
        "supply_loss_symmetry" => supply_loss_symmetry(case),
        "area_independent_of_heating_rate" => {
            let mut figures = heated(case, case.number("k_loss_per_s"), 0.0);
            figures.push(("area_limit_s", (case.number("N0") / case.number("k_loss_per_s")).into()));
            figures
        }
        "area_depends_on_temperature_of_loss" => {
            heated(case, case.number("k_loss_at_2000K_per_s"), case.number("loss_exponent"))
        }
        _ => return Err(Stop::Unknown),
    })
}

fn emg(case: &Case<'_>) -> ExponentiallyModifiedGaussian {
    ExponentiallyModifiedGaussian {
        area: case.number("Q_As"),
        centre_s: case.number("mu_s"),
        width_s: case.number("sigma_s"),
        decay_s: case.number("tau_s"),
    }
}

fn supply_loss(case: &Case<'_>) -> SupplyLoss {
    SupplyLoss {
        area: case.number("Q_As"),
        k_supply_per_s: case.number("k_supply_per_s"),
        k_loss_per_s: case.number("k_loss_per_s"),
        start_s: case.number("t0_s"),
    }
}

fn values(case: &Case<'_>, absorbance: impl Fn(f64) -> f64) -> Figures {
    let found: Vec<f64> = case.numbers("t_s").into_iter().map(absorbance).collect();
    vec![("A", found.into())]
}

fn emg_shape(case: &Case<'_>) -> Figures {
    let pulse = emg(case);
    let peak = pulse.peak();
    let (half, tenth) = (pulse.crossings(0.5), pulse.crossings(0.1));
    vec![
        ("t_peak_s", peak.time_s.into()),
        ("height_A", peak.height.into()),
        ("t_half_rise_s", half.rise_s.into()),
        ("t_half_fall_s", half.fall_s.into()),
        ("fwhm_s", half.width_s().into()),
        ("t_tenth_rise_s", tenth.rise_s.into()),
        ("t_tenth_fall_s", tenth.fall_s.into()),
        ("asymmetry_10", tenth.asymmetry(peak).into()),
        ("centroid_s", pulse.centroid_s().into()),
        ("variance_s2", pulse.variance_s2().into()),
        ("skewness", pulse.skewness().into()),
    ]
}

/// The area `reduce` finds in exact samples of a pulse from half a second before time 0 to `to_s`.
///
/// Samples are 32-bit numbers, which alone would miss the tolerance of 1e-9 s at 25 Hz. What is lost in
/// the total channel stands, with its sign turned, in the background channel; the reduction subtracts the
/// two without loss.
fn reduced_area(case: &Case<'_>, absorbance: impl Fn(f64) -> f64, rate_hz: f64, to_s: f64) -> f64 {
    let n_before = (0.5 * rate_hz).ceil();
    let start_s = -n_before / rate_hz;
    let n = case.steps(n_before + (to_s * rate_hz).round()) + 1;
    let times = Times::Even { start_s, rate_hz };
    let exact: Vec<f64> =
        (0..n).map(|i| (i as f64 - n_before) / rate_hz).map(|t| if t < 0.0 { 0.0 } else { absorbance(t) }).collect();
    let total: Vec<f32> = exact.iter().map(|&a| a as f32).collect();
    let background: Vec<f32> = exact.iter().zip(&total).map(|(a, &t)| (f64::from(t) - a) as f32).collect();
    let trace = Trace::new(times, &total, &background);
    let window = Window { baseline_from_s: start_s, baseline_to_s: 0.0, from_s: 0.0, to_s };
    let reduced = trace.ok().and_then(|trace| reduce(&trace, &window).ok());
    case.or_none(reduced.map(|reduced| reduced.integrated_absorbance), "the reduction of the pulse")
}

fn emg_area_in_window(case: &Case<'_>) -> Figures {
    let pulse = emg(case);
    let ends = case.numbers("t_end_s");
    let areas: Vec<f64> = ends.iter().map(|&t| pulse.area_until(t) - pulse.area_until(0.0)).collect();
    // The same areas from samples: at 20 kHz the trapezoid's error at a cut end is below the tolerance.
    for (&end, &area) in ends.iter().zip(&areas) {
        let sampled = reduced_area(case, |t| pulse.absorbance(t), 20_000.0, end);
        case.agree((sampled - area).abs() <= case.tolerance("area_As"), "the area of a closed form and of samples");
    }
    let missed: Vec<f64> = areas.iter().map(|area| 1.0 - area / pulse.area).collect();
    vec![("area_As", areas.into()), ("missed_fraction", missed.into())]
}

fn emg_area_sampled(case: &Case<'_>) -> Figures {
    let pulse = emg(case);
    let areas: Vec<f64> = case
        .numbers("rate_Hz")
        .into_iter()
        .map(|rate_hz| reduced_area(case, |t| pulse.absorbance(t), rate_hz, case.number("t_end_s")))
        .collect();
    vec![("area_As", areas.into())]
}

fn supply_loss_shape(case: &Case<'_>) -> Figures {
    let pulse = supply_loss(case);
    let Peak { time_s, height } = pulse.peak();
    let ends = case.numbers("t_end_s");
    let areas: Vec<f64> = ends.iter().map(|&t| pulse.area_until(t)).collect();
    for (&end, &area) in ends.iter().zip(&areas) {
        let sampled = reduced_area(case, |t| pulse.absorbance(t), 20_000.0, end);
        case.agree((sampled - area).abs() <= case.tolerance("area_As"), "the area of a closed form and of samples");
    }
    vec![
        ("t_peak_s", time_s.into()),
        ("height_A", height.into()),
        ("fwhm_s", pulse.crossings(0.5).width_s().into()),
        ("area_As", areas.into()),
        ("centroid_s", pulse.centroid_s().into()),
    ]
}

fn supply_loss_equal_rates(case: &Case<'_>) -> Figures {
    let pulse = supply_loss(case);
    let Peak { time_s, height } = pulse.peak();
    let mut figures = values(case, |t| pulse.absorbance(t));
    figures.extend([("t_peak_s", time_s.into()), ("height_A", height.into())]);
    figures
}

fn supply_loss_symmetry(case: &Case<'_>) -> Figures {
    let (amount, a, b) = (case.number("N0"), case.number("k_a_per_s"), case.number("k_b_per_s"));
    let (one, other) = (SupplyLoss::of_amount(amount, a, b, 0.0), SupplyLoss::of_amount(amount, b, a, 0.0));
    let (peak, other_peak) = (one.peak(), other.peak());
    case.agree((peak.time_s - other_peak.time_s).abs() <= case.tolerance("t_peak_same_s"), "the times of the peaks");
    for t in [0.05, 0.2, 0.7, 2.0] {
        let shapes = (one.absorbance(t) / peak.height, other.absorbance(t) / other_peak.height);
        case.agree((shapes.0 - shapes.1).abs() < 1e-12, "the shapes");
    }
    vec![
        ("area_supply5_loss2", one.area.into()),
        ("area_supply2_loss5", other.area.into()),
        ("t_peak_same_s", peak.time_s.into()),
    ]
}

fn heated(case: &Case<'_>, loss_at_2000_k_per_s: f64, loss_exponent: f64) -> Figures {
    let (mut times, mut heights, mut areas) = (Vec::new(), Vec::new(), Vec::new());
    for heating_rate_k_per_s in case.numbers("heating_rate_K_per_s").into_iter().take(50) {
        let supply = HeatedSupply {
            amount: case.number("N0"),
            activation_energy_j_per_mol: case.number("E_J_per_mol"),
            frequency_per_s: case.number("nu_per_s"),
            start_k: case.number("T_start_K"),
            final_k: case.number("T_final_K"),
            heating_rate_k_per_s,
            loss_at_2000_k_per_s,
            loss_exponent,
        };
        let release = supply.release(case.number("t_end_s"), 100_000);
        let peak = release.peak();
        times.push(peak.time_s);
        heights.push(peak.height);
        areas.push(release.area);
    }
    vec![("t_peak_s", times.into()), ("height", heights.into()), ("area_s", areas.into())]
}
