//! Weighed portions of a powder: mass-weighted mean, homogeneity factor, sampling constant, how many portions are needed.
//!
//! [`Portions`] holds masses and what was found in each; its figures are those of the trade: relative standard deviations in
//! per cent, masses in mg. [`portions_for`] counts portions for a wanted width, [`Nuggets`] says what a few rich grains do,
//! [`Segregation`] parts random scatter from that between places by portions of two masses.

use darkline_metrology::distribution::{chi_squared, normal, student_t};
use darkline_metrology::summary;

/// Portions with their masses.
#[derive(Clone, Debug, PartialEq)]
pub struct Portions {
    masses_mg: Vec<f64>,
    found: Vec<f64>,
}

impl Portions {
    /// Two portions or more of masses above zero; `None` otherwise, or where a figure is no number.
    pub fn new(masses_mg: Vec<f64>, found: Vec<f64>) -> Option<Self> {
        let is_whole = masses_mg.len() == found.len()
            && masses_mg.len() >= 2
            && masses_mg.iter().all(|mass| mass.is_finite() && *mass > 0.0)
            && found.iter().all(|value| value.is_finite());
        is_whole.then_some(Self { masses_mg, found })
    }

    fn n(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "portions are few")]
        let n = self.found.len() as f64;
        n
    }

    /// Plain mean of what was found.
    pub fn mean(&self) -> f64 {
        summary::mean(&self.found).unwrap_or(0.0)
    }

    /// What was found in all portions together: `sum m x/sum m`.
    ///
    /// # Source
    /// The definition: all analyte over all mass. Checked by `tests/published/solid_sampling.rs`.
    pub fn mass_weighted_mean(&self) -> f64 {
        let amount = self.masses_mg.iter().zip(&self.found).fold(0.0, |sum, (mass, found)| sum + mass * found);
        amount / self.masses_mg.iter().fold(0.0, |sum, mass| sum + mass)
    }

    /// Standard uncertainty of the mass-weighted mean from the scatter of the portions, with one degree of freedom less than
    /// there are portions: `u² = n/(n - 1) sum m²(x - mean)²/(sum m)²`.
    ///
    /// It holds whether the scatter falls with the mass or not.
    ///
    /// # Source
    /// Ratio estimator of a mean, W. G. Cochran, Sampling Techniques, 3rd ed., 1977, 6.4 (from memory). Its coverage is
    /// studied by `cargo xtask accuracy`.
    pub fn u_of_mass_weighted_mean(&self) -> f64 {
        let mean = self.mass_weighted_mean();
        let squares = self.masses_mg.iter().zip(&self.found).fold(0.0, |sum, (mass, found)| {
            let off = mass * (found - mean);
            sum + off * off
        });
        let whole = self.masses_mg.iter().fold(0.0, |sum, mass| sum + mass);
        (self.n() / (self.n() - 1.0) * squares).sqrt() / whole
    }

    /// Relative standard deviation of what was found, in per cent.
    pub fn rsd_percent(&self) -> f64 {
        100.0 * summary::sd(&self.found).unwrap_or(0.0) / self.mean()
    }

    /// The same beyond what the measurement alone explains: `sqrt(max(0, rsd² - analytical²))`, in per cent.
    pub fn rsd_homogeneity_percent(&self, analytical_rsd_percent: f64) -> f64 {
        let rsd = self.rsd_percent();
        (rsd * rsd - analytical_rsd_percent * analytical_rsd_percent).max(0.0).sqrt()
    }

    /// Mean mass, in mg.
    pub fn mean_mass_mg(&self) -> f64 {
        summary::mean(&self.masses_mg).unwrap_or(0.0)
    }

    /// Homogeneity factor H_E, in % mg^0.5: the relative scatter that portions of 1 mg would have. Below 10 a powder counts
    /// as homogeneous for solid sampling.
    ///
    /// # Source
    /// U. Kurfürst, Solid Sample Analysis, Springer 1998, chapter 2; U. Kurfürst et al., Fresenius J. Anal. Chem. 345 (1993)
    /// 112. Checked by `tests/published/solid_sampling.rs`.
    pub fn homogeneity_factor(&self, analytical_rsd_percent: f64) -> f64 {
        self.rsd_homogeneity_percent(analytical_rsd_percent) * self.mean_mass_mg().sqrt()
    }

    /// Sampling constant K_s in mg: the mass of a portion whose relative scatter is 1 %.
    ///
    /// # Source
    /// C. O. Ingamells, P. Switzer, Talanta 20 (1973) 547: `K_s = R² w`. Checked by `tests/published/solid_sampling.rs`.
    pub fn sampling_constant_mg(&self, analytical_rsd_percent: f64) -> f64 {
        let factor = self.homogeneity_factor(analytical_rsd_percent);
        factor * factor
    }

    /// Slope of what was found on the reciprocal mass, by least squares: a blank or a loss that every portion has alike
    /// shows as a slope. `None` where all masses are equal.
    ///
    /// # Source
    /// Common practice, no source. Checked by `tests/published/solid_sampling.rs`.
    pub fn slope_vs_inverse_mass(&self) -> Option<f64> {
        let inverse: Vec<f64> = self.masses_mg.iter().map(|mass| 1.0 / mass).collect();
        let (x, y) = (summary::mean(&inverse)?, self.mean());
        let products = inverse.iter().zip(&self.found).fold(0.0, |sum, (i, f)| sum + (i - x) * (f - y));
        let squares = inverse.iter().fold(0.0, |sum, i| sum + (i - x) * (i - x));
        (squares > 0.0).then(|| products / squares)
    }
}

/// Relative scatter of portions of a mass, in per cent: `sqrt(K_s/w)`.
///
/// # Source
/// C. O. Ingamells, P. Switzer, Talanta 20 (1973) 547. Checked by `tests/published/solid_sampling.rs`.
pub fn rsd_at_mass(sampling_constant_mg: f64, mass_mg: f64) -> f64 {
    (sampling_constant_mg / mass_mg).sqrt()
}

/// Mass of a portion for a wanted relative scatter, in mg: `K_s/target²`.
///
/// # Source
/// As [`rsd_at_mass`].
pub fn mass_for_rsd(sampling_constant_mg: f64, target_rsd_percent: f64) -> f64 {
    sampling_constant_mg / (target_rsd_percent * target_rsd_percent)
}

/// Fewest portions, two or more, whose mean has a confidence interval of at most ± the target; `None` above 100 000, or where
/// a figure is none that can be.
///
/// # Arguments
/// * `rsd_percent`: relative scatter of single portions.
/// * `target_percent`: half-width wanted, relative.
/// * `confidence`: between 0 and 1.
///
/// # Source
/// `t((1+P)/2; n-1) rsd/sqrt(n) <= target`; B. Kratochvil, J. K. Taylor, Anal. Chem. 53 (1981) 924A (use; from memory).
/// Checked by `tests/published/solid_sampling.rs`.
pub fn portions_for(rsd_percent: f64, target_percent: f64, confidence: f64) -> Option<u32> {
    let can_be = rsd_percent >= 0.0 && target_percent > 0.0 && confidence > 0.0 && confidence < 1.0;
    if !can_be {
        return None;
    }
    let first = normal::quantile(f64::midpoint(1.0, confidence))? * rsd_percent / target_percent;
    if first * first > 1e5 {
        return None;
    }
    // The normal guess is never too many, so that counting up from it finds the fewest.
    let mut n = (first * first).floor().max(2.0);
    while n <= 1e5 {
        let half_width = student_t::quantile(f64::midpoint(1.0, confidence), n - 1.0)? * rsd_percent / n.sqrt();
        if half_width <= target_percent {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 2 and 100 000")]
            return Some(n as u32);
        }
        n += 1.0;
    }
    None
}

/// Fewest portions, one or more, whose mean has a relative standard uncertainty of at most the wanted: `(rsd/u)²`, rounded
/// up.
///
/// # Source
/// Standard uncertainty of a mean, JCGM 100:2008, 4.2.3.
pub fn portions_for_u(rsd_percent: f64, wanted_u_percent: f64) -> Option<u32> {
    let ratio = rsd_percent / wanted_u_percent;
    let n = (ratio * ratio).ceil().max(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 100 000")]
    (wanted_u_percent > 0.0 && n <= 1e5).then_some(n as u32)
}

/// Smallest mass of a portion, in mg, of which a part of all portions lies within a relative limit, with a confidence that
/// counts how few portions the homogeneity factor came from; `None` below two portions or where a figure is none that can be.
///
/// # Arguments
/// * `n`: portions the homogeneity factor came from.
/// * `homogeneity_factor`: in % mg^0.5.
/// * `limit_percent`: relative limit.
/// * `coverage`, `confidence`: the part of all portions, and how sure; between 0 and 1.
///
/// # Source
/// `(k2 H_E/U)²`; J. Pauwels, C. Vandecasteele, Fresenius J. Anal. Chem. 345 (1993) 121. Checked by
/// `tests/published/solid_sampling.rs`.
pub fn least_mass_mg(
    n: u32,
    homogeneity_factor: f64,
    limit_percent: f64,
    coverage: f64,
    confidence: f64,
) -> Option<f64> {
    let root = tolerance_factor(n, coverage, confidence)? * homogeneity_factor / limit_percent;
    Some(root * root).filter(|mass| mass.is_finite())
}

/// Two-sided tolerance factor k2 of a normal population: mean ± k2 s of n values holds the part `coverage` of it with the
/// confidence.
///
/// # Source
/// ISO 16269-6: k2 solves `int phi(u) P(chi²(n-1) > (n-1) r(u/sqrt(n))²/k2²) du = confidence`, where
/// `Phi(v + r) - Phi(v - r) = coverage`. Checked by `tests/published/solid_sampling.rs`.
pub fn tolerance_factor(n: u32, coverage: f64, confidence: f64) -> Option<f64> {
    let is_part = |part: f64| part > 0.0 && part < 1.0;
    if n < 2 || !is_part(coverage) || !is_part(confidence) {
        return None;
    }
    let (n, dof) = (f64::from(n), f64::from(n) - 1.0);
    // Simpson's rule from 0 to 8 standard deviations; the integrand is even and smooth.
    const STEPS: u32 = 200;
    let step = 8.0 / f64::from(STEPS);
    let mut nodes = Vec::new();
    for place in 0..=STEPS {
        let u = f64::from(place) * step;
        let weight = match place {
            0 | STEPS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let v = u / n.sqrt();
        let held = |r: f64| Some(normal::cdf(v + r)? - normal::cdf(v - r)?);
        let r = halved(0.0, v + 40.0, |r| Some(held(r)? < coverage))?;
        nodes.push((2.0 * step / 3.0 * weight * normal::density(u)?, r));
    }
    let confidence_of = |k: f64| {
        nodes
            .iter()
            .try_fold(0.0, |sum, (weight, r)| Some(sum + weight * chi_squared::upper_tail(dof * r * r / (k * k), dof)?))
    };
    halved(1e-3, 1e6, |k| Some(confidence_of(k)? < confidence))
}

/// The place between two limits where a condition that holds at the lower one stops to hold.
fn halved(mut low: f64, mut high: f64, holds: impl Fn(f64) -> Option<bool>) -> Option<f64> {
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if holds(middle)? { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

/// A powder in which a few rich grains hold what lies above a background.
///
/// # Source
/// C. O. Ingamells, Talanta 21 (1974) 141 and 23 (1976) 263: grains by Poisson. Checked by
/// `tests/published/solid_sampling.rs`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nuggets {
    /// Mean over portions.
    pub mean: f64,
    /// Standard deviation over portions.
    pub sd: f64,
    /// What the powder holds without grains.
    pub background: f64,
    /// Mass of a portion, in mg.
    pub mass_mg: f64,
}

impl Nuggets {
    /// Grains in a portion, on average.
    pub fn in_a_portion(&self) -> f64 {
        let ratio = (self.mean - self.background) / self.sd;
        ratio * ratio
    }
    /// What one grain brings.
    pub fn of_one(&self) -> f64 {
        (self.mean - self.background) / self.in_a_portion()
    }
    /// Skewness of what is found in portions.
    pub fn skewness(&self) -> f64 {
        1.0 / self.in_a_portion().sqrt()
    }
    /// Part of the portions without any grain.
    pub fn part_without(&self) -> f64 {
        libm::exp(-self.in_a_portion())
    }
    /// Mass that holds so many grains on average, in mg.
    pub fn mass_for(&self, grains: f64) -> f64 {
        self.mass_mg * grains / self.in_a_portion()
    }
    /// Sampling constant, in mg.
    pub fn sampling_constant_mg(&self) -> f64 {
        let rsd = 100.0 * self.sd / self.mean;
        rsd * rsd * self.mass_mg
    }
}

/// Random scatter that falls with the mass, and scatter between places that does not: `rsd² = A/mass + B`.
///
/// # Source
/// J. Visman, Mater. Res. Stand. 9 (1969) 8. Checked by `tests/published/solid_sampling.rs`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segregation {
    /// A, in %² mg.
    pub random: f64,
    /// B, in %²; not below 0.
    pub between_places: f64,
}

impl Segregation {
    /// From the relative scatter of portions of two masses; `None` where the masses are equal.
    pub fn of_two_masses(rsd_percent: [f64; 2], mass_mg: [f64; 2]) -> Option<Self> {
        let [first, second] = rsd_percent.map(|rsd| rsd * rsd);
        let inverse = 1.0 / mass_mg[0] - 1.0 / mass_mg[1];
        if inverse == 0.0 || !inverse.is_finite() {
            return None;
        }
        let random = (first - second) / inverse;
        Some(Self { random, between_places: (first - random / mass_mg[0]).max(0.0) })
    }
    /// Degree of segregation.
    pub fn degree(&self) -> f64 {
        (self.between_places / self.random).sqrt()
    }
    /// Relative scatter of the mean of portions, in per cent.
    pub fn rsd_of_mean(&self, mass_mg: f64, portions: f64) -> f64 {
        (self.random / (mass_mg * portions) + self.between_places / portions).sqrt()
    }
}

/// Portions whose logarithms are normal: a skewed set, where the plain mean of a few portions is most often low.
///
/// # Source
/// Cox's method as described by X.-H. Zhou, S. Gao, Stat. Med. 16 (1997) 783 (from memory). Checked by
/// `tests/published/solid_sampling.rs`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogNormal {
    n: f64,
    mean_log: f64,
    variance_log: f64,
}

impl LogNormal {
    /// Of two portions or more, all above zero.
    pub fn of(found: &[f64]) -> Option<Self> {
        if !found.iter().all(|value| *value > 0.0 && value.is_finite()) {
            return None;
        }
        let logs: Vec<f64> = found.iter().map(|value| libm::log(*value)).collect();
        #[expect(clippy::cast_precision_loss, reason = "portions are few")]
        let n = logs.len() as f64;
        Some(Self { n, mean_log: summary::mean(&logs)?, variance_log: summary::variance(&logs)? })
    }
    /// Geometric mean.
    pub fn geometric_mean(&self) -> f64 {
        libm::exp(self.mean_log)
    }
    /// Mean of the distribution: `exp(ybar + v/2)`.
    pub fn mean(&self) -> f64 {
        libm::exp(self.mean_log + self.variance_log / 2.0)
    }
    /// Confidence interval of that mean: `exp(ybar + v/2 ± z sqrt(v/n + v²/(2(n - 1))))`.
    pub fn interval(&self, confidence: f64) -> Option<(f64, f64)> {
        let v = self.variance_log;
        let z = normal::quantile(f64::midpoint(1.0, confidence))?;
        let half_width = z * (v / self.n + v * v / (2.0 * (self.n - 1.0))).sqrt();
        let middle = self.mean_log + v / 2.0;
        Some((libm::exp(middle - half_width), libm::exp(middle + half_width)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn portions_that_are_none_are_turned_back() {
        assert_eq!(Portions::new(vec![0.3], vec![1.0]), None);
        assert_eq!(Portions::new(vec![0.3, 0.0], vec![1.0, 1.0]), None);
        assert_eq!(Portions::new(vec![0.3, 0.4], vec![1.0, f64::NAN]), None);
        assert_eq!(Portions::new(vec![0.3, 0.4], vec![1.0]), None);
        assert_eq!(portions_for(f64::NAN, 5.0, 0.95), None);
        assert_eq!(portions_for(1e9, 5.0, 0.95), None);
        assert_eq!(portions_for_u(10.0, 0.0), None);
        assert_eq!(portions_for_u(10.0, 5.0), Some(4));
        assert_eq!(Segregation::of_two_masses([10.0, 7.0], [0.3, 0.3]), None);
    }

    #[test]
    fn equal_masses_give_the_standard_error_of_the_mean() {
        let portions = Portions::new(vec![0.3; 4], vec![1.0, 1.2, 0.9, 1.1]).unwrap();
        let by_hand = (0.05_f64 / 3.0).sqrt() / 2.0;
        assert!((portions.u_of_mass_weighted_mean() / by_hand - 1.0).abs() < 1e-12);
        assert!((portions.mass_weighted_mean() - 1.05).abs() < 1e-12);
        assert_eq!(portions.slope_vs_inverse_mass(), None);
    }
}
