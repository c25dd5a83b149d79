//! The scatter between portions as a property of the material: homogeneity factor, sampling constant, segregation.

use darkline_metrology::summary;

/// The homogeneity of a material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Homogeneity {
    /// Mean result.
    pub mean: f64,
    /// Relative standard deviation of the results, in per cent.
    pub rsd_percent: f64,
    /// The part of it that the material makes, in per cent.
    pub rsd_material_percent: f64,
    /// Mean mass of a portion, mg.
    pub mean_mass_mg: f64,
    /// H_E, in %·mg^½.
    pub factor: f64,
}

impl Homogeneity {
    /// From portions of about one mass.
    ///
    /// # Source
    /// U. Kurfürst, Solid Sample Analysis, Springer, 1998, chapter 2; U. Kurfürst and others, Fresenius J. Anal. Chem. 345
    /// (1993) 112-120.
    pub fn of(masses_mg: &[f64], results: &[f64], analytical_rsd_percent: f64) -> Option<Self> {
        let (mean, sd, mean_mass_mg) = (summary::mean(results)?, summary::sd(results)?, summary::mean(masses_mg)?);
        if masses_mg.len() != results.len() || mean_mass_mg.is_nan() || mean_mass_mg <= 0.0 {
            return None;
        }
        let rsd_percent = 100.0 * sd / mean;
        let variance = rsd_percent * rsd_percent - analytical_rsd_percent * analytical_rsd_percent;
        let rsd_material_percent = variance.max(0.0).sqrt();
        let factor = rsd_material_percent * mean_mass_mg.sqrt();
        factor.is_finite().then_some(Self { mean, rsd_percent, rsd_material_percent, mean_mass_mg, factor })
    }

    /// The sampling constant K_s = H_E², mg.
    pub fn sampling_constant(&self) -> f64 {
        self.factor * self.factor
    }

    /// The sampling error of portions of a mass, in per cent.
    pub fn error_percent(&self, mass_mg: f64) -> f64 {
        self.factor / mass_mg.sqrt()
    }
}

/// The sampling constant from the scatter of portions of one mass.
///
/// # Source
/// C. O. Ingamells, P. Switzer, Talanta 20 (1973) 547-568.
pub fn sampling_constant(rsd_percent: f64, mass: f64) -> f64 {
    rsd_percent * rsd_percent * mass
}

/// What of the scatter falls with the mass, and what does not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segregation {
    /// A, of homogeneity: rsd² = A/mass + B.
    pub homogeneity: f64,
    /// B, of segregation, not below zero.
    pub segregation: f64,
}

impl Segregation {
    /// From the relative standard deviations of portions of two masses.
    ///
    /// # Source
    /// J. Visman, Mater. Res. Stand. 9 (1969) 8.
    pub fn of(one: (f64, f64), other: (f64, f64)) -> Option<Self> {
        let (v1, v2) = (one.0 * one.0, other.0 * other.0);
        let homogeneity = (v1 - v2) / (1.0 / one.1 - 1.0 / other.1);
        let segregation = v1 - homogeneity / one.1;
        let found =
            if segregation < 0.0 { Self { homogeneity, segregation: 0.0 } } else { Self { homogeneity, segregation } };
        (homogeneity.is_finite() && segregation.is_finite()).then_some(found)
    }

    /// The degree of segregation, √(B/A).
    pub fn degree(&self) -> f64 {
        (self.segregation / self.homogeneity).sqrt()
    }

    /// The relative standard deviation of the mean of so many portions of a mass.
    pub fn rsd_of_mean(&self, mass: f64, n: f64) -> f64 {
        (self.homogeneity / (mass * n) + self.segregation / n).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_material_that_scatters_less_than_the_analysis_has_no_scatter_of_its_own() {
        let found = Homogeneity::of(&[0.1, 0.1, 0.1], &[10.0, 10.1, 9.9], 5.0).unwrap();
        assert_eq!(found.factor, 0.0);
        assert_eq!(Homogeneity::of(&[0.1], &[1.0], 1.0), None);
        assert_eq!(Segregation::of((1.0, 1.0), (2.0, 1.0)), None);
    }
}
