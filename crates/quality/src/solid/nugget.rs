//! Nuggets: few grains that hold much of the analyte.

/// What portions with nuggets look like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nuggets {
    /// How many a portion holds, on average.
    pub per_portion: f64,
    /// What one adds to the result.
    pub contribution: f64,
}

impl Nuggets {
    /// From the mean and standard deviation of portions, and what the material gives without nuggets.
    ///
    /// # Source
    /// Poisson model: C. O. Ingamells, Talanta 21 (1974) 141 and 23 (1976) 263.
    pub fn of(mean: f64, sd: f64, background: f64) -> Option<Self> {
        let above = mean - background;
        let per_portion = (above / sd) * (above / sd);
        let found = Self { per_portion, contribution: above / per_portion };
        (per_portion.is_finite() && per_portion > 0.0 && found.contribution.is_finite()).then_some(found)
    }

    /// The skewness of the results.
    pub fn skewness(&self) -> f64 {
        1.0 / self.per_portion.sqrt()
    }

    /// How likely a portion holds none.
    pub fn probability_of_none(&self) -> f64 {
        libm::exp(-self.per_portion)
    }

    /// The mass that holds so many, on average.
    pub fn mass_for(&self, wanted: f64, mass: f64) -> f64 {
        mass * wanted / self.per_portion
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_material_without_scatter_or_above_nothing_has_no_nuggets() {
        assert_eq!(Nuggets::of(5.0, 0.0, 1.0), None);
        assert_eq!(Nuggets::of(5.0, 1.0, 5.0), None);
        assert_eq!(Nuggets::of(8.0, 4.0, 4.0), Some(Nuggets { per_portion: 1.0, contribution: 4.0 }));
    }
}
