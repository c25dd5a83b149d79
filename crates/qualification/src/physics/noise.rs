//! `noise.toml`: noise of one value, of the offset, of area and height.

use darkline_signal::baseline::{self, BaselineRule};
use darkline_signal::photon_noise::{self, PhotonNoise};
use darkline_signal::stray_light::StrayLight;
use darkline_signal::{Times, Trace, Window, reduce, smoothing};

use super::case::{Case, Computed, Figures};
use crate::stop::{Stop, refused};

/// noise.toml, case by case: noise of areas and heights is that of the closed forms.
///
/// JCGM 100:2008, 5.1.2, for linear functions of the values; A. Savitzky, M. J. E. Golay, Anal. Chem. 36 (1964)
/// 1627 (from memory); J. D. Ingle, S. R. Crouch, Spectrochemical Analysis, 1988 (from memory); D. M. Rocke,
/// S. Lorenzato, Technometrics 37 (1995) 176; figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "area_sd_white_constant_baseline" => area_sd_white(case)?,
        "area_sd_vs_baseline_length" => area_sd_vs_baseline_length(case),
        "area_sd_line_baseline" => area_sd_line_baseline(case),
        "area_sd_autocorrelated" => area_sd_autocorrelated(case),
        "random_walk_drift" => {
            let n = case.count("n");
            let u = baseline::u_random_walk(case.number("q_A"), case.number("dt_s"), n);
            vec![("u_area_drift_As", u.into())]
        }
        "best_window_exponential_tail" => best_window(case),
        "smoothing_noise_gain" => smoothing_noise_gain(case),
        "smoothing_height_loss" => smoothing_height_loss(case),
        "height_of_a_blank_is_biased" => {
            let found: Vec<f64> =
                case.counts("n").into_iter().map(|n| baseline::expected_highest_of(n as u32)).collect();
            vec![("expected_maximum_sigmas", found.into())]
        }
        "photon_noise" => photon_noise(case),
        "noise_of_stray_corrected_absorbance" => {
            let alpha = case.number("alpha");
            let found: Vec<f64> = case
                .numbers("A0")
                .into_iter()
                .map(|a0| StrayLight { fraction: alpha }.noise_amplification(a0))
                .collect();
            vec![("amplification", found.into())]
        }
        "best_absorbance" => best_absorbance(),
        "characteristic_absorbance" => {
            vec![("A", photon_noise::absorbance_at(case.number("transmittance")).into())]
        }
        "two_component_error" => {
            let (s0, r) = (case.number("s0"), case.number("r"));
            let found: Vec<f64> =
                case.numbers("y").into_iter().map(|y| photon_noise::two_component_sd(s0, r, y)).collect();
            vec![("sd", found.into())]
        }
        _ => return Err(Stop::Unknown),
    })
}

fn area_sd_white(case: &Case<'_>) -> Computed {
    let (sd, rate) = (case.number("sigma_A"), case.number("rate_Hz"));
    let n_baseline = case.number("baseline_s") * rate;
    let windows = case.numbers("window_s");
    let u = |offset: Option<f64>| -> Vec<f64> {
        windows.iter().map(|w| baseline::u_area(sd, 1.0 / rate, w * rate, offset)).collect()
    };
    let with_offset = u(Some(n_baseline));
    // The reduction of a blank with this noise agrees but for the half weights at the window's ends and
    // the noise the noise itself absorbs: exactly dt sd sqrt(n - 3/2 + (n - 1)²/n_b).
    for (window_s, u) in windows.iter().zip(&with_offset) {
        let found = reduced_blank(case, sd, rate, case.number("baseline_s"), *window_s)?;
        case.agree((found / u - 1.0).abs() < 0.02, "the reduction of a blank");
    }
    Ok(vec![("u_area_As", with_offset.into()), ("u_area_no_offset_As", u(None).into())])
}

/// `u_integrated` of a blank that alternates so that its baseline has the standard deviation asked for.
fn reduced_blank(case: &Case<'_>, sd: f64, rate_hz: f64, baseline_s: f64, window_s: f64) -> Result<f64, Stop> {
    let n = case.steps((baseline_s + window_s) * rate_hz);
    let n_baseline = (baseline_s * rate_hz).round();
    let amplitude = sd * ((n_baseline - 1.0) / n_baseline).sqrt();
    let total: Vec<f32> = (0..n).map(|i| if i % 2 == 0 { amplitude } else { -amplitude } as f32).collect();
    let background = vec![0.0; n];
    let times = Times::Even { start_s: 0.0, rate_hz };
    let trace = Trace::new(times, &total, &background).map_err(refused)?;
    let window =
        Window { baseline_from_s: 0.0, baseline_to_s: baseline_s, from_s: baseline_s, to_s: baseline_s + window_s };
    Ok(reduce(&trace, &window).map_err(refused)?.u_integrated)
}

fn area_sd_vs_baseline_length(case: &Case<'_>) -> Figures {
    let (sd, rate) = (case.number("sigma_A"), case.number("rate_Hz"));
    let n = case.number("window_s") * rate;
    let u: Vec<f64> = case
        .numbers("baseline_s")
        .into_iter()
        .map(|baseline_s| baseline::u_area(sd, 1.0 / rate, n, Some(baseline_s * rate)))
        .collect();
    vec![("u_area_As", u.into())]
}

fn area_sd_line_baseline(case: &Case<'_>) -> Figures {
    let count = |key: &str| case.count(key);
    let u = |rule: BaselineRule| {
        let weights = baseline::area_weights(rule, count("n_pre"), count("n"), count("n_post"));
        baseline::u_of_weighted_sum(case.number("sigma_A"), case.number("dt_s"), &weights)
    };
    vec![
        ("u_area_line_pre_and_post_As", u(BaselineRule::LineBeforeAndBehind).into()),
        ("u_area_mean_of_pre_only_As", u(BaselineRule::MeanBefore).into()),
        ("u_area_mean_of_pre_and_post_As", u(BaselineRule::MeanBeforeAndBehind).into()),
        ("u_area_line_from_pre_only_As", u(BaselineRule::LineBefore).into()),
    ]
}

/// Values whose correlations are added up pair by pair.
const MOST_CORRELATED: usize = 20_000;

fn area_sd_autocorrelated(case: &Case<'_>) -> Figures {
    let (n, n_b) = (case.count("n").min(MOST_CORRELATED), case.count("n_b").min(MOST_CORRELATED));
    let weights = baseline::area_weights(BaselineRule::MeanBefore, n_b, n, 0);
    let rhos = case.numbers("rho");
    let u: Vec<f64> = rhos
        .iter()
        .map(|&rho| baseline::u_autocorrelated(case.number("sigma_A"), case.number("dt_s"), &weights, rho))
        .collect();
    let limit: Vec<f64> = rhos.iter().map(|&rho| baseline::autocorrelation_factor(rho)).collect();
    vec![("u_area_As", u.into()), ("inflation_long_limit", limit.into())]
}

fn best_window(case: &Case<'_>) -> Figures {
    let perfect = baseline::best_window(None);
    let with_offset: Vec<f64> = case.numbers("r").into_iter().map(|r| baseline::best_window(Some(r))).collect();
    vec![
        ("best_T_over_tau_perfect_offset", perfect.into()),
        ("best_T_over_tau", with_offset.into()),
        ("fraction_of_area_at_best_perfect", (1.0 - libm::exp(-perfect)).into()),
    ]
}

fn smoothing_noise_gain(case: &Case<'_>) -> Figures {
    let m = case.counts("m");
    let mean: Vec<f64> = m.iter().map(|&m| smoothing::mean_noise_gain(m)).collect();
    let quadratic: Vec<f64> =
        m.iter().map(|&m| case.or_none(smoothing::noise_gain(m), "the gain of so many points")).collect();
    vec![("moving_average", mean.into()), ("savitzky_golay_2", quadratic.into())]
}

fn smoothing_height_loss(case: &Case<'_>) -> Figures {
    let mean: Vec<f64> =
        case.numbers("w_over_sigma").into_iter().map(smoothing::gaussian_height_kept_by_mean).collect();
    let m = case.count("m");
    let kept: Vec<f64> = case
        .numbers("sigma_points")
        .into_iter()
        .map(|sigma| case.or_none(smoothing::gaussian_height_kept(m, sigma), "the height kept by so many points"))
        .collect();
    vec![("moving_average", mean.into()), ("savitzky_golay_2", kept.into())]
}

fn photon_noise(case: &Case<'_>) -> Figures {
    let sd = |alpha: f64, n_read: f64, xi: f64| -> Vec<f64> {
        let channel = PhotonNoise {
            electrons_at_zero: case.number("N0"),
            stray_fraction: alpha,
            read_electrons: n_read,
            flicker: xi,
        };
        case.numbers("A_true").into_iter().map(|a| channel.sd(a)).collect()
    };
    let alpha = case.number("alpha");
    vec![
        ("sd_A_photon_only_no_stray", sd(0.0, 0.0, 0.0).into()),
        ("sd_A_photon_with_stray", sd(alpha, 0.0, 0.0).into()),
        ("sd_A_all", sd(alpha, case.number("n_read"), case.number("xi")).into()),
    ]
}

fn best_absorbance() -> Figures {
    let photons = photon_noise::BEST_ABSORBANCE_PHOTONS;
    let detector = photon_noise::BEST_ABSORBANCE_DETECTOR;
    vec![("photon_limited_A", photons.into()), ("constant_noise_A", detector.into())]
}
