//! Preparation batches: which samples are prepared together, and the controls that go with them.
//!
//! [`batches`] splits samples evenly into batches of at most [`MOST`] and gives each its method blank, control, duplicate
//! and spike; [`spike`] says how much is added.

use serde::Serialize;

/// Most samples of one batch.
///
/// # Source
/// EPA SW-846, Chapter One (from memory): a batch is at most 20 samples of one matrix.
pub const MOST: usize = 20;

/// A batch: places of samples, and those of its duplicate and its spike.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Batch {
    /// The samples, by their place in the list.
    pub samples: Vec<usize>,
    /// The sample that gets a second portion.
    pub duplicate: usize,
    /// The sample that gets a portion with analyte added.
    pub spike: usize,
}

/// Splits samples into batches of nearly equal size, in their order.
///
/// The duplicate is made of the sample with the highest expected content, where two portions tell most; the spike of the one
/// in the middle. Where nothing is expected, the first and the last.
///
/// # Arguments
/// * `expected`: what each sample is expected to hold, in one unit, where anything is known.
pub fn batches(expected: &[Option<f64>]) -> Vec<Batch> {
    let n_batches = expected.len().div_ceil(MOST);
    let mut all = Vec::with_capacity(n_batches);
    let mut from = 0;
    for number in 0..n_batches {
        let size = (expected.len() - from).div_ceil(n_batches - number);
        let samples: Vec<usize> = (from..from + size).collect();
        from += size;
        let mut known: Vec<usize> = samples.iter().copied().filter(|place| expected[*place].is_some()).collect();
        known.sort_by(|a, b| {
            let value = |place: &usize| expected[*place].unwrap_or(0.0);
            value(a).total_cmp(&value(b)).then(a.cmp(b))
        });
        let duplicate = known.last().copied().unwrap_or(samples[0]);
        let spike = known.get(known.len() / 2).copied().unwrap_or(samples[samples.len() - 1]);
        all.push(Batch { samples, duplicate, spike });
    }
    all
}

/// How much analyte is added to a portion: as much as it is expected to hold, not less than three times what can be quantified,
/// not more than brings the whole to the top of the working range. In the unit of the arguments, to two digits.
///
/// # Arguments
/// * `expected`: content expected of the portion, where anything is known. `limit`: what it is held against; half of it stands
///   in where nothing is expected.
/// * `quantified`: the smallest content that can be quantified. `highest`: the highest that is measured undiluted.
///
/// # Source
/// Spikes near the native content: common practice, no source.
pub fn spike(expected: Option<f64>, limit: f64, quantified: f64, highest: f64) -> f64 {
    let native = expected.unwrap_or(limit / 2.0);
    let wanted = native.max(3.0 * quantified).min((highest - native).max(quantified));
    two_digits(wanted)
}

/// A figure to two digits, never to zero.
fn two_digits(figure: f64) -> f64 {
    if !(figure.is_finite() && figure > 0.0) {
        return 0.0;
    }
    // By way of decimal text: what is printed is what is meant.
    format!("{figure:.1e}").parse().unwrap_or(figure)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn twenty_one_samples_are_two_batches_of_nearly_equal_size() {
        let sizes: Vec<usize> = batches(&[None; 21]).iter().map(|batch| batch.samples.len()).collect();
        assert_eq!(sizes, [11, 10]);
        assert!(batches(&[]).is_empty());
    }

    #[test]
    fn the_spike_is_near_what_is_there_and_stays_in_the_range() {
        assert_eq!(spike(Some(4.0), 10.0, 0.5, 50.0), 4.0);
        assert_eq!(spike(None, 10.0, 0.5, 50.0), 5.0);
        assert_eq!(spike(Some(0.1), 10.0, 0.5, 50.0), 1.5, "three times what can be quantified");
        assert_eq!(spike(Some(40.0), 10.0, 0.5, 50.0), 10.0, "up to the top");
    }

    proptest! {
        #[test]
        fn every_sample_is_in_one_batch_of_at_most_twenty(
            expected in prop::collection::vec(prop::option::of(0.0..100.0_f64), 1..130),
        ) {
            let batches = batches(&expected);
            let all: Vec<usize> = batches.iter().flat_map(|batch| batch.samples.clone()).collect();
            prop_assert_eq!(all, (0..expected.len()).collect::<Vec<_>>());
            for batch in &batches {
                prop_assert!(batch.samples.len() <= MOST);
                prop_assert!(batch.samples.contains(&batch.duplicate) && batch.samples.contains(&batch.spike));
            }
            let sizes: Vec<usize> = batches.iter().map(|batch| batch.samples.len()).collect();
            prop_assert!(sizes.iter().max().unwrap() - sizes.iter().min().unwrap() <= 1);
        }
    }
}
