//! ISO 5725-5 and ISO 13528: Algorithm A for means, Algorithm S for ranges and standard deviations.

use darkline_metrology::robust::{
    ALGORITHM_A_LIMIT, HuberPass, algorithm_a, algorithm_s, huber_pass, median, scaled_mad, winsorised_sd_factor,
};
use toml::Table;

use crate::published::{number, numbers};
use crate::quality_case::check;

/// The k-th pass of Algorithm A.
fn pass(x: &[f64], k: u32) -> Option<HuberPass> {
    let factor = winsorised_sd_factor(ALGORITHM_A_LIMIT)?;
    let mut now = huber_pass(x, median(x)?, scaled_mad(x)?, ALGORITHM_A_LIMIT, factor)?;
    for _ in 1..k {
        now = huber_pass(x, now.location, now.scale, ALGORITHM_A_LIMIT, factor)?;
    }
    Some(now)
}

fn algorithm_a_output(data: &Table, name: &str) -> Option<f64> {
    let x = numbers(data, "x");
    match name {
        "start_location" => median(&x),
        "start_scale" => scaled_mad(&x),
        "iteration_1_location" => Some(pass(&x, 1)?.location),
        "iteration_4_location" => Some(pass(&x, 4)?.location),
        "iteration_4_scale" => Some(pass(&x, 4)?.scale),
        "location" => Some(algorithm_a(&x)?.location),
        "scale" => Some(algorithm_a(&x)?.scale),
        _ => None,
    }
}

/// ISO 5725-5, creosote, level 5: cell means of nine laboratories.
#[test]
fn iso_5725_5_creosote_algorithm_a() {
    check("robust-iso5725-algorithm-a", "alg_a", algorithm_a_output);
}

/// ASTM E2489, one-sample programme of 30 laboratories, by Algorithm A.
#[test]
fn astm_e2489_thirty_laboratories_algorithm_a() {
    check("robust-e2489", "alg_a", algorithm_a_output);
}

/// ISO 5725-5, creosote, level 5: ranges of duplicates.
#[test]
fn iso_5725_5_creosote_algorithm_s() {
    check("robust-iso5725-algorithm-s", "alg_s", |data, name| {
        let found = algorithm_s(&numbers(data, "ranges"), number(data, "nu"))?;
        match name {
            "eta" => Some(found.eta),
            "xi" => Some(found.xi),
            "w" => Some(found.w),
            "s_r" => Some(found.w / 2.0_f64.sqrt()),
            _ => None,
        }
    });
}

/// ISO 5725-5 and ISO 13528, Algorithm S on standard deviations of triplicates (constructed).
#[test]
fn iso_13528_algorithm_s_on_standard_deviations() {
    check("robust-algorithm-s-sd", "alg_s_sd", |data, name| {
        let found = algorithm_s(&numbers(data, "sd"), number(data, "nu"))?;
        match name {
            "eta" => Some(found.eta),
            "xi" => Some(found.xi),
            "w" => Some(found.w),
            _ => None,
        }
    });
}
