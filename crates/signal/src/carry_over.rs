//! Carry-over: what one firing leaves for the next.

/// What the firings after a high one find: `r m`, `r² m` ...
///
/// # Arguments
/// * `fraction`: what a firing leaves of what was on the platform.
/// * `left_from`: what was on the platform; the answer has its unit.
///
/// # Source
/// Definition. Checked by `tests/published/main.rs`.
pub fn next_firings(fraction: f64, left_from: f64) -> impl Iterator<Item = f64> {
    core::iter::successors(Some(left_from * fraction), move |left| Some(left * fraction))
}

/// Cleaning firings needed until what is left is at or below a threshold; `None` where no number of them
/// suffices.
///
/// # Arguments
/// * `fraction`: what a firing leaves, above 0 and below 1.
/// * `left_from`, `threshold`: in one unit, the threshold above 0.
///
/// # Source
/// ceil(ln(threshold/m)/ln r). Checked by `tests/published/main.rs`.
///
/// # Example
/// ```
/// assert_eq!(darkline_signal::carry_over::cleaning_firings(0.012, 8000.0, 5.0), Some(2));
/// ```
pub fn cleaning_firings(fraction: f64, left_from: f64, threshold: f64) -> Option<u32> {
    if left_from <= threshold {
        return Some(0);
    }
    let firings = (libm::log(threshold / left_from) / libm::log(fraction)).ceil();
    let usable = fraction > 0.0 && fraction < 1.0 && threshold > 0.0;
    (usable && firings <= f64::from(u32::MAX)).then_some(firings as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cleaning_is_needed_below_the_threshold_and_none_helps_a_tube_that_keeps_all() {
        assert_eq!(cleaning_firings(0.5, 1.0, 2.0), Some(0));
        assert_eq!(cleaning_firings(1.0, 2.0, 1.0), None);
        assert_eq!(cleaning_firings(0.0, 2.0, 1.0), None);
        assert_eq!(cleaning_firings(0.5, 2.0, 0.0), None);
        assert_eq!(cleaning_firings(f64::NAN, 2.0, 1.0), None);
    }
}
