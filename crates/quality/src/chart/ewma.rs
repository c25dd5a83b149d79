//! The exponentially weighted moving average: small shifts that last.

/// A chart of moving averages.
#[derive(Clone, Debug, PartialEq)]
pub struct Ewma {
    /// The averages.
    pub averages: Vec<f64>,
    /// The half-width of the limits at each.
    pub half_widths: Vec<f64>,
    /// The centre.
    pub centre: f64,
}

/// How the limits run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// As after many values.
    Asymptotic,
    /// Narrow at first.
    TimeVarying,
}

/// The moving averages of a series.
///
/// # Arguments
/// * `weight`: λ, above 0 and at most 1.
/// * `width`: L, in standard deviations.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.4; D. C. Montgomery, Introduction to Statistical Quality Control.
pub fn ewma(x: &[f64], centre: f64, sigma: f64, weight: f64, width: f64, course: Course) -> Option<Ewma> {
    let weighs = weight > 0.0 && weight <= 1.0;
    let all_finite = x.iter().all(|value| value.is_finite());
    if !weighs || sigma.is_nan() || sigma < 0.0 || !all_finite {
        return None;
    }
    let asymptotic = width * sigma * (weight / (2.0 - weight)).sqrt();
    let (mut averages, mut half_widths) = (Vec::new(), Vec::new());
    let (mut average, mut left) = (centre, 1.0);
    for value in x {
        average = weight * value + (1.0 - weight) * average;
        left *= (1.0 - weight) * (1.0 - weight);
        averages.push(average);
        half_widths.push(match course {
            Course::Asymptotic => asymptotic,
            Course::TimeVarying => asymptotic * (1.0 - left).sqrt(),
        });
    }
    Some(Ewma { averages, half_widths, centre })
}

impl Ewma {
    /// The places of averages beyond their limits, from zero.
    pub fn signals(&self) -> Vec<usize> {
        let pairs = self.averages.iter().zip(&self.half_widths).enumerate();
        pairs.filter(|(_, (z, half))| (*z - self.centre).abs() > **half).map(|(place, _)| place).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_of_one_is_the_series_itself() {
        let found = ewma(&[1.0, 5.0, -4.0], 0.0, 1.0, 1.0, 3.0, Course::Asymptotic).unwrap();
        assert_eq!(found.averages, [1.0, 5.0, -4.0]);
        assert_eq!(found.signals(), [1, 2]);
        assert_eq!(ewma(&[1.0], 0.0, 1.0, 0.0, 3.0, Course::TimeVarying), None);
    }
}
