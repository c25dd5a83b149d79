//! Grubbs' test of two extreme values at one end, with its exact critical values.

use darkline_metrology::distribution::gamma;
use darkline_metrology::summary;

use super::End;
use crate::tail_point::tail_point;

/// The test of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DoubleGrubbs {
    /// The sum of squares about the mean of all.
    pub ss_all: f64,
    /// The same without the two extreme values, about their own mean.
    pub ss_reduced: f64,
    /// Their ratio; small values are significant.
    pub statistic: f64,
}

impl DoubleGrubbs {
    /// The test of the two values at an end; at [`End::Either`], of the end with the smaller ratio.
    ///
    /// # Arguments
    /// * `x`: at least four values that are not all equal.
    ///
    /// # Source
    /// F. E. Grubbs, Ann. Math. Statist. 21 (1950) 27-58.
    pub fn of(x: &[f64], end: End) -> Option<Self> {
        let x = super::sorted(x)?;
        if x.len() < 4 {
            return None;
        }
        let ss_all = summary::sum_of_squares(&x)?;
        if ss_all == 0.0 {
            return None;
        }
        let highest = summary::sum_of_squares(&x[..x.len() - 2])?;
        let lowest = summary::sum_of_squares(&x[2..])?;
        let ss_reduced = match end {
            End::Highest => highest,
            End::Lowest => lowest,
            End::Either => highest.min(lowest),
        };
        Some(Self { ss_all, ss_reduced, statistic: ss_reduced / ss_all })
    }
}

/// Points of the integration between 0 and π/2.
const POINTS: usize = 4000;
/// Series longer than this have no critical value here.
const LONGEST: usize = 2000;

/// The lower critical value for a named end.
///
/// # Arguments
/// * `n`: 4 to 2000 values.
/// * `significance`: above 0 and below 1.
///
/// # Source
/// The recursion of F. E. Grubbs, Ann. Math. Statist. 21 (1950) 27-58, integrated; tables of F. E. Grubbs, G. Beck,
/// Technometrics 14 (1972) 847-854.
pub fn critical(n: usize, significance: f64) -> Option<f64> {
    let possible = (4..=LONGEST).contains(&n) && significance > 0.0 && significance < 1.0;
    if !possible {
        return None;
    }
    let step = core::f64::consts::FRAC_PI_2 / POINTS as f64;
    let at = |place: usize| place as f64 * step;
    // The distribution of the largest deviate of m values, by its angle, from that of m - 1.
    let mut below: Vec<f64> = (0..=POINTS).map(|place| if place == POINTS { 1.0 } else { 0.0 }).collect();
    for m in 3..n {
        let density = density(m)?;
        let mut sum = 0.0;
        let mut next = vec![0.0; POINTS + 1];
        let mut last = 0.0;
        for (place, next) in next.iter_mut().enumerate() {
            let inner = if m == 3 {
                // Two values have one deviate: a step, which the integral sees as it is.
                f64::from(u8::from(within(m, at(place)) >= core::f64::consts::FRAC_PI_2 - 1e-12))
            } else {
                interpolated(&below, within(m, at(place)) / step)
            };
            let height = density(at(place)) * inner;
            if place > 0 {
                sum += 0.5 * step * (last + height);
            }
            last = height;
            *next = sum;
        }
        // What the steps of the sum leave out.
        let whole = next[POINTS];
        if whole.is_nan() || whole <= 0.0 {
            return None;
        }
        next.iter_mut().for_each(|value| *value /= whole);
        below = next;
    }
    let density = density(n)?;
    let probability = |w: f64| {
        let mut sum = 0.0;
        for place in 0..=POINTS {
            let u = at(place);
            let upper = interpolated(&below, within(n, u) / step);
            let ratio = w.sqrt() / libm::cos(u);
            let lower = if ratio >= 1.0 { 0.0 } else { interpolated(&below, libm::acos(ratio) / step) };
            let weight = if place == 0 || place == POINTS { 0.5 } else { 1.0 };
            sum += weight * density(u) * (upper - lower).max(0.0);
        }
        1.0 - sum * step
    };
    Some(tail_point(probability, 1.0 - significance, 0.0, 1.0))
}

/// m·c_m·cosᵐ⁻³(u), c_m = Γ((m − 1)/2)/(√π·Γ((m − 2)/2)).
fn density(m: usize) -> Option<impl Fn(f64) -> f64> {
    let size = m as f64;
    let log_c = gamma::log_gamma(0.5 * (size - 1.0))?
        - gamma::log_gamma(0.5 * (size - 2.0))?
        - 0.5 * libm::log(core::f64::consts::PI);
    let factor = size * libm::exp(log_c);
    Some(move |u: f64| factor * libm::pow(libm::cos(u).max(0.0), size - 3.0))
}

/// The angle of the largest deviate of the others, at most: arcsin(tan u·√(m/(m − 2))).
fn within(m: usize, u: f64) -> f64 {
    let size = m as f64;
    libm::asin((libm::tan(u) * (size / (size - 2.0)).sqrt()).clamp(0.0, 1.0))
}

fn interpolated(values: &[f64], place: f64) -> f64 {
    let place = place.clamp(0.0, POINTS as f64);
    let below = (place as usize).min(POINTS - 1);
    let part = place - below as f64;
    values[below] + part * (values[below + 1] - values[below])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// F. E. Grubbs, G. Beck, Technometrics 14 (1972) 847-854; digits of the exact distribution.
    #[test]
    fn critical_values_are_those_of_the_exact_table() {
        for (n, significance, exact) in
            [(4, 0.10, 0.0031), (5, 0.05, 0.0183), (10, 0.05, 0.2305), (10, 0.01, 0.1415), (20, 0.005, 0.3585)]
        {
            let found = critical(n, significance).unwrap();
            assert!((found - exact).abs() < 1.2e-4, "{n} {significance}: {found}");
        }
        assert_eq!(critical(3, 0.05), None);
        assert_eq!(critical(10, f64::NAN), None);
    }
}
