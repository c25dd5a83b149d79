//! Robust statistics.

use darkline_metrology::robust::{
    ALGORITHM_A_LIMIT, algorithm_a as converged, algorithm_s as spread, huber_location, huber_pass, mad, median,
    scaled_mad, winsorised_sd_factor,
};
use darkline_metrology::summary;

use super::{Asked, Computed};
use crate::answer::Found;
use crate::stop::no_value;

/// Passes written out at most.
const MOST_PASSES: usize = 1000;

pub(super) fn algorithm_a(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let mut found = Found::new();
    found.put_if("start_location", median(&x));
    found.put_if("start_scale", scaled_mad(&x));
    let result = converged(&x);
    found.put_if("location", result.as_ref().map(|result| result.location));
    found.put_if("scale", result.as_ref().map(|result| result.scale));
    let wanted =
        asked.names.iter().filter_map(|name| name.strip_prefix("iteration_")?.split('_').next()?.parse::<usize>().ok());
    let last = wanted.max().unwrap_or(0).min(MOST_PASSES);
    let factor = winsorised_sd_factor(ALGORITHM_A_LIMIT).ok_or_else(|| no_value("the factor of Algorithm A"))?;
    let (Some(mut location), Some(mut scale)) = (median(&x), scaled_mad(&x)) else { return Ok(found) };
    for k in 1..=last {
        let Some(pass) = huber_pass(&x, location, scale, ALGORITHM_A_LIMIT, factor) else { break };
        (location, scale) = (pass.location, pass.scale);
        found.put(format!("iteration_{k}_location"), location);
        found.put(format!("iteration_{k}_scale"), scale);
    }
    Ok(found)
}

pub(super) fn summary_of(asked: &Asked<'_>) -> Computed {
    let (x, k) = (asked.numbers("x")?, asked.data.number_or("k", ALGORITHM_A_LIMIT)?);
    let mut found = Found::new();
    found.put_if("mean", summary::mean(&x));
    found.put_if("s", summary::sd(&x));
    found.put_if("median", median(&x));
    found.put_if("mad", mad(&x));
    found.put_if("mad_scaled", scaled_mad(&x));
    found.put_if("huber_fixed_scale_location", scaled_mad(&x).and_then(|scale| huber_location(&x, scale, k)));
    let robust = if k == ALGORITHM_A_LIMIT {
        converged(&x).map(|result| (result.location, result.scale))
    } else {
        with_limit(&x, k)
    };
    found.put_if("h15_location", robust.map(|(location, _)| location));
    found.put_if("h15_scale", robust.map(|(_, scale)| scale));
    Ok(found)
}

/// Algorithm A with another limit, pass by pass until nothing moves.
fn with_limit(x: &[f64], k: f64) -> Option<(f64, f64)> {
    let factor = winsorised_sd_factor(k)?;
    let (mut location, mut scale) = (median(x)?, scaled_mad(x)?);
    for _ in 0..MOST_PASSES {
        let pass = huber_pass(x, location, scale, k, factor)?;
        let moved = (pass.location - location).abs() + (pass.scale - scale).abs();
        (location, scale) = (pass.location, pass.scale);
        if moved <= 1e-14 * (location.abs() + scale) {
            return Some((location, scale));
        }
    }
    None
}

pub(super) fn huber_passes(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let (k, factor) = (asked.number("k")?, asked.number("scale_factor")?);
    let (mut location, mut scale) = (asked.number("start_mean")?, asked.number("start_scale")?);
    let mut found = Found::new();
    found.put_if("classical_mean", summary::mean(&x));
    found.put_if("classical_s", summary::sd(&x));
    for i in 1..=asked.data.count_of("passes", MOST_PASSES)? {
        let pass = huber_pass(&x, location, scale, k, factor).ok_or_else(|| no_value("a pass"))?;
        found.put(format!("pass_{i}_upper_limit"), pass.upper_limit);
        found.put(format!("pass_{i}_lower_limit"), location - k * scale);
        found.put(format!("pass_{i}_mean"), pass.location);
        found.put(format!("pass_{i}_scale"), pass.scale);
        (location, scale) = (pass.location, pass.scale);
    }
    Ok(found)
}

pub(super) fn algorithm_s(asked: &Asked<'_>) -> Computed {
    let (w, dof) = if asked.data.has("sd") {
        (asked.numbers("sd")?, asked.number("nu")?)
    } else {
        (asked.numbers("ranges")?, asked.data.number_or("nu", 1.0)?)
    };
    let result = spread(&w, dof).ok_or_else(|| no_value("Algorithm S"))?;
    let mut found = Found::new();
    found.put("eta", result.eta);
    found.put("xi", result.xi);
    found.put("w", result.w);
    found.put("s_r", result.w / 2.0_f64.sqrt());
    Ok(found)
}
