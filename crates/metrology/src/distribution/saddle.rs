//! The saddle-point form of gamma and beta densities: deviances and Stirling's remainder.
//!
//! `xᵃe⁻ˣ/Γ(a)` written out by logarithms of its factors loses digits in proportion to `a`. Written
//! as a deviance from the mean and Stirling's remainder, every part is small and accurate.
//!
//! Source of the form: C. Loader, Fast and accurate computation of binomial probabilities (2000).

use std::ops::RangeInclusive;

/// The shapes that the gamma and beta functions take. Beyond, a standard deviation comes close to one unit of the
/// last place of the point; below, the density is a spike at nought.
pub(crate) const SHAPES: RangeInclusive<f64> = 1.0e-6..=1.0e20;

/// 1/√(2π).
const ONE_OVER_ROOT_TAU: f64 = 0.398_942_280_401_432_7;

/// δ − ln(1 + δ), accurate near δ = 0 and never negative.
///
/// # Arguments
/// * `delta`: δ, above −1.
/// * `ratio`: 1 + δ with digits of its own, for where δ comes close to −1.
///
/// # Source
/// ln(1 + δ) = 2 artanh r with r = δ/(2 + δ), so the difference is r(δ − 2(r²/3 + r⁴/5 + …)).
pub(crate) fn excess_over_log(delta: f64, ratio: f64) -> f64 {
    if !(-0.6..=1.5).contains(&delta) {
        return delta - libm::log(ratio);
    }
    let r = delta / (2.0 + delta);
    let square = r * r;
    let mut power = square;
    let mut sum = square / 3.0;
    let mut k = 5.0;
    loop {
        power *= square;
        let term = power / k;
        if term <= sum * 1.0e-17 {
            break;
        }
        sum += term;
        k += 2.0;
    }
    r * (delta - 2.0 * sum)
}

/// eˢ − 1 − s, accurate near s = 0.
pub(crate) fn excess_of_exp(s: f64) -> f64 {
    if s.abs() > 1.0 {
        return libm::expm1(s) - s;
    }
    let mut sum = 1.0;
    // s²⁰/20! stays below 10⁻¹⁸ of the leading term for |s| ≤ 1.
    let mut k = 20.0;
    while k > 2.0 {
        sum = 1.0 + sum * s / k;
        k -= 1.0;
    }
    0.5 * s * s * sum
}

/// ln Γ(a) − (a − ½) ln a + a − ½ ln 2π for a ≥ 10: what Stirling's formula leaves out.
///
/// # Source
/// M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), 6.1.41 (from memory).
pub(crate) fn stirling_rest(a: f64) -> f64 {
    debug_assert!(a >= 10.0);
    const C: [f64; 8] = [
        1.0 / 12.0,
        -1.0 / 360.0,
        1.0 / 1260.0,
        -1.0 / 1680.0,
        1.0 / 1188.0,
        -691.0 / 360_360.0,
        1.0 / 156.0,
        -3617.0 / 122_400.0,
    ];
    let w = 1.0 / (a * a);
    let mut sum = C[7];
    for c in C[..7].iter().rev() {
        sum = sum * w + c;
    }
    sum / a
}

/// `xᵃe⁻ˣ/Γ(a)`: the gamma density in `ln x`.
pub(crate) fn gamma_slope(a: f64, x: f64) -> f64 {
    if x == 0.0 || x == f64::INFINITY {
        return 0.0;
    }
    if a < 10.0 {
        if x > 2000.0 {
            return 0.0;
        }
        // Half the decay at a time: e⁻ˣ alone leaves the range before the product does.
        let half_decay = libm::exp(-0.5 * x);
        return libm::pow(x, a) * half_decay / libm::tgamma(a) * half_decay;
    }
    let deviance = a * excess_over_log((x - a) / a, x / a);
    a.sqrt() * ONE_OVER_ROOT_TAU * libm::exp(-deviance - stirling_rest(a))
}

/// `aᵃe⁻ᵃ/Γ(a)`: the gamma density in `ln x` at its peak x = a, for a ≥ 0.05.
pub(crate) fn gamma_peak(a: f64) -> f64 {
    gamma_slope(a, a)
}

/// A point of a beta law, held so that nothing cancels: `x`, `y = 1 − x`, and by how much `x`
/// exceeds the mean, `excess = (a + b)x − a`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    /// First parameter.
    pub a: f64,
    /// Second parameter.
    pub b: f64,
    /// The point.
    pub x: f64,
    /// 1 − x.
    pub y: f64,
    /// (a + b)x − a.
    pub excess: f64,
}

impl Place {
    /// The same point counted from the other end.
    pub(crate) fn swapped(self) -> Place {
        Place { a: self.b, b: self.a, x: self.y, y: self.x, excess: -self.excess }
    }

    /// `xᵃyᵇ/B(a, b)`: the beta density in the logarithm of the odds `x/y`.
    pub(crate) fn slope(&self) -> f64 {
        let Place { a, b, x, y, excess } = *self;
        if x <= 0.0 || y <= 0.0 {
            return 0.0;
        }
        let n = a + b;
        let (small, large) = if a < b { (a, b) } else { (b, a) };
        if small >= 10.0 {
            let deviance = a * excess_over_log(excess / a, x / a * n) + b * excess_over_log(-excess / b, y / b * n);
            let rest = stirling_rest(n) - stirling_rest(a) - stirling_rest(b);
            return (a * (b / n)).sqrt() * ONE_OVER_ROOT_TAU * libm::exp(rest - deviance);
        }
        if large < 10.0 {
            let gammas = libm::tgamma(n) / (libm::tgamma(a) * libm::tgamma(b));
            return libm::pow(x, a) * libm::pow(y, b) * gammas;
        }
        // One parameter small (s at p), one large (l at r = 1 − p):
        // Γ(s + l)/Γ(l) = lˢ·(1 + s/l)^(n − ½)·e⁻ˢ·exp(rests), and pˢ·lˢ go together.
        let (p, r) = if a < b { (x, y) } else { (y, x) };
        let ratio_of_stirling = stirling_rest(n) - stirling_rest(large);
        let growth = (n - 0.5) * libm::log1p(small / large) - small;
        let log_r = if p < 0.5 { libm::log1p(-p) } else { libm::log(r) };
        libm::pow(p * large, small) * libm::exp(growth + ratio_of_stirling + large * log_r) / libm::tgamma(small)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_excess_over_the_logarithm_has_no_step_where_its_form_changes() {
        for edge in [-0.6_f64, 1.5] {
            let series = excess_over_log(edge, 1.0 + edge);
            let direct = edge - libm::log1p(edge);
            assert!((series / direct - 1.0).abs() < 1.0e-15);
        }
        // δ²/2 − δ³/3 near nought.
        let delta = 1.0e-9;
        assert!((excess_over_log(delta, 1.0 + delta) / (0.5e-18 * (1.0 - 2.0e-9 / 3.0)) - 1.0).abs() < 1.0e-14);
        assert_eq!(excess_over_log(0.0, 1.0), 0.0);
    }

    #[test]
    fn the_excess_of_the_exponential_has_no_step_where_its_form_changes() {
        for edge in [-1.0_f64, 1.0] {
            let (inside, outside) = (excess_of_exp(edge), libm::expm1(edge) - edge);
            assert!((inside / outside - 1.0).abs() < 1.0e-15);
        }
        assert!((excess_of_exp(1.0e-8) / (0.5e-16 * (1.0 + 1.0e-8 / 3.0)) - 1.0).abs() < 1.0e-15);
    }

    #[test]
    fn stirlings_remainder_agrees_with_the_gamma_function() {
        for a in [10.0_f64, 12.5, 20.0] {
            let half_log_tau = 0.918_938_533_204_672_8;
            let direct = libm::lgamma(a) - (a - 0.5) * libm::log(a) + a - half_log_tau;
            assert!((stirling_rest(a) - direct).abs() < 1.0e-13);
        }
    }

    #[test]
    fn the_gamma_density_has_no_step_where_its_form_changes() {
        for x in [1.0e-3, 5.0, 10.0, 40.0, 500.0] {
            let (below, at) = (gamma_slope(10.0 - 1.0e-14, x), gamma_slope(10.0, x));
            assert!((below / at - 1.0).abs() < 1.0e-12, "{x}");
        }
    }

    #[test]
    fn the_beta_density_has_no_step_where_its_form_changes() {
        let slope = |a: f64, b: f64, x: f64| Place { a, b, x, y: 1.0 - x, excess: (a + b) * x - a }.slope();
        for x in [0.01, 0.3, 0.7] {
            for (a, b) in [(10.0, 30.0), (3.0, 10.0), (0.5, 10.0)] {
                let below = slope(a * (1.0 - 1.0e-14), b * (1.0 - 1.0e-14), x);
                assert!((below / slope(a, b, x) - 1.0).abs() < 1.0e-12, "{a} {b} {x}");
            }
        }
    }
}
