//! The sample that a quantity takes when its model is replayed: its mean, its standard deviation, its coverage intervals.
//!
//! Invariant: sums run in eight columns, value by value, and the columns are then added from the first to the last: a
//! stated order that leaves no addition waiting for the one before.

use crate::kind::Kind;

/// The values a quantity took in the trials.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample<K> {
    /// Values in the order of the trials, in SI.
    values: Vec<f64>,
    /// Trials in which a fit had no solution; they are left out for every quantity alike.
    pub n_without_solution: u32,
    kind: std::marker::PhantomData<K>,
}

/// A coverage interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval<K> {
    /// Lower end.
    pub low: K,
    /// Upper end.
    pub high: K,
}

impl<K: Kind> Sample<K> {
    pub(super) fn new(values: Vec<f64>, n_without_solution: u32) -> Self {
        Self { values, n_without_solution, kind: std::marker::PhantomData }
    }

    /// Values in the order of the trials, in the SI unit.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The mean of the trials: the estimate. `None` without trials.
    ///
    /// # Source
    /// JCGM 101:2008, 7.6, equation (16).
    pub fn mean(&self) -> Option<K> {
        Some(self.mean_of_trials()?).filter(|mean| mean.is_finite()).map(K::from_si)
    }

    /// The standard deviation of the trials: u. `None` below two trials.
    ///
    /// # Source
    /// JCGM 101:2008, 7.6, equation (17).
    pub fn u(&self) -> Option<K> {
        if self.values.len() < 2 {
            return None;
        }
        let (mean, n) = (self.mean_of_trials()?, count(self.values.len()));
        let squares = abreast(&self.values, |value| (value - mean) * (value - mean));
        let rest = abreast(&self.values, |value| value - mean);
        if !(squares.is_finite() && rest.is_finite()) {
            return None;
        }
        Some(K::from_si(((squares - rest * rest / n).max(0.0) / (n - 1.0)).sqrt()))
    }

    /// The mean by way of the distances from the first value, which are no larger than the scatter.
    fn mean_of_trials(&self) -> Option<f64> {
        let first = *self.values.first()?;
        Some(first + abreast(&self.values, |value| value - first) / count(self.values.len()))
    }

    /// The probabilistically symmetric coverage interval.
    ///
    /// # Source
    /// JCGM 101:2008, 7.7.2: q = pM, rounded to an integer where it is none; r = (M − q)/2.
    pub fn symmetric_interval(&self, probability: f64) -> Option<Interval<K>> {
        let q = self.coverage_count(probability)?;
        let m = self.values.len();
        let r = (m - q).div_ceil(2);
        let (low, high) = (r - 1, r + q - 1);
        let (low, high) = two_of_the_order(&self.values, low, high);
        Some(Interval { low: K::from_si(low), high: K::from_si(high) })
    }

    /// The shortest coverage interval.
    ///
    /// # Source
    /// JCGM 101:2008, 7.7.4.
    pub fn shortest_interval(&self, probability: f64) -> Option<Interval<K>> {
        let q = self.coverage_count(probability)?;
        let mut values = self.values.clone();
        // The interval begins among the lowest and ends among as many of the highest; those between need no order.
        let n_ends = values.len() - q;
        if n_ends < q {
            values.select_nth_unstable_by(q, f64::total_cmp);
            values[..q].select_nth_unstable_by(n_ends, f64::total_cmp);
            values[..n_ends].sort_unstable_by(f64::total_cmp);
            values[q..].sort_unstable_by(f64::total_cmp);
        } else {
            values.sort_unstable_by(f64::total_cmp);
        }
        let first = (0..n_ends).min_by(|&a, &b| {
            let (a, b) = (values[a + q] - values[a], values[b + q] - values[b]);
            a.total_cmp(&b)
        })?;
        Some(Interval { low: K::from_si(values[first]), high: K::from_si(values[first + q]) })
    }

    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "trials are below 2^32"
    )]
    fn coverage_count(&self, probability: f64) -> Option<usize> {
        let m = self.values.len();
        if m < 2 || probability.is_nan() || probability <= 0.0 || probability >= 1.0 {
            return None;
        }
        let q = (probability * m as f64 + 0.5).floor() as usize;
        (q >= 1 && q < m).then_some(q)
    }
}

/// Columns that are added up abreast.
const COLUMNS: usize = 8;

/// The sum of what `act` makes of each value.
fn abreast(values: &[f64], act: impl Fn(f64) -> f64) -> f64 {
    let (rows, rest) = values.as_chunks::<COLUMNS>();
    let mut sums = [0.0; COLUMNS];
    for row in rows {
        for (sum, value) in sums.iter_mut().zip(row) {
            *sum += act(*value);
        }
    }
    for (sum, value) in sums.iter_mut().zip(rest) {
        *sum += act(*value);
    }
    sums.iter().sum()
}

#[expect(clippy::cast_precision_loss, reason = "trials are below 2^32")]
fn count(n: usize) -> f64 {
    n as f64
}

/// The values that would stand at two places if all were sorted.
///
/// # Arguments
/// * `low`, `high`: places from zero, the first not above the second.
fn two_of_the_order(values: &[f64], low: usize, high: usize) -> (f64, f64) {
    if let Some(found) = among_the_outer(values, low, high) {
        return found;
    }
    let mut values = values.to_vec();
    let (below, at_high, _) = values.select_nth_unstable_by(high, f64::total_cmp);
    let at_high = *at_high;
    if low == high {
        return (at_high, at_high);
    }
    let (_, at_low, _) = below.select_nth_unstable_by(low, f64::total_cmp);
    (*at_low, at_high)
}

/// The same, looked for among the outer values only, which a few thousand of the values show the way to; `None` where
/// they lead astray or all values are few.
fn among_the_outer(values: &[f64], low: usize, high: usize) -> Option<(f64, f64)> {
    const FEW: usize = 4096;
    let n = values.len();
    if n < 8 * FEW {
        return None;
    }
    let mut some: Vec<f64> = values.iter().step_by(n / FEW).copied().collect();
    // Places among the few, and four standard deviations of them towards the middle.
    let few = count(some.len());
    let place = |of: usize| {
        let part = count(of) / count(n);
        (part * few, 4.0 * (few * part * (1.0 - part)).sqrt() + 2.0)
    };
    let ((at_low, more), (at_high, less)) = (place(low), place(high));
    let mut at_place = |place: f64| {
        if place < 0.0 {
            return f64::NEG_INFINITY;
        }
        let place = place as usize;
        if place < some.len() { *some.select_nth_unstable_by(place, f64::total_cmp).1 } else { f64::INFINITY }
    };
    let (up_to, from) = (at_place(at_low + more), at_place(at_high - less));
    let (mut lower, mut upper) = (Vec::with_capacity(n / 16), Vec::with_capacity(n / 16));
    for values in values.chunks(1024) {
        let (mut outer, mut n_outer) = ([0.0; 1024], 0);
        for &value in values {
            // Written always and counted only where it is outside: a branch would be guessed wrong too often.
            outer[n_outer] = value;
            n_outer += usize::from((value <= up_to) | (value >= from));
        }
        lower.extend(outer[..n_outer].iter().filter(|value| **value <= up_to));
        upper.extend(outer[..n_outer].iter().filter(|value| **value >= from));
    }
    let n_below_upper = n - upper.len();
    if low >= lower.len() || high < n_below_upper {
        return None;
    }
    let (_, at_low, _) = lower.select_nth_unstable_by(low, f64::total_cmp);
    let (_, at_high, _) = upper.select_nth_unstable_by(high - n_below_upper, f64::total_cmp);
    Some((*at_low, *at_high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Factor;
    use proptest::prelude::*;

    #[test]
    fn a_sample_of_equal_values_does_not_scatter() {
        let sample = Sample::<Factor>::new(vec![0.1; 1001], 0);
        assert_eq!((sample.mean(), sample.u()), (Some(Factor::from_si(0.1)), Some(Factor::from_si(0.0))));
        let one = Sample::<Factor>::new(vec![0.1], 0);
        assert_eq!((one.mean(), one.u()), (Some(Factor::from_si(0.1)), None));
        let none = Sample::<Factor>::new(Vec::new(), 3);
        assert_eq!((none.mean(), none.u(), none.symmetric_interval(0.95)), (None, None, None));
        let beyond = Sample::<Factor>::new(vec![f64::MAX, f64::MIN, f64::MAX], 0);
        assert_eq!((beyond.mean(), beyond.u()), (None, None));
    }

    #[test]
    fn the_outer_values_are_enough_where_there_are_many() {
        let scattered: Vec<f64> = (0..100_000_u32).map(|i| f64::from(i.wrapping_mul(2_654_435_769))).collect();
        let rising: Vec<f64> = (0..100_000).map(f64::from).collect();
        // Every 24th value is the same: the few lead astray, and all are looked through.
        let in_turn: Vec<f64> = (0..100_000_u32).map(|i| f64::from(i % 3)).collect();
        assert_eq!(among_the_outer(&in_turn, 40_000, 60_000), None);
        for (values, shows_the_way) in [(scattered, true), (rising, true), (in_turn, false)] {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            for (low, high) in [(2499, 97_498), (0, 99_999), (40_000, 60_000), (0, 0), (99_999, 99_999), (500, 99_400)]
            {
                assert!(!shows_the_way || among_the_outer(&values, low, high).is_some(), "{low} {high}");
                assert_eq!(two_of_the_order(&values, low, high), (sorted[low], sorted[high]), "{low} {high}");
            }
        }
    }

    proptest! {
        #[test]
        fn intervals_are_those_of_the_sorted_values(
            values in prop::collection::vec(prop_oneof![-5.0..5.0_f64, Just(0.0), Just(-0.0), Just(1.0)], 2..60),
            probability in 0.01..0.99_f64,
        ) {
            let sample = Sample::<Factor>::new(values.clone(), 0);
            let mut sorted = values;
            sorted.sort_by(f64::total_cmp);
            let m = sorted.len();
            let q = (probability * m as f64 + 0.5).floor() as usize;
            let (symmetric, shortest) = (sample.symmetric_interval(probability), sample.shortest_interval(probability));
            if q == 0 || q == m {
                prop_assert!(symmetric.is_none() && shortest.is_none());
            } else {
                let ends = |interval: Option<Interval<Factor>>| interval.map(|x| (x.low.si().to_bits(), x.high.si().to_bits()));
                // JCGM 101:2008, 7.7.2, ranks counted from one.
                let r = (m - q).div_ceil(2);
                prop_assert_eq!(ends(symmetric), Some((sorted[r - 1].to_bits(), sorted[r + q - 1].to_bits())));
                let length = |r: usize| sorted[r + q] - sorted[r];
                let first = (1..m - q).fold(0, |best, r| if length(r) < length(best) { r } else { best });
                prop_assert_eq!(ends(shortest), Some((sorted[first].to_bits(), sorted[first + q].to_bits())));
            }
        }

        #[test]
        fn mean_and_u_are_those_of_the_summary(values in prop::collection::vec(-5.0..5.0_f64, 2..60), far in -1e6..1e6_f64) {
            let values: Vec<f64> = values.into_iter().map(|value| value + far).collect();
            let sample = Sample::<Factor>::new(values.clone(), 0);
            let (mean, sd) = (crate::summary::mean(&values).unwrap(), crate::summary::sd(&values).unwrap());
            prop_assert!((sample.mean().unwrap().si() - mean).abs() <= 1e-15 * (1.0 + mean.abs()));
            prop_assert!((sample.u().unwrap().si() - sd).abs() <= 1e-12 * sd);
        }
    }
}
