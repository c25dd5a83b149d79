//! Location and scale that a stray value does not carry away.
//!
//! [`median`] and [`mad`]; [`algorithm_a`] for means and [`algorithm_s`] for standard deviations or ranges.

/// The median: the middle value, or the mean of the two middle ones.
///
/// # Arguments
/// * `x`: n ≥ 1 finite values, any order.
///
/// # Source
/// ISO 13528:2015, C.2.1 (from memory).
#[must_use]
pub fn median(x: &[f64]) -> Option<f64> {
    if x.is_empty() || x.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    Some(if n % 2 == 1 {
        sorted[n / 2]
    } else {
        0.5 * sorted[n / 2 - 1] + 0.5 * sorted[n / 2]
    })
}
