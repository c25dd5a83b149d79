//! The regularised incomplete beta function and its inverse.
//!
//! [`regularised`] is the probability that a beta-distributed quantity with parameters `a` and `b` stays at
//! or below `x`, [`regularised_upper`] that it exceeds `x`; [`inverse`] and [`inverse_upper`] find `x`.
//! Student's t, Fisher's F and the binomial law are these functions in other words.
//!
//! Domain: parameters from 10⁻⁶ to 10²⁰; accurate for parameters of 0.05 and above.

use super::quadrature::decaying;
use super::saddle::{Place, SHAPES, excess_of_exp, excess_over_log};
use super::tails::{Local, Tails, Wanted, solve};

/// From this size of the smaller parameter on, the tails near the mean are integrated, which costs the
/// same for any size; the fraction needs terms in proportion to its root.
const LARGE_PARAMETER: f64 = 400.0;

/// I_x(a, b): the probability that a beta-distributed quantity is at most `x`.
///
/// # Arguments
/// * `a`, `b`: parameters, from 10⁻⁶ to 10²⁰.
/// * `x`: from 0 to 1.
///
/// # Source
/// Continued fraction of A. R. DiDonato, A. H. Morris, ACM Trans. Math. Software 18 (1992) 360-373,
/// equation 9 (from memory). Checked by `tests/statistics/distribution.rs`.
#[must_use]
pub fn regularised(a: f64, b: f64, x: f64) -> Option<f64> {
    place(a, b, x).map(|at| tails(&at).lower)
}

/// 1 − I_x(a, b), accurate where I is close to 1.
///
/// # Arguments
/// As [`regularised`].
///
/// # Source
/// As [`regularised`].
#[must_use]
pub fn regularised_upper(a: f64, b: f64, x: f64) -> Option<f64> {
    place(a, b, x).map(|at| tails(&at).upper)
}

/// The `x` with I_x(a, b) = `p`.
///
/// # Arguments
/// * `a`, `b`: parameters, from 10⁻⁶ to 10²⁰.
/// * `p`: from 0 to 1.
///
/// # Source
/// Root of [`regularised`].
#[must_use]
pub fn inverse(a: f64, b: f64, p: f64) -> Option<f64> {
    inverse_of(a, b, Wanted::Lower(p))
}

/// The `x` with 1 − I_x(a, b) = `q`.
///
/// # Arguments
/// As [`inverse`].
///
/// # Source
/// As [`inverse`].
#[must_use]
pub fn inverse_upper(a: f64, b: f64, q: f64) -> Option<f64> {
    inverse_of(a, b, Wanted::Upper(q))
}

/// The point `x` of the law, with its excess over the mean free of cancellation.
fn place(a: f64, b: f64, x: f64) -> Option<Place> {
    if !(SHAPES.contains(&a) && SHAPES.contains(&b) && (0.0..=1.0).contains(&x)) {
        return None;
    }
    // (a + b)x − a with sum and product carried to twice the digits.
    let n = a + b;
    let n_rest = if a > b { b - (n - a) } else { a - (n - b) };
    let (product, rest) = super::normal::exact_product(n, x);
    let excess = (product - a) + (rest + n_rest * x);
    Some(Place { a, b, x, y: 1.0 - x, excess })
}

/// The point where a·y·f = b·x, that is the point of an F law with 2a and 2b degrees of freedom at `f`.
pub(crate) fn place_of_f(a: f64, b: f64, f: f64) -> Place {
    let weight = a * f / b;
    if weight > 1.0e150 {
        // b/(a·f) alone survives beside 1.
        let y = (b / a) / f;
        return Place { a, b, x: 1.0, y, excess: b };
    }
    let x = weight / (1.0 + weight);
    let y = 1.0 / (1.0 + weight);
    Place { a, b, x, y, excess: a * y * (f - 1.0) }
}

/// Both tails at a place.
pub(crate) fn tails(at: &Place) -> Tails {
    tails_with(at, at.slope())
}

fn tails_with(at: &Place, slope: f64) -> Tails {
    if slope == 0.0 {
        let lower = if at.excess < 0.0 { 0.0 } else { 1.0 };
        return Tails { lower, upper: 1.0 - lower };
    }
    // With a parameter below 1 the mean lies on the steep side; half a count further in serves better.
    let from_below = if at.a < 1.0 && at.b >= 1.0 {
        at.excess + at.x <= 0.5
    } else if at.b < 1.0 && at.a >= 1.0 {
        at.y - at.excess > 0.5
    } else {
        at.excess <= 0.0
    };
    if from_below {
        Tails::from_lower(slope * lower_over_slope(at))
    } else {
        Tails::from_upper(slope * lower_over_slope(&at.swapped()))
    }
}

/// I_x(a, b)·B(a, b)/(xᵃyᵇ), for x about the mean or below.
fn lower_over_slope(at: &Place) -> f64 {
    let Place { a, b, x, y, excess } = *at;
    if x < 0.7 && (b < 1.0 || b * x < 0.7) {
        return series(a, b, x, y);
    }
    let spread = a * y + b * x;
    if a.min(b) >= LARGE_PARAMETER && excess * excess < 0.25 * spread * spread && excess <= 0.0 {
        // In the log odds the exponent is −excess·s + n·(x̃ẽ(s) − (u − ln(1 + u))), u = x̃(eˢ̃ − 1):
        // whichever of x and y is the smaller carries it, lest the two parts cancel.
        let n = a + b;
        return decaying(-excess, n * x * y, |s| {
            let (share, step) = if x <= y { (x, -s) } else { (y, s) };
            let u = share * libm::expm1(step);
            -excess * s + n * (share * excess_of_exp(step) - excess_over_log(u, 1.0 + u))
        });
    }
    fraction(a, b, x, y, excess)
}

/// The power series in x; terms of one sign for b ≤ 1, hardly alternating for b·x below 0.7.
fn series(a: f64, b: f64, x: f64, y: f64) -> f64 {
    // I·B = xᵃ Σ (1 − b)ₙ xⁿ/(n!(a + n)); the slope carries yᵇ as well.
    let mut power = 1.0;
    let mut sum = 1.0 / a;
    let mut n = 0.0;
    loop {
        n += 1.0;
        power *= (n - b) * x / n;
        let term = power / (a + n);
        sum += term;
        if term.abs() <= sum.abs() * 1.0e-17 {
            break;
        }
    }
    let log_y = if x < 0.5 { libm::log1p(-x) } else { libm::log(y) };
    sum * libm::exp(-b * log_y)
}

/// The continued fraction of DiDonato and Morris, Lentz's way.
fn fraction(a: f64, b: f64, x: f64, y: f64, excess: f64) -> f64 {
    let under = |m: f64| {
        m + m * (b - m) * x / (a + 2.0 * m - 1.0) + (a + m) * (1.0 - excess + m * (1.0 + y)) / (a + 2.0 * m + 1.0)
    };
    let mut value = a * (1.0 - excess) / (a + 1.0);
    let mut c = value;
    let mut d = 0.0;
    let mut m = 1.0;
    loop {
        let foot = x / (a + 2.0 * m - 1.0);
        let over = (a + m - 1.0) * (a + b + m - 1.0) * m * (b - m) * foot * foot;
        let part = under(m);
        d = 1.0 / (part + over * d);
        c = part + over / c;
        let factor = c * d;
        value *= factor;
        if (factor - 1.0).abs() <= 1.0e-15 || m > 100_000.0 {
            return 1.0 / value;
        }
        m += 1.0;
    }
}

/// The F ratio whose tail is the wanted one; strictly between 0 and ½.
pub(crate) fn f_ratio(a: f64, b: f64, wanted: Wanted) -> f64 {
    let start = first_guess(a, b, wanted);
    if start == 0.0 || start == f64::INFINITY {
        return start;
    }
    solve(wanted, start, |f| {
        let at = place_of_f(a, b, f);
        let slope = at.slope();
        Local { tails: tails_with(&at, slope), slope, bend: -at.excess }
    })
}

fn first_guess(a: f64, b: f64, wanted: Wanted) -> f64 {
    // E. Paulson, Ann. Math. Statist. 13 (1942) 233: the cube root of F by Wilson and Hilferty's
    // argument on both sides.
    let (p, up) = match wanted {
        Wanted::Lower(p) => (p, false),
        Wanted::Upper(q) => (q, true),
    };
    let z = super::normal::upper_quantile(p).expect("the tail lies between 0 and 1");
    let (first, second, z) = if up { (a, b, z) } else { (b, a, z) };
    // The upper point of F(first, second); the lower one is its reciprocal with the parameters swapped.
    let (v, w) = (1.0 / (9.0 * first), 1.0 / (9.0 * second));
    let (one_v, one_w) = (1.0 - v, 1.0 - w);
    let under = one_w * one_w - w * z * z;
    let root = if under > 0.05 {
        (one_v * one_w + z * (one_v * one_v * w + one_w * one_w * v - v * w * z * z).max(0.0).sqrt()) / under
    } else {
        0.0
    };
    let guess = if root > 0.0 && first >= 0.5 {
        root * root * root
    } else {
        // Far out the tail is yᵇ/(b·B(a, b)), y ≈ second/(first·f).
        let log_beta = libm::lgamma(first) + libm::lgamma(second) - libm::lgamma(first + second);
        let log_y = (libm::log(p) + libm::log(second) + log_beta) / second;
        libm::exp(libm::log(second) - libm::log(first) - log_y)
    };
    if up { guess } else { 1.0 / guess }
}

fn inverse_of(a: f64, b: f64, wanted: Wanted) -> Option<f64> {
    if !(SHAPES.contains(&a) && SHAPES.contains(&b)) {
        return None;
    }
    Some(match wanted.smaller()? {
        Wanted::Lower(0.0) => 0.0,
        Wanted::Upper(0.0) => 1.0,
        smaller => place_of_f(a, b, f_ratio(a, b, smaller)).x,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn arguments_outside_the_domain_are_turned_back() {
        for (a, b, x) in
            [(0.0, 1.0, 0.5), (1.0, -1.0, 0.5), (1.0, 1.0, 1.5), (1.0, 1.0, f64::NAN), (f64::INFINITY, 1.0, 0.5)]
        {
            assert_eq!(regularised(a, b, x), None);
            assert_eq!(regularised_upper(a, b, x), None);
        }
        assert_eq!(inverse(1.0, 1.0, 1.1), None);
        assert_eq!(inverse(0.0, 1.0, 0.1), None);
    }

    #[test]
    fn equal_parameters_of_one_are_the_uniform_law() {
        for x in [0.0, 1.0e-12, 0.25, 0.5, 0.9, 1.0] {
            assert!((regularised(1.0, 1.0, x).unwrap() - x).abs() <= 1.0e-16);
            assert!((inverse(1.0, 1.0, x).unwrap() - x).abs() <= 1.0e-15 * x);
        }
    }

    proptest! {
        #[test]
        fn it_rises_with_x(log_a in -1.0_f64..7.0, log_b in -1.0_f64..7.0, x in 0.0_f64..1.0, more in 0.0_f64..1.0) {
            let (a, b) = (libm::pow(10.0, log_a), libm::pow(10.0, log_b));
            let further = x + more * (1.0 - x);
            prop_assert!(regularised(a, b, x).unwrap() <= regularised(a, b, further).unwrap() * (1.0 + 1.0e-13));
        }

        #[test]
        fn the_two_ends_mirror_each_other(log_a in -1.0_f64..7.0, log_b in -1.0_f64..7.0, x in 0_u32..=1024) {
            let (a, b, x) = (libm::pow(10.0, log_a), libm::pow(10.0, log_b), f64::from(x) / 1024.0);
            let (one, other) = (regularised(a, b, x).unwrap(), regularised_upper(b, a, 1.0 - x).unwrap());
            prop_assert!((one - other).abs() <= 1.0e-12 * one);
        }

        #[test]
        fn the_inverse_gives_the_tail_back(log_a in -1.0_f64..6.0, log_b in -1.0_f64..6.0, log_p in -250.0_f64..-0.31) {
            let (a, b, p) = (libm::pow(10.0, log_a), libm::pow(10.0, log_b), libm::pow(10.0, log_p));
            let x = inverse(a, b, p).unwrap();
            if x > 1.0e-290 && x < 0.9 {
                let at = place(a, b, x).unwrap();
                let worth = 1.0 + at.excess.abs() / at.y;
                prop_assert!((regularised(a, b, x).unwrap() / p - 1.0).abs() < 1.0e-12 + 4.0e-16 * worth);
            }
        }
    }
}
