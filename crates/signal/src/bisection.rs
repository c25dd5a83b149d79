//! Where a function changes its sign, found by halving the interval until no number lies between.

/// Place in `from..to` where `f` passes from at or above zero to below.
///
/// Halving is slow and cannot go astray: at most about 1100 steps, as many as there are powers of two.
///
/// # Arguments
/// * `from`, `to`: `f` is not below zero at the first and below zero at the second; otherwise the
///   answer is one of the ends.
pub(crate) fn falls_through_zero(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut above, mut below) = (from, to);
    loop {
        let middle = above + 0.5 * (below - above);
        if middle == above || middle == below || !middle.is_finite() {
            return above;
        }
        if f(middle) >= 0.0 { above = middle } else { below = middle }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_of_two_is_found_to_the_last_bit() {
        let found = falls_through_zero(0.0, 2.0, |x| 2.0 - x * x);
        assert!((found - 2.0_f64.sqrt()).abs() <= 2.0 * f64::EPSILON);
    }

    #[test]
    fn a_function_that_never_falls_gives_the_far_end() {
        let found = falls_through_zero(0.0, 1.0, |_| 1.0);
        assert!((found - 1.0).abs() <= f64::EPSILON);
        assert_eq!(falls_through_zero(0.0, 1.0, |_| f64::NAN), 0.0);
    }
}
