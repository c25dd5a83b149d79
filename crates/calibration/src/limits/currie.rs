//! Critical value, detection limit and quantitation limit from a standard deviation at zero (Currie).
//!
//! [`known`] takes the standard deviation as known, [`estimated`] as estimated with degrees of freedom: its detection limit
//! needs the noncentral t distribution ([`noncentrality`]).

use darkline_metrology::distribution::{noncentral_t, normal, student_t};
use darkline_metrology::kind::Kind;

use super::asked::NoLimit;
use crate::root;

/// The quantitation limit in standard deviations: 10 % relative standard deviation.
///
/// # Source
/// L. A. Currie, Pure Appl. Chem. 67 (1995) 1699 (from memory).
pub const K_Q: f64 = 10.0;

/// How the blank is taken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Blank {
    /// The mean of the blank is well known; only the sample scatters.
    WellKnown,
    /// One blank is measured for each sample and scatters as it does: √2.
    Paired,
}

/// The limits with what they were computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits<K> {
    /// Standard deviation at zero.
    pub sd: K,
    /// Its degrees of freedom; infinite where it is known.
    pub dof: f64,
    /// Probability of an error of the first kind.
    pub alpha: f64,
    /// Probability of an error of the second kind.
    pub beta: f64,
    /// How the blank is taken off.
    pub blank: Blank,
    /// Critical value, L_C.
    pub critical: K,
    /// Detection limit, L_D.
    pub detection: K,
    /// Quantitation limit, L_Q.
    pub quantitation: K,
}

/// The limits of a known standard deviation.
///
/// # Errors
/// [`NoLimit::OutOfRange`].
///
/// # Source
/// L. A. Currie, Pure Appl. Chem. 67 (1995) 1699: L_C = z(1 − α)·σ₀, L_D = (z(1 − α) + z(1 − β))·σ₀, L_Q = 10·σ₀. Checked
/// by `tests/published/currie.rs`.
pub fn known<K: Kind>(sd: K, alpha: f64, beta: f64, blank: Blank) -> Result<Limits<K>, NoLimit> {
    let z = |what, p| normal::upper_quantile(p).filter(|z| *z > 0.0).ok_or(NoLimit::OutOfRange { what, value: p });
    let (z_alpha, z_beta) = (z("alpha", alpha)?, z("beta", beta)?);
    of_factors(sd, f64::INFINITY, (alpha, beta), blank, z_alpha, z_alpha + z_beta)
}

/// The limits of an estimated standard deviation.
///
/// # Arguments
/// * `dof`: its degrees of freedom.
///
/// # Errors
/// [`NoLimit::OutOfRange`].
///
/// # Source
/// As [`known`]: L_C = t(1 − α, ν)·s₀, L_D = δ(α, β, ν)·σ₀, here with s₀ for σ₀. Checked by `tests/published/currie.rs`.
pub fn estimated<K: Kind>(sd: K, dof: f64, alpha: f64, beta: f64, blank: Blank) -> Result<Limits<K>, NoLimit> {
    if dof.is_nan() || dof <= 0.0 {
        return Err(NoLimit::OutOfRange { what: "the degrees of freedom", value: dof });
    }
    let t = student_t::upper_quantile(alpha, dof)
        .filter(|t| *t > 0.0)
        .ok_or(NoLimit::OutOfRange { what: "alpha", value: alpha })?;
    let delta = noncentrality(alpha, beta, dof).ok_or(NoLimit::OutOfRange { what: "beta", value: beta })?;
    of_factors(sd, dof, (alpha, beta), blank, t, delta)
}

fn of_factors<K: Kind>(
    sd: K,
    dof: f64,
    (alpha, beta): (f64, f64),
    blank: Blank,
    critical: f64,
    detection: f64,
) -> Result<Limits<K>, NoLimit> {
    let scale = match blank {
        Blank::WellKnown => sd.si(),
        Blank::Paired => sd.si() * std::f64::consts::SQRT_2,
    };
    if !(scale >= 0.0 && (K_Q * scale).is_finite()) {
        return Err(NoLimit::OutOfRange { what: "the standard deviation", value: sd.si() });
    }
    Ok(Limits {
        sd,
        dof,
        alpha,
        beta,
        blank,
        critical: K::from_si(critical * scale),
        detection: K::from_si(detection * scale),
        quantitation: K::from_si(K_Q * scale),
    })
}

/// The noncentrality δ at which a noncentral t falls below the critical t with probability `beta`.
///
/// # Arguments
/// * `alpha`, `beta`: above 0 and below ½.
/// * `dof`: degrees of freedom, above 0; infinity gives z(1 − α) + z(1 − β).
///
/// # Source
/// P(t'(ν, δ) ≤ t(1 − α, ν)) = β; Currie (1995). Checked by `tests/published/currie.rs`.
pub fn noncentrality(alpha: f64, beta: f64, dof: f64) -> Option<f64> {
    if !(alpha > 0.0 && alpha < 0.5 && beta > 0.0 && beta < 0.5) {
        return None;
    }
    let (z_alpha, z_beta) = (normal::upper_quantile(alpha)?, normal::upper_quantile(beta)?);
    if dof == f64::INFINITY {
        return Some(z_alpha + z_beta);
    }
    let t = student_t::upper_quantile(alpha, dof)?;
    let miss = |delta: f64| noncentral_t::cdf(t, dof, delta).map_or(f64::NAN, |p| p - beta);
    root::towards(miss, 0.0, z_alpha + z_beta, f64::INFINITY)
}

/// The approximation of the noncentrality that needs no noncentral t, for α = β.
///
/// # Source
/// Currie (1995): δ ≈ 2·t(1 − α, ν)·4ν/(4ν + 1).
pub fn approximate_noncentrality(alpha: f64, dof: f64) -> Option<f64> {
    let t = student_t::upper_quantile(alpha, dof)?;
    Some(2.0 * t / (1.0 + 0.25 / dof))
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_metrology::kind::MassConcentration;

    #[test]
    fn many_degrees_of_freedom_come_to_the_known_case() {
        let many = noncentrality(0.05, 0.05, 1e6).unwrap();
        let all = noncentrality(0.05, 0.05, f64::INFINITY).unwrap();
        assert!((many - all).abs() < 1e-4, "{many} {all}");
        assert!((all - 3.289_707_253_902_944_3).abs() < 1e-13);
    }

    #[test]
    fn risks_out_of_range_have_no_limit() {
        let sd = MassConcentration::from_si(1.0);
        assert!(known(sd, 0.0, 0.05, Blank::WellKnown).is_err());
        assert!(known(MassConcentration::from_si(-1.0), 0.05, 0.05, Blank::WellKnown).is_err());
        assert!(estimated(sd, 5.0, 0.05, 0.7, Blank::Paired).is_err());
        assert_eq!(noncentrality(0.05, f64::NAN, 5.0), None);
        assert_eq!(noncentrality(0.05, 0.05, 0.0), None);
    }
}
