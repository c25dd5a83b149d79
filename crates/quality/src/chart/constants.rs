//! The constants of Shewhart charts, unrounded.

use darkline_metrology::distribution::{gamma, normal};

/// Subgroups are at most so large.
const LARGEST: usize = 10_000;

/// d₂: the expected range of n standard normal values.
///
/// # Source
/// L. H. C. Tippett, Biometrika 17 (1925) 364 (from memory): ∫ [1 − (1 − Φ)ⁿ − Φⁿ] dx.
pub fn d2(n: usize) -> Option<f64> {
    if !(2..=LARGEST).contains(&n) {
        return None;
    }
    const STEP: f64 = 0.02;
    let n = n as f64;
    let mut sum = 0.0;
    for place in -450..=450 {
        let x = f64::from(place) * STEP;
        let (below, above) = (normal::cdf(x)?, normal::upper_tail(x)?);
        sum += 1.0 - libm::pow(above, n) - libm::pow(below, n);
    }
    Some(sum * STEP)
}

/// c₄: the expected standard deviation of n standard normal values.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2: √(2/(n − 1))·Γ(n/2)/Γ((n − 1)/2).
pub fn c4(n: usize) -> Option<f64> {
    if n < 2 {
        return None;
    }
    let n = n as f64;
    let logs = gamma::log_gamma(0.5 * n)? - gamma::log_gamma(0.5 * (n - 1.0))?;
    Some((2.0 / (n - 1.0)).sqrt() * libm::exp(logs))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 7870-2, Table 2; closed forms: d₂(2) = 2/√π, d₂(3) = 3/√π, c₄(2) = √(2/π).
    #[test]
    fn constants_are_those_of_the_closed_forms() {
        let root_of_pi = core::f64::consts::PI.sqrt();
        assert!((d2(2).unwrap() - 2.0 / root_of_pi).abs() < 1e-12);
        assert!((d2(3).unwrap() - 3.0 / root_of_pi).abs() < 1e-12);
        assert!((d2(5).unwrap() - 2.3259).abs() < 5e-5);
        assert!((c4(2).unwrap() - (2.0 / core::f64::consts::PI).sqrt()).abs() < 1e-14);
        assert!((c4(10).unwrap() - 0.9727).abs() < 5e-5);
        assert_eq!((d2(1), c4(1)), (None, None));
    }
}
