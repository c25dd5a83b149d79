//! Probabilities behind a statement of conformity: of one item, of a whole production, of measuring again.
//!
//! [`probability_of_conformity`] is that of the item measured; [`acceptance_limit`] and
//! [`risk_at_acceptance_limit`] lay out guard bands; [`global_risk`] averages over what is produced.

use crate::distribution::{gamma, normal, student_t};

/// The probability that an item conforms, seen its measured value.
///
/// # Arguments
/// * `value`, `u`: measured value and standard uncertainty, u ≥ 0; with 0 the answer is 1 or 0, the limits
///   themselves being allowed.
/// * `dof`: degrees of freedom of `u`, above 0; infinity for the normal law.
/// * `lower`, `upper`: the limits, −∞ or ∞ for none.
///
/// # Source
/// JCGM 106:2012, 7.2 and 7.3: p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u), with the t law for few degrees of freedom.
/// Checked by `tests/statistics/conformity.rs`.
///
/// # Example
/// ```
/// use darkline_metrology::conformity::probability_of_conformity;
/// let p = probability_of_conformity(-5.47, 0.05, f64::INFINITY, f64::NEG_INFINITY, -5.40).expect("numbers in order");
/// assert_eq!(format!("{p:.2}"), "0.92");
/// ```
#[must_use]
pub fn probability_of_conformity(value: f64, u: f64, dof: f64, lower: f64, upper: f64) -> Option<f64> {
    let inside = value.is_finite() && (0.0..f64::INFINITY).contains(&u) && dof > 0.0 && lower <= upper;
    if !inside {
        return None;
    }
    if u == 0.0 {
        return Some(if lower <= value && value <= upper { 1.0 } else { 0.0 });
    }
    between((lower - value) / u, (upper - value) / u, |t| student_t::cdf(t, dof))
}

/// Which guard an acceptance limit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AcceptanceSide {
    /// Inside the limit: the risk of accepting wrongly is kept low.
    Stringent,
    /// Beyond the limit: the risk of rejecting wrongly is kept low.
    Relaxed,
}

/// A limit on one side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bound {
    /// Values up to this one.
    AtMost(f64),
    /// Values from this one.
    AtLeast(f64),
}

/// The acceptance limit that keeps the risk of a wrong statement to `alpha`.
///
/// # Arguments
/// * `limit`: the limit of the property.
/// * `side`: which wrong statement is guarded against.
/// * `u`: standard uncertainty at the limit, 0 or above, and its degrees of freedom `dof`.
/// * `alpha`: the risk, above 0 and below 1.
///
/// # Source
/// Eurachem/CITAC Guide, Use of uncertainty information in compliance assessment, 2nd edition (2021), clause 5
/// and annex A: g = t(1 − α; ν)·u. Checked by `tests/statistics/conformity.rs`.
#[must_use]
pub fn acceptance_limit(limit: Bound, side: AcceptanceSide, u: f64, dof: f64, alpha: f64) -> Option<f64> {
    let inside = u >= 0.0;
    if !inside {
        return None;
    }
    let inwards = match side {
        AcceptanceSide::Stringent => 1.0,
        AcceptanceSide::Relaxed => -1.0,
    };
    let guard = inwards * student_t::upper_quantile(alpha, dof)? * u;
    let acceptance = match limit {
        Bound::AtMost(upper) => upper - guard,
        Bound::AtLeast(lower) => lower + guard,
    };
    acceptance.is_finite().then_some(acceptance)
}

/// The risk of a wrong statement for a value that lies exactly on the acceptance limit, guard band w = rU.
///
/// For r ≥ 0 it is the risk of accepting wrongly; for a negative r, whose acceptance limit lies beyond the
/// limit, that of rejecting wrongly.
///
/// # Arguments
/// * `r`: guard band over expanded uncertainty.
/// * `k`: coverage factor behind U, above 0.
///
/// # Source
/// ILAC-G8:09/2019, Table 1: Φ(−k|r|). Checked by `tests/statistics/conformity.rs`.
#[must_use]
pub fn risk_at_acceptance_limit(r: f64, k: f64) -> Option<f64> {
    let inside = k > 0.0;
    if !inside {
        return None;
    }
    normal::upper_tail(k * r.abs())
}

/// What is known about a production before an item is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Prior {
    /// Normal with this mean and standard deviation.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation, above 0.
        sd: f64,
    },
    /// Gamma with this shape and rate; values above 0 only.
    Gamma {
        /// Shape, above 0.
        shape: f64,
        /// Rate, above 0: mean is shape/rate.
        rate: f64,
    },
}

/// Risks averaged over a production.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlobalRisk {
    /// Probability that an item does not conform.
    pub nonconforming: f64,
    /// Probability that an item does not conform and is accepted.
    pub consumer: f64,
    /// Probability that an item conforms and is rejected.
    pub producer: f64,
}

/// Consumer's and producer's risk of a decision rule over a production.
///
/// # Arguments
/// * `prior`: distribution of the property over the production.
/// * `u`: standard uncertainty of one measurement, above 0, normal law.
/// * `tolerance`: lower and upper limit of the property, −∞ or ∞ for none.
/// * `acceptance`: lower and upper acceptance limit of the measured value, likewise.
///
/// `None` where a width is not above 0, limits are crossed, or the figures leave the range of `f64` on the way.
///
/// # Source
/// JCGM 106:2012, 9.5.2 to 9.5.4. Checked by `tests/statistics/conformity.rs`.
#[must_use]
pub fn global_risk(prior: Prior, u: f64, tolerance: (f64, f64), acceptance: (f64, f64)) -> Option<GlobalRisk> {
    if !(u > 0.0 && u < f64::INFINITY && tolerance.0 <= tolerance.1 && acceptance.0 <= acceptance.1) {
        return None;
    }
    let law = Law::of(prior)?;
    let accepted = |x: f64| between((acceptance.0 - x) / u, (acceptance.1 - x) / u, normal::cdf).unwrap_or(0.0);
    let rejected = |x: f64| {
        normal::upper_tail((acceptance.1 - x) / u).unwrap_or(0.0) + normal::cdf((acceptance.0 - x) / u).unwrap_or(0.0)
    };
    // The prior and the steps at the acceptance limits both ask for short pieces.
    let (from, to) = law.range;
    let integrate = |low: f64, high: f64, share: &dyn Fn(f64) -> f64| {
        let (low, high) = (low.max(from), high.min(to));
        if low >= high {
            return 0.0;
        }
        let mut edges = vec![low, high];
        for centre in [acceptance.0, acceptance.1] {
            edges.extend([-9.0, -3.0, 0.0, 3.0, 9.0].iter().map(|z| centre + z * u).filter(|x| *x > low && *x < high));
        }
        edges.extend(law.knots.iter().copied().filter(|x| *x > low && *x < high));
        edges.sort_by(f64::total_cmp);
        edges.windows(2).map(|e| law.integral(e[0], e[1], share)).sum()
    };
    let (low, high) = tolerance;
    let nonconforming = law.below(low) + law.above(high);
    let consumer = integrate(f64::NEG_INFINITY, low, &accepted) + integrate(high, f64::INFINITY, &accepted);
    let producer = integrate(low, high, &rejected);
    // Figures at the very ends of the range (a prior 10⁻³⁰⁰ wide) leave no number.
    (consumer + producer).is_finite().then(|| GlobalRisk {
        nonconforming: nonconforming.min(1.0),
        consumer: consumer.min(1.0),
        producer: producer.min(1.0),
    })
}

/// How many replicates in all would bring the guard band within the distance from the limit.
///
/// # Arguments
/// * `s`: standard deviation of one replicate, 0 or above.
/// * `u_shared`: standard uncertainty that no replicate lessens (calibration, recovery …), 0 or above.
/// * `distance`: distance of the value from the limit, either sign.
/// * `k`: coverage factor of the guard band, above 0.
///
/// `None` where none would: the shared uncertainty alone fills the distance, d/k ≤ u_shared.
///
/// # Source
/// k²(s²/n + u_shared²) = d², solved for n (GUM 4.2.3 and 5.1.2); common practice, no source.
///
/// # Example
/// ```
/// use darkline_metrology::conformity::replicates_that_would_decide;
/// assert_eq!(replicates_that_would_decide(0.2, 0.05, 0.3, 2.0), Some(2));
/// assert_eq!(replicates_that_would_decide(0.2, 0.15, 0.3, 2.0), None);
/// ```
#[must_use]
pub fn replicates_that_would_decide(s: f64, u_shared: f64, distance: f64, k: f64) -> Option<u32> {
    let inside = (0.0..f64::INFINITY).contains(&s) && u_shared >= 0.0 && k > 0.0 && distance.is_finite();
    if !inside {
        return None;
    }
    let room = distance.abs() / k;
    let some_left = room > u_shared;
    if !some_left {
        return None;
    }
    // As a product: the difference of the squares cancels where room and u_shared are close.
    let n = (s / (room - u_shared)) * (s / (room + u_shared));
    // A guard band that fills the distance but for rounding errors has decided.
    let n = (n * (1.0 - 1.0e-12)).ceil().max(1.0);
    (n <= f64::from(u32::MAX)).then_some(n as u32)
}

/// The probability between two points, taken from the tail that has the digits.
fn between(low: f64, high: f64, cdf: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let p = if low > 0.0 {
        // Both in the upper tail: mirrored.
        cdf(-low)? - cdf(-high)?
    } else if high < 0.0 {
        cdf(high)? - cdf(low)?
    } else {
        1.0 - cdf(low)? - cdf(-high)?
    };
    Some(p.clamp(0.0, 1.0))
}

/// A prior made ready: where it lives and how it is integrated.
struct Law {
    prior: Prior,
    range: (f64, f64),
    knots: Vec<f64>,
}

impl Law {
    fn of(prior: Prior) -> Option<Law> {
        match prior {
            Prior::Normal { mean, sd } => {
                if !(mean.is_finite() && sd > 0.0 && (mean.abs() + 9.0 * sd).is_finite()) {
                    return None;
                }
                let knots = (-8..=8).map(|i| mean + f64::from(i) * sd).collect();
                Some(Law { prior, range: (mean - 9.0 * sd, mean + 9.0 * sd), knots })
            }
            Prior::Gamma { shape, rate } => {
                if !(rate > 0.0 && rate < f64::INFINITY) {
                    return None;
                }
                let end = Some(gamma::inverse_q(shape, 1.0e-18)? / rate).filter(|x| x.is_finite())?;
                let knots = [1.0e-9, 1.0e-4, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0 - 1.0e-4, 1.0 - 1.0e-9]
                    .iter()
                    .filter_map(|p| gamma::inverse_p(shape, *p))
                    .map(|x| x / rate)
                    .collect();
                Some(Law { prior, range: (0.0, end), knots })
            }
        }
    }

    fn below(&self, x: f64) -> f64 {
        match self.prior {
            Prior::Normal { mean, sd } => normal::cdf((x - mean) / sd).unwrap_or(0.0),
            Prior::Gamma { shape, rate } => gamma::regularised_p(shape, (x * rate).max(0.0)).unwrap_or(0.0),
        }
    }

    fn above(&self, x: f64) -> f64 {
        match self.prior {
            Prior::Normal { mean, sd } => normal::upper_tail((x - mean) / sd).unwrap_or(0.0),
            Prior::Gamma { shape, rate } => gamma::regularised_q(shape, (x * rate).max(0.0)).unwrap_or(0.0),
        }
    }

    fn integral(&self, low: f64, high: f64, share: &dyn Fn(f64) -> f64) -> f64 {
        crate::distribution::gauss_legendre(low, high, |x| {
            let density = match self.prior {
                Prior::Normal { mean, sd } => normal::density((x - mean) / sd).unwrap_or(0.0) / sd,
                Prior::Gamma { shape, rate } => gamma::density(shape, rate * x).unwrap_or(0.0) * rate,
            };
            density * share(x)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NONE: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

    #[test]
    fn figures_out_of_order_have_no_probability() {
        let infinite = f64::INFINITY;
        assert_eq!(probability_of_conformity(1.0, -0.1, infinite, 0.0, 2.0), None);
        assert_eq!(probability_of_conformity(1.0, 0.1, 0.0, 0.0, 2.0), None);
        assert_eq!(probability_of_conformity(1.0, 0.1, infinite, 2.0, 0.0), None);
        assert_eq!(probability_of_conformity(f64::NAN, 0.1, infinite, 0.0, 2.0), None);
        assert_eq!(acceptance_limit(Bound::AtMost(1.0), AcceptanceSide::Stringent, 0.1, infinite, 1.0), None);
        assert_eq!(acceptance_limit(Bound::AtMost(1.0), AcceptanceSide::Stringent, -0.1, infinite, 0.05), None);
        assert_eq!(risk_at_acceptance_limit(1.0, 0.0), None);
        assert_eq!(global_risk(Prior::Normal { mean: 0.0, sd: 0.0 }, 1.0, NONE, NONE), None);
        assert_eq!(global_risk(Prior::Gamma { shape: 0.0, rate: 1.0 }, 1.0, NONE, NONE), None);
        assert_eq!(global_risk(Prior::Normal { mean: 0.0, sd: 1.0 }, 0.0, NONE, NONE), None);
    }

    #[test]
    fn a_value_without_uncertainty_conforms_or_not() {
        let p = |value| probability_of_conformity(value, 0.0, f64::INFINITY, 1.0, 2.0);
        assert_eq!([p(0.999), p(1.0), p(2.0), p(2.001)], [Some(0.0), Some(1.0), Some(1.0), Some(0.0)]);
    }

    #[test]
    fn a_narrow_band_far_out_keeps_its_digits() {
        let p = probability_of_conformity(0.0, 1.0, f64::INFINITY, 20.0, 21.0).expect("figures in order");
        let q = probability_of_conformity(0.0, 1.0, f64::INFINITY, -21.0, -20.0).expect("figures in order");
        assert_eq!(p, q);
        assert!((p / 2.753_624_118_606_233e-89 - 1.0).abs() < 1.0e-8);
    }

    #[test]
    fn without_limits_nothing_is_decided_wrongly() {
        let risk = global_risk(Prior::Normal { mean: 0.0, sd: 1.0 }, 1.0, NONE, NONE).expect("a prior");
        assert_eq!((risk.nonconforming, risk.consumer, risk.producer), (0.0, 0.0, 0.0));
    }

    #[test]
    fn replicates_stop_helping_where_the_shared_uncertainty_fills_the_distance() {
        assert_eq!(replicates_that_would_decide(0.2, 0.15, 0.3, 2.0), None);
        assert_eq!(replicates_that_would_decide(0.2, 0.0, 0.0, 2.0), None);
        assert_eq!(replicates_that_would_decide(0.0, 0.1, 0.3, 2.0), Some(1));
        assert_eq!(replicates_that_would_decide(0.2, 0.0, -0.3, 2.0), Some(2));
        assert_eq!(replicates_that_would_decide(1.0e9, 0.0, 1.0e-9, 2.0), None);
        assert_eq!(replicates_that_would_decide(f64::NAN, 0.0, 1.0, 2.0), None);
        assert_eq!(replicates_that_would_decide(0.1, -0.1, 1.0, 2.0), None);
    }

    proptest! {
        #[test]
        fn so_many_replicates_decide_and_one_fewer_does_not(s in 0.01_f64..5.0, u_shared in 0.0_f64..1.0, distance in 0.1_f64..5.0, k in 1.0_f64..3.0) {
            if let Some(n) = replicates_that_would_decide(s, u_shared, distance, k) {
                let guard = |n: f64| k * (s * s / n + u_shared * u_shared).sqrt();
                prop_assert!(guard(f64::from(n)) <= distance * (1.0 + 1.0e-9));
                prop_assert!(n == 1 || guard(f64::from(n - 1)) > distance * (1.0 - 1.0e-9));
            }
        }

        #[test]
        fn the_global_risks_are_parts_of_the_whole(mean in -2.0_f64..2.0, sd in 0.1_f64..2.0, u in 0.05_f64..2.0, guard in -0.5_f64..0.5) {
            let risk = global_risk(Prior::Normal { mean, sd }, u, (-1.0, 1.0), (-1.0 + guard, 1.0 - guard)).expect("in order");
            prop_assert!(risk.consumer >= 0.0 && risk.consumer <= risk.nonconforming * (1.0 + 1.0e-9) + 1.0e-15);
            prop_assert!(risk.producer >= 0.0 && risk.producer <= 1.0 - risk.nonconforming + 1.0e-9);
        }

        #[test]
        fn a_wider_limit_is_kept_more_probably(value in -3.0_f64..3.0, u in 0.01_f64..2.0, dof in 1.0_f64..100.0, upper in -3.0_f64..3.0, more in 0.0_f64..2.0) {
            let p = |upper| probability_of_conformity(value, u, dof, f64::NEG_INFINITY, upper).expect("in order");
            prop_assert!(p(upper) <= p(upper + more) + 1.0e-14);
        }
    }
}
