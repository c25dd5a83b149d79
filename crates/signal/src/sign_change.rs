//! Where a function changes its sign: halving that takes the inverse parabola wherever it is safe.

/// Place in `from..to` where `f` passes from at or above zero to below, within two units of the last place.
///
/// No number counts as below zero.
///
/// # Arguments
/// * `from`, `to`: `f` is not below zero at the first and below zero at the second; otherwise the
///   answer is one of the ends.
///
/// # Source
/// T. R. Chandrupatla, Adv. Eng. Softw. 28 (1997) 145 (from memory): inverse quadratic interpolation where its parabola is
/// monotonic between the three places, halving elsewhere.
pub(crate) fn falls_through_zero(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let f = |x: f64| {
        let value = f(x);
        if value.is_nan() { -1.0 } else { value.clamp(f64::MIN, f64::MAX) }
    };
    let (mut a, mut b) = (to, from);
    let (mut f_a, mut f_b) = (f(a), f(b));
    if f_b < 0.0 {
        return from;
    }
    if f_a >= 0.0 {
        return to;
    }
    let mut part = 0.5;
    // Halving alone needs about 1100 steps at most, as many as there are powers of two.
    for _ in 0..2200 {
        let x = a + part * (b - a);
        let f_x = f(x);
        let (c, f_c);
        if (f_x >= 0.0) == (f_a >= 0.0) {
            (c, f_c) = (a, f_a);
        } else {
            (c, f_c) = (b, f_b);
            (b, f_b) = (a, f_a);
        }
        (a, f_a) = (x, f_x);
        let (nearest, value) = if f_a.abs() < f_b.abs() { (a, f_a) } else { (b, f_b) };
        let least = 2.0 * f64::EPSILON * nearest.abs() / (b - a).abs();
        if value == 0.0 || least > 0.5 || !least.is_finite() || a == b {
            return nearest;
        }
        let (xi, phi) = ((a - b) / (c - b), (f_a - f_b) / (f_c - f_b));
        let is_safe = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
        part = if is_safe {
            f_a / (f_b - f_a) * f_c / (f_b - f_c) + (c - a) / (b - a) * f_a / (f_c - f_a) * f_b / (f_c - f_b)
        } else {
            0.5
        };
        part = if part.is_nan() { 0.5 } else { part.clamp(least, 1.0 - least) };
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::cell::Cell;

    #[test]
    fn the_root_of_two_is_found_to_the_last_bits_in_few_steps() {
        let steps = Cell::new(0);
        let found = falls_through_zero(0.0, 2.0, |x| {
            steps.set(steps.get() + 1);
            2.0 - x * x
        });
        assert!((found - 2.0_f64.sqrt()).abs() <= 4.0 * f64::EPSILON);
        assert!(steps.get() < 15, "{}", steps.get());
    }

    #[test]
    fn a_step_has_no_parabola_and_is_found_by_halving() {
        let found = falls_through_zero(0.0, 300.0, |x| if x < 0.123 { 1.0 } else { -1.0 });
        assert!((found - 0.123).abs() < 1e-15);
    }

    #[test]
    fn a_function_that_never_falls_gives_the_far_end() {
        let found = falls_through_zero(0.0, 1.0, |_| 1.0);
        assert!((found - 1.0).abs() <= f64::EPSILON);
        assert_eq!(falls_through_zero(0.0, 1.0, |_| f64::NAN), 0.0);
    }
}
