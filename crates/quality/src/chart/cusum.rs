//! Cumulative sums: how far a series has gone from its target, added up.

/// Sums this small are rounding.
const NOTHING: f64 = 1e-12;

/// The two one-sided sums of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Cusum {
    /// Sums of what lies above.
    pub high: Vec<f64>,
    /// Sums of what lies below.
    pub low: Vec<f64>,
    /// For how many values the high sum has been above zero.
    pub run_high: Vec<usize>,
    /// The decision interval.
    pub interval: f64,
}

/// The tabular cumulative sum.
///
/// # Arguments
/// * `slack`: k, and `interval`: h, both in units of x.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.3; D. C. Montgomery, Introduction to Statistical Quality Control.
pub fn tabular(x: &[f64], target: f64, slack: f64, interval: f64) -> Option<Cusum> {
    if ![target, slack, interval].iter().chain(x).all(|value| value.is_finite()) {
        return None;
    }
    let held = |sum: f64| if sum < NOTHING { 0.0 } else { sum };
    let mut found = Cusum { high: Vec::new(), low: Vec::new(), run_high: Vec::new(), interval };
    let (mut high, mut low, mut run) = (0.0, 0.0, 0);
    for value in x {
        high = held(high + value - target - slack);
        low = held(low + target - value - slack);
        run = if high > 0.0 { run + 1 } else { 0 };
        found.high.push(high);
        found.low.push(low);
        found.run_high.push(run);
    }
    Some(found)
}

impl Cusum {
    /// The places where either sum is beyond the interval, from zero.
    pub fn signals(&self) -> Vec<usize> {
        let pairs = self.high.iter().zip(&self.low).enumerate();
        pairs
            .filter(|(_, (high, low))| **high > self.interval || **low > self.interval)
            .map(|(place, _)| place)
            .collect()
    }
}

/// The plain cumulative sum of differences from a target.
///
/// # Source
/// D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, section on cumulative sums.
pub fn plain(x: &[f64], target: f64) -> Vec<f64> {
    let mut sum = 0.0;
    x.iter()
        .map(|value| {
            sum += value - target;
            sum
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_series_on_target_adds_up_to_nothing() {
        let found = tabular(&[10.0; 5], 10.0, 0.5, 5.0).unwrap();
        assert_eq!((found.high, found.run_high), (vec![0.0; 5], vec![0; 5]));
        assert_eq!(tabular(&[f64::NAN], 0.0, 0.5, 5.0), None);
        assert_eq!(plain(&[1.0, 2.0, -1.0], 1.0), [0.0, 1.0, -1.0]);
    }
}
