//! Both tails of a law at one point, and the search for the point with a given tail.
//!
//! [`Tails`] holds the probability below and above; [`Wanted`] names the one that is given, the
//! smaller one when there is a choice; [`solve`] finds the point.
//!
//! Laws on the positive numbers only: the search runs in `ln x`, where both tails of the gamma, beta
//! and F laws are logarithmically concave and nearly straight far out, so it converges from anywhere.

/// The probability below and above a point. Both are accurate by themselves; their sum is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tails {
    /// Probability of at most x.
    pub lower: f64,
    /// Probability of more than x.
    pub upper: f64,
}

impl Tails {
    /// The tails from the lower one.
    pub(crate) fn from_lower(lower: f64) -> Tails {
        let lower = lower.clamp(0.0, 1.0);
        Tails { lower, upper: 1.0 - lower }
    }

    /// The tails from the upper one.
    pub(crate) fn from_upper(upper: f64) -> Tails {
        Tails::from_lower(upper).swapped()
    }

    /// The same law seen from the other end.
    pub(crate) fn swapped(self) -> Tails {
        Tails { lower: self.upper, upper: self.lower }
    }
}

/// The tail that the wanted point has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Wanted {
    /// The probability of at most x.
    Lower(f64),
    /// The probability of more than x.
    Upper(f64),
}

impl Wanted {
    /// The same question asked of the smaller tail, which is the one with more digits; `None`
    /// unless the probability lies between 0 and 1, both included.
    pub(crate) fn smaller(self) -> Option<Wanted> {
        match self {
            Wanted::Lower(p) | Wanted::Upper(p) if !(0.0..=1.0).contains(&p) => None,
            Wanted::Lower(p) if p > 0.5 => Some(Wanted::Upper(1.0 - p)),
            Wanted::Upper(q) if q > 0.5 => Some(Wanted::Lower(1.0 - q)),
            wanted => Some(wanted),
        }
    }
}

/// What a law is like at one point x > 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Local {
    /// The tails at x.
    pub tails: Tails,
    /// The density in ln x: x·f(x).
    pub slope: f64,
    /// The derivative of ln(slope) in ln x.
    pub bend: f64,
}

/// Finds x > 0 whose tail is the wanted one, by Halley's steps in `ln x` on the logarithm of the
/// tail, kept between the points already known to lie on either side.
///
/// # Arguments
/// * `wanted`: a tail strictly between 0 and 1.
/// * `start`: a first guess above 0 and finite.
/// * `at`: the law; both tails monotone in x.
pub(crate) fn solve(wanted: Wanted, start: f64, at: impl Fn(f64) -> Local) -> f64 {
    let (target, sign) = match wanted {
        Wanted::Lower(p) => (p, 1.0),
        Wanted::Upper(q) => (q, -1.0),
    };
    let mut x = start.clamp(f64::MIN_POSITIVE, f64::MAX);
    let (mut low, mut high) = (0.0_f64, f64::INFINITY);
    // How far to leap where only one side is known; squared with every leap.
    let mut leap = 2.0_f64;
    // Three to five rounds are usual; the bound only ends a search among rounding errors.
    for _ in 0..200 {
        let here = at(x);
        let tail = if sign > 0.0 { here.tails.lower } else { here.tails.upper };
        let miss = if tail > 0.0 { log_ratio(tail, target) } else { f64::NEG_INFINITY };
        if miss == 0.0 {
            break;
        }
        if (miss > 0.0) == (sign > 0.0) {
            high = high.min(x);
        } else {
            low = low.max(x);
        }
        let hazard = sign * here.slope / tail;
        let newton = -miss / hazard;
        let bow = 1.0 + 0.5 * newton * (here.bend - hazard);
        let step = (newton / bow.clamp(0.5, 4.0)).clamp(-30.0, 30.0);
        let mut next = x * libm::exp(step);
        if miss.abs() < 3.0e-5 && step.is_finite() {
            // Halley's error is of the order of the cube of the miss: the next point is as good as it gets.
            return next;
        }
        let tried = step.is_finite() && next > low && next < high;
        if !tried {
            next = if low == 0.0 {
                high / leap
            } else if high == f64::INFINITY {
                low * leap
            } else {
                low.sqrt() * high.sqrt()
            };
            leap *= leap;
            if next == x || next <= low || next >= high {
                break;
            }
        }
        x = next;
    }
    x
}

/// ln(tail/target), accurate where they are close.
fn log_ratio(tail: f64, target: f64) -> f64 {
    let difference = (tail - target) / target;
    if difference.abs() < 0.5 { libm::log1p(difference) } else { libm::log(tail) - libm::log(target) }
}

/// Finds the point with the wanted tail on the whole line, by inverse quadratic steps on the logarithm of the
/// tail between points known to lie on either side; `None` where no finite point has it.
///
/// # Arguments
/// * `wanted`: a tail strictly between 0 and 1.
/// * `start`, `spread`: a first guess, and how far from it to look first.
/// * `at`: the law; both tails monotone.
///
/// # Source
/// T. R. Chandrupatla, Adv. Eng. Software 28 (1997) 145-149 (from memory).
pub(crate) fn solve_between(wanted: Wanted, start: f64, spread: f64, at: impl Fn(f64) -> Tails) -> Option<f64> {
    let miss = |x: f64| match wanted {
        Wanted::Lower(p) => log_miss(at(x).lower, p),
        Wanted::Upper(q) => -log_miss(at(x).upper, q),
    };
    let mut a = start;
    let mut at_a = miss(a);
    if at_a == 0.0 {
        return Some(a);
    }
    // The miss rises with x: leap towards the other sign, doubling.
    let towards = if at_a < 0.0 { 1.0 } else { -1.0 };
    let mut reach = spread;
    let (mut b, mut at_b) = loop {
        let b = a + towards * reach;
        if !b.is_finite() {
            return None;
        }
        let at_b = miss(b);
        if at_b == 0.0 {
            return Some(b);
        }
        if (at_b < 0.0) != (at_a < 0.0) {
            break (b, at_b);
        }
        (a, at_a) = (b, at_b);
        reach *= 2.0;
    };
    let mut share = 0.5;
    for _ in 0..300 {
        let x = a + share * (b - a);
        let at_x = miss(x);
        // c is the point left behind, for the quadratic through three.
        let (c, at_c) = (a, at_a);
        let (c, at_c) = if (at_x < 0.0) == (at_a < 0.0) {
            (c, at_c)
        } else {
            let left = (b, at_b);
            (b, at_b) = (c, at_c);
            left
        };
        (a, at_a) = (x, at_x);
        let (best, at_best) = if at_a.abs() < at_b.abs() { (a, at_a) } else { (b, at_b) };
        let tolerance = 0.5 * f64::EPSILON * best.abs() + f64::MIN_POSITIVE;
        let smallest_share = tolerance / (b - a).abs();
        if at_best == 0.0 || smallest_share > 0.5 {
            return Some(best);
        }
        let xi = (a - b) / (c - b);
        let phi = (at_a - at_b) / (at_c - at_b);
        share = if phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi {
            at_a / (at_b - at_a) * at_c / (at_b - at_c)
                + (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
        } else {
            0.5
        };
        share = if share.is_finite() { share.clamp(smallest_share, 1.0 - smallest_share) } else { 0.5 };
    }
    Some(a)
}

/// ln(tail/target) with a finite stand-in for a tail that has underflown.
fn log_miss(tail: f64, target: f64) -> f64 {
    if tail > 0.0 { log_ratio(tail, target) } else { -1.0e3 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The exponential law.
    fn exponential(x: f64) -> Local {
        let upper = libm::exp(-x);
        Local { tails: Tails { lower: -libm::expm1(-x), upper }, slope: x * upper, bend: 1.0 - x }
    }

    #[test]
    fn a_point_is_found_from_anywhere() {
        for start in [1.0e-300, 1.0e-8, 1.0, 30.0, 600.0, 1.0e5, 1.0e300] {
            for tail in [1.0e-300, 1.0e-9, 0.2, 0.5] {
                let x = solve(Wanted::Upper(tail), start, exponential);
                assert!((x / -libm::log(tail) - 1.0).abs() < 1.0e-13, "{start} {tail} {x}");
                let x = solve(Wanted::Lower(tail), start, exponential);
                assert!((x / -libm::log1p(-tail) - 1.0).abs() < 1.0e-13, "{start} {tail} {x}");
            }
        }
    }

    #[test]
    fn a_point_on_the_line_is_found_from_anywhere() {
        let logistic = |x: f64| Tails { lower: 1.0 / (1.0 + libm::exp(-x)), upper: 1.0 / (1.0 + libm::exp(x)) };
        for start in [-300.0, -1.0, 0.0, 5.0, 400.0] {
            for tail in [1.0e-200, 1.0e-3, 0.25] {
                let x = solve_between(Wanted::Upper(tail), start, 1.0, logistic).unwrap();
                assert!((logistic(x).upper / tail - 1.0).abs() < 1.0e-12, "{start} {tail} {x}");
            }
            let x = solve_between(Wanted::Lower(0.25), start, 1.0, logistic).unwrap();
            assert!((x + libm::log(3.0)).abs() < 4.0e-15);
        }
        assert_eq!(solve_between(Wanted::Upper(0.1), 0.0, 1.0, |_| Tails { lower: 0.5, upper: 0.5 }), None);
    }

    #[test]
    fn the_smaller_tail_is_asked_for() {
        assert_eq!(Wanted::Lower(0.75).smaller(), Some(Wanted::Upper(0.25)));
        assert_eq!(Wanted::Upper(0.75).smaller(), Some(Wanted::Lower(0.25)));
        assert_eq!(Wanted::Lower(0.5).smaller(), Some(Wanted::Lower(0.5)));
        assert_eq!(Wanted::Lower(-0.1).smaller(), None);
        assert_eq!(Wanted::Upper(f64::NAN).smaller(), None);
    }
}
