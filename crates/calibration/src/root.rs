//! The root of a function of one number between two bounds.
//!
//! [`between`] is Brent's method: as safe as halving, mostly as fast as secants. [`towards`] looks for a sign change with
//! growing steps first.

/// The root between two bounds at which the function has opposite signs; `None` where it has not, or is no number.
///
/// # Source
/// R. P. Brent, Algorithms for Minimization without Derivatives, Prentice-Hall, 1973, chapter 4, procedure zero.
pub(crate) fn between(mut function: impl FnMut(f64) -> f64, low: f64, high: f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut at_a, mut at_b) = (function(a), function(b));
    if at_a == 0.0 {
        return Some(a);
    }
    if at_b == 0.0 {
        return Some(b);
    }
    if at_a.is_nan() || at_b.is_nan() || (at_a > 0.0) == (at_b > 0.0) {
        return None;
    }
    let (mut c, mut at_c) = (a, at_a);
    let mut step = b - a;
    let mut before = step;
    for _ in 0..300 {
        if at_c.abs() < at_b.abs() {
            (a, b, c) = (b, c, b);
            (at_a, at_b, at_c) = (at_b, at_c, at_b);
        }
        let tolerance = 2.0 * f64::EPSILON * b.abs();
        let half = 0.5 * (c - b);
        if half.abs() <= tolerance || at_b == 0.0 {
            return Some(b);
        }
        if before.abs() < tolerance || at_a.abs() <= at_b.abs() {
            step = half;
            before = half;
        } else {
            let s = at_b / at_a;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (at_a / at_c, at_b / at_c);
                (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (tolerance * q).abs()).min((before * q).abs()) {
                before = step;
                step = p / q;
            } else {
                step = half;
                before = half;
            }
        }
        (a, at_a) = (b, at_b);
        b += if step.abs() > tolerance { step } else { tolerance.copysign(half) };
        at_b = function(b);
        if at_b.is_nan() {
            return None;
        }
        if (at_b > 0.0) == (at_c > 0.0) {
            (c, at_c) = (a, at_a);
            step = b - a;
            before = step;
        }
    }
    Some(b)
}

/// The first sign change that growing steps meet on the way from a start towards a bound, refined; `None` where none is
/// met. The bound itself is never stepped on.
///
/// # Arguments
/// * `step`: length of the first step, above zero; each further one is a quarter longer.
pub(crate) fn towards(mut function: impl FnMut(f64) -> f64, start: f64, step: f64, bound: f64) -> Option<f64> {
    let sign = if bound > start { 1.0 } else { -1.0 };
    let (mut near, mut step) = (start, step);
    let at_start = function(near);
    if at_start == 0.0 {
        return Some(near);
    }
    for _ in 0..400 {
        let mut far = near + sign * step;
        // Closer and closer to the bound, without reaching it: there the curve may have no value.
        if (bound - far) * sign <= 0.0 {
            far = 0.5 * near + 0.5 * bound;
        }
        if far == near || far == bound || !far.is_finite() {
            return None;
        }
        let at_far = function(far);
        if at_far.is_nan() {
            return None;
        }
        if at_far == 0.0 {
            return Some(far);
        }
        if (at_far > 0.0) != (at_start > 0.0) {
            return between(function, near, far);
        }
        near = far;
        step *= 1.25;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_found_to_the_last_digit() {
        let root = between(|x| x * x - 2.0, 0.0, 2.0).unwrap();
        assert!((root - 2.0_f64.sqrt()).abs() < 1e-15);
        let root = between(|x| libm::exp(x) - 5.0, -10.0, 10.0).unwrap();
        assert!((root - libm::log(5.0)).abs() < 1e-15);
        assert_eq!(between(|x| x, 0.0, 1.0), Some(0.0));
    }

    #[test]
    fn bounds_without_a_sign_change_have_no_root() {
        assert_eq!(between(|x| x * x + 1.0, -1.0, 1.0), None);
        assert_eq!(between(|_| f64::NAN, -1.0, 1.0), None);
        assert_eq!(towards(|x| x * x + 1.0, 0.0, 0.1, f64::INFINITY), None);
        assert_eq!(towards(|x| 1.0 - x, 0.0, 0.1, 1.0), None);
    }

    #[test]
    fn steps_stop_at_the_first_sign_change_and_short_of_the_bound() {
        let root = towards(|x| (x - 3.0) * (x - 50.0), 0.0, 0.1, 100.0).unwrap();
        assert!((root - 3.0).abs() < 1e-14);
        let root = towards(|x| 1.0 / (1.0 - x) - 1e9, 0.0, 0.01, 1.0).unwrap();
        assert!((root - (1.0 - 1e-9)).abs() < 1e-14);
        let root = towards(|x| x + 2.5, 0.0, 0.1, f64::NEG_INFINITY).unwrap();
        assert!((root + 2.5).abs() < 1e-14);
    }
}
